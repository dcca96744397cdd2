"""Draw virtual cars, measure them, repair them: everything the trials need, under one name.

:func:`measure` and :func:`after_act` live in :mod:`~faultnet.simulation.car.measure` and
:mod:`~faultnet.simulation.car.repair`; their functions can be imported from here.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np

from faultnet.case.types import Battery, Car, Conditions
from faultnet.model.balance import later_use
from faultnet.model.setting import Setting
from faultnet.physics.quantity import Quantity
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car import charge
from faultnet.simulation.car.causes import completed, draw_active, draw_modes
from faultnet.simulation.car.measure import measure
from faultnet.simulation.car.repair import act_outcome, after_act, still_at_fault
from faultnet.simulation.car.spreads import WORLDS, World, drawn, world_named
from faultnet.simulation.car.vehicle import TRAITS, VirtualCar, draw_parameters, effect_of

__all__ = [
    "WORLDS",
    "VirtualCar",
    "World",
    "act_outcome",
    "after_act",
    "draw_car",
    "draw_vehicle",
    "measure",
    "next_visit",
    "still_at_fault",
]

# An invented fleet: displacement [l], fuel, cold-cranking current by EN [A], alternator [A], cylinders, cars of 100.
FLEET: tuple[tuple[float, str, float, float, int, int], ...] = (
    (1.0, "petrol", 400.0, 70.0, 3, 20),
    (1.4, "petrol", 480.0, 80.0, 4, 25),
    (1.6, "petrol", 600.0, 90.0, 4, 25),
    (2.0, "petrol", 640.0, 120.0, 4, 12),
    (2.0, "diesel", 720.0, 120.0, 4, 18),
)
AIR = {"cold": (2.0, 10.0), "temperate": (11.0, 8.0), "hot": (26.0, 7.0)}  # [degC] mean and sd over a year; estimate


def draw_car(
    rng: np.random.Generator,
    catalogue: Catalogue,
    car: Car | None = None,
    modes: Mapping[str, str] | None = None,
    conditions: Conditions | None = None,
    world: str = "standard",
    *,
    faults_on: bool | None = None,
) -> VirtualCar:
    """Draw a virtual car that was brought in.

    Parameters
    ----------
    rng : numpy.random.Generator
    catalogue : Catalogue
    car : Car, optional
        One of an invented fleet when left out.
    modes : mapping of component to mode, optional
        All other components are sound; drawn from the base rates, given that the car was brought in, when left out.
    conditions : Conditions, optional
        What the technician knows of the visit; a day of that climate when left out.
    world : {"standard", "mismatched"}
        The second has spreads 1.3 times as wide, other base rates and 5 % slips.
    faults_on : bool, optional
        Puts faults that come and go on, or off, at this visit instead of drawing it.

    Returns
    -------
    VirtualCar

    Raises
    ------
    CarError
        If the world or a mode is unknown.
    PriorsError
        If a component is unknown.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> vehicle = draw_car(np.random.default_rng(5), load_catalogue(), modes={"drain": "heavy"})
    >>> vehicle.faults
    (('drain', 'heavy'),)
    """
    chosen = world_named(world)
    car = car or draw_vehicle(rng)
    conditions = conditions or draw_conditions(rng, car)
    found = draw_modes(rng, catalogue, car, chosen) if modes is None else completed(catalogue, modes)
    parameters = draw_parameters(rng, catalogue, found, chosen)
    traits = {name: float(rng.standard_normal()) for name in TRAITS}
    hours = float(hours_brought_in(conditions, found, parameters))
    setting = _true_setting(rng, car, conditions, catalogue, chosen, hours)
    vehicle = VirtualCar(
        car,
        conditions,
        setting,
        chosen,
        found,
        found,
        parameters,
        traits,
        charge=1.0,
        surface=0.0,
        hours_standing=hours,
    )

    def brought_in() -> float:
        return float(charge.charge_brought_in(rng, setting, found, parameters, hours, chosen))

    return _at_visit(vehicle, rng, faults_on, brought_in)


def draw_vehicle(rng: np.random.Generator) -> Car:
    """A car of an invented fleet, its battery up to nine years old."""
    shares = np.array([row[-1] for row in FLEET], dtype=float)
    litres, fuel, rating, alternator, cylinders, _ = FLEET[int(rng.choice(len(FLEET), p=shares / shares.sum()))]
    battery = Battery(rating, "EN", age=round(float(rng.uniform(0.5, 9.0)), 1))
    return Car(battery, "diesel" if fuel == "diesel" else "petrol", litres, cylinders, alternator, label="invented")


def draw_conditions(rng: np.random.Generator, car: Car) -> Conditions:
    """A day of the car's climate; how long it stood is not known."""
    mean, spread = AIR[car.climate]
    air = float(np.clip(mean + spread * rng.standard_normal(), -30.0, 45.0))
    return Conditions(air_temperature=round(air, 0), damp=bool(rng.random() < 0.2))


