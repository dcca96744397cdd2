"""Which cars a trial is run on: an invented roster, the faults drawn, each car by a random stream of its own.

The roster has few cars under few weathers, so that their networks are built once and shared; what the labels say and
the air's temperature are quantised by that, nothing else is: true temperatures, charge and every parameter of a car are
drawn anew, from the continuous physics.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from faultnet.case.types import Battery, Car, Conditions
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.world import draw_car
from faultnet.simulation.independent import world as independent
from faultnet.simulation.worlds import AnyCar

Draw = Literal["priors", "evenly"]

_CARS = (
    Car(Battery(400.0, "EN", age=2.0), "petrol", 1.0, 3, 70.0, label="invented small car"),
    Car(Battery(480.0, "EN", age=5.0), "petrol", 1.4, 4, 80.0, label="invented hatchback"),
    Car(Battery(600.0, "EN", age=7.0), "petrol", 1.6, 4, 90.0, label="invented estate car"),
    Car(Battery(640.0, "EN", age=3.5), "petrol", 2.0, 4, 120.0, label="invented saloon"),
    Car(Battery(720.0, "EN", age=6.0), "diesel", 2.0, 4, 120.0, label="invented van"),
    Car(Battery(680.0, "EN", "agm", age=4.5), "petrol", 1.6, 4, 110.0, label="invented estate car, start-stop"),
)
_AIR = ((4.0, 18.0), (10.0, 24.0), (0.0, 15.0), (12.0, 30.0), (-6.0, 14.0), (8.0, 20.0))  # [degC]
ROSTER: tuple[tuple[Car, Conditions], ...] = tuple(
    (car, Conditions(air_temperature=air, damp=air < 5.0))
    for car, airs in zip(_CARS, _AIR, strict=True)
    for air in airs
)


@dataclass(frozen=True, eq=False)
class Drawn:
    """A car of a trial.

    Parameters
    ----------
    number : int
        From nought; with the seed it makes the car's random stream.
    place : int
        In the roster.
    vehicle : VirtualCar or IndependentCar
    """

    number: int
    place: int
    vehicle: AnyCar


def place_of(seed: int, number: int, world: str = "standard") -> int:
    """Place in the roster of a car, or in the fleet of the independent worlds, known without drawing it."""
    if world in independent.INDEPENDENT_WORLDS:
        return independent.place_of(seed, number)
    return int(np.random.default_rng([seed, number, 1]).integers(len(ROSTER)))


def drawn_car(catalogue: Catalogue, seed: int, number: int, world: str = "standard", draw: Draw = "priors") -> Drawn:
    """Draw a car of a trial; the same seed and number give the same car to every policy.

    Parameters
    ----------
    catalogue : Catalogue
    seed, number : int
    world : {"standard", "mismatched", "independent", "independent-other"}
    draw : {"priors", "evenly"}
        Faults by the base rates, any number of them; or one fault, each mode in turn.

    Returns
    -------
    Drawn

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> drawn_car(load_catalogue(), 7, 0, draw="evenly").vehicle.faults
    (('battery', 'sulphated'),)
    """
    place, modes = place_of(seed, number, world), None
    if draw == "evenly":
        every = [(c.id, m.id) for c in catalogue.components for m in c.modes[1:]]
        modes = dict([every[number % len(every)]])
    if world in independent.INDEPENDENT_WORLDS:
        rates = independent.INDEPENDENT_WORLDS[world]
        return Drawn(number, place, independent.draw_independent(catalogue, seed, number, rates, modes))
    car, conditions = ROSTER[place]
    rng = np.random.default_rng([seed, number, 2])
    return Drawn(number, place, draw_car(rng, catalogue, car, modes, conditions, world))
