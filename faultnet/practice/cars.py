"""Which virtual car somebody practises on: a course, or one drawn by world, difficulty and number."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.types import Car
from faultnet.errors import CarError
from faultnet.practice.courses import Course, course
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.vehicle import VirtualCar
from faultnet.simulation.car.world import draw_car
from faultnet.simulation.independent.world import draw_independent
from faultnet.simulation.workshop.roster import ROSTER, drawn_car, place_of
from faultnet.simulation.worlds import AnyCar

WORLDS = {"matched": "standard", "independent": "independent"}
DIFFICULTIES = ("easy", "medium", "hard")
HARD = ("comes and goes", "two faults", "wrong label")
SEED = 12  # of all cars to practise on; with the number it makes a car's random streams
MOST = 10**9
AGE, CLIMATE = 5.0, "temperate"  # base rates by which a single fault is chosen
WRONG_LABEL = (0.6, 1.65)  # [-] a DIN figure taken for an EN one, and the other way about; from memory


@dataclass(frozen=True)
class Ticket:
    """Names a car: the same ticket is the same car, for everybody.

    Parameters
    ----------
    world : {"matched", "independent"}
        By the equations and spreads that the advice works with, or by others.
    difficulty : {"easy", "medium", "hard"}
        One plain fault; as cars come in; one that comes and goes, two faults, or a wrong label.
    number : int
    course : str
        Id of a set course, which the rest then says nothing about; empty for a drawn car.

    Raises
    ------
    CarError
        If there is no such world, difficulty, number or course.

    Examples
    --------
    >>> Ticket("matched", "easy", 3).words
    'matched world, easy, number 3'
    """

    world: str = "matched"
    difficulty: str = "easy"
    number: int = 0
    course: str = ""

    def __post_init__(self) -> None:
        for what, given, known in (
            ("world", self.world, tuple(WORLDS)),
            ("difficulty", self.difficulty, DIFFICULTIES),
        ):
            if given not in known:
                raise CarError(f"no such {what} to practise in", got=repr(given), expected=", ".join(known))
        if isinstance(self.number, bool) or not isinstance(self.number, int) or not 0 <= self.number <= MOST:
            raise CarError("no such number of a car", got=repr(self.number), expected=f"0 to {MOST}")
        if self.course and course(self.course).id != self.course:
            raise CarError("no such course", got=repr(self.course), expected="the id of one")

    @property
    def words(self) -> str:
        """What it is in words, without what is at fault."""
        if self.course:
            return f"course: {course(self.course).title}"
        return f"{self.world} world, {self.difficulty}, number {self.number}"


@dataclass(frozen=True, eq=False)
class Brought:
    """A car as it is brought in.

    Parameters
    ----------
    vehicle : VirtualCar or IndependentCar
        What is true of it.
    told : Car
        What its label and papers say.
    complaint : str
        In the driver's words; empty where the answer to how it turns over says it all.
    number : int
        Of its random streams.
    """

    vehicle: AnyCar
    told: Car
    complaint: str
    number: int

    @property
    def key(self) -> tuple[int, int]:
        """Of its random streams, as the workshop takes it."""
        return SEED, self.number


def car_of(ticket: Ticket, catalogue: Catalogue) -> Brought:
    """Draw the car of a ticket.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> car_of(Ticket(course="sound_car"), load_catalogue()).vehicle.faults
    ()
    """
    if ticket.course:
        return _set_car(course(ticket.course), catalogue)
    world, number = WORLDS[ticket.world], ticket.number
    if ticket.difficulty == "medium":
        vehicle = drawn_car(catalogue, SEED, number, world).vehicle
        return Brought(vehicle, vehicle.car, "", number)
    drawn = (DIFFICULTIES.index(ticket.difficulty), list(WORLDS).index(ticket.world))
    rng = np.random.default_rng([SEED, number, *drawn])
    kind = "plain" if ticket.difficulty == "easy" else HARD[int(rng.integers(len(HARD)))]
    vehicle = _with_faults(catalogue, number, world, chosen_faults(rng, catalogue, kind))
    told = vehicle.car
    if kind == "wrong label":
        told = _wrongly_labelled(told, float(WRONG_LABEL[int(rng.integers(2))]))
    return Brought(vehicle, told, "", number)


def chosen_faults(rng: np.random.Generator, catalogue: Catalogue, kind: str) -> dict[str, str]:
    """Faults of a kind of car, by the base rates.

    Parameters
    ----------
    rng : numpy.random.Generator
    catalogue : Catalogue
    kind : {"plain", "comes and goes", "two faults", "wrong label"}
    """
    modes = [(c.id, m.id, m.comes_and_goes) for c in catalogue.components if c.id != "unlisted" for m in c.modes[1:]]
    if kind == "plain":
        modes = [m for m in modes if not m[2]]
    elif kind == "comes and goes":
        modes = [m for m in modes if m[2]]
    found: dict[str, str] = {}
    for _ in range(2 if kind == "two faults" else 1):
        left = [m for m in modes if m[0] not in found]
        rates = [catalogue.rate(component, mode, AGE, CLIMATE) for component, mode, _ in left]
        weights = np.array([value / of for value, of in rates])
        component, mode, _ = left[int(rng.choice(len(left), p=weights / weights.sum()))]
        found[component] = mode
    return found


def _with_faults(catalogue: Catalogue, number: int, world: str, modes: Mapping[str, str]) -> AnyCar:
    if world == "independent":
        return draw_independent(catalogue, SEED, number, "standard", modes)
    car, conditions = ROSTER[place_of(SEED, number)]
    return draw_car(np.random.default_rng([SEED, number, 2]), catalogue, car, modes, conditions, world)


def _wrongly_labelled(car: Car, factor: float) -> Car:
    if car.battery.rating is None:
        return car
    rating = min(max(round(car.battery.rating * factor / 10.0) * 10.0, 150.0), 1500.0)
    return replace(car, battery=replace(car.battery, rating=rating))


def _set_car(found: Course, catalogue: Catalogue) -> Brought:
    rng = np.random.default_rng([SEED, found.number, 5])
    vehicle: VirtualCar = draw_car(rng, catalogue, found.car, found.faults, found.conditions, faults_on=found.shows)
    charge = vehicle.charge if found.charge is None else found.charge
    surface = vehicle.surface if found.surface is None else found.surface
    vehicle = replace(vehicle, charge=charge, surface=surface, traits={**vehicle.traits, **found.traits})
    return Brought(vehicle, found.car, found.complaint, found.number)
