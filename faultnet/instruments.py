"""From what was read to how likely that reading is for every value of the quantity.

An instrument's stated accuracy is a limit; half of it is taken as a standard deviation (common practice, no
source). A small chance of a slip (wrong spot, wrong range, misread) keeps one bad entry from making certainty. A
reading taken away from the battery's posts carries the offset of that place, known well once both were compared at
rest and poorly before.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Instrument

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Offset:
    """Difference of a place of measurement from the battery's posts at rest [V].

    Parameters
    ----------
    mean, spread : float
        Mean and standard deviation [V].
    """

    mean: float = 0.0
    spread: float = 0.0


def reading_spread(instrument: Instrument, value: float, *, roughly: bool = False) -> float:
    """Standard deviation of a reading around the true value [unit of the reading].

    Parameters
    ----------
    instrument : Instrument
    value : float
        What was read, SI unit.
    roughly : bool
        Widens it: the figure jumped about or was read in passing.

    Returns
    -------
    float

    Notes
    -----
    sd = sqrt((limit / 2)^2 + resolution^2 / 12), limit = percent of reading + fixed share.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> meter = load_catalogue().instrument("better_multimeter")
    >>> reading_spread(meter, 12.6) < 0.05
    True
    """
    limit = instrument.percent / 100.0 * abs(value) + instrument.floor
    spread = sqrt((limit / 2.0) ** 2 + instrument.resolution**2 / 12.0)
    if roughly:
        spread = instrument.roughly_factor * spread + instrument.roughly_floor * abs(value)
    return max(spread, 1e-9)


def comparison_offset(at_module: float, at_posts: float, module: Instrument, posts: Instrument) -> Offset:
    """Offset of a place found by reading it and the posts together at rest.

    Parameters
    ----------
    at_module, at_posts : float
        The two readings [V].
    module, posts : Instrument
        What they were read with.

    Returns
    -------
    Offset
        Its spread holds both instruments' errors.
    """
    spread = sqrt(reading_spread(module, at_module) ** 2 + reading_spread(posts, at_posts) ** 2)
    return Offset(at_module - at_posts, spread)


def place_offset(instrument: Instrument) -> Offset:
    """Offset to expect of an instrument's place when nothing was compared."""
    return Offset(instrument.offset, instrument.offset_spread)


def while_cranking(offset: Offset, catalogue: Catalogue) -> Offset:
    """Offset of a place away from the posts while the engine cranks: part of the ground's drop is in it too.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> at_rest = Offset(-0.2, 0.05)
    >>> cranking = while_cranking(at_rest, load_catalogue())
    >>> cranking.mean < at_rest.mean, cranking.spread > at_rest.spread
    (True, True)
    """
    mean, spread = catalogue.number("away_while_cranking_mean"), catalogue.number("away_while_cranking_spread")
    return Offset(offset.mean + mean, sqrt(offset.spread**2 + spread**2))


def number_likelihood(
    value: float,
    edges: tuple[float, ...],
    instrument: Instrument,
    *,
    roughly: bool = False,
    offset: Offset | None = None,
    slipped: float | None = None,
) -> tuple[Array, float]:
    """Density of a reading for each bin of the true value, and under a fault the model does not know.

    Parameters
    ----------
    value : float
        What was read, SI unit of the edges.
    edges : tuple of float, length bins + 1
    instrument : Instrument
    roughly : bool
    offset : Offset, optional
        Of the place of measurement; none for the posts.
    slipped : float, optional
        Density of a slip at this reading [1/unit]; even over the range when left out.

    Returns
    -------
    likelihood : array, shape (bins,)
        Mean density over each bin [1/unit].
    background : float
        Density by :func:`background_shares` [1/unit].

    Notes
    -----
    Within a bin the true value is taken as evenly spread; the density is the normal error integrated over the bin.
    Readings beyond the last edges count as just inside them.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> meter = load_catalogue().instrument("better_multimeter")
    >>> likelihood, background = number_likelihood(12.6, (11.0, 12.0, 12.5, 12.7, 13.0), meter)
    >>> int(likelihood.argmax())
    2
    """
    shift = offset or Offset()
    spread = sqrt(reading_spread(instrument, value, roughly=roughly) ** 2 + shift.spread**2)
    at = min(max(value - shift.mean, edges[0] + 1e-9), edges[-1] - 1e-9)
    bounds = np.asarray(edges)
    cumulative = np.array([0.5 * (1.0 + erf((b - at) / spread / sqrt(2.0))) for b in bounds])
    density = np.diff(cumulative) / np.diff(bounds)
    slip = instrument.slip * (1.0 / (edges[-1] - edges[0]) if slipped is None else slipped)
    within = min(int(np.searchsorted(bounds, at, side="right")) - 1, len(edges) - 2)
    background = float(background_shares(edges)[within] / np.diff(bounds)[within])
    return (1.0 - instrument.slip) * density + slip, background


