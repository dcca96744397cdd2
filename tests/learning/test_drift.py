"""Advice decides what gets confirmed: what is written down of a repair that did not help, and two rounds in short.

Ten rounds are `tests/bench/drift.py`.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Reading, Visit
from faultnet.prior_set import load_catalogue
from tests.bench.drift import _end, rounds

SLIPS = (("belt", "slips"),)
SHORTED = {("battery", "shorted_cell")}
CASE = Case(Car(Battery(600.0)), (Visit((Reading("rest_voltage", 12.4),)),), outcome=CaseOutcome(SLIPS))


def test_only_what_is_cured_is_closed_and_what_did_not_help_is_an_act() -> None:
    known = load_catalogue()
    assert _end(CASE, set(SLIPS), known, "written down").outcome is not None
    failed = _end(CASE, SHORTED, known, "written down")
    assert failed.outcome is None
    assert failed.visits[0].entries[-1] == Act("replace", "battery", "no_change")
    assert _end(CASE, SHORTED, known, "not written down") == replace(CASE, outcome=None)


def test_two_rounds_of_advice_do_not_drive_rates_away(tmp_path: Path) -> None:
    """On average a rate is not further from the truth than it was, by more than thirty cases may scatter it."""
    start, *after = rounds("written down", 2, 30, 3, tmp_path)
    assert start.off > 0.2
    for one in after:
        assert 0.2 < one.confirmed < 0.95
        assert one.off < start.off + 0.1
        assert abs(one.worst) < abs(start.worst) + 0.3
