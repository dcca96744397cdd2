"""Low-discrepancy points and the tables counted from them, against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from faultnet.model.bins import Bins
from faultnet.model.points import low_discrepancy_points
from faultnet.model.sampling import (
    blurred,
    histogram,
    normal_cumulative,
    quantile,
    standard_normal,
    within,
)
from faultnet.prior_set.types import Effect

VOLTS = Bins(tuple(np.linspace(8.0, 14.0, 25).tolist()), "V")


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
    """Bins of a normal distribution, counted from low-discrepancy points, against its cumulative distribution."""
    values = 11.0 + 0.8 * standard_normal(low_discrepancy_points(4096, 1)[0])
    expected = np.diff(stats.norm(11.0, 0.8).cdf(np.asarray(VOLTS.edges)))
    np.testing.assert_allclose(histogram(values, VOLTS, leak=0.0), expected, atol=3e-3)


def test_counts_of_several_cells_keep_their_places() -> None:
    values = np.array([[[8.1, 8.2], [13.9, 13.9]], [[11.0, 11.1], [8.1, 13.9]]])
    table = histogram(values, VOLTS, leak=0.0)
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
    np.testing.assert_allclose(found.sum(), sharp.sum(), rtol=0, atol=1e-12)


def test_blurring_by_nothing_changes_nothing() -> None:
    table = np.random.default_rng(2).dirichlet(np.ones(24), size=3).T
    np.testing.assert_allclose(blurred(table, VOLTS, 0.0), table, rtol=0, atol=1e-12)


def test_points_within_a_grid_broadcast_over_its_cells() -> None:
    small = Bins((0.0, 1.0, 2.0), "V")
    first, second = within([VOLTS, small], low_discrepancy_points(16, 2))
    assert np.broadcast_shapes(first.shape, second.shape) == (24, 2, 16)
    np.testing.assert_array_equal(small.index(second)[0, 1], 1)


@pytest.mark.parametrize("spread", [0.02, 0.25, 1.5])
def test_blurring_spreads_what_lies_evenly_in_a_bin(spread: float) -> None:
    """Against scipy: the normal distribution averaged over points within the bin."""
    bins = Bins((0.0, 0.1, 0.4, 1.0, 3.0), "V")
    table = blurred(np.eye(4), bins, spread)
    for k in range(4):
        within_bin = np.linspace(bins.edges[k], bins.edges[k + 1], 20001)
        below = [float(stats.norm.cdf(edge, within_bin, spread).mean()) for edge in bins.edges[1:-1]]
        np.testing.assert_allclose(table[:, k], np.diff([0.0, *below, 1.0]), atol=2e-4)
