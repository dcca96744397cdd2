"""Slower pictures of a trace, from which events are found: means over 5 ms and means over 0.1 s.

The fine one keeps the first dip of a start, which holds for 15 ms; the coarse one follows the level. Where samples
come more slowly than that, both are the samples themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultnet.recordings.trace import Array, Trace

FINE = 0.005
"""Length of a fine stretch [s]: a third of the 15 ms for which the first dip holds (ISO 16750-2:2003 start profile)."""

COARSE = 0.1
"""Length of a coarse stretch [s]."""


@dataclass(frozen=True, eq=False)
class Levels:
    """Means of a trace over equal stretches of time that hold a sample.

    Parameters
    ----------
    time : array, shape (m,)
        Time of the first sample of each [s].
    mean : array, shape (m,)
        Mean [V].
    first : array of int, shape (m,)
        Number of its first sample in the trace.

    Examples
    --------
    >>> trace = Trace(np.arange(6) * 0.001, np.array([12.0, 13.0, 12.0, 13.0, 12.5, 10.0]), "demo")
    >>> levels_of(trace, 0.005).mean.tolist()
    [12.5, 10.0]
    """

    time: Array
    mean: Array
    first: np.ndarray

    def at(self, instant: float) -> int:
        """Give the number of the first stretch that begins at or after an instant."""
        return int(np.searchsorted(self.time, instant))

    def between(self, begin: float, end: float) -> Array:
        """Give the means that begin within [begin, end)."""
        return self.mean[self.at(begin) : self.at(end)]


def levels_of(trace: Trace, length: float) -> Levels:
    """Take means over equal stretches of time.

    Parameters
    ----------
    trace : Trace
        The recording.
    length : float
        Length of a stretch [s].

    Returns
    -------
    Levels
        One mean per stretch that holds a sample; the samples themselves where they come more slowly.

    Examples
    --------
    >>> slow = Trace(np.array([0.0, 0.5, 1.0]), np.array([12.6, 12.6, 12.5]), "demo")
    >>> levels_of(slow, 0.1).mean.tolist()
    [12.6, 12.6, 12.5]
    """
    if float(np.quantile(np.diff(trace.time), 0.1)) > length / 2:
        return Levels(trace.time, trace.volts, np.arange(trace.time.size))
    stretch = np.floor((trace.time - trace.time[0]) / length + 1e-9)
    first = np.flatnonzero(np.diff(stretch, prepend=-1.0))
    count = np.diff(first, append=trace.time.size)
    return Levels(trace.time[first], np.add.reduceat(trace.volts, first) / count, first)


def noise_of(volts: Array) -> float:
    """Estimate the noise of samples from their differences.

    Parameters
    ----------
    volts : array, shape (n,)
        Samples of a level that does not move much [V].

    Returns
    -------
    float
        Standard deviation [V]; 0 for fewer than three samples.

    Notes
    -----
    1.4826 times the median of the absolute differences, over the square root of 2; single wild samples and slow
    changes do not disturb it, noise that is smooth from sample to sample is missed.

    Examples
    --------
    >>> volts = np.random.default_rng(1).normal(12.6, 0.02, 10_000)
    >>> 0.019 < noise_of(volts) < 0.021
    True
    """
    if volts.size < 3:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(volts))) / np.sqrt(2.0))


def reference_of(levels: Levels, span: float, share: float = 0.75, least: int = 5) -> Array:
    """Follow the level that came before each stretch.

    Parameters
    ----------
    levels : Levels
        Means.
    span : float
        How far back to look [s].
    share : float
        Quantile of what lies there [-]; above one half, so that a start before it does not pull it down.
    least : int
        Fewest stretches to look at [-].

    Returns
    -------
    array, shape (m,)
        Level before each stretch [V]; the first mean for the first stretch.

    Examples
    --------
    >>> levels = Levels(np.arange(4) * 0.5, np.array([12.6, 12.6, 12.6, 10.0]), np.arange(4))
    >>> reference_of(levels, 1.5).tolist()
    [12.6, 12.6, 12.6, 12.6]
    """
    import pandas as pd

    step = float(np.median(np.diff(levels.time))) if levels.time.size > 1 else span
    count = max(round(span / step), least)
    before = pd.Series(levels.mean).rolling(count, min_periods=1).quantile(share).to_numpy()
    return np.concatenate([levels.mean[:1], before[:-1]])
