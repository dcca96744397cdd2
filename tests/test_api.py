"""The way in: what `import faultnet` gives, what it costs, and how results show themselves."""

from __future__ import annotations

import subprocess
import sys
from html.parser import HTMLParser

import pytest

import faultnet
from faultnet.decision import load_costs
from faultnet.errors import FaultnetError
from faultnet.learning.result import Options
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from faultnet.simulation.trial import Plan, run_trial

HEAVY = ("numpy", "pandas", "scipy", "pgmpy", "sqlalchemy", "pydantic")
CASE = "demo:ground_high_resistance"


class Cells(HTMLParser):
    """Texts of the cells of all tables, and tags that were opened and not closed."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.cells: list[str] = []
        self.open: list[str] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: object) -> None:
        self.open.append(tag)
        if tag == "td":
            self.cells.append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] == "td":
            self.cells[-1] += data


def test_importing_it_brings_nothing_heavy() -> None:
    code = f"import sys, faultnet; print([m for m in {HEAVY!r} if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


def test_it_offers_these_names_and_no_others() -> None:
    assert set(faultnet.__all__) <= set(dir(faultnet))
    assert [name for name in faultnet.__all__ if not callable(getattr(faultnet, name))] == []
    with pytest.raises(AttributeError, match="has no attribute 'diagnosed'"):
        faultnet.__getattr__("diagnosed")


def test_the_advice_is_that_of_the_command_line() -> None:
    from faultnet.decision import advise

    case, catalogue = faultnet.load_case(CASE), load_catalogue()
    assert faultnet.advise(case) == advise(case, catalogue, load_costs())


def test_another_ranking_orders_the_same_tests_and_leaves_the_decision() -> None:
    case = faultnet.load_case("demo:fresh_case")
    by_saving, by_information = (faultnet.advise(case, rank_by=name) for name in ("saving", "information"))
    assert by_saving.decision.stop is by_information.decision.stop is False
    assert by_saving.decision.label == by_information.decision.label
    saved, told = (found.diagnosis.next_tests for found in (by_saving, by_information))
    assert {t.test: t.saving for t in saved} == {t.test: t.saving for t in told}
    assert [t.saving for t in saved] == sorted((t.saving for t in saved), reverse=True)
    assert [t.test for t in by_saving.diagnosis.next_tests] != [t.test for t in by_information.diagnosis.next_tests]
    with pytest.raises(FaultnetError, match="no such ranking"):
        faultnet.advise(case, rank_by="luck")  # type: ignore[arg-type]


def test_advice_shows_itself() -> None:
    found = faultnet.advise(faultnet.load_case(CASE))
    shown = Cells(found._repr_html_())
    assert shown.open == []
    assert found.diagnosis.causes[0].label in shown.cells
    causes, tests = found.diagnosis.causes_to_frame(), found.diagnosis.tests_to_frame()
    assert causes["probability"].is_monotonic_decreasing
    assert list(causes["label"]) == [c.label for c in found.diagnosis.causes]
    assert list(tests["test"]) == [t.test for t in found.diagnosis.next_tests]
    ranged = tests.dropna(subset=["sound_low"])
    assert len(ranged) > 10
    assert (ranged["sound_low"] < ranged["sound_high"]).all()


def test_a_plan_shows_itself() -> None:
    tree = faultnet.plan(faultnet.load_case(CASE), depth=1)
    assert tree.words.replace(">", "&gt;") in tree._repr_html_()


def test_a_log_gives_entries_that_a_case_takes() -> None:
    log = faultnet.read_log(shipped("cases") / "recordings" / "adapter_slow.csv.gz")
    assert list(log.to_frame()["test"]) == [reading.test for reading in log.readings]
    known = {test.id for test in load_catalogue().tests}
    assert {reading.test for reading in log.readings} <= known
    assert log._repr_html_().startswith("<svg")


def test_tuned_numbers_show_themselves() -> None:
    found = faultnet.tune([faultnet.load_case(CASE)], options=Options(folds=0, groups=()))
    told = found.to_frame()
    assert len(told) == len(found.changes) > 30
    assert ((told["low"] <= told["new"]) & (told["new"] <= told["high"])).all()
    assert Cells(found._repr_html_()).open == []


def test_a_trial_shows_itself() -> None:
    results = run_trial(Plan(1, 3, policies=("flow_chart",)))
    told = results.to_frame()
    assert set(told["policy"]) == {"flow_chart"}
    assert {"cost", "minutes", "right_first_time"} <= set(told["number"])
    assert Cells(results._repr_html_()).open == []
