"""What acts do to a virtual car, and what is said of it afterwards."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions
from faultnet.errors import EntryError, PriorsError
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.world import VirtualCar, act_outcome, after_act, draw_car, still_at_fault

CAR = Car(Battery(600.0), label="invented")
MILD = Conditions(air_temperature=20.0, hours_standing=12.0)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


def drawn(seed: int, **modes: str) -> tuple[VirtualCar, np.random.Generator]:
    rng = np.random.default_rng(seed)
    return draw_car(rng, catalogue(), CAR, modes, MILD, faults_on=True), rng


def share_mended(seed: int, act: str, component: str | None, tries: int = 400, **modes: str) -> float:
    car, rng = drawn(seed, **modes)
    return float(np.mean([not after_act(car, act, component, rng).faults for _ in range(tries)]))


@pytest.mark.parametrize(
    "act, component, mode, success",
    [
        ("replace", "battery", "worn", "repair_works_replace"),
        ("tighten_joint", "positive_joint", "slack", "repair_works_clean"),
        ("clean_joint", "negative_joint", "corroded", "repair_works_clean"),
        ("repair_cable", "ground_path", "high_resistance", "repair_works_replace"),
        ("remove_drain", "drain", "heavy", "repair_works_replace"),
        ("advise_use", "use", "short_trips", "repair_works_replace"),
        ("long_charge", "battery", "sulphated", "repair_works_recharge_sulphated"),
        ("adjust_belt", "belt", "slips", "repair_works_replace"),
        ("adjust_belt", "belt", "lost", "repair_works_replace"),
        ("reset", "charge_control", "wrong_command", "repair_works_replace"),
    ],
)
def test_a_repair_takes_as_often_as_the_prior_set_says(act: str, component: str, mode: str, success: str) -> None:
    found = share_mended(1, act, component, **{component: mode})
    assert found == pytest.approx(catalogue().number(success), abs=0.09)


@pytest.mark.parametrize(
    "act, component, mode",
    [
        ("tighten_joint", "positive_joint", "corroded"),
        ("long_charge", "battery", "worn"),
        ("refill", "battery", "shorted_cell"),
        ("reset", "charge_control", "not_excited"),
        ("charge", None, "worn"),
    ],
)
def test_an_act_leaves_alone_what_it_cannot_mend(act: str, component: str | None, mode: str) -> None:
    owner = component or "battery"
    assert share_mended(2, act, component, 60, **{owner: mode}) == 0.0


def test_a_repair_of_a_sound_part_changes_nothing_but_the_part() -> None:
    car, rng = drawn(3, battery="worn")
    after = after_act(car, "replace", "starter_motor", rng)
    assert after.faults == car.faults
    assert after.charge == car.charge


def test_a_new_battery_is_charged_and_another_example() -> None:
    car, rng = drawn(4, battery="shorted_cell", use="left_on")
    after = next(a for a in (after_act(car, "replace", "battery", rng) for _ in range(50)) if a.faults != car.faults)
    assert after.modes["battery"] == "sound"
    assert after.charge >= 0.85
    key = ("battery", "sound", "resistance_factor")
    assert after.parameters[key] != car.parameters[key]


def test_charging_fills_a_sound_battery_and_not_a_sulphated_one() -> None:
    reached = {}
    for battery in ("sound", "sulphated"):
        before = [drawn(seed, battery=battery, use="left_on") for seed in range(40)]
        hours = before[0][0].number("charger_hours")  # so long, not about so long
        after = [after_act(car, "charge", None, rng, hours=hours) for car, rng in before]
        reached[battery] = np.mean([car.charge for car in after])
        assert all(a.charge > c.charge and a.surface > c.surface for a, (c, _) in zip(after, before, strict=True))
    assert reached["sound"] > 0.85
    assert reached["sulphated"] < 0.6


def test_a_short_charge_does_less_than_a_long_one() -> None:
    car, rng = drawn(6, use="left_on")
    short = after_act(car, "charge", None, rng, hours=1.0)
    assert car.charge < short.charge < after_act(car, "charge", None, rng, hours=12.0).charge


def test_lamps_and_waiting_take_surface_charge_off() -> None:
    car, rng = drawn(7)
    charged = after_act(car, "charge", None, rng)
    assert after_act(charged, "shed_surface_charge", None, rng).surface <= 0.041
    assert after_act(charged, "wait", None, rng).surface < 0.3 * charged.surface


def test_waiting_with_a_heavy_drain_flattens_the_battery() -> None:
    """1 A takes 60 A h to half in 30 hours (derived: charge is current times time)."""
    car, rng = drawn(8, drain="heavy")
    car = replace(car, charge=0.9)
    after = after_act(car, "wait", None, rng, hours=5.0)
    capacity = car.setting.capacity * car.parameters[("battery", car.modes["battery"], "capacity_factor")]
    assert car.charge - after.charge == pytest.approx(5.0 * car.value("drain", "current") / capacity, rel=0.05)


def test_a_drive_charges_only_where_something_charges() -> None:
    good, rng = drawn(9, use="left_on")
    assert after_act(good, "drive", None, rng, hours=1.0).charge > good.charge
    bad, rng = drawn(9, belt="lost")
    bad = replace(bad, charge=0.6)
    assert after_act(bad, "drive", None, rng, hours=0.5).charge < bad.charge


def test_a_passing_act_leaves_the_car_as_it_was() -> None:
    car, rng = drawn(10, battery="worn")
    for act, component in (("jump_start", None), ("bypass_control", None), ("jumper_ground_on", "ground_path")):
        assert after_act(car, act, component, rng) == car


def said(seed: int, act: str, component: str | None, tries: int = 200, **modes: str) -> list[str | None]:
    car, rng = drawn(seed, **modes)
    return [act_outcome(car, after_act(car, act, component, rng), act, rng) for _ in range(tries)]


def test_a_jump_start_cures_a_flat_battery_and_no_open_starter() -> None:
    assert said(11, "jump_start", None, use="left_on").count("cured") > 150
    assert said(12, "jump_start", None, starter_motor="open").count("no_change") > 180


def test_a_bridge_of_the_control_cures_an_open_control() -> None:
    assert said(13, "bypass_control", None, start_control="open").count("cured") > 150


def test_the_outcome_of_a_repair_follows_the_prior_set() -> None:
    right = said(15, "clean_joint", "positive_joint", 600, positive_joint="corroded")  # one that turns slowly
    works = catalogue().number("repair_works_clean")
    cured = catalogue().number("outcome_none_left_mended_cured")
    otherwise = catalogue().number("outcome_left_nothing_mended_cured")
    assert right.count("cured") / 600 == pytest.approx(works * cured + (1.0 - works) * otherwise, abs=0.05)
    wrong = said(15, "replace", "battery", 600, positive_joint="corroded")
    assert wrong.count("cured") / 600 == pytest.approx(otherwise, abs=0.04)
    assert said(16, "wait", None, 1) == [None]


def test_where_nothing_was_amiss_a_repair_is_said_to_have_cured_it_or_not_alike() -> None:
    """A slack joint that touches at this visit: what is said depends neither on the right nor on the wrong repair."""
    car, rng = drawn(14, positive_joint="slack")
    idle = replace(car, active={**car.active, "positive_joint": "sound"})
    for act, component in (("tighten_joint", "positive_joint"), ("replace", "battery")):
        found = [act_outcome(idle, after_act(idle, act, component, rng), act, rng) for _ in range(400)]
        assert found.count("cured") / 400 == pytest.approx(0.45, abs=0.1)


def test_the_way_a_car_is_used_is_no_broken_part() -> None:
    assert not still_at_fault(drawn(17, use="short_trips")[0])
    assert still_at_fault(drawn(17, use="short_trips", drain="moderate")[0])


def test_what_cannot_be_done_is_said() -> None:
    car, rng = drawn(18)
    with pytest.raises(PriorsError, match="unknown act"):
        after_act(car, "pray", None, rng)
    with pytest.raises(EntryError, match="which part"):
        after_act(car, "replace", None, rng)
    with pytest.raises(EntryError, match="which part"):
        after_act(car, "tighten_joint", "battery", rng)
