"""A car without a complaint: its own chance of being brought in, and the answers of a driver. All readings invented."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.cli.answers import UNFOUNDED, advice_answer
from faultnet.cli.sheets import advice_sheet
from faultnet.decision import Advice, advise, load_costs
from faultnet.decision.advice import GIVE_BACK_WORDS, UNFOUNDED_WORDS
from faultnet.diagnosis import Diagnosis, work_through
from faultnet.diagnosis.diagnose import nothing_wrong
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set import load_catalogue
from faultnet.report.robust import robust_line
from faultnet.report.sheet import job_sheet

CATALOGUE, COSTS = load_catalogue(), load_costs()
CARS = (
    Car(Battery(600.0, "EN", age=3.0), "petrol", 1.6, 4, 90.0),
    Car(Battery(720.0, "EN", age=6.0), "diesel", 2.0, 4, 120.0),
    Car(Battery(480.0, "EN", age=1.0), "petrol", 1.2, 3, 70.0),
)
MILD = Conditions(air_temperature=12.0, hours_standing=10.0)
CHECK_UP = Reading("when_it_fails", state="does_not_fail")
FOUND_GOOD = {
    "how_it_turns_over": "normal", "fires_when_cranked": "fires", "flat_how_often": "never", "journeys": "mostly_long",
    "standing_habit": "hours_or_a_night", "left_something_on": "no", "positive_joint_moves": "firm",
    "negative_joint_moves": "firm", "charge_lamp": "normal",
}  # fmt: skip


def said_of(*entries: Entry) -> Diagnosis:
    return advise(Case(CARS[0], (Visit(entries, MILD),)), CATALOGUE, COSTS).diagnosis


def good(car: Car) -> tuple[Reading, ...]:
    """A dozen readings as a sound car gives them: nine answers and looks, three numbers amid the sound range."""
    model = work_through(Case(car, (Visit((), MILD),)), CATALOGUE)
    from faultnet.diagnosis.sound import sound_ranges

    ranges = sound_ranges(model.models[-1], CATALOGUE)
    middle = [
        Reading(t, value=round(float(np.mean(ranges[t])), 2))
        for t in ("rest_voltage", "crank_minimum", "charge_loaded_voltage")
    ]
    return (*(Reading(t, state=s) for t, s in FOUND_GOOD.items()), *middle)


def sound(car: Car, *entries: Entry) -> float:
    return nothing_wrong(work_through(Case(car, (Visit(entries, MILD),)), CATALOGUE))


@pytest.mark.parametrize("car", CARS, ids=["petrol", "diesel", "small"])
def test_a_sound_car_checked_over_ends_with_a_clear_word(car: Car) -> None:
    dozen = good(car)
    assert len(dozen) == 12
    assert sound(car, CHECK_UP, *dozen) >= 0.9
    answer = advise(Case(car, (Visit((CHECK_UP, *dozen), MILD),)), CATALOGUE, COSTS, tools=USUAL_TOOLS)
    assert "no part is at fault" in answer.diagnosis.summary
    assert answer.decision.stop
    assert answer.decision.repair is None
    assert answer.decision.founded


def test_before_anything_is_read_nothing_is_said_to_look_sound() -> None:
    skipped = Reading("rest_voltage", not_measured="skipped")
    said = []
    for entries in ((CHECK_UP, skipped), (CHECK_UP, Reading("built_in_eye", state="green"))):
        case = Case(CARS[0], (Visit(entries, MILD),))
        said.append(advise(case, CATALOGUE, COSTS, tools=USUAL_TOOLS).diagnosis.summary)
    assert said[0].startswith("Nothing is looked at or measured yet (")
    assert said[1].startswith("Nothing that was tested looks wrong (")


TOLD = tuple(Reading(t, state=FOUND_GOOD[t]) for t in ("how_it_turns_over", "fires_when_cranked", "charge_lamp"))
UNDER_WAY = {
    "nothing read": (CHECK_UP, Reading("rest_voltage", not_measured="skipped")),
    "questions alone": (CHECK_UP, *TOLD),
    "one look": (CHECK_UP, Reading("built_in_eye", state="green")),
}


@cache
def under_way(situation: str) -> tuple[Case, Advice]:
    case = Case(CARS[0], (Visit(UNDER_WAY[situation], MILD),))
    return case, advise(case, CATALOGUE, COSTS, tools=USUAL_TOOLS)


def to_do(text: str) -> str:
    return " ".join(text.split("WHAT TO DO")[1].split("LIKELY CAUSES")[0].split())


@pytest.mark.parametrize("situation", UNDER_WAY)
def test_while_a_check_up_goes_on_its_next_test_is_the_headline(situation: str) -> None:
    case, found = under_way(situation)
    assert not found.decision.stop
    first = found.diagnosis.next_tests[0].label
    said = to_do(advice_sheet(found, case, CATALOGUE))
    assert said.startswith(f"Go on testing. {first} tells most for its time")
    assert f"Recommended: {GIVE_BACK_WORDS}" not in job_sheet(case, found.diagnosis, CATALOGUE, decision=found.decision)


@pytest.mark.parametrize("situation", UNDER_WAY)
def test_giving_back_is_named_only_of_a_car_at_which_something_was_looked_at(situation: str) -> None:
    case, found = under_way(situation)
    looked = "look" in situation
    assert found.decision.founded is looked
    assert found.decision.label == (GIVE_BACK_WORDS if looked else UNFOUNDED_WORDS)
    assert advice_answer(found, CATALOGUE)["decision"]["label"] == (GIVE_BACK_WORDS if looked else UNFOUNDED)
    assert (f"Without it: {GIVE_BACK_WORDS} (" in to_do(advice_sheet(found, case, CATALOGUE))) is looked


def test_whether_it_holds_is_not_said_of_a_car_at_which_nothing_was_looked_at() -> None:
    whole = {
        situation: advise(Case(CARS[0], (Visit(UNDER_WAY[situation], MILD),)), CATALOGUE, COSTS, robust=True).robust
        for situation in ("questions alone", "one look")
    }
    assert robust_line(whole["questions alone"], CATALOGUE) == ""
    assert robust_line(whole["one look"], CATALOGUE) != ""


def test_with_no_test_left_a_car_at_which_nothing_was_looked_at_is_not_said_to_be_first_repaired() -> None:
    case, found = under_way("nothing read")
    ended = replace(found, decision=replace(found.decision, stop=True))
    said = to_do(advice_sheet(ended, case, CATALOGUE))
    assert "first to try" not in said
    assert "Repair nothing for now (chance that no part is at fault any more" in said


def test_no_complaint_weighs_by_its_own_chance() -> None:
    """Worked by hand: the odds of nothing wrong change by the ratio of the two chances."""
    before, after = sound(CARS[0]), sound(CARS[0], CHECK_UP)
    number = CATALOGUE.number
    ratio = number("check_up_when_sound") / number("check_up_when_at_fault")
    assert after / (1.0 - after) == pytest.approx(ratio * before / (1.0 - before), rel=1e-3)


def test_a_fault_that_is_found_at_a_check_up_is_still_found() -> None:
    bad = (CHECK_UP, Reading("charge_loaded_voltage", value=12.2), Reading("charge_idle_voltage", value=12.1))
    assert sound(CARS[0], *bad) < 0.05


def test_the_reasons_say_what_no_complaint_did() -> None:
    entries = (CHECK_UP, Reading("rest_voltage", value=11.9))
    found = said_of(*entries)
    first = found.causes[0]
    moved = {r.entry: r.weight for r in found.reasons[f"{first.component}:{first.mode}"]}
    without = said_of(*entries[1:])
    chance = {(c.component, c.mode): c.probability for c in without.causes}[first.component, first.mode]
    odds = 10.0 * np.log10(first.probability / (1 - first.probability) / (chance / (1 - chance)))
    assert moved[0] == pytest.approx(odds, abs=0.1)


def test_an_answer_given_anew_replaces_the_one_before() -> None:
    slow, clunk = Reading("how_it_turns_over", state="slow"), Reading("how_it_turns_over", state="one_clunk")
    both, last = said_of(slow, clunk), said_of(clunk)
    assert [c.probability for c in both.causes] == pytest.approx([c.probability for c in last.causes])
    assert [s.entry for s in both.seen] == [1]


def test_not_tried_says_nothing_of_the_car() -> None:
    before, after = (said_of(*e).causes for e in ((), (Reading("jump_start", state="not_tried"),)))
    chance = {(c.component, c.mode): c.probability for c in after}
    known = [c for c in before if c.component != "unlisted"]  # a fault that spoils readings makes any answer as likely
    assert all(chance[c.component, c.mode] == pytest.approx(c.probability, rel=0.02) for c in known)


def test_every_complaint_is_an_answer_to_a_question_and_each_to_another_one() -> None:
    said = [(c.test, c.choice) for c in CATALOGUE.complaints]
    assert len(set(said)) == len(said) >= 7
    assert said[-1] == (CHECK_UP.test, CHECK_UP.state)
    assert {CATALOGUE.test(test).group for test, _ in said} == {"ask"}
