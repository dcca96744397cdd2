"""An invented workshop in a hot region, and its closed cases: a history to try the tuning of priors on.

Virtual cars are drawn from a world with other base rates than the shipped prior set: many regulator faults and many bad
ground straps, and hot summers. Each is tested as a workshop would: first what is cheap, then what the findings ask for,
and not everything each time. What was at fault is written down for most cars and missing for some, by chance alone.
Everything is invented; nothing here is a count of real cars.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from types import MappingProxyType

import numpy as np

from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Entry, Outcome, Reading, Visit
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.causes import draw_modes
from faultnet.simulation.car.measure import measure
from faultnet.simulation.car.repair import act_outcome, after_act
from faultnet.simulation.car.spreads import World
from faultnet.simulation.car.vehicle import VirtualCar
from faultnet.simulation.car.world import draw_car, next_visit

SEED = 20261125
CASES = 5000
# Times as often as the shipped prior set says; invented, so that tuning has something to find.
HOT_REGION = World("hot_region", rates=MappingProxyType({"regulator": 4.0, "ground_path": 5.0}))
# Few cars and conditions, as each needs a network of its own.
CARS = (
    Car(Battery(600.0), "petrol", 1.6, 4, 90.0, label="invented petrol car"),
    Car(Battery(720.0), "diesel", 2.0, 4, 120.0, label="invented diesel van"),
)
AIR = (20.0, 35.0)  # [degC]
LAST_DAY, DAYS = date(2026, 11, 20), 3 * 365
CONFIRMED, HOT, PASSED_OVER = 0.88, 0.85, 0.15  # [-] shares: causes known, car of the hot region, test left out
COMPLAINTS = {
    "normal": "starts today, but let me down",
    "slow": "turns over slowly",
    "one_clunk": "one clunk and nothing more",
    "rapid_clicking": "clicks and does not turn",
    "nothing": "nothing happens at the key",
}
# After how it turns over.
NEXT = {
    "normal": ("fires_when_cranked", "charge_loaded_voltage"),
    "slow": ("crank_minimum", "ground_side_drop", "positive_side_drop", "charge_loaded_voltage"),
    "one_clunk": ("lamps_while_cranking", "tap_starter"),
    "rapid_clicking": ("lamps_while_cranking", "negative_joint_look", "positive_joint_look"),
    "nothing": ("control_terminal_voltage", "ground_strap_look"),
}
LOW_AT_REST, LOW_CHARGE, HIGH_CHARGE, GROUND_DROP = 12.3, 13.2, 15.0, 0.3  # [V] common practice, no source


def workshop_history(catalogue: Catalogue, seed: int = SEED, count: int = CASES) -> Iterator[Case]:
    """Draw the closed cases of the invented workshop.

    Parameters
    ----------
    catalogue : Catalogue
        Spreads, symptom tables and base rates; the last as the hot region changes them.
    seed : int
    count : int

    Yields
    ------
    Case
        Marked as invented; the same for the same seed, whatever `count` is.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> [case] = workshop_history(load_catalogue(), count=1)
    >>> case.invented, case.visits[0].entries[0].test
    (True, 'how_it_turns_over')
    """
    for number, sequence in enumerate(np.random.SeedSequence(seed).spawn(count), start=1):
        yield _case(np.random.default_rng(sequence), catalogue, number)


def write_workshop_history(path: str | os.PathLike[str], seed: int = SEED, count: int = CASES) -> int:
    """Write the history of the invented workshop; returns its number of rows."""
    from faultnet.learning.tables.history import write_history
    from faultnet.prior_set import load_catalogue

    return write_history(workshop_history(load_catalogue(), seed, count), path)


def _case(rng: np.random.Generator, catalogue: Catalogue, number: int) -> Case:
    plain = CARS[int(rng.integers(len(CARS)))]
    battery = replace(plain.battery, age=round(float(rng.uniform(0.5, 9.0)), 1))
    car = replace(plain, battery=battery, climate="hot" if rng.random() < HOT else "temperate")
    day = LAST_DAY - timedelta(days=int(rng.integers(DAYS)))
    modes = draw_modes(rng, catalogue, car, HOT_REGION)
    vehicle = draw_car(rng, catalogue, car, modes, _conditions(rng))
    visits = [Visit(tuple(_tested(vehicle, rng)), vehicle.conditions, day.isoformat())]
    if _of(visits[0], "how_it_turns_over") == "normal" and rng.random() < 0.3:
        vehicle = next_visit(vehicle, rng, _conditions(rng))
        later = day + timedelta(days=int(rng.integers(2, 30)))
        visits.append(Visit(tuple(_tested(vehicle, rng)), vehicle.conditions, later.isoformat()))
    outcome = None
    if rng.random() < CONFIRMED:
        outcome = CaseOutcome(vehicle.faults, "invented: the cause that was drawn")
        visits[-1] = replace(visits[-1], entries=(*visits[-1].entries, *_mended(vehicle, rng)))
    complaint = COMPLAINTS[str(_of(visits[-1], "how_it_turns_over"))]
    return Case(car, tuple(visits), complaint, f"invented {number}", True, outcome)


def _conditions(rng: np.random.Generator) -> Conditions:
    return Conditions(air_temperature=float(rng.choice(AIR)), hours_standing=10.0, damp=bool(rng.random() < 0.1))


def _tested(vehicle: VirtualCar, rng: np.random.Generator) -> Iterator[Reading]:
    """Readings in the order in which the workshop takes them; each is chosen by what was found before."""
    behaviour = measure(vehicle, "how_it_turns_over", None, rng)
    yield behaviour
    yield measure(vehicle, "charge_lamp", None, rng)
    to_do = ["rest_voltage", *NEXT[str(behaviour.state)]]
    while to_do:
        test = to_do.pop(0)
        if test != "rest_voltage" and rng.random() < PASSED_OVER:
            continue
        reading = measure(vehicle, test, None, rng)
        yield reading
        if reading.value is not None:
            to_do += _asked_for(test, reading.value)


def _asked_for(test: str, value: float) -> tuple[str, ...]:
    """What a number makes the workshop look at next."""
    if test == "rest_voltage" and value < LOW_AT_REST:
        return ("left_something_on", "journeys", "key_off_current", "hydrometer_spread")
    if test == "ground_side_drop" and value > GROUND_DROP:
        return ("ground_path_drop", "negative_joint_drop")
    if test == "charge_loaded_voltage" and value < LOW_CHARGE:
        return ("charge_unloaded_voltage", "belt_look", "excitation")
    if test == "charge_loaded_voltage" and value > HIGH_CHARGE:
        return ("charge_unloaded_voltage", "case_condition")
    return ()


def _mended(vehicle: VirtualCar, rng: np.random.Generator) -> Iterator[Entry]:
    """The repair of the first fault, with what the driver said of it."""
    for component, mode in vehicle.faults[:1]:
        repair = next(m.repair for m in vehicle.catalogue.component(component).modes if m.id == mode)
        after = after_act(vehicle, repair, component, rng)
        said: Outcome | None = act_outcome(vehicle, after, repair, rng)  # type: ignore[assignment]
        yield Act(repair, component, said)


def _of(visit: Visit, test: str) -> str | None:
    return next((e.state for e in visit.entries if isinstance(e, Reading) and e.test == test), None)
