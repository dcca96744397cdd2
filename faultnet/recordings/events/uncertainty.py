"""How far the true first dip may lie below the lowest sample that was recorded.

The first dip lasts some tens of milliseconds. Samples that come seldom miss it, and an averaging recorder smooths it;
both err upwards only. What they may have missed follows from the sampling and from what a start looks like.
"""

from __future__ import annotations

from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np

from faultnet.errors import RecordingError
from faultnet.physics.cranking import sampled_minimum, windowed_minimum
from faultnet.recordings.events.levels import FINE
from faultnet.recordings.events.starts import FAST
from faultnet.recordings.events.types import Start
from faultnet.recordings.trace import Array

STANDING_SPREAD = 0.1
"""Difference between first dip and level while the engine stands [V] (estimate)."""

DIP_FACTOR, DIP_POWER, DIP_SPREAD = 3.63, 0.39, 0.145
"""First dip from the sustained fall: rest - dip = 3.63 (rest - sustained)^0.39 [V], spread 14.5 % (derived: 80,000
starts of drawn petrol and diesel cars solved with faultnet.physics.cranking have 13 %; widened, estimate)."""

STALLED = {"tried": 0.9, "failed": 0.25, "unclear": 0.1, "good": 0.0}
"""Chance that the engine never turned, so that the level never rose above the first dip [-], by outcome (estimate);
0 where ripple was seen."""

TURNING_FALL, STANDING_FALL = (1.6, 0.45), (4.4, 0.25)
"""Fall of the sustained level [V] and its relative spread [-], for engines that turn and engines that stand (derived
from the same drawn starts; the spread of the second widened, estimate)."""

HOLDS, RISES = (0.0125, 0.0175, 0.0225), (0.035, 0.055, 0.075)
"""How long the dip holds and the climb takes [s]: 15 and 50 ms by ISO 16750-2:2003 (published), spread estimate."""

HELD = 0.015
"""How long the dip holds [s] (ISO 16750-2:2003, published): so many samples or fine stretches share its depth."""

WHOLE_STRETCHES = (1.0, 2.0, 3.0, 4.0)
"""How many whole fine stretches a dip of 10 to 25 ms may hold [-] (derived)."""

RIPPLE_SHARE = 0.17
"""Amplitude of the compression ripple over the sustained fall [-], where it could not be measured (derived: median of
20,000 drawn starts 0.165, 90 % of them 0.10 to 0.22)."""

SCATTER_FACTORS = (0.6, 1.0, 1.5)
"""Ripple over the expected one [-], when it is asked whether scatter shows that the engine turned (estimate)."""

LEAST_SCATTER, MOST_SAMPLES = 0.02, 20
"""Scatter of samples of a standing engine besides noise [V], and how many are counted as independent (estimates)."""

FLOOR = 0.0015
"""Least standard deviation of a recorded level [V] (derived: evenly spread error of a step of 0.005 V)."""

LEAST_OF, NARROWED = (1.0, 2.0, 3.0, 10.0, 100.0, 1000.0), (1.0, 0.826, 0.748, 0.587, 0.429, 0.351)
"""Standard deviation of the least of so many normal numbers over that of one [-] (derived: numerical integration)."""


@dataclass(frozen=True, eq=False)
class LowestUncertainty:
    """What the lowest true voltage of a start may have been.

    Parameters
    ----------
    recorded : float
        Lowest recorded level [V].
    low, median, high : float
        Quantiles of the lowest true voltage [V].
    missed : float
        Recorded less median: what was probably missed [V].
    level : float
        Share of the probability between `low` and `high` [-].
    volts, weights : array, shape (k,)
        The whole distribution: values [V] and their probabilities [-].

    Examples
    --------
    >>> one = np.ones(1)
    >>> LowestUncertainty(9.5, 8.0, 8.6, 9.3, 0.9, 0.9, one, one).missed
    0.9
    """

    recorded: float
    low: float
    median: float
    high: float
    missed: float
    level: float
    volts: Array
    weights: Array