def hours_brought_in(
    conditions: Conditions, modes: Mapping[str, str], parameters: Mapping[tuple[str, str, str], float]
) -> Quantity:
    """Hours since the engine last ran; a car that stands for weeks did so before what is known began [h]."""
    usual = 24.0 * parameters[("use", modes["use"], "days_standing")]
    known = conditions.hours_standing
    if known is None:
        return usual
    return np.maximum(usual, known) if modes["use"] == "long_standing" else known


def _true_setting(
    rng: np.random.Generator, car: Car, conditions: Conditions, catalogue: Catalogue, world: World, hours: float
) -> Setting:
    """The setting with the temperatures that really hold."""
    told = Setting(car, conditions, catalogue)
    air = conditions.air_temperature
    if air is None:
        air = told.air + world.widening * told.temperature_spread * float(rng.standard_normal())
    near = Setting(car, replace(conditions, air_temperature=float(np.clip(air, -50.0, 60.0))), catalogue)
    acid = near.electrolyte + world.widening * near.temperature_spread * float(rng.standard_normal())
    true = replace(
        near.conditions, electrolyte_temperature=float(np.clip(acid, -40.0, 80.0)), hours_standing=min(hours, 20000.0)
    )
    return Setting(car, true, catalogue)


def _at_visit(
    vehicle: VirtualCar, rng: np.random.Generator, faults_on: bool | None, held: Callable[[], float]
) -> VirtualCar:
    """The state of a visit: what is on, the charge it came with, the surface charge left."""
    setting, modes, parameters = vehicle.setting, vehicle.modes, vehicle.parameters
    active = draw_active(rng, vehicle.catalogue, modes, Setting(
        vehicle.car, vehicle.conditions, vehicle.catalogue
    ).brought_on, faults_on)  # fmt: skip
    brought = held()
    surface = charge.surface_after_driving(rng, setting, modes, parameters, vehicle.world)
    left = float(charge.surface_left(setting, surface, vehicle.hours_standing))
    does_not_pull = rng.random() < vehicle.number("weak_winding_does_not_pull")
    sticks = modes["solenoid"] == "weak_winding" and (does_not_pull if faults_on is None else faults_on)
    return replace(vehicle, active=active, charge=brought, surface=left, sticks=bool(sticks))


def next_visit(
    vehicle: VirtualCar,
    rng: np.random.Generator,
    conditions: Conditions | None = None,
    *,
    faults_on: bool | None = None,
    days: float | None = None,
) -> VirtualCar:
    """The same car brought in again: what comes and goes is drawn anew, it was driven and stood in between.

    What happened once, such as a lamp that was left on, does not happen again.

    Parameters
    ----------
    vehicle : VirtualCar
    rng : numpy.random.Generator
    conditions : Conditions, optional
        Of the new visit; a day of its climate when left out.
    faults_on : bool, optional
        As in :func:`draw_car`.
    days : float, optional
        Since the last visit [d]; drawn when left out.

    Returns
    -------
    VirtualCar
    """
    conditions = conditions or draw_conditions(rng, vehicle.car)
    setting = vehicle.setting
    use = dict(zip(setting.modes("use"), later_use(setting), strict=True))[vehicle.modes["use"]]
    now = {**vehicle.modes, "use": use}
    if days is None:
        days = charge.drawn_hours(rng, setting, "days_between_visits", vehicle.world)
    hours = conditions.hours_standing
    if hours is None:
        hours = 24.0 * min(drawn(effect_of(vehicle.catalogue, "use", use, "days_standing"), rng), days)
    setting = _true_setting(rng, vehicle.car, conditions, vehicle.catalogue, vehicle.world, hours)

    def brought_again() -> float:
        return charge.charge_brought_again(
            rng, setting, now, vehicle.parameters, vehicle.charge, days, hours, vehicle.world
        )

    moved = replace(vehicle, conditions=conditions, setting=setting, hours_standing=hours)
    return _at_visit(moved, rng, faults_on, brought_again)
