"""Draw cars of the independent world, measure them, bring them in again: everything a trial needs, under one name."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Literal

import numpy as np

from faultnet.case.types import Battery, Car, Conditions, Reading
from faultnet.errors import CarError, EntryError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.independent.acts import act_outcome, after_act
from faultnet.simulation.independent.answers import choice
from faultnet.simulation.independent.faults import OTHER_RATES, draw_modes, standard_rates
from faultnet.simulation.independent.life import as_tried, live
from faultnet.simulation.independent.log import Log
from faultnet.simulation.independent.parts import COMES_AND_GOES, COMPONENTS, Build, Dice, condition, draw_build
from faultnet.simulation.independent.readings import METERS, CannotBeMeasured, number
from faultnet.simulation.independent.vehicle import IndependentCar

__all__ = ["INDEPENDENT_WORLDS", "act_outcome", "after_act", "draw_independent", "measure", "next_visit", "place_of"]

INDEPENDENT_WORLDS: dict[str, Literal["standard", "other"]] = {
    "independent": "standard",
    "independent-other": "other",
}
# An invented fleet: litres, fuel, cylinders, battery the car needs [A EN], its kind and A h, alternator [A], charge
# control, climate, cars of 100.
FLEET: tuple[tuple[float, str, int, float, str, float, float, str, str, int], ...] = (
    (0.9, "petrol", 3, 390.0, "flooded", 44.0, 65.0, "fixed", "temperate", 10),
    (1.2, "petrol", 4, 450.0, "flooded", 50.0, 70.0, "fixed", "temperate", 16),
    (1.4, "petrol", 4, 540.0, "flooded", 60.0, 90.0, "fixed", "cold", 14),
    (1.6, "petrol", 4, 570.0, "flooded", 62.0, 95.0, "fixed", "temperate", 14),
    (1.6, "petrol", 4, 640.0, "enhanced_flooded", 65.0, 120.0, "load_responsive", "temperate", 12),
    (2.0, "petrol", 4, 640.0, "flooded", 70.0, 110.0, "fixed", "hot", 8),
    (2.0, "petrol", 4, 760.0, "agm", 70.0, 150.0, "load_responsive", "temperate", 8),
    (1.6, "diesel", 4, 680.0, "flooded", 70.0, 110.0, "fixed", "temperate", 9),
    (2.0, "diesel", 4, 760.0, "flooded", 80.0, 130.0, "fixed", "cold", 9),
)
AIR = {"cold": (2.0, 9.0), "temperate": (11.0, 8.0), "hot": (25.0, 7.0)}  # [degC] mean and sd over a year; estimate
AGES = (1.0, 3.0, 5.0, 7.0, 9.0)  # [years] as asked for; the true age lies within a year of it
TOLD_AIR_STEP = 6.0  # [K] what is told is rounded to this
AIR_UNKNOWN, AGE_UNKNOWN, AIR_WRONG = 0.12, 0.2, 2.0  # [-], [-], [K] sd of a guess or a dashboard; estimates
LABEL_GONE = 0.05  # [-] of labels that cannot be read; estimate
LABEL_WRONG = 0.06  # [-] of labels read wrongly: another standard, or a step beside; estimate
LABEL_STEPS = (0.6, 0.89, 0.94, 1.06)  # [-] DIN taken for EN (1 / 1.65), and label steps; from memory
UNDERSIZED = (0.58, 0.78)  # [-] of what the car needs; estimate
COLDER = 4.0  # [K] a month: what does not show yet shows as winter comes; estimate
MOST_MONTHS = 4  # a car that gives no trouble for so long is brought in all the same, to be checked; estimate
TRAITS = ("command", "ripple_place", "lead", "bonnet", "surface", "fading", "socket", "eye")


def draw_independent(
    catalogue: Catalogue,
    seed: int,
    number: int,
    rates: Literal["standard", "other"] = "standard",
    modes: Mapping[str, str] | None = None,
    *,
    months: int = MOST_MONTHS,
) -> IndependentCar:
    """Draw a car of the independent world; the same seed and number give the same car.

    Parameters
    ----------
    catalogue : Catalogue
        Ids of components, modes, tests and acts, plausible ranges, and base rates.
    seed, number : int
    rates : {"standard", "other"}
        Base rates of the prior set, or the table of :mod:`~faultnet.simulation.independent.faults`.
    modes : mapping of component to mode, optional
        Faults it has, all else sound; drawn when left out.
    months : int
        Lived with at most until it gives trouble; then it is brought in all the same.

    Returns
    -------
    IndependentCar
        As it is brought in.

    Raises
    ------
    CarError
        If a mode is unknown.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> draw_independent(load_catalogue(), 1, 0, modes={"belt": "lost"}).faults
    (('belt', 'lost'),)
    """
    rng = np.random.default_rng([seed, number, 77])
    place, age = _place(rng)
    litres, fuel, cylinders, needed, kind, hours, alternator, control, climate, _ = FLEET[place]
    wear = 0.35 * (age - 5.0) / 2.8 + 0.94 * float(rng.standard_normal())
    dice = Dice(rng, wear)
    if modes is None:
        table = OTHER_RATES if rates == "other" else standard_rates(catalogue, age, climate)
        modes = draw_modes(dice, catalogue, table)
    else:
        _check(catalogue, modes)
        modes = {c: modes.get(c, catalogue.component(c).modes[0].id) for c in COMPONENTS}
    rating, size = needed, hours
    if modes["battery"] == "undersized":
        rating = round(needed * float(rng.uniform(*UNDERSIZED)) / 20.0) * 20.0
        size = round(hours * rating / needed)
    true_battery = Battery(rating, "EN", kind, size, age)  # type: ignore[arg-type]
    car = Car(true_battery, fuel, litres, cylinders, alternator, control, climate, "invented")  # type: ignore[arg-type]
    build = draw_build(dice, car, needed)
    calm = {c: condition(dice, build, c, _calm_mode(catalogue, c, modes[c]), calm=True) for c in COMPONENTS}
    parts = {c: _at_its_worst(dice, build, catalogue, c, modes[c], calm[c]) for c in COMPONENTS}
    mean, spread = AIR[climate]
    air = float(np.clip(mean + spread * rng.standard_normal(), -22.0, 40.0))
    traits = {name: float(rng.standard_normal()) for name in (*TRAITS, *(f"meter.{m}" for m in METERS))}
    found = IndependentCar(
        car, Conditions(), catalogue, build, modes, parts, calm, frozenset(), Log(), air, 0.0, 0.12 * size, 0.0, 8.0,
        wear, traits,
    )  # fmt: skip
    found = as_tried(found)
    for month in range(months):
        found = live(dice, replace(found, air=max(air - COLDER * month, -15.0)))
        if found.log.events or not found.log.could_start:
            break
    return replace(found, car=_told_car(dice, car), conditions=_told_conditions(dice, found.air, damp=found.log.damp))


def place_of(seed: int, number: int) -> int:
    """Place in the invented fleet, known without drawing the car; cars of one place have much the same network."""
    return _place(np.random.default_rng([seed, number, 77]))[0]


def _place(rng: np.random.Generator) -> tuple[int, float]:
    shares = np.array([row[-1] for row in FLEET], dtype=float)
    return int(rng.choice(len(FLEET), p=shares / shares.sum())), float(rng.choice(AGES))


def _check(catalogue: Catalogue, modes: Mapping[str, str]) -> None:
    for component, mode in modes.items():
        known = [m.id for m in catalogue.component(component).modes]
        if mode not in known:
            raise CarError(f"unknown mode of {component}", got=repr(mode), expected=", ".join(known))


def _calm_mode(catalogue: Catalogue, component: str, mode: str) -> str:
    """The mode whose condition a component has while its fault does not show."""
    return mode if (component, mode) in COMES_AND_GOES else catalogue.component(component).modes[0].id


def _at_its_worst(
    dice: Dice, build: Build, catalogue: Catalogue, component: str, mode: str, calm: Mapping[str, float]
) -> Mapping[str, float]:
    """A sound part is as it is when calm; a broken one is drawn in its mode, what does not depend on that kept."""
    if mode == catalogue.component(component).modes[0].id or mode == "undersized":
        return calm
    drawn = condition(dice, build, component, mode)
    if component != "battery":
        return drawn
    kept = ("rated", "capacity", "gravity", "acceptance_scale")
    return {**drawn, **{name: calm[name] for name in kept}}


def _told_car(dice: Dice, car: Car) -> Car:
    """The car as its papers and its label are read: age unknown, a label now and then read wrongly."""
    battery = replace(car.battery, capacity=None)
    if dice.happens(AGE_UNKNOWN):
        battery = replace(battery, age=None)
    if dice.happens(LABEL_GONE):
        battery = replace(battery, rating=None)
    elif dice.happens(LABEL_WRONG) and battery.rating is not None:
        step = float(dice.rng.choice(LABEL_STEPS))
        battery = replace(battery, rating=max(round(battery.rating * step / 10.0) * 10.0, 150.0))
    return replace(car, battery=battery)


def _told_conditions(dice: Dice, air: float, *, damp: bool) -> Conditions:
    """What is said of the visit: the air guessed in steps, or unknown."""
    guessed = round((air + AIR_WRONG * float(dice.rng.standard_normal())) / TOLD_AIR_STEP) * TOLD_AIR_STEP
    return Conditions(air_temperature=None if dice.happens(AIR_UNKNOWN) else guessed, damp=damp)


def measure(
    car: IndependentCar,
    test_id: str,
    instrument_id: str | None,
    rng: np.random.Generator,
    *,
    interval: float | None = None,
) -> Reading:
    """Do a test on a car.

    Parameters
    ----------
    car : IndependentCar
    test_id : str
    instrument_id : str or None
        The test's ordinary one when None.
    rng : numpy.random.Generator
    interval : float, optional
        Sampling interval of a log [s].

    Returns
    -------
    Reading
        A value, a choice, or why it could not be measured.

    Raises
    ------
    PriorsError
        If the test or the instrument is unknown.
    EntryError
        If the instrument does not take that reading.
    """
    test = car.catalogue.test(test_id)
    instrument = car.catalogue.instrument(instrument_id or test.instruments[0]).id
    if instrument not in test.instruments:
        raise EntryError(
            f"{test.label}: this instrument does not take that reading",
            got=repr(instrument),
            expected=", ".join(test.instruments),
        )
    taken = interval
    if instrument == "recorder":
        taken = interval or METERS["recorder"].interval
    try:
        if test.kind == "choice":
            return Reading(test.id, state=choice(car, test, instrument, rng), instrument=instrument)
        value, jumps = number(car, test, instrument, rng, taken)
    except CannotBeMeasured as why:
        return Reading(test.id, not_measured=why.reason, instrument=instrument)
    return Reading(test.id, value=value, instrument=instrument, roughly=jumps, interval=taken)


def next_visit(car: IndependentCar, rng: np.random.Generator, conditions: Conditions | None = None) -> IndependentCar:
    """The same car brought in again after a week or two of use.

    Parameters
    ----------
    car : IndependentCar
    rng : numpy.random.Generator
    conditions : Conditions, optional
        Told of the new visit; the day is then as they say, but for a guess's error. Drawn when left out.
    """
    dice = Dice(rng, car.wear)
    after = live(dice, replace(car, firing=True), int(rng.integers(5, 15)))
    if conditions is None:
        return replace(after, conditions=_told_conditions(dice, after.air, damp=after.log.damp))
    air = conditions.air_temperature
    true = after.air if air is None else air + AIR_WRONG * float(rng.standard_normal())
    return replace(after, conditions=conditions, air=true)
