"""The table of the trials is what the stored results say."""

from __future__ import annotations

import json

from tests.bench import trial_table


def results() -> dict[str, object]:
    return dict(json.loads(trial_table.RESULTS.read_text(encoding="utf-8")))


def test_the_readme_holds_the_table_of_the_stored_results() -> None:
    text = (trial_table.TOP / "tests" / "bench" / "trials.md").read_text(encoding="utf-8")
    assert trial_table.written(text, results()) == text, "run: python tests/bench/trial_table.py"


def test_another_result_makes_another_table() -> None:
    text = (trial_table.TOP / "tests" / "bench" / "trials.md").read_text(encoding="utf-8")
    other = json.loads(json.dumps(results()))
    other["worlds"][0]["policies"]["expected_cost"]["minutes"]["value"] += 100.0
    assert trial_table.written(text, other) != text


def test_both_worlds_hold_both_main_policies_on_the_same_number_of_columns() -> None:
    for world in results()["worlds"]:  # type: ignore[attr-defined]
        assert {"expected_cost", "flow_chart"} <= set(world["policies"])
        table = trial_table._world(world).splitlines()
        assert len({line.count("|") for line in table}) == 1
