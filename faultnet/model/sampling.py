"""Even points in several dimensions, and tables counted from them.

Tables are integrals of the physics over the spread of what varies. They are taken over a fixed additive-recurrence
sequence, so a network is the same on every machine and in every run.

References
----------
H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods, SIAM 1992, chapter 3 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import erf, pi, sqrt
from statistics import NormalDist
from typing import Any

import numpy as np
from numpy.typing import NDArray

from faultnet.model.bins import Bins
from faultnet.model.network import Array, normalised
from faultnet.prior_set.types import Effect


def low_discrepancy_points(count: int, dimensions: int) -> Array:
    """Low-discrepancy points in the unit cube, shape (dimensions, count).

    Examples
    --------
    >>> points = low_discrepancy_points(64, 3)
    >>> bool((abs(points.mean(axis=1) - 0.5) < 0.02).all())
    True
    """
    root = 2.0
    for _ in range(40):
        root = (1.0 + root) ** (1.0 / (dimensions + 1))
    steps = (1.0 / root) ** np.arange(1, dimensions + 1)
    return np.asarray((0.5 + np.outer(steps, np.arange(1, count + 1))) % 1.0)


@lru_cache(maxsize=1)
def _normal_table() -> tuple[Array, Array]:
    share = (np.arange(2048) + 0.5) / 2048
    normal = NormalDist()
    return share, np.array([normal.inv_cdf(float(u)) for u in share])


def standard_normal(share: Array) -> Array:
    """Quantiles of the standard normal distribution [-]."""
    grid, value = _normal_table()
    return np.asarray(np.interp(share, grid, value))


def normal_cumulative(values: Array) -> Array:
    """Cumulative standard normal distribution [-]."""
    flat = [0.5 * (1.0 + erf(v / sqrt(2.0))) for v in np.ravel(values)]
    return np.reshape(np.array(flat), np.shape(values))


def quantile(effect: Effect, share: Array) -> Array:
    """Value of an effect at these shares of its distribution [unit of the effect].

    Examples
    --------
    >>> from faultnet.prior_set.types import Effect
    >>> flat = Effect("c", "m", "p", "uniform", 1.0, 4.0, "V", "", "estimate", "")
    >>> quantile(flat, np.array([0.0, 0.5]))
    array([1. , 2.5])
    """
    if effect.shape == "uniform":
        return np.asarray(effect.centre + (effect.spread - effect.centre) * share)
    if effect.shape == "normal":
        return np.asarray(effect.centre + effect.spread * standard_normal(share))
    return np.asarray(effect.centre * np.exp(effect.spread * standard_normal(share)))


def histogram(values: Array, bins: Bins, leak: float = 1e-4) -> Array:
    """Share of the samples of each cell that fall into each bin.

    Parameters
    ----------
    values : array, shape (..., samples)
    bins : Bins
    leak : float
        Share spread evenly over all bins [-].

    Returns
    -------
    array, shape (bins, ...)
    """
    return normalised(cell_counts(bins.index(values), len(bins)), leak)


def cell_counts(states: NDArray[np.intp], card: int, weights: NDArray[Any] | None = None) -> Array:
    """Number of the samples of each cell that are in each state, or their weight.

    Parameters
    ----------
    states : int array, shape (..., samples)
    card : int
        Number of states.
    weights : array, shape of `states`, optional

    Returns
    -------
    array, shape (card, ...)

    Examples
    --------
    >>> cell_counts(np.array([[0, 2, 2], [1, 1, 1]]), 3)
    array([[1., 0.],
           [0., 3.],
           [2., 0.]])
    """
    flat = states.reshape(-1, states.shape[-1])
    flat = flat + card * np.arange(len(flat))[:, None]
    given = None if weights is None else weights.ravel()
    counts = np.bincount(flat.ravel(), given, minlength=len(flat) * card).reshape(len(flat), card)
    return counts.T.reshape(card, *states.shape[:-1]).astype(np.float64)


def blurred(table: Array, bins: Bins, spread: float | Array) -> Array:
    """Widen a table over bins by a normal spread [unit of the bins]; one spread, or one for each bin.

    Notes
    -----
    What is in a bin lies evenly within it: a spread much smaller than the bin moves a share of spread / (width
    sqrt(2 pi)) over each edge, where all of it in the middle would stay.

    Examples
    --------
    >>> blurred(np.eye(2), Bins((0.0, 1.0, 2.0), "V"), 0.1).round(3)
    array([[0.96, 0.04],
           [0.04, 0.96]])
    """
    edges = np.asarray(bins.edges)
    width = np.maximum(np.broadcast_to(np.asarray(spread, dtype=np.float64), (len(bins),)), 1e-12)[:, None]
    below = _whole_below((edges[1:-1] - edges[:-1, None]) / width) - _whole_below(
        (edges[1:-1] - edges[1:, None]) / width
    )
    cumulative = np.hstack([np.zeros((len(bins), 1)), below * width / bins.widths[:, None], np.ones((len(bins), 1))])
    kernel = np.diff(cumulative, axis=1)
    return np.asarray(np.tensordot(kernel.T, table, axes=(1, 0)))


def _whole_below(edge: Array) -> Array:
    """Integral of the cumulative standard normal distribution up to an edge."""
    near = np.clip(edge, -38.0, 38.0)
    density = np.exp(-0.5 * near**2) / sqrt(2.0 * pi)
    return np.asarray(np.maximum(edge - near, 0.0) + near * normal_cumulative(near) + density)


def within(bins: Sequence[Bins], points: Array) -> list[Array]:
    """Sample points within every cell of a grid of bins.

    Parameters
    ----------
    bins : sequence of Bins
        One for each of the grid's axes.
    points : array, shape (>= len(bins), samples)
        Even points; row k serves axis k.

    Returns
    -------
    list of array
        For each axis its values, shaped to broadcast to (*cards, samples).
    """
    result = []
    for k, b in enumerate(bins):
        values = b.at(points[k])
        shape = [1] * len(bins) + [points.shape[1]]
        shape[k] = len(b)
        result.append(values.reshape(shape))
    return result
