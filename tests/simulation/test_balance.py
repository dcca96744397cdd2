"""State of charge through a case: the network's forward pass beside virtual cars that live through the same story."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Conditions, Visit
from faultnet.diagnosis.course import course
from faultnet.diagnosis.models import Model, model_for
from faultnet.model import bins
from faultnet.model.network import Array
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.repair import after_act
from faultnet.simulation.car.world import draw_car, next_visit

CAR = Car(Battery(600.0, age=5.0), displacement=1.6, label="invented")
CARS = 300
START = datetime(2026, 3, 2, 8, 0)
MODES: tuple[dict[str, str], ...] = (
    {}, {"use": "left_on"}, {"use": "long_standing"}, {"use": "short_trips"}, {"drain": "heavy"},
    {"drain": "stays_awake"},
    {"alternator": "no_output"}, {"belt": "lost"}, {"battery": "sulphated"}, {"rectifier": "leaking_diode"},
    {"charge_cable": "open"},
)  # fmt: skip
# What these leave of the supply differs from car to car and stays so in each.
BETWEEN: tuple[dict[str, str], ...] = (
    {"charge_control": "not_excited"}, {"charge_cable": "high_resistance"}, {"belt": "slips"},
)  # fmt: skip
MOST_APART = 0.03  # [-] of charge, between the means; what is spread over a cell of the network blurs each step
MOST_ONCE = 0.05  # [-] the same at one moment of a story
MOST_LOW = 0.08  # [-] of the cars, of which 0.06 is the scatter of 300
MOST_SHARE = 0.25  # [-] of the distribution, of which 0.05 is the scatter of 300 cars


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


@lru_cache(maxsize=8)
def model(conditions: Conditions) -> Model:
    return model_for(CAR, conditions, catalogue(), 1)


def story(rng: np.random.Generator, visits: int) -> list[tuple[Visit, float | None]]:
    """Visits with acts, each with the days since the one before; None where nobody wrote the dates down."""
    found, day, known = [], START, bool(rng.random() < 0.5)
    for number in range(visits):
        hours = None if rng.random() < 0.3 else float(rng.choice([3.0, 10.0, 40.0]))
        days = float(np.exp(rng.uniform(np.log(0.3), np.log(20.0)))) + (hours or 15.0) / 24.0
        day += timedelta(days=days)
        acts = []
        for _ in range(int(rng.integers(0, 3))):
            act = str(rng.choice(["drive", "charge", "wait", "long_charge"]))
            took = None if rng.random() < 0.3 else float(np.exp(rng.uniform(*np.log(HOURS[act]))))
            acts.append(Act(act, hours=took))
        visit = Visit(tuple(acts), Conditions(15.0, hours_standing=hours), day.isoformat() if known else "")
        found.append((visit, days if known and number else None))
    return found


HOURS = {"drive": (0.3, 4.0), "charge": (1.0, 20.0), "wait": (4.0, 60.0), "long_charge": (5.0, 30.0)}


def by_network(told: list[tuple[Visit, float | None]], modes: dict[str, str]) -> Iterator[Array]:
    """Shares of the charge when each visit begins, before its acts, and after them."""
    visits = [v for v, _ in told]
    models = [model(v.conditions) for v in visits]
    space = models[0].space
    wanted = np.zeros(len(space.components), dtype=int)
    for part, mode in modes.items():
        wanted[space.components.index(part)] = models[0].setting.modes(part).index(mode)
    row = int(np.flatnonzero((space.modes == wanted).all(axis=1))[0])
    for count in range(1, len(visits) + 1):
        for last in (replace(visits[count - 1], entries=()), visits[count - 1]):
            told_so_far = [*visits[: count - 1], last]
            present = course(models[:count], told_so_far, catalogue(), space).present
            mine = np.flatnonzero(present.rows.origin == row)  # a sulphated battery may have come back or not
            yield np.exp(present.weights.log[mine]) @ present.carried[mine]


def by_cars(told: list[tuple[Visit, float | None]], modes: dict[str, str], rng: np.random.Generator) -> list[Array]:
    """The same of drawn cars: state of charge of each, shape (cars,)."""
    found: list[list[float]] = [[] for _ in range(2 * len(told))]
    for _ in range(CARS):
        car = draw_car(rng, catalogue(), CAR, modes, told[0][0].conditions)
        for number, (visit, days) in enumerate(told):
            if number:
                car = next_visit(car, rng, visit.conditions, days=days)
            found[2 * number].append(car.charge)
            for act in visit.entries:
                assert isinstance(act, Act)
                car = after_act(car, act.act, "battery" if act.act == "long_charge" else None, rng, hours=act.hours)
            found[2 * number + 1].append(car.charge)
    return [np.array(charges) for charges in found]


@pytest.mark.parametrize("number", range(len(MODES)))
def test_the_charge_of_the_network_is_that_of_the_cars(number: int) -> None:
    """At each of up to eight visits of a drawn story, before and after its acts, by mode."""
    modes = MODES[number]
    apart, share = distances(modes, 700 + number, 8 if number < 4 else 4)
    assert max(apart) < MOST_ONCE, (modes, apart)
    assert np.mean(apart) < MOST_APART, (modes, apart)
    assert max(share) < MOST_SHARE, (modes, share)


@pytest.mark.parametrize("number", range(len(BETWEEN)))
def test_a_supply_that_differs_from_car_to_car_stays_with_each(number: int) -> None:
    """The mean, and the share of those that are below half charged: a car that charges does so at every drive."""
    told, modes = story(np.random.default_rng(720 + number), 4), BETWEEN[number]
    half = int(np.searchsorted(bins.CHARGE.edges, 0.45))
    rng = np.random.default_rng(800 + number)
    for expected, charges in zip(by_network(told, modes), by_cars(told, modes, rng), strict=True):
        low = np.mean(charges < bins.CHARGE.edges[half])
        assert float(expected @ bins.CHARGE.middles) == pytest.approx(charges.mean(), abs=MOST_ONCE), modes
        assert float(expected[:half].sum()) == pytest.approx(low, abs=MOST_LOW), modes


def distances(modes: dict[str, str], seed: int, visits: int) -> tuple[list[float], list[float]]:
    """Between network and cars at each moment of a drawn story: of the means, and of the distributions [-]."""
    rng = np.random.default_rng(seed)
    told = story(rng, visits)
    apart, share = [], []
    for expected, charges in zip(by_network(told, modes), by_cars(told, modes, rng), strict=True):
        counted = np.bincount(bins.CHARGE.index(charges), minlength=len(bins.CHARGE)) / CARS
        apart.append(abs(float(expected @ bins.CHARGE.middles) - float(charges.mean())))
        share.append(0.5 * float(np.abs(expected - counted).sum()))
    return apart, share
