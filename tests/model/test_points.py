"""Low-discrepancy points: against SciPy's Sobol sequence, and how evenly they lie by its measures."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import qmc

from faultnet.model.points import BITS, MOST_DIMENSIONS, direction_numbers, low_discrepancy_points


@pytest.mark.parametrize("count, dimensions", [(64, 2), (64, 3), (192, 4), (192, 6), (192, 8), (384, 3), (512, 4)])
def test_points_are_more_even_than_random_ones(count: int, dimensions: int) -> None:
    """L2 star discrepancy below the root mean square of random points, sqrt((2^-d - 3^-d) / n).

    The closed form for random points is a textbook one (Niederreiter 1992, from memory), checked below.
    """
    points = low_discrepancy_points(count, dimensions)
    assert points.shape == (dimensions, count)
    assert points.min() >= 0.0
    assert points.max() < 1.0
    assert qmc.discrepancy(points.T, method="L2-star") < random_discrepancy(count, dimensions)


def random_discrepancy(count: int, dimensions: int) -> float:
    return float(np.sqrt((2.0**-dimensions - 3.0**-dimensions) / count))


def test_the_yardstick_itself_holds_for_random_points() -> None:
    rng = np.random.default_rng(7)
    found = [qmc.discrepancy(rng.random((64, 3)), method="L2-star") ** 2 for _ in range(400)]
    np.testing.assert_allclose(np.sqrt(np.mean(found)), random_discrepancy(64, 3), rtol=0.05)


@pytest.mark.parametrize("count", [40, 64, 96, 1024])
@pytest.mark.parametrize("dimensions", [1, 2, 6, 8, 15])
def test_every_dimension_by_itself_is_spaced_evenly(count: int, dimensions: int) -> None:
    """Else whole stretches of what varies are met by no point, and a reading from there is a riddle."""
    for row in low_discrepancy_points(count, dimensions):
        np.testing.assert_allclose(np.sort(row), (np.arange(count) + 0.5) / count)


@pytest.mark.parametrize("count, dimensions", [(64, 8), (96, 8), (256, 6), (1024, 6), (1024, 9)])
def test_what_varies_by_itself_is_not_correlated(count: int, dimensions: int) -> None:
    found = np.corrcoef(low_discrepancy_points(count, dimensions)) - np.eye(dimensions)
    assert np.abs(found).max() < 0.7 / np.sqrt(count)


def test_direction_numbers_against_scipy() -> None:
    """SciPy's are those of Joe and Kuo; its points by Gray code are ours in another order, before the shift."""
    points = qmc.Sobol(MOST_DIMENSIONS, scramble=False, bits=BITS).random(64).T
    number, ours = np.arange(64), np.zeros((MOST_DIMENSIONS, 64), dtype=np.int64)
    for bit in range(6):
        ours ^= ((number ^ number >> 1) >> bit & 1) * direction_numbers()[:, bit, None]
    np.testing.assert_array_equal(ours / 2.0**BITS, points)
    assert direction_numbers().max() < 2**BITS


def test_points_are_the_same_every_time() -> None:
    np.testing.assert_array_equal(low_discrepancy_points(64, 3), low_discrepancy_points(64, 3))
    assert low_discrepancy_points(64, 3)[0, :3].tolist() == [0.6171875, 0.1171875, 0.8671875]
