"""What is said of a repair counts only where something was amiss before it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from faultnet import advise
from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Outcome, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.complaint import only_what_was_seen
from faultnet.prior_set import load_catalogue

CATALOGUE = load_catalogue()
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
MILD = Conditions(air_temperature=12.0, hours_standing=10.0)
SLOW, NORMAL = (Reading("how_it_turns_over", state=state) for state in ("slow", "normal"))
NEW, CLEANED = Act("replace", "battery", "cured"), Act("clean_joint", "negative_joint", "cured")
FLAT = (SLOW, Reading("built_in_eye", state="dark"), Reading("flat_how_often", state="once"))


def said(*entries: Entry, shows_now: bool | None = None) -> list[str | None]:
    """Outcomes of acts that still stand in a visit."""
    seen = only_what_was_seen(Visit(entries, shows_now=shows_now), CATALOGUE)
    return [e.outcome for e in seen.entries if isinstance(e, Act)]


@pytest.mark.parametrize(
    ("entries", "stand"),
    [
        ((SLOW, NEW), ["cured"]),
        ((NORMAL, NEW), [None]),
        ((NEW,), ["cured"]),  # nothing was said of how it turns over
        ((NORMAL, Reading("fires_when_cranked", state="cranks_no_fire"), NEW), ["cured"]),
        ((NORMAL, Reading("charge_lamp", state="stays_on"), NEW), ["cured"]),
        ((SLOW, NORMAL, NEW), [None]),  # what was said last
        ((SLOW, Act("charge", outcome="cured"), NEW), ["cured", None]),
        ((SLOW, Act("charge", outcome="better"), NEW), ["better", "cured"]),
        ((SLOW, CLEANED, NEW), ["cured", None]),  # it was well once the joint was clean
        ((SLOW, replace(CLEANED, outcome="no_change"), NEW), ["no_change", "cured"]),
        ((SLOW, Act("jump_start", outcome="cured"), NEW), ["cured", "cured"]),  # for the moment only
        ((SLOW, Act("advise_use", "use", "cured")), [None]),
        ((SLOW, Act("remove_drain", "drain", "no_change")), [None]),  # as flat as it was
        ((replace(NORMAL, state=None, not_measured="skipped"), NEW), ["cured"]),
    ],
)
def test_an_outcome_stands_where_something_was_amiss(entries: tuple[Entry, ...], stand: list[str | None]) -> None:
    assert said(*entries) == stand


def test_what_was_said_of_the_visit_goes_before() -> None:
    assert said(NORMAL, NEW, shows_now=True) == ["cured"]
    assert said(SLOW, NEW, shows_now=False) == [None]


def test_an_unread_car_does_not_prove_that_only_its_use_was_wrong() -> None:
    """A worn battery starts as well once it is charged, so that only a load tells (common practice, no source)."""
    charged = (*FLAT, Act("charge", outcome="cured"))
    before = believed("use", *charged)
    outcomes: tuple[Outcome, ...] = ("cured", "better", "no_change")
    for outcome in outcomes:
        assert believed("use", *charged, Act("advise_use", "use", outcome)) == pytest.approx(before, abs=1e-9)
    assert believed("use", *charged, Reading("half_rating_load", value=10.6)) > before


def test_a_fault_that_did_not_show_is_not_cured_by_the_wrong_repair() -> None:
    """It turns normally now, so that it does so after a battery was fitted says nothing of the battery."""
    before = believed("battery", NORMAL, replace(NEW, outcome=None))
    assert believed("battery", NORMAL, NEW) == pytest.approx(before, abs=1e-9)
    assert believed("battery", SLOW, NEW) > believed("battery", SLOW, replace(NEW, outcome=None)) + 0.05


def test_the_verdict_says_what_is_not_counted() -> None:
    for entries, words in (
        ((NORMAL, NEW), "not counted: nothing was amiss just before it"),
        ((SLOW, Act("advise_use", "use", "cured")), "shows when it was charged, used and left to stand"),
    ):
        assert words in advise(Case(CAR, (Visit(entries, MILD),))).diagnosis.summary
    assert "counted" not in advise(Case(CAR, (Visit((SLOW, NEW), MILD),))).diagnosis.summary


def believed(component: str, *entries: Entry) -> float:
    """Belief that a component was at fault when the car was brought in [-]."""
    belief = work_through(Case(CAR, (Visit(entries, MILD),)), CATALOGUE).belief
    return float(belief.marginals()[component][1:].sum())
