"""Bins: what falls where, and the points within."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from faultnet.model import bins
from faultnet.model.bins import Bins

ALL = {name: value for name, value in vars(bins).items() if isinstance(value, Bins)}
assert len(ALL) > 30


def test_edges_rise_and_points_stay_within_their_bin() -> None:
    for name, scale in ALL.items():
        edges = np.asarray(scale.edges)
        points = scale.at(np.array([0.001, 0.5, 0.999]))
        assert (np.diff(edges) > 0).all(), name
        assert points.shape == (len(scale), 3), name
        assert ((points >= edges[:-1, None]) & (points <= edges[1:, None])).all(), name
        assert (np.diff(points, axis=1) > 0).all(), name


def test_every_point_is_found_in_its_own_bin() -> None:
    for name, scale in ALL.items():
        expected = np.repeat(np.arange(len(scale))[:, None], 5, axis=1)
        np.testing.assert_array_equal(scale.index(scale.at(np.array([0.05, 0.3, 0.5, 0.7, 0.95]))), expected, name)


def test_states_are_as_many_as_bins_and_sort_as_they_stand() -> None:
    for name, scale in ALL.items():
        assert len(set(scale.states)) == len(scale) == len(scale.states), name
        assert list(scale.states) == sorted(scale.states), name


@given(st.floats(-1e4, 1e4))
def test_values_beyond_the_ends_go_to_the_end_bins(value: float) -> None:
    scale = Bins((0.0, 1.0, 5.0), "V")
    expected = 0 if value < 1.0 else 1
    assert int(scale.index(np.array([value]))[0]) == expected


def test_an_edge_belongs_to_the_bin_above_it() -> None:
    scale = Bins((0.0, 1.0, 5.0, 6.0), "V")
    np.testing.assert_array_equal(scale.index(np.array([0.0, 1.0, 5.0, 6.0])), [0, 1, 2, 2])


def test_widths_and_middles_by_hand() -> None:
    scale = Bins((1.0, 2.0, 4.0), "V")
    np.testing.assert_allclose(scale.widths, [1.0, 2.0])
    np.testing.assert_allclose(scale.middles, [1.5, 3.0])


def test_middles_of_logarithmic_bins_are_geometric_means() -> None:
    """sqrt(1 x 4) = 2 and sqrt(4 x 16) = 8; a bin that starts at nought counts from a quarter of its upper edge."""
    np.testing.assert_allclose(Bins((1.0, 4.0, 16.0), "ohm", logarithmic=True).middles, [2.0, 8.0])
    np.testing.assert_allclose(Bins((0.0, 4.0), "ohm", logarithmic=True).middles, [2.0])