def background_shares(edges: tuple[float, ...]) -> Array:
    """Shares of the bins under a fault the model does not know [-], shape (bins,).

    A level is as likely at every volt. What is counted from nought and has its finest bins there (a drop, a ripple, a
    current) has no size of its own, so every bin is alike: spread evenly over the volts, nearly all of a drop would lie
    where only an open joint can take it, and one high reading would speak for "not listed" before the joint.

    Examples
    --------
    >>> background_shares((0.0, 0.1, 0.5, 12.0)).round(2), background_shares((8.0, 10.0, 12.0, 12.5)).round(2)
    (array([0.33, 0.33, 0.33]), array([0.44, 0.44, 0.11]))
    """
    widths = np.diff(np.asarray(edges))
    from_nought = edges[0] <= 0.0 and widths[:2].min() <= 1.01 * widths.min()
    shares = np.ones(len(widths)) if from_nought else widths
    return np.asarray(shares / shares.sum())


def above_likelihood(
    limit: float,
    edges: tuple[float, ...],
    instrument: Instrument,
    *,
    roughly: bool = False,
    offset: Offset | None = None,
    slipped: float | None = None,
) -> tuple[Array, float]:
    """Chance that a meter shows its over-limit sign, for each bin of the true value and under a fault not modelled.

    Parameters
    ----------
    limit : float
        End of the meter's range, SI unit of the edges.
    edges : tuple of float, length bins + 1
    instrument : Instrument
    roughly : bool
        The limit itself is known roughly only.
    offset : Offset, optional
        Of the place of measurement; none for the posts.
    slipped : float, optional
        Chance that a slip is shown so [-]; by an even spread over the range when left out.

    Returns
    -------
    likelihood : array, shape (bins,)
        Mean over each bin of the chance to be shown above the limit [-].
    background : float
        The same by :func:`background_shares` [-].

    Notes
    -----
    The tail of :func:`number_likelihood` beyond the limit: 1 - Phi((limit - x) / sd), with x at five points of each
    bin. A limit beyond the last bin counts as the lower edge of the last bin.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> meter = load_catalogue().instrument("multimeter_millivolts")
    >>> likelihood, background = above_likelihood(2.0, (0.0, 1.0, 2.0, 4.0), meter)
    >>> [round(float(x), 2) for x in likelihood], round(background, 2)
    ([0.01, 0.01, 0.99], 0.33)
    """
    shift = offset or Offset()
    spread = sqrt(reading_spread(instrument, limit, roughly=roughly) ** 2 + shift.spread**2)
    at = min(max(limit - shift.mean, edges[0]), edges[-2])
    bounds = np.asarray(edges)
    background = float(background_shares(edges) @ np.clip((bounds[1:] - at) / np.diff(bounds), 0.0, 1.0))
    return _shown_above(at, bounds, spread, instrument.slip, slipped), background


