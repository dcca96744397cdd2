"""The flow chart on cases written by hand: what a technician would do next by the rules of the trade."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.decision import load_costs
from faultnet.prior_set import load_catalogue
from faultnet.simulation.workshop.flow_chart import ASKED, LOOKED, flow_chart
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step

GOOD = {
    "left_something_on": "no", "charge_lamp": "normal", "flat_how_often": "never", "belt_look": "good",
    "positive_joint_look": "clean", "positive_joint_moves": "firm", "negative_joint_look": "clean",
    "negative_joint_moves": "firm", "case_condition": "dry_and_flat", "fires_when_cranked": "fires",
    "rest_voltage": 12.6, "half_rating_load": 10.6, "crank_minimum": 10.2, "charge_unloaded_voltage": 14.2,
    "charge_loaded_voltage": 13.9, "charge_ripple": 0.03, "key_off_current": 0.02,
    "wiggle_while_cranking": "no_change",
}  # fmt: skip


def reading(test: str, said: str | float) -> Reading:
    return Reading(test, state=said) if isinstance(said, str) else Reading(test, value=said)


def entries(behaviour: str = "normal", **other: str | float) -> list[Entry]:
    return [reading("how_it_turns_over", behaviour), *(reading(t, v) for t, v in {**GOOD, **other}.items())]


def next_step(found: list[Entry], *, tools: tuple[str, ...] | None = None, visits: tuple[Visit, ...] = ()) -> Step:
    case = Case(Car(Battery(600.0)), (*visits, Visit(tuple(found), Conditions(air_temperature=20.0))))
    return flow_chart(case, Shop(load_catalogue(), load_costs(), tools), np.random.default_rng(0))


def test_it_asks_then_looks_then_measures_the_battery_at_rest() -> None:
    done: list[Entry] = [reading("how_it_turns_over", "normal")]
    order = []
    for _ in range(len(ASKED) + len(LOOKED) + 3):
        step = next_step(done)
        assert isinstance(step, Look)
        order.append(step.test)
        done.append(reading(step.test, GOOD[step.test]))
    assert order == [*ASKED, *LOOKED, "fires_when_cranked", "rest_voltage", "half_rating_load"]


def test_a_sound_car_is_given_back() -> None:
    assert next_step(entries()) == GiveBack()


@pytest.mark.parametrize(
    ("seen", "component"),
    [
        ({"positive_joint_moves": "moves"}, "positive_joint"),
        ({"case_condition": "swollen"}, "battery"),
        ({"half_rating_load": 9.0}, "battery"),
        ({"charge_unloaded_voltage": 15.6}, "regulator"),
        ({"charge_ripple": 0.9}, "rectifier"),
        ({"charge_loaded_voltage": 12.2, "charge_cable_drop": 0.9, "excitation": "voltage_and_current"},
         "charge_cable"),
        ({"charge_unloaded_voltage": 12.4, "charge_cable_drop": 0.1, "excitation": "voltage_and_current",
          "alternator_current": 5.0}, "alternator"),
        ({"key_off_current": 0.4, "fuse_pull": "falls_with_a_fuse"}, "drain"),
        ({"wiggle_while_cranking": "at_control_wiring"}, "start_control"),
    ],
)  # fmt: skip
def test_the_first_thing_out_of_its_limits_is_mended(seen: dict[str, str | float], component: str) -> None:
    step = next_step(entries(**seen))
    assert isinstance(step, Mend)
    assert step.component == component


def test_a_low_battery_is_charged_and_read_again_and_replaced_only_if_it_stays_low() -> None:
    low = entries(rest_voltage=12.0)
    assert next_step(low) == Prepare("charge")
    assert next_step([*low, Act("charge")]) == Look("rest_voltage", charged=True)
    assert next_step([*low, Act("charge"), reading("rest_voltage", 12.1)]) == Mend("battery", "replace")
    assert next_step([*low, Act("charge"), reading("rest_voltage", 12.6)]) == Mend("use", "advise_use")


def test_the_limit_of_the_load_test_falls_in_the_cold() -> None:
    found = entries(half_rating_load=9.2)
    warm, cold = (
        Case(Car(Battery(600.0)), (Visit(tuple(found), Conditions(air_temperature=air)),)) for air in (20.0, -7.0)
    )
    shop, rng = Shop(load_catalogue(), load_costs()), np.random.default_rng(0)
    assert flow_chart(warm, shop, rng) == Mend("battery", "replace")
    assert flow_chart(cold, shop, rng) == GiveBack()


def test_what_was_mended_and_cured_is_given_back_but_charging_is_tested_after_a_battery() -> None:
    start = [reading("how_it_turns_over", "normal"), reading("positive_joint_moves", "moves")]
    assert next_step([*start, Act("tighten_joint", "positive_joint", "cured")]) == GiveBack()
    assert next_step([*start, Act("replace", "battery", "cured")]) == Look("charge_unloaded_voltage", charged=True)


def test_without_a_tool_its_tests_are_left_out() -> None:
    found = [e for e in entries() if not (isinstance(e, Reading) and e.test == "half_rating_load")]
    assert next_step(found, tools=("voltmeter",)) == GiveBack()
    assert isinstance(next_step(found), Look)


def test_when_it_comes_back_the_tests_of_what_was_heard_are_done_and_nothing_is_replaced_untested() -> None:
    before = Visit((reading("how_it_turns_over", "one_clunk"),))
    now = [e for e in entries() if not (isinstance(e, Reading) and e.test in ASKED)]
    asked = [reading(t, GOOD[t]) for t in ASKED]
    heard = (Visit((*before.entries, *asked)),)
    assert next_step(now, visits=heard) == Look("control_terminal_voltage", charged=True)
    now += [reading("control_terminal_voltage", 11.5), reading("solenoid_drop", 0.1)]
    assert next_step(now, visits=heard) == Look("tap_starter", charged=True)
    assert next_step([*now, reading("tap_starter", "cranks_after_tap")], visits=heard) == Mend(
        "starter_motor", "replace"
    )
    assert next_step([*now, reading("tap_starter", "no_change")], visits=heard) == Mend("negative_joint", "clean_joint")


def test_a_test_whose_answer_stands_is_not_repeated_at_the_next_visit() -> None:
    before = Visit(tuple(entries()))
    assert next_step([reading("how_it_turns_over", "normal")], visits=(before,)) == GiveBack()
    mended = Visit((*entries(), Act("tighten_joint", "positive_joint", "no_change")))
    step = next_step([reading("how_it_turns_over", "normal")], visits=(mended,))
    assert step == Look(LOOKED[0], charged=True), "after a repair all but the driver's answers are open again"


def test_it_stops_at_the_first_clear_finding() -> None:
    found = [e for e in entries() if isinstance(e, Reading) and (e.test in ASKED or e.test == "how_it_turns_over")]
    found += [reading("positive_joint_look", "clean"), reading("positive_joint_moves", "moves")]
    assert next_step(found) == Mend("positive_joint", "tighten_joint")


def test_a_charge_lamp_that_stays_on_brings_the_charging_side_forward() -> None:
    found = [e for e in entries() if isinstance(e, Reading) and e.test in (*ASKED, *LOOKED, "how_it_turns_over")]
    lamp = [e for e in found if e.test != "charge_lamp"] + [reading("charge_lamp", "stays_on")]
    assert next_step(lamp) == Look("charge_unloaded_voltage", charged=True)
    assert next_step(found) == Look("fires_when_cranked", charged=True)
