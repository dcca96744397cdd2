"""Bench: how well six tests a shop can do tell each fault from all the others.

For every fault mode, virtual cars with that single fault (one that comes and goes is on) are measured through the
continuous physics by a fixed list of at most six tests, chosen as a technician would who suspects it, and the belief
in the true cause is read off. Run `python -m tests.bench.separability` for the table, with `--json` for the numbers;
with `--own-tables` the readings come from the network's tables instead, which parts what nobody could tell apart from
what the network gets wrong (preparing acts are left out then).
"""

from __future__ import annotations

import argparse
import json
import sys
from collections import Counter
from dataclasses import asdict, dataclass

import numpy as np

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Visit
from faultnet.diagnosis import work_through
from faultnet.errors import ClashError
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.world import VirtualCar, after_act, draw_car, measure, next_visit
from tests.bench.own_tables import case_from_tables

SEED = 20261125
SURE = 0.8  # belief in the true cause
ENOUGH = 0.8  # share of the cars in which it must be reached
MOST_TESTS = 6
CAR = Car(Battery(600.0, "EN"), "petrol", 1.6)
CONDITIONS = Conditions(air_temperature=15.0, hours_standing=12.0)
ANOTHER_DAY = "another_day"  # the car comes back, what comes and goes is drawn anew
PREPARING = ("charge", "shed_surface_charge")