def lowest_uncertainty(start: Start, *, window: float = 0.0, level: float = 0.9) -> LowestUncertainty:
    """Tell how low the volts truly went in a start.

    Parameters
    ----------
    start : Start
        From :func:`faultnet.recordings.find_events`.
    window : float
        Time over which the recorder averages each sample [s]; 0 for instant samples.
    level : float
        Share of the probability to put between `low` and `high` [-], between 0 and 1.

    Returns
    -------
    LowestUncertainty
        Quantiles and the whole distribution, at the place of recording: an offset of that place is not in it.

    Raises
    ------
    RecordingError
        If `window` is negative or `level` is not between 0 and 1.

    Notes
    -----
    With samples closer than 5 ms nothing is missed, and only noise is left. Otherwise
    Bayes' rule on a grid of first dips: a prior by the sustained fall (:data:`DIP_FACTOR`), and the chance that a
    recorder with this interval or window, at a random phase, shows the recorded minimum. Valid for starts of the
    shape of ISO 16750-2: a start through a very bad joint has a smaller first dip than the prior expects.

    Examples
    --------
    >>> slow = Start(begin=0.0, end=1.0, interval=0.2, outcome="good", rest_before=12.6, lowest=10.9,
    ...              lowest_steady=10.9, lowest_time=0.2, sustained=11.2)
    >>> found = lowest_uncertainty(slow)
    >>> found.low < found.median < found.high <= 11.0
    True
    """
    if window < 0 or not 0 < level < 1:
        raise RecordingError("window must not be negative and level lies between 0 and 1", got=f"{window}, {level}")
    if max(start.interval, window) < FINE:
        return _as_recorded(start, level)
    stalled = _stalled_share(start)
    turning = _branch(start, *_turning_prior(start), _ripple(start), window)
    standing = _branch(start, *_standing_prior(start), 0.0, window)
    volts = np.concatenate([turning[0], standing[0]])
    weights = np.concatenate([(1.0 - stalled) * turning[1], stalled * standing[1]])
    if not weights.sum() > 0:
        return _as_recorded(start, level)
    return _summary(start, volts, weights / weights.sum(), level)


def _branch(start: Start, dips: Array, prior: Array, ripple: float, window: float) -> tuple[Array, Array]:
    """Lowest true voltages [V] and their weights; without ripple the engine stood, at one level for all samples."""
    in_dip = _sigma(start) * _bias(max(HELD / max(start.interval, FINE), 1.0))
    at_level = -np.inf if ripple else _sigma(start) * _bias(max(start.duration / start.interval, 1.0))
    likely, lowest = np.zeros(dips.size), np.zeros(dips.size)
    for shift, share in ((-1.0, 0.25), (0.0, 0.5), (1.0, 0.25)):
        sustained = start.sustained + shift * _sustained_spread(start, ripple)
        seen = np.minimum(_seen(start, dips, sustained, ripple, window) - in_dip, sustained - at_level)
        away = (start.lowest_steady - seen) / _sigma(start)
        part = share * np.exp(-0.5 * away**2).mean(axis=(1, 2, 3))
        lowest += part * np.minimum(dips, sustained - ripple)
        likely += part
    volts = np.where(likely > 0, lowest / np.maximum(likely, 1e-300), dips)
    return volts, prior * likely


def _stalled_share(start: Start) -> float:
    """Probability that the engine never turned, by outcome, by how far the level fell and by its evenness [-]."""
    if np.isfinite(start.ripple):
        return 0.0
    fall = np.log(max(start.rest_before - start.sustained, 0.1))
    standing, turning = (
        share * np.exp(-0.5 * ((fall - np.log(middle)) / spread) ** 2) / spread
        for share, (middle, spread) in (
            (STALLED[start.outcome], STANDING_FALL),
            (1.0 - STALLED[start.outcome], TURNING_FALL),
        )
    )
    even, uneven = _evenness(start)
    return float(standing * even / (standing * even + turning * uneven + 1e-12))


def _evenness(start: Start) -> tuple[float, float]:
    """Likelihood of the scatter of the samples while the engine stood, and while it turned, up to a factor."""
    count = min(int(start.duration / start.interval) - 2, MOST_SAMPLES)
    if count < 1 or not np.isfinite(start.scatter):
        return 1.0, 1.0
    quiet = float(np.hypot(start.noise, LEAST_SCATTER))
    swings = RIPPLE_SHARE * max(start.rest_before - start.sustained, 0.1) / np.sqrt(2.0) * np.array(SCATTER_FACTORS)
    spreads = np.concatenate([[quiet], np.hypot(quiet, swings)])
    logs = -count * (np.log(spreads) + 0.5 * (start.scatter / spreads) ** 2)
    likely = np.exp(logs - logs.max())
    return float(likely[0]), float(likely[1:].mean())


def _sigma(start: Start) -> float:
    """Standard deviation of the recorded minimum [V]."""
    averaged = start.noise * np.sqrt(min(start.interval / FINE, 1.0))
    return float(np.hypot(averaged, FLOOR))


