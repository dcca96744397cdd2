"""Readings that no car gives together are named; readings that fit, however bad the car, are not. All invented."""

from __future__ import annotations

from faultnet import advise
from faultnet.case.types import Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis.slips import kept_note
from faultnet.prior_set import load_catalogue

CATALOGUE = load_catalogue()
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
MILD = Conditions(air_temperature=12.0, hours_standing=10.0)
BRISK, FIRES = Reading("how_it_turns_over", state="normal"), Reading("fires_when_cranked", state="fires")


def clashes(*entries: Entry) -> tuple[str, ...]:
    return advise(Case(CAR, (Visit(entries, MILD),)), CATALOGUE).diagnosis.clashes


def test_three_volts_at_the_posts_of_a_car_that_cranks_briskly() -> None:
    said = clashes(BRISK, FIRES, Reading("rest_voltage", value=12.6), Reading("crank_minimum", value=3.2))
    assert any("3.20 V" in s and "Is this right?" in s for s in said)
    assert not any("12.60 V" in s for s in said)


def test_a_fall_of_ten_volts_while_it_cranks_well() -> None:
    said = clashes(BRISK, Reading("rest_voltage", value=12.6), Reading("dead_crank_sag", value=9.9))
    assert any("9.90 V" in s for s in said)


def test_a_current_of_530_amperes_and_at_the_next_start_90() -> None:
    first, again = Reading("crank_current", value=530.0), Reading("crank_current", value=90.0)
    said = clashes(Reading("how_it_turns_over", state="slow"), first, again)
    assert any("530" in s or "90" in s for s in said)


def test_one_that_was_kept_is_named_and_no_longer_asked_about() -> None:
    kept = Reading("crank_minimum", value=3.2, note=kept_note(""))
    entries = (BRISK, FIRES, Reading("rest_voltage", value=12.6))
    asked, after = (
        advise(Case(CAR, (Visit((*entries, last), MILD),)), CATALOGUE).diagnosis
        for last in (Reading("crank_minimum", value=3.2), kept)
    )
    assert asked.asked == ((0, 3),)
    assert after.asked == ()
    assert any("3.20 V is kept as right" in said for said in after.clashes)
    assert not any("Is this right?" in said for said in after.clashes)


def test_readings_that_fit_are_not_asked_about() -> None:
    good = (BRISK, FIRES, Reading("rest_voltage", value=12.62), Reading("crank_minimum", value=10.4))
    flat = (Reading("how_it_turns_over", state="rapid_clicking"), Reading("rest_voltage", value=10.9),
            Reading("crank_minimum", value=4.1))  # fmt: skip
    assert clashes(*good) == ()
    assert clashes(*flat) == ()