# What to do, in order, when this mode is suspected, and why these. Acts in PREPARING and ANOTHER_DAY are no tests; a
# measurement that decides is taken twice, because one alone may be a slip.
LISTS: dict[tuple[str, str], tuple[tuple[str, ...], str]] = {
    ("battery", "sulphated"): (
        ("charger_acceptance", "hydrometer_level", "acid_level", "charge", "shed_surface_charge", "half_rating_load",
         "hold_after_charge", "hold_after_charge"),
        "takes little current, acid stays weak, high resistance in all cells alike",
    ),
    ("battery", "worn"): (
        ("charger_acceptance", "hydrometer_spread", "acid_level", "charge", "shed_surface_charge", "half_rating_load",
         "half_rating_load", "hold_after_charge"),
        "fails the load test though it took its charge and holds it",
    ),
    ("battery", "weak_cell"): (
        ("hydrometer_spread", "hydrometer_spread", "dead_crank_sag", "charge", "shed_surface_charge",
         "half_rating_load", "rest_voltage"),
        "one cell apart from the others, and volts that sag under load",
    ),
    ("battery", "shorted_cell"): (
        ("rest_voltage", "rest_voltage", "hydrometer_spread", "hold_after_charge"),
        "two volts missing at all times",
    ),
    ("battery", "broken_link"): (
        ("how_it_turns_over", "two_load_resistance", "crank_minimum", "rest_voltage", "jump_start",
         "half_rating_load"),
        "good at rest, collapses at its own posts under the least load, starts with another battery",
    ),
    ("battery", "dried_out"): (
        ("acid_level", "case_condition", "rest_voltage", "hold_after_charge", "half_rating_load", "half_rating_load"),
        "plates dry, strong acid, high resistance",
    ),
    ("battery", "undersized"): (
        ("dead_crank_sag", "battery_label", "battery_label", "charge", "shed_surface_charge", "half_rating_load",
         "half_rating_load", "hold_after_charge"),
        "a sound battery with a smaller figure on its label, read twice",
    ),
    ("positive_joint", "slack"): (
        ("how_it_turns_over", "positive_joint_drop", "positive_joint_drop", ANOTHER_DAY, "positive_joint_drop",
         ANOTHER_DAY, "positive_joint_drop", ANOTHER_DAY, "positive_joint_drop"),
        "will not turn well, drops volts one day and not another",
    ),
    ("positive_joint", "corroded"): (
        ("positive_joint_look", "positive_joint_moves", "positive_joint_drop", "positive_joint_drop", ANOTHER_DAY,
         "positive_joint_drop", "positive_joint_drop"),
        "powder, firm, drops volts on every day",
    ),
    ("negative_joint", "slack"): (
        ("how_it_turns_over", "negative_joint_drop", "negative_joint_drop", ANOTHER_DAY, "negative_joint_drop",
         ANOTHER_DAY, "negative_joint_drop", ANOTHER_DAY, "negative_joint_drop"),
        "as the positive one",
    ),
    ("negative_joint", "corroded"): (
        ("how_it_turns_over", "lamps_while_cranking", "negative_joint_drop", "negative_joint_drop", ANOTHER_DAY,
         "negative_joint_drop", "negative_joint_drop"),
        "turns badly, lamps sag at the clamps, drops volts on every day",
    ),
    ("starter_cable", "high_resistance"): (
        ("crank_current", "starter_cable_drop", "starter_cable_drop"),
        "the drop lies between clamp and solenoid, and the current is what is left",
    ),
    ("ground_path", "high_resistance"): (
        ("ground_path_drop", "ground_path_drop", "jumper_ground", "ground_strap_look", ANOTHER_DAY,
         "ground_path_drop", "charge_ground_drop"),
        "the drop lies between clamp and engine, every day",
    ),
    ("ground_path", "breaks_contact"): (
        ("how_it_turns_over", "ground_path_drop", "ground_path_drop", ANOTHER_DAY, "ground_path_drop", ANOTHER_DAY,
         "ground_path_drop", ANOTHER_DAY, "ground_path_drop"),
        "the drop lies between clamp and engine, but not every day",
    ),
    ("solenoid", "worn_contacts"): (
        ("solenoid_drop", "solenoid_drop", "starter_noise", "tap_starter", "control_terminal_voltage",
         "warm_after_cranking"),
        "the drop lies across the solenoid though it pulls",
    ),
    ("solenoid", "weak_winding"): (
        ("solenoid_drop", "solenoid_drop", "control_terminal_voltage", "jumper_ground", "ground_path_drop",
         "how_it_turns_over"),
        "open contacts though its terminal has volts and the ground is good",
    ),
    ("starter_motor", "worn_brushes"): (
        ("cranking_speed", "recorded_sustained", "positive_side_drop", "ground_side_drop", "tap_starter",
         "starter_noise"),
        "slow with high volts and no drop outside the motor, answers to a tap",
    ),
    ("starter_motor", "dragging"): (
        ("rest_voltage", "starter_noise", "smell", "crank_current", "crank_current", "crank_current"),
        "much current, slow, noise and smell of the starter",
    ),
    ("starter_motor", "open"): (
        ("crank_current", "crank_current", "solenoid_drop", "control_terminal_voltage", "starter_noise",
         "lamps_while_cranking"),
        "no current though the solenoid has closed and the lamps stay bright",
    ),
    ("start_control", "intermittent"): (
        ("control_terminal_voltage", "control_bypass", "how_it_turns_over", ANOTHER_DAY,
         "control_terminal_voltage", ANOTHER_DAY, "control_terminal_voltage", ANOTHER_DAY,
         "control_terminal_voltage"),
        "no volts at the control terminal today, and volts another day",
    ),
    ("start_control", "open"): (
        ("control_terminal_voltage", "control_terminal_voltage", "control_bypass", "when_it_fails",
         ANOTHER_DAY, "control_terminal_voltage", ANOTHER_DAY, "control_terminal_voltage"),
        "no volts at the control terminal, ever",
    ),
    ("engine_turning", "heavy"): (
        ("turn_by_hand", "crank_current", "crank_current", "starter_noise", "cranking_speed", "how_it_turns_over"),
        "much current, slow, heavy by hand",
    ),
    ("engine_turning", "seized"): (
        ("turn_by_hand", "how_it_turns_over", "crank_current", "starter_noise", "positive_side_drop"),
        "stall current, locked by hand",
    ),
    ("engine_running", "no_fire"): (
        ("spark_and_fuel", "fires_when_cranked"),
        "turns over and does not fire, and something it needs to run is missing",
    ),
    ("alternator", "worn_brushes"): (
        ("charge_unloaded_voltage", "alternator_current", "charge_lamp", "excitation", ANOTHER_DAY,
         "alternator_current", ANOTHER_DAY, "alternator_current"),
        "rotor circuit open at the brushes, better another day",
    ),
    ("alternator", "no_output"): (
        ("alternator_current", "excitation", "belt_look", "charge_cable_drop", ANOTHER_DAY, "alternator_current",
         ANOTHER_DAY, "alternator_current"),
        "no current though belt, cable and excitation are there, ever",
    ),
    ("regulator", "low"): (
        ("charge_unloaded_voltage", "charge_unloaded_voltage", "charge_cable_drop", "charge_lamp",
         "charge_hot_voltage", "alternator_current"),
        "low volts without load, warm and cold, although the current can be had",
    ),
    ("regulator", "high"): (
        ("charge_unloaded_voltage", "charge_unloaded_voltage", "charge_hot_voltage", "smell", "acid_level",
         "supply_codes"),
        "too high warm and cold",
    ),
    ("rectifier", "open_diode"): (
        ("charge_ripple", "charge_ripple", "key_off_current", "alternator_noise", "charge_loaded_voltage",
         "charge_lamp"),
        "ripple without a leak, and less output under load; pulling fuses tells of leaks alone",
    ),
    ("rectifier", "leaking_diode"): (
        ("charge_ripple", "charge_ripple", "key_off_current", "key_off_current", "fuse_pull"),
        "ripple and a leak that ends with the alternator's lead",
    ),
    ("belt", "slips"): (
        ("belt_look", "alternator_noise", "smell", "alternator_current", "charge_loaded_voltage",
         "charge_loaded_voltage"),
        "glazed or slack, squeals, low current",
    ),
    ("belt", "lost"): (
        ("belt_look", "charge_cable_drop", "belt_look"),
        "it is not there, seen twice, and no current flows in the cable",
    ),
    ("charge_cable", "high_resistance"): (
        ("charge_cable_drop", "charge_cable_drop", ANOTHER_DAY, "charge_cable_drop", "charge_loaded_voltage",
         "alternator_current", "lights_at_idle"),
        "volts are lost between alternator and battery, every day",
    ),
    ("charge_cable", "open"): (
        ("charge_cable_drop", "charge_cable_drop", "charge_unloaded_voltage", "alternator_current", "excitation",
         "belt_look"),
        "volts at the alternator, none at the battery, no current",
    ),
    ("charge_control", "not_excited"): (
        ("excitation", "charge_lamp", "alternator_current", ANOTHER_DAY, "excitation", ANOTHER_DAY, "excitation",
         "charge_lamp"),
        "no volts at the exciter terminal, every day",
    ),
    ("charge_control", "wrong_command"): (
        ("charge_unloaded_voltage", "charge_unloaded_voltage", "supply_codes", "recent_work", "excitation",
         "alternator_current"),
        "low volts, a code, work on the battery before",
    ),
    ("drain", "moderate"): (
        ("key_off_current", "key_off_current", "fuse_pull", "when_it_fails", ANOTHER_DAY, "key_off_current"),
        "a steady tenth of an ampere that a fuse ends",
    ),
    ("drain", "heavy"): (
        ("key_off_current", "fuse_pull", "fuse_pull", "flat_how_often", ANOTHER_DAY, "key_off_current",
         ANOTHER_DAY, "key_off_current"),
        "an ampere that a fuse ends, every day",
    ),
    ("drain", "stays_awake"): (
        ("key_off_current", "fuse_pull", "when_it_fails", ANOTHER_DAY, "key_off_current", ANOTHER_DAY,
         "key_off_current", ANOTHER_DAY, "key_off_current"),
        "an ampere today and none another day",
    ),
    ("use", "short_trips"): (
        ("journeys", "rest_voltage", "half_rating_load", "when_it_fails", "jump_start", "flat_how_often"),
        "short journeys, half flat often, and a battery that passes the load test",
    ),
    ("use", "long_standing"): (
        ("standing_habit", "when_it_fails", "jump_start", "hold_after_charge"),
        "weeks of standing, flat after them, restarts later by itself, holds its charge",
    ),
    ("use", "left_on"): (
        ("standing_habit", "flat_how_often", "rest_voltage", "left_something_on"),
        "something was on, flat once, not standing for weeks",
    ),
    ("unlisted", "present"): (
        ("rest_voltage", "crank_minimum", "positive_side_drop", "ground_side_drop", "key_off_current",
         "charge_unloaded_voltage"),
        "readings that fit nothing",
    ),
}  # fmt: skip