def _ripple(start: Start) -> float:
    """Amplitude of the compression ripple, measured or expected [V]."""
    expected = RIPPLE_SHARE * max(start.rest_before - start.sustained, 0.1)
    return start.ripple if np.isfinite(start.ripple) else expected if start.interval > FAST else 0.0


def _sustained_spread(start: Start, ripple: float) -> float:
    """Uncertainty of the sustained level, which few samples on the ripple leave open [V]."""
    count = max(start.duration / start.interval - 1.0, 1.0)
    return float(1.2 * np.hypot(ripple / np.sqrt(2.0), start.noise) / np.sqrt(min(count, 400.0)))


def _turning_prior(start: Start) -> tuple[Array, Array]:
    """Grid of first dips of an engine that turned [V], and their prior probability."""
    fall = max(start.rest_before - start.sustained, 0.1)
    expected = DIP_FACTOR * fall**DIP_POWER
    wide = np.linspace(0.5 * fall, min(max(2.2 * expected, 1.5 * fall), start.rest_before), 80)
    near = start.rest_before - start.lowest_steady + _sigma(start) * np.linspace(-6.0, 6.0, 49)
    depths = np.unique(np.concatenate([wide, near[near > 0.01]]))
    prior = np.exp(-0.5 * (np.log(depths / expected) / DIP_SPREAD) ** 2) / depths * np.gradient(depths)
    return start.rest_before - depths, prior / prior.sum() + 1e-6 * np.gradient(depths)


def _standing_prior(start: Start) -> tuple[Array, Array]:
    """Grid of first dips of an engine that stood [V], close to the level, and their prior probability."""
    wide = start.sustained + STANDING_SPREAD * np.linspace(-3.0, 3.0, 31)
    dips = np.unique(np.concatenate([wide, start.lowest_steady + _sigma(start) * np.linspace(-4.0, 4.0, 25)]))
    prior = np.exp(-0.5 * ((dips - start.sustained) / STANDING_SPREAD) ** 2) * np.gradient(dips)
    return dips, prior / prior.sum()


def _seen(start: Start, dips: Array, sustained: float, ripple: float, window: float) -> Array:
    """What the recorder would show for each dip, hold, rise and phase [V]."""
    dip, hold, rise = (np.reshape(x, s) for x, s in ((dips, (-1, 1, 1, 1)), (HOLDS, (-1, 1, 1)), (RISES, (-1, 1))))
    phase = (np.arange(16) + 0.5) / 16
    shape = (start.rest_before, dip, sustained, ripple)
    times: dict[str, Any] = {"hold": hold, "rise": rise}  # typed as single numbers, and broadcast as well
    if start.interval < FINE or window > start.interval:
        seen = windowed_minimum(*shape, max(FINE, window), phase, **times)
    elif window:
        seen = windowed_minimum(*shape, window, phase, **times)
    else:
        seen = sampled_minimum(*shape, start.interval, phase, lasting=max(start.duration, start.interval), **times)
    return np.asarray(seen)


def _bias(count: float) -> float:
    """How many standard deviations the least of some samples lies below their mean (Blom's approximation)."""
    return -NormalDist().inv_cdf((1.0 - 0.375) / (count + 0.25)) if count > 1 else 0.0


def _as_recorded(start: Start, level: float) -> LowestUncertainty:
    """Give the recorded level and its noise: nothing was missed, or no start of the usual shape fits."""
    stretches = max(start.duration / max(start.interval, FINE), 1.0)
    sharp = start.sustained - start.lowest_steady > _sigma(start) * (1.0 + _bias(stretches))
    z = np.linspace(-4, 8, 241)
    counts = WHOLE_STRETCHES if sharp else (stretches,)
    weights = np.sum([_least_of(count, z) for count in counts], axis=0)
    return _summary(start, start.lowest_steady + _sigma(start) * z, weights / weights.sum(), level)


def _least_of(count: float, z: Array) -> Array:
    """Chance that the least of some samples lies z standard deviations below their mean, as a normal curve."""
    spread = float(np.interp(np.log(count), np.log(LEAST_OF), NARROWED))
    return np.exp(-0.5 * ((z - _bias(count)) / spread) ** 2) / spread


def _summary(start: Start, volts: Array, weights: Array, level: float) -> LowestUncertainty:
    """Take the quantiles of a distribution."""
    order = np.argsort(volts, kind="stable")
    volts, weights = volts[order], weights[order]
    total = np.cumsum(weights) - 0.5 * weights
    low, median, high = np.interp([(1 - level) / 2, 0.5, (1 + level) / 2], total, volts)
    recorded = start.lowest_steady
    return LowestUncertainty(
        recorded, float(low), float(median), float(high), recorded - float(median), level, volts, weights
    )
