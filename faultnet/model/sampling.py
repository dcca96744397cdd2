"""Tables counted from values at low-discrepancy points."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from math import erf, pi, sqrt
from statistics import NormalDist
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from faultnet.model.bins import Bins
from faultnet.model.network import Array, normalised
from faultnet.prior_set.types import Effect

HIDDEN_LEAK = 1e-13  # share of a hidden node spread evenly over its states: no zeros, and far less than several slips
WITHIN_END = 0.25  # how far from an end that is never reached what lies in its bin begins, as a share of the bin
OffBy = Literal["amount", "factor", "share"]
FINER = 4  # parts that a bin is cut into before a spread is added to what lies in it


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


def normal_share(values: Array) -> Array:
    """The same of many values, by the table that :func:`standard_normal` reads the other way; beyond its ends 0 or 1.

    Examples
    --------
    >>> normal_share(np.array([-9.0, 0.0, 1.0])).round(4).tolist()
    [0.0, 0.5, 0.8413]
    """
    share, normal = _normal_table()
    return np.interp(values, normal, share, left=0.0, right=1.0)


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
    return np.asarray(np.tensordot(_smeared(bins.edges, bins.edges, spread).T, table, axes=(1, 0)))


def _smeared(given: tuple[float, ...], seen: tuple[float, ...], spread: float | Array) -> Array:
    return _kernel(given, seen, float(spread) if np.ndim(spread) == 0 else tuple(np.asarray(spread).tolist()))


@lru_cache(maxsize=64)
def _kernel(given: tuple[float, ...], seen: tuple[float, ...], spread: float | tuple[float, ...]) -> Array:
    """Share of what lies evenly in each interval that falls into each bin once a normal spread is added to it.

    Shape (intervals, bins); what falls beside the outer bins is in them.
    """
    own, edges = np.asarray(given), np.asarray(seen)
    width = np.maximum(np.broadcast_to(np.asarray(spread, dtype=np.float64), (len(own) - 1,)), 1e-12)[:, None]
    below = _whole_below((edges[1:-1] - own[:-1, None]) / width) - _whole_below((edges[1:-1] - own[1:, None]) / width)
    below = below * width / np.diff(own)[:, None]
    cumulative = np.hstack([np.zeros((len(own) - 1, 1)), below, np.ones((len(own) - 1, 1))])
    return np.asarray(np.diff(cumulative, axis=1))


def unlike(table: Array, bins: Bins, scale: float, tail: tuple[float, float], off_by: OffBy = "amount") -> Array:
    """Widen a table by what the model does not know of a car: a double exponential, some of it wider.

    Parameters
    ----------
    table : array, shape (bins, ...)
    bins : Bins
    scale : float
        Of the double exponential [unit of the bins, or - where it is off by something else].
    tail : tuple of float
        Share of cars that are further off [-], and by how many times.
    off_by : {"amount", "factor", "share"}
        Share: a part of a whole, the end of the last bin, is off in the odds of its share, and never exceeds the whole.

    Examples
    --------
    >>> unlike(np.eye(2), Bins((0.0, 1.0, 2.0), "V"), 0.1, (0.1, 4.0)).round(3)
    array([[0.937, 0.063],
           [0.063, 0.937]])
    """
    return np.asarray(np.tensordot(_unlike(bins.edges, scale, tail, off_by).T, table, axes=(1, 0)))


@lru_cache(maxsize=64)
def _unlike(edges: tuple[float, ...], scale: float, tail: tuple[float, float], off_by: OffBy) -> Array:
    """Share of what lies evenly in each bin that falls into each bin, shape (bins, bins)."""
    own = np.asarray(edges)
    if off_by != "amount":
        own = np.append(WITHIN_END * own[1], own[1:])
    if off_by == "share":
        own[-1] = edges[-1] - WITHIN_END * (edges[-1] - edges[-2])
        own = own / (edges[-1] - own)
    if off_by != "amount":
        own = np.log(own)
    share, times = tail
    inner, width = own[1:-1], np.diff(own)[:, None]
    below: Array = np.zeros((len(width), len(inner)))
    for weight, wide in ((1.0 - share, scale), (share, times * scale)):
        reach = (inner - own[:-1, None]) / wide, (inner - own[1:, None]) / wide
        below += weight * (_exponential_below(reach[0]) - _exponential_below(reach[1])) * wide / width
    zeros = np.zeros((len(width), 1))
    return np.asarray(np.diff(np.hstack([zeros, below, zeros + 1.0]), axis=1))


def _exponential_below(edge: Array) -> Array:
    """Integral of the cumulative double exponential distribution up to an edge."""
    return np.asarray(np.maximum(edge, 0.0) + 0.5 * np.exp(-np.abs(edge)))


def masses(effect: Effect, bins: Bins) -> Array:
    """Chance of each bin for a value spread by an effect, exact to the far tails: shape (bins,)."""
    if effect.shape == "lognormal":
        return in_bins(effect.centre, effect.spread, bins)
    edges = np.asarray(bins.edges)
    if effect.shape == "normal":
        below = normal_cumulative((edges[1:-1] - effect.centre) / effect.spread)
    else:
        below = np.clip((edges[1:-1] - effect.centre) / (effect.spread - effect.centre), 0.0, 1.0)
    return normalised(np.diff(below, prepend=0.0, append=1.0), HIDDEN_LEAK)


def in_bins(middle: Array | float, spread: Array | float, bins: Bins, beside: Array | float = 0.0) -> Array:
    """Chance of each bin for lognormal values, and what is added to them, averaged over the last axis.

    Parameters
    ----------
    middle : float or array, shape (..., samples)
        Medians [unit of the bins].
    spread : float or array
        Standard deviation in the logarithm [-].
    bins : Bins
    beside : float or array, shape (..., samples)
        Added to each value [unit of the bins].

    Returns
    -------
    array, shape (bins, ...)
        A share of :data:`HIDDEN_LEAK` is spread evenly, so that nothing is ruled out.

    Examples
    --------
    >>> in_bins(1.0, 0.5, Bins((0.0, 1.0, 2.0), "-")).round(3)
    array([0.5, 0.5])
    """
    inner = np.asarray(bins.edges)[1:-1]
    middle, beside = np.broadcast_arrays(np.atleast_1d(middle), np.atleast_1d(beside))
    room = np.maximum(inner.reshape(-1, *(1,) * middle.ndim) - beside, 1e-12)
    below = smooth_cumulative((np.log(room) - np.log(middle)) / spread).mean(axis=-1)
    zeros = np.zeros((1, *below.shape[1:]))
    return normalised(np.diff(np.concatenate([zeros, below, zeros + 1.0]), axis=0), HIDDEN_LEAK)


@lru_cache(maxsize=1)
def _cumulative_table() -> tuple[Array, Array]:
    values = np.linspace(-9.0, 9.0, 18_001)
    return values, normal_cumulative(values)


def smooth_cumulative(values: Array) -> Array:
    """Cumulative standard normal distribution from a table, to 1e-7 [-]: many values at once."""
    return np.asarray(np.interp(values, *_cumulative_table()))


def scattered(values: Array, bins: Bins, spread: float | Array, leak: float = 1e-4) -> Array:
    """As :func:`histogram` of values to which a normal spread is added, sharper than a histogram that is blurred.

    A value counts as spread evenly over the quarter of the bin that it lies in (:data:`FINER`).

    Parameters
    ----------
    values : array, shape (..., samples)
    bins : Bins
    spread : float, or array of shape (bins,)
        Standard deviation [unit of the bins]; one, or one for each bin.
    leak : float
        Share spread evenly over all bins [-].

    Returns
    -------
    array, shape (bins, ...)

    Examples
    --------
    >>> scattered(np.array([0.99]), Bins((0.0, 1.0, 2.0), "V"), 0.1, leak=0.0).round(2)
    array([0.84, 0.16])
    """
    edges = np.asarray(bins.edges)
    shares = np.arange(FINER) / FINER
    fine = Bins((*(edges[:-1, None] + bins.widths[:, None] * shares).ravel().tolist(), float(edges[-1])), bins.unit)
    own = spread if np.ndim(spread) == 0 else np.repeat(spread, FINER)
    counts = cell_counts(fine.index(values), len(fine))
    return normalised(np.tensordot(_smeared(fine.edges, bins.edges, own).T, counts, axes=(1, 0)), leak)


def _whole_below(edge: Array) -> Array:
    """Integral of the cumulative standard normal distribution up to an edge."""
    near = np.clip(edge, -38.0, 38.0)
    density = np.exp(-0.5 * near**2) / sqrt(2.0 * pi)
    return np.asarray(np.maximum(edge - near, 0.0) + near * normal_cumulative(near) + density)


def coarsened(fine: Bins, coarse: Bins) -> Array:
    """Chance of each coarse bin given a fine one, whose edges hold the coarse ones: shape (coarse, fine).

    Examples
    --------
    >>> coarsened(Bins((0.0, 1.0, 2.0, 4.0), "V"), Bins((0.0, 2.0, 4.0), "V")).round(3)
    array([[1., 1., 0.],
           [0., 0., 1.]])
    """
    inside = coarse.index(fine.middles)[None] == np.arange(len(coarse))[:, None]
    return normalised(inside.astype(np.float64), 1e-7)


def within(bins: Sequence[Bins], points: Array) -> list[Array]:
    """Sample points within every cell of a grid of bins.

    Parameters
    ----------
    bins : sequence of Bins
        One for each of the grid's axes.
    points : array, shape (>= len(bins), samples)
        Low-discrepancy points; row k serves axis k.

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
