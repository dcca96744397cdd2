"""The short version of the benches on bad case files and damaged files, which say what they prove."""

from __future__ import annotations

import pytest

from tests.bench import bad_cases, damage


def test_bad_case_files_are_refused_in_words() -> None:
    told = bad_cases.run(400, seed=20261127)
    assert told["files"] == 400
    assert told["refused"] > 200
    assert (told["tracebacks"], told["not_numbers"]) == (0, 0)
    assert told["longest_message"] < 8000


def test_damaged_files_are_refused_or_come_out_right(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTNET_CACHE", "set back afterwards")
    for kind, (files, counts) in {
        "databases": (30, damage.run(30, 20261127, networks_too=False)["databases"]),
        "networks": (2, damage.run(4, 20261127)["networks"]),
    }.items():
        assert (counts["wrong"], counts["tracebacks"]) == (0, 0), kind
        assert counts["refused"] + counts["right"] == files