def below_likelihood(
    limit: float,
    edges: tuple[float, ...],
    instrument: Instrument,
    *,
    roughly: bool = False,
    offset: Offset | None = None,
    slipped: float | None = None,
) -> tuple[Array, float]:
    """Chance that a meter shows less than a limit, for each bin of the true value and under a fault not modelled.

    Parameters and what is returned are those of :func:`above_likelihood`, of which it is the mirror image; a limit
    before the first bin counts as the upper edge of the first bin.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> meter = load_catalogue().instrument("multimeter_millivolts")
    >>> likelihood, background = below_likelihood(2.0, (0.0, 1.0, 2.0, 4.0), meter)
    >>> [round(float(x), 2) for x in likelihood], round(background, 2)
    ([0.99, 0.99, 0.01], 0.67)
    """
    shift = offset or Offset()
    spread = sqrt(reading_spread(instrument, limit, roughly=roughly) ** 2 + shift.spread**2)
    at = min(max(limit - shift.mean, edges[1]), edges[-1])
    bounds = np.asarray(edges)
    background = float(background_shares(edges) @ np.clip((at - bounds[:-1]) / np.diff(bounds), 0.0, 1.0))
    return _shown_above(-at, -bounds[::-1], spread, instrument.slip, slipped)[::-1], background


def _shown_above(at: float, bounds: Array, spread: float, slip: float, slipped: float | None) -> Array:
    """Chance that more than `at` is shown, for each bin."""
    points = bounds[:-1, None] + np.diff(bounds)[:, None] * np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    tail = np.array([[0.5 * (1.0 + erf((x - at) / spread / sqrt(2.0))) for x in row] for row in points]).mean(axis=1)
    even = float((bounds[-1] - at) / (bounds[-1] - bounds[0]))
    return np.asarray((1.0 - slip) * tail + slip * (even if slipped is None else slipped))


def choice_likelihood(
    state: str, states: tuple[str, ...], slip: float, *, roughly: bool = False
) -> tuple[Array, float]:
    """Chance of an answer for each true state, and under a fault the model does not know.

    Parameters
    ----------
    state : str
        What was answered.
    states : tuple of str
    slip : float
        Chance of a wrong word [-].
    roughly : bool
        "Not sure": a third of the weight goes to the other answers.

    Returns
    -------
    likelihood : array, shape (states,)
    background : float

    Examples
    --------
    >>> choice_likelihood("a", ("a", "b"), 0.02)
    (array([0.99, 0.01]), 0.5)
    """
    slip = max(slip, 1.0 / 3.0) if roughly else slip
    likelihood = np.full(len(states), slip / len(states))
    likelihood[states.index(state)] += 1.0 - slip
    return likelihood, 1.0 / len(states)


def outcome_table(
    edges: tuple[float, ...],
    instrument: Instrument,
    groups: int = 12,
    slipped: Callable[[tuple[float, ...]], Array] | None = None,
    offset: Offset | None = None,
) -> tuple[Array, Array, tuple[float, ...]]:
    """Outcome classes of a number test: what an instrument would show for each bin of the true value.

    Parameters
    ----------
    edges : tuple of float
    instrument : Instrument
    groups : int
        Largest number of classes; neighbouring bins are merged.
    slipped : callable, optional
        Gives the chance that a slip shows each class [-] from their edges; by an even spread when left out.
    offset : Offset, optional
        Of the place of measurement; what to expect of the instrument's when left out.

    Returns
    -------
    table : array, shape (bins, classes)
        Rows sum to one [-].
    background : array, shape (classes,)
        Shares of the classes by :func:`background_shares` [-].
    class_edges : tuple of float, length classes + 1
    """
    bounds = np.asarray(edges)
    step = -(-(len(bounds) - 1) // groups)
    keep = sorted({*range(0, len(bounds), step), len(bounds) - 1})
    cuts = bounds[keep]
    points = bounds[:-1, None] + np.diff(bounds)[:, None] * np.array([0.1, 0.3, 0.5, 0.7, 0.9])
    offset = place_offset(instrument) if offset is None else offset
    background = np.add.reduceat(background_shares(edges), keep[:-1])
    ends = tuple(float(c) for c in cuts)
    flat = np.diff(cuts) / (cuts[-1] - cuts[0]) if slipped is None else slipped(ends)
    table = np.zeros((len(points), len(keep) - 1))
    for i, row in enumerate(points):
        for point in row:
            spread = sqrt(reading_spread(instrument, float(point)) ** 2 + offset.spread**2)
            inner = [0.5 * (1.0 + erf((c - point - offset.mean) / spread / sqrt(2.0))) for c in cuts[1:-1]]
            table[i] += np.diff([0.0, *inner, 1.0])
    table /= points.shape[1]
    return (1.0 - instrument.slip) * table + instrument.slip * flat, background, ends
