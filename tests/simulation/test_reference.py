"""The likelihood in the continuous physics that the bench compares with: against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.model.network import Array
from tests.bench.reference import Fit, narrowed

FLOOR, SLIP = 0.001, 0.01


def two_readings(values: Array) -> Fit:
    """Two readings of the sum of a car's four standard normal numbers, 6.00 and 6.02, each with an error of 0.02."""
    total = values.sum(axis=0)
    off = np.stack([(6.0 - total) / 0.02, (6.02 - total) / 0.02])
    height = np.full((2, 1), (1.0 - SLIP) / (0.02 * np.sqrt(2.0 * np.pi)))
    return Fit(off, height, np.full((2, 1), FLOOR), np.zeros(values.shape[1]))


def density(value: float, spread: float) -> float:
    return float(np.exp(-0.5 * (value / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi)))


def test_cars_are_moved_to_a_tail_that_hardly_a_drawn_car_is_in() -> None:
    """Three standard deviations out, two readings a hundredth of the prior wide: multiplied out, by hand."""
    prior = 2.0
    both = density(0.02, 0.02 * np.sqrt(2.0)) * density(6.01, np.hypot(prior, 0.02 / np.sqrt(2.0)))
    one = density(6.0, np.hypot(prior, 0.02)) + density(6.02, np.hypot(prior, 0.02))
    expected = np.log((1.0 - SLIP) ** 2 * both + (1.0 - SLIP) * FLOOR * one + FLOOR**2)
    rng = np.random.default_rng(3)
    runs = np.array([narrowed(two_readings, 4, rng) for _ in range(4)])
    assert np.log(np.exp(runs - expected).mean()) == pytest.approx(0.0, abs=0.1)
