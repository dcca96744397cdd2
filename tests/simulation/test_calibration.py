"""Beliefs against the truth of virtual cars with any number of faults: what is said with 30 % is so in 30 %."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np

from faultnet.case.types import Battery, Car, Case, Conditions, Visit
from faultnet.diagnosis import work_through
from faultnet.prior_set import load_catalogue
from faultnet.simulation.car.world import draw_car, measure

CAR = Car(Battery(600.0), label="invented")
MILD = Conditions(air_temperature=15.0, hours_standing=12.0)
TESTS = (
    *("how_it_turns_over", "rest_voltage", "crank_minimum", "charge_unloaded_voltage", "key_off_current"),
    *("positive_side_drop", "ground_side_drop", "fires_when_cranked"),
)
CARS = 250
CLASSES = (0.0, 0.01, 0.05, 0.2, 0.5, 0.8, 1.0 + 1e-9)
ALLOWED = 0.02  # beyond sampling error: bins, faults beyond the third


@lru_cache(maxsize=1)
def said_and_true() -> tuple[np.ndarray, np.ndarray]:
    """Belief in every fault mode of every car, and whether it holds."""
    catalogue, rng = load_catalogue(), np.random.default_rng(41)
    said, true = [], []
    for _ in range(CARS):
        vehicle = draw_car(rng, catalogue, CAR, None, MILD)
        entries = tuple(measure(vehicle, test, None, rng) for test in TESTS)
        marginals = work_through(Case(CAR, (Visit(entries, MILD),)), catalogue).belief.marginals()
        for component in catalogue.components:
            said += [float(p) for p in marginals[component.id][1:]]
            true += [vehicle.modes[component.id] == mode.id for mode in component.modes[1:]]
    return np.array(said), np.array(true, dtype=float)


def test_beliefs_are_calibrated_on_cars_of_the_standard_world() -> None:
    said, true = said_and_true()
    for low, high in pairwise(CLASSES):
        inside = (said >= low) & (said < high)
        mean = said[inside].mean()
        error = 4.0 * (mean * (1.0 - mean) / inside.sum()) ** 0.5
        assert abs(mean - true[inside].mean()) < error + ALLOWED * mean**0.5, (low, high, mean, true[inside].mean())


def test_readings_make_beliefs_better_than_base_rates() -> None:
    """Brier score against that of the share of each mode among these very cars, which no base rate can beat."""
    said, true = said_and_true()
    by_mode = true.reshape(CARS, -1)
    base = ((by_mode - by_mode.mean(axis=0)) ** 2).mean()
    assert ((said - true) ** 2).mean() < 0.9 * base
