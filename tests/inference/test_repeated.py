"""Several readings of one number taken together: against integration over each bin, and what it is for."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from faultnet.inference.repeated import Number, together

EDGES = (0.0, 0.3, 0.7, 0.9, 1.3, 4.0)
ONE = Number(0.85, 0.01, 0.98, 0.002, EDGES)


def by_integration(numbers: list[Number]) -> np.ndarray:
    """Mean of the product of densities over 40,000 points of each bin."""
    found = []
    for low, high in pairwise(EDGES):
        x = low + (high - low) * (np.arange(40_000) + 0.5) / 40_000
        density = np.ones_like(x)
        for n in numbers:
            normal = np.exp(-0.5 * ((n.value - x) / n.spread) ** 2) / (n.spread * np.sqrt(2.0 * np.pi))
            density = density * (n.kept * normal + n.floor)
        found.append(density.mean())
    return np.array(found)


@pytest.mark.parametrize("values", [(0.85,), (0.85, 0.86), (0.85, 0.90, 0.87), (0.29, 0.31, 0.30, 2.0)])
def test_the_product_is_averaged_over_each_bin(values: tuple[float, ...]) -> None:
    numbers = [replace(ONE, value=v, spread=0.01 + 0.002 * k) for k, v in enumerate(values)]
    np.testing.assert_allclose(together(numbers), by_integration(numbers), rtol=1e-6)


def test_readings_that_agree_outweigh_a_slip_more_than_one_alone() -> None:
    """Beside the bin of a far value, where both must be slips, the second reading counts as much as the first."""
    alone, both = (together([replace(ONE, value=0.85 + 0.002 * k) for k in range(n)]) for n in (1, 2))
    gained = np.log(both[2] / both[4]) - np.log(alone[2] / alone[4])
    assert gained > np.log(alone[2] / alone[4])


def test_readings_apart_within_a_bin_do_not_pass_for_the_same() -> None:
    """Ten standard deviations apart one of them is a slip, although both lie in one bin."""
    near, far = (together([ONE, replace(ONE, value=v)])[2] for v in (0.852, 0.75))
    assert far < 0.02 * near
