"""Even points and the tables counted from them, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from faultnet.catalogue.types import Effect
from faultnet.network.bins import Bins
from faultnet.network.sampling import (
    blurred,
    counted,
    even_points,
    normal_cumulative,
    quantile,
    standard_normal,
    within,
)

VOLTS = Bins(tuple(np.linspace(8.0, 14.0, 25).tolist()), "V")


@pytest.mark.parametrize("dimensions", [1, 2, 4, 8])
def test_points_are_even_in_every_dimension_and_pair(dimensions: int) -> None:
    """A mean of one half, and no correlation between dimensions, to well within what as many random points would give."""
    points = even_points(512, dimensions)
    assert points.shape == (dimensions, 512)
    assert points.min() >= 0.0
    assert points.max() < 1.0
    np.testing.assert_allclose(points.mean(axis=1), 0.5, atol=0.01)
    correlation = np.atleast_2d(np.corrcoef(points)) - np.eye(dimensions)
    assert np.abs(correlation).max() < 0.05


@pytest.mark.parametrize("dimensions", [1, 3, 6])
def test_largest_gap_between_points_is_small(dimensions: int) -> None:
    """Star discrepancy of one dimension: with n random points about 1/sqrt(n) = 0.044, here below 0.02."""
    for row in even_points(512, dimensions):
        ordered = np.sort(row)
        assert np.abs(ordered - (np.arange(512) + 0.5) / 512).max() < 0.02


def test_points_are_the_same_every_time() -> None:
    np.testing.assert_array_equal(even_points(64, 3), even_points(64, 3))


def test_normal_quantiles_against_scipy() -> None:
    share = np.linspace(0.005, 0.995, 101)
    np.testing.assert_allclose(standard_normal(share), stats.norm.ppf(share), atol=2e-3)


def test_normal_cumulative_against_scipy() -> None:
    values = np.linspace(-6.0, 6.0, 25).reshape(5, 5)
    np.testing.assert_allclose(normal_cumulative(values), stats.norm.cdf(values), rtol=0, atol=1e-14)


@pytest.mark.parametrize(
    "shape, centre, spread, expected",
    [
        ("normal", 12.0, 0.5, stats.norm(12.0, 0.5)),
        ("uniform", 2.0, 6.0, stats.uniform(2.0, 4.0)),
        ("lognormal", 3.0, 0.4, stats.lognorm(0.4, scale=3.0)),
    ],
)
def test_quantiles_of_effects_against_scipy(shape: str, centre: float, spread: float, expected: object) -> None:
    effect = Effect("c", "m", "p", shape, centre, spread, "V", "", "estimate", "")  # type: ignore[arg-type]
    share = np.linspace(0.02, 0.98, 49)
    np.testing.assert_allclose(quantile(effect, share), expected.ppf(share), rtol=2e-3)  # type: ignore[attr-defined]


def test_counts_are_the_integral_of_the_density() -> None:
    """Bins of a normal distribution, counted from even points, against its cumulative distribution."""
    values = 11.0 + 0.8 * standard_normal(even_points(4096, 1)[0])
    expected = np.diff(stats.norm(11.0, 0.8).cdf(np.asarray(VOLTS.edges)))
    np.testing.assert_allclose(counted(values, VOLTS, leak=0.0), expected, atol=3e-3)


def test_counts_of_several_cells_keep_their_places() -> None:
    values = np.array([[[8.1, 8.2], [13.9, 13.9]], [[11.0, 11.1], [8.1, 13.9]]])
    table = counted(values, VOLTS, leak=0.0)
    assert table.shape == (24, 2, 2)
    np.testing.assert_allclose([table[0, 0, 0], table[23, 0, 1], table[12, 1, 0], table[0, 1, 1]], [1.0, 1.0, 1.0, 0.5])
    np.testing.assert_allclose(table.sum(axis=0), 1.0)


def test_blurring_a_normal_by_a_normal_adds_the_variances() -> None:
    sharp = np.diff(stats.norm(11.0, 0.5).cdf(np.asarray(VOLTS.edges)))
    found = blurred(sharp[:, None], VOLTS, 0.6)[:, 0]
    mean, spread = found @ VOLTS.middles, np.sqrt(found @ VOLTS.middles**2 - (found @ VOLTS.middles) ** 2)
    bin_width = 0.25
    np.testing.assert_allclose(mean, 11.0, atol=0.01)
    np.testing.assert_allclose(spread, np.sqrt(0.5**2 + 0.6**2 + 2 * bin_width**2 / 12), atol=0.01)
    np.testing.assert_allclose(found.sum(), 1.0, rtol=0, atol=1e-12)


def test_blurring_by_nothing_changes_nothing() -> None:
    table = np.random.default_rng(2).dirichlet(np.ones(24), size=3).T
    np.testing.assert_allclose(blurred(table, VOLTS, 0.0), table, rtol=0, atol=1e-12)


def test_points_within_a_grid_broadcast_over_its_cells() -> None:
    small = Bins((0.0, 1.0, 2.0), "V")
    first, second = within([VOLTS, small], even_points(16, 2))
    assert np.broadcast_shapes(first.shape, second.shape) == (24, 2, 16)
    np.testing.assert_array_equal(small.index(second)[0, 1], 1)