# Modes that six readings of one car cannot tell apart with certainty in most cars, and why. With readings drawn
# from the network's own tables (--own-tables) most of these stay below as well.
LIMITS: dict[tuple[str, str], str] = {
    (
        "battery",
        "sulphated",
    ): "acceptance 0.25 and resistance 1.9 times lie within the spread of worn plates; one repair",
    ("battery", "weak_cell"): "a cell that begins to fail loses under a volt yet, as worn and sulphated plates do",
    ("battery", "worn"): "resistance and acceptance of worn, sulphated and dried-out plates overlap; one repair",
    ("battery", "dried_out"): "reads as worn plates; only the acid's level speaks for it, and that is often topped up",
    ("battery", "undersized"): "reads as a worn battery; only its label speaks for it",
    ("starter_motor", "dragging"): "sound cars differ by 20 % in current; 1.7 times the torque is no more than 2.5 sd",
    (
        "starter_cable",
        "high_resistance",
    ): "one bad cable in four is under 4.2 mohm, near a long thin sound one; 4 in 1000 are bad; 79 cars of 100",
    (
        "alternator",
        "worn_brushes",
    ): "brushes that lift now and then leave over 0.45 of the output in one car of eight; like a slipping belt",
    ("engine_turning", "heavy"): "as a dragging starter; only the hand at the crankshaft parts the two",
    ("regulator", "low"): "the same low volts come from a wrong command; codes part the two in some cars only",
    ("charge_control", "wrong_command"): "as a low regulator, and less common",
    ("belt", "slips"): "belts look worn on sound cars, too, and half the output still carries few loads",
    ("use", "short_trips"): "shows by what the driver says alone, and one in seven other drivers says the same",
    ("use", "long_standing"): "as short trips",
    ("use", "left_on"): "leaves a flat battery and nothing else; what the driver remembers decides",
    ("unlisted", "present"): "half of its readings are those of a sound car, and one that fits nothing may be a slip",
}


