"""What the car can do now, followed through entries: what was heard, what ran, what a booster or a repair changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis.able import Ability, ability
from faultnet.prior_set import load_catalogue

CATALOGUE = load_catalogue()


def heard(state: str) -> Reading:
    return Reading("how_it_turns_over", state=state)


def after(*entries: Entry, **said: object) -> Ability:
    return ability(replace(Visit(entries), **said), CATALOGUE)


FIRES, NO_FIRE = Reading("fires_when_cranked", state="fires"), Reading("fires_when_cranked", state="cranks_no_fire")
RUNNING_VOLTS = Reading("charge_unloaded_voltage", value=14.2)
HELPED, NO_HELP = Act("jump_start", outcome="better"), Act("jump_start", outcome="no_change")
NEW_BATTERY = Act("replace", component="battery")


@pytest.mark.parametrize(
    ("state", "tries", "turns", "can_run"),
    [
        ("normal", True, True, True),
        ("slow", True, True, True),
        ("rapid_clicking", True, False, True),  # low volts: a booster may help
        ("one_clunk", True, False, False),
        ("nothing", False, False, False),
    ],
)
def test_what_is_heard_at_the_key(state: str, tries: bool, turns: bool, can_run: bool) -> None:
    can = after(heard(state))
    assert (can.tries, can.turns, can.can_run) == (tries, turns, can_run)


def test_before_anything_is_said_nothing_is_ruled_out() -> None:
    assert after() == Ability()
    assert after().can_run
    assert not after().needs_booster


@pytest.mark.parametrize(
    ("entries", "runs", "turns"),
    [
        ((FIRES,), "by_itself", True),
        ((NO_FIRE,), "no", True),
        ((heard("one_clunk"), HELPED), "with_booster", False),
        ((heard("rapid_clicking"), RUNNING_VOLTS), "with_booster", False),  # it ran, and not by its own starter
        ((heard("normal"), RUNNING_VOLTS), "by_itself", True),
        ((HELPED, NO_HELP), None, None),
    ],
)
def test_whether_it_can_be_started(entries: Sequence[Entry], runs: str | None, turns: bool | None) -> None:
    can = after(*entries)
    assert (can.runs, can.turns) == (runs, turns)


def test_a_booster_that_did_not_help_leaves_a_clicking_car_that_cannot_run() -> None:
    assert after(heard("rapid_clicking")).needs_booster
    can = after(heard("rapid_clicking"), NO_HELP)
    assert can.booster is False
    assert not can.can_run
    assert not after(heard("rapid_clicking"), Reading("jump_start", state="no_help")).can_run


def test_a_car_that_was_started_with_a_booster_can_be_started_with_one() -> None:
    assert after(Reading("after_booster", state="fails_after_a_drive"), heard("nothing")).can_run
    assert after(heard("nothing"), Reading("after_booster", state="runs_and_restarts")).needs_booster
    told = Reading("jump_start", state="no_help"), Reading("after_booster", state="runs_and_restarts")
    assert after(heard("nothing"), *told).booster is False


@pytest.mark.parametrize(("volts", "can_run"), [(8.0, True), (11.5, True), (12.3, False), (12.7, False)])
def test_a_silent_car_whose_battery_reads_flat_may_start_with_a_booster(volts: float, can_run: bool) -> None:
    """What is flat is charged or helped before anything else is held against it (common practice, no source)."""
    assert after(heard("nothing"), Reading("rest_voltage", value=volts)).can_run is can_run


def test_a_repair_opens_what_was_ruled_out_and_a_cure_settles_it() -> None:
    assert not after(heard("one_clunk")).can_run
    assert after(heard("one_clunk"), NEW_BATTERY).can_run
    assert not after(heard("one_clunk"), replace(NEW_BATTERY, outcome="no_change")).can_run
    cured = after(heard("one_clunk"), replace(NEW_BATTERY, outcome="cured"))
    assert (cured.turns, cured.runs, cured.shows) == (True, "by_itself", False)


def test_what_is_said_of_the_visit_goes_before_the_entries_but_for_a_cure() -> None:
    assert after(heard("normal"), cranks=False).turns is False
    assert after(FIRES, runs="no").can_run is False
    assert after(heard("one_clunk"), runs="with_booster").can_run
    assert after(heard("one_clunk"), runs="by_itself").turns is True
    assert after(heard("normal"), cranks=False, runs=None).runs is None
    cured = after(heard("one_clunk"), replace(NEW_BATTERY, outcome="cured"), cranks=False, runs="no")
    assert (cured.turns, cured.runs) == (True, "by_itself")


def test_the_engine_runs_on_through_looks_and_stops_with_an_act() -> None:
    assert after(RUNNING_VOLTS).running
    assert after(RUNNING_VOLTS, Reading("belt_look", state="good")).running
    assert not after(RUNNING_VOLTS, Act("disable_fuel")).running
    assert not after(RUNNING_VOLTS, Reading("crank_minimum", value=10.4)).running


def test_a_start_as_it_should_be_says_that_the_fault_does_not_show() -> None:
    assert after(heard("normal")).shows is False
    assert after(heard("normal"), shows_now=True).shows is True
    assert after(heard("slow")).shows is None