@dataclass(frozen=True)
class Found:
    """How one mode came out."""

    component: str
    mode: str
    cars: int
    sure: int
    mean: float
    mistaken_for: str
    tests: tuple[str, ...]

    @property
    def share(self) -> float:
        """Cars with a belief above 0.8 in the true cause [-]."""
        return self.sure / self.cars


def tests_of(steps: tuple[str, ...]) -> tuple[str, ...]:
    """The tests of a list, without what only prepares them."""
    return tuple(s for s in steps if s not in (*PREPARING, ANOTHER_DAY))


def worked_up(vehicle: VirtualCar, steps: tuple[str, ...], rng: np.random.Generator) -> Case:
    """Do the steps on a virtual car and write the case down."""
    visits: list[list[Entry]] = [[]]
    for step in steps:
        if step == ANOTHER_DAY:
            vehicle = next_visit(vehicle, rng, CONDITIONS)
            visits.append([])
        elif step in PREPARING:
            vehicle = after_act(vehicle, step, None, rng)
            visits[-1].append(Act(step))
        else:
            visits[-1].append(measure(vehicle, step, None, rng))
    return Case(vehicle.car, tuple(Visit(tuple(v), CONDITIONS) for v in visits), invented=True)


def beliefs(catalogue: Catalogue, case: Case) -> dict[tuple[str, str], float]:
    """Probability of every fault mode; empty where the entries clash."""
    try:
        worked = work_through(case, catalogue)
    except ClashError:
        return {}
    marginals = worked.belief.marginals()
    return {
        (c.id, m.id): float(p)
        for c in catalogue.components
        for m, p in list(zip(c.modes, marginals[c.id], strict=True))[1:]
    }


def from_tables(catalogue: Catalogue, cause: tuple[str, str], rng: np.random.Generator) -> Case:
    """The same steps with readings of the network's own tables."""
    days: list[list[str]] = [[]]
    for step in LISTS[cause][0]:
        if step == ANOTHER_DAY:
            days.append([])
        elif step not in PREPARING:
            days[-1].append(step)
    return case_from_tables(catalogue, CAR, CONDITIONS, cause, days, rng)


def separated(
    catalogue: Catalogue, cause: tuple[str, str], cars: int, seed: int = SEED, own_tables: bool = False
) -> Found:
    """Draw cars with one fault, work each up by its list and count how often the belief is above 0.8."""
    steps, _ = LISTS[cause]
    rng = np.random.default_rng([seed, list(LISTS).index(cause)])
    chances, wrong = [], Counter[str]()
    for _ in range(cars):
        if own_tables:
            case = from_tables(catalogue, cause, rng)
        else:
            vehicle = draw_car(rng, catalogue, CAR, dict([cause]), CONDITIONS, faults_on=True)
            case = worked_up(vehicle, steps, rng)
        found = beliefs(catalogue, case)
        chances.append(found.get(cause, 0.0))
        if chances[-1] <= SURE:
            wrong[":".join(max(found, key=lambda c: found[c] if c != cause else -1.0)) if found else "clash"] += 1
    sure = sum(c > SURE for c in chances)
    mistaken = ", ".join(f"{name} {n}" for name, n in wrong.most_common(2))
    return Found(*cause, cars, sure, round(float(np.mean(chances)), 2), mistaken, tests_of(steps))


def main(arguments: list[str] | None = None) -> None:
    """Print the table or the numbers."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=10)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--only", default="", help="component or component:mode")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--own-tables", action="store_true", help="readings from the network's tables")
    chosen = parser.parse_args(arguments)
    catalogue = load_catalogue()
    results = []
    for cause in LISTS:
        if chosen.only and not ":".join(cause).startswith(chosen.only):
            continue
        found = separated(catalogue, cause, chosen.cars, chosen.seed, chosen.own_tables)
        results.append(found)
        if not chosen.json:
            left = f"  next to it: {found.mistaken_for}" if found.mistaken_for else ""
            print(f"{':'.join(cause):34s} {found.sure:3d}/{found.cars}  mean {found.mean:.2f}{left}", flush=True)
    if chosen.json:
        json.dump({"seed": chosen.seed, "modes": [asdict(f) for f in results]}, sys.stdout, indent=1)
        print()
        return
    good = sum(f.share >= ENOUGH for f in results)
    reached = f"belief above {SURE} in at least {ENOUGH:.0%} of the cars"
    print(f"{good} of {len(results)} modes are told apart: {reached} (seed {chosen.seed})")
    for cause, reason in LIMITS.items():
        print(f"limit of {':'.join(cause)}: {reason}")


if __name__ == "__main__":
    main()
