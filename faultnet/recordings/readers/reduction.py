"""Keep memory bounded on very long recordings, and every dip at full resolution.

A recording that fits is kept sample by sample. In a longer one the quiet stretches, where the volts stay near their
level, are cut into short buckets of time of which the lowest and the highest sample are kept, each at its own time;
where the volts leave their level (a start, a drop-out, the engine stopping) and for some seconds around it every
sample stays. If that does not fit either, the buckets grow and the seconds around shrink, for the whole recording
alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from faultnet.recordings.trace import Array

CAPACITY = 4_000_000
"""Samples kept at most: 64 MB of time and volts, some four times that while working (derived)."""

BUCKET = 32
"""Samples in the first buckets; two of each stay."""

AROUND = (15.0, 4.0, 1.0, 0.3)
"""Time kept in full before and after the volts leave their level [s]; the next one when the one before does not fit."""

DEPARTURE = 0.4
"""Fall below the level around it from which a sample counts as away from it [V] (estimate: half of a weak start)."""

LOOK = 0.5
"""Stretch of time whose level and lowest sample are compared with those around it [s]."""


@dataclass
class Reducer:
    """Collects samples and reduces quiet stretches when they become too many.

    Parameters
    ----------
    capacity : int
        Most samples to keep [-].

    Examples
    --------
    >>> reducer = Reducer(capacity=4000)
    >>> time = np.arange(100_000) * 0.01
    >>> volts = np.where((time > 500) & (time < 501), 10.0, 12.6)
    >>> for part in np.split(np.arange(time.size), 100):
    ...     reducer.add(time[part], volts[part])
    >>> kept_time, kept_volts = reducer.result()
    >>> kept_time.size <= 4000, float(kept_volts.min())
    (True, 10.0)
    """

    capacity: int = CAPACITY
    samples: int = 0
    width: float = 0.0
    stage: int = 0
    fresh: list[tuple[Array, Array]] = field(default_factory=list)
    older: list[tuple[Array, Array]] = field(default_factory=list)

    def add(self, time: Array, volts: Array) -> None:
        """Take samples that follow on those before."""
        self.samples += time.size
        if time.size:
            self.fresh.append((time, volts))
        if _held(self.fresh) > self.capacity // 2:
            self._settle()

    def result(self) -> tuple[Array, Array]:
        """Give what was kept, in order."""
        if _held(self.fresh) + _held(self.older) > self.capacity:
            self._settle()
        return _joined(self.older + self.fresh)

    def notes(self) -> list[str]:
        """Say in a sentence what was reduced."""
        kept = _held(self.older) + _held(self.fresh)
        if kept == self.samples:
            return []
        around = f"every sample within {AROUND[self.stage]:g} s of a departure from the level"
        if self.stage == len(AROUND) - 1:
            around += " where they fit"
        return [
            f"{self.samples} samples reduced to {kept}: kept are {around}, and elsewhere the lowest and the highest "
            f"of every {self.width:.3g} s"
        ]

    def _settle(self) -> None:
        """Move the fresh samples to the older ones; reduce the fresh, then all of them, as far as is needed."""
        fresh, self.fresh = _joined(self.fresh), []
        if _held(self.older) + fresh[0].size > self.capacity // 2:
            self.width = self.width or BUCKET * float(np.median(np.diff(fresh[0])))
            fresh = reduce_quiet(*fresh, _busy(*fresh, AROUND[self.stage]), self.width)
        self.older.append(fresh)
        while _held(self.older) > self.capacity // 2:
            self._tighten()

    def _tighten(self) -> None:
        """Reduce all older samples by one step: fewer seconds in full if these are too many, else wider buckets."""
        time, volts = _joined(self.older)
        busy = _busy(time, volts, AROUND[self.stage])
        if busy.sum() > self.capacity // 4:
            if self.stage < len(AROUND) - 1:
                self.stage += 1
                return
            busy[:] = False
        self.width *= 2.0
        self.older = [reduce_quiet(time, volts, busy, self.width)]


def _held(parts: list[tuple[Array, Array]]) -> int:
    """Count samples."""
    return sum(time.size for time, _ in parts)


def _joined(parts: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Put parts behind each other."""
    if not parts:
        return np.empty(0), np.empty(0)
    return np.concatenate([time for time, _ in parts]), np.concatenate([volts for _, volts in parts])


def reduce_quiet(time: Array, volts: Array, busy: np.ndarray, width: float) -> tuple[Array, Array]:
    """Keep every busy sample, and of every bucket of time the lowest and the highest sample.

    Parameters
    ----------
    time, volts : array, shape (n,)
        The samples [s], [V]; time rises.
    busy : array of bool, shape (n,)
        Samples that must stay.
    width : float
        Length of a bucket [s].

    Returns
    -------
    time, volts : array, shape (m,)
        What is kept, in order; the first and the last sample always are. Doing it again with the same width changes
        nothing.

    Examples
    --------
    >>> time, volts = np.arange(8.0), np.array([12.6, 12.6, 12.7, 12.5, 12.6, 12.6, 9.0, 12.6])
    >>> reduce_quiet(time, volts, np.zeros(8, dtype=bool), 4.0)[1].tolist()
    [12.6, 12.7, 12.5, 12.6, 9.0, 12.6]
    """
    first, length = _stretches(time, width)
    group = np.repeat(np.arange(first.size), length)
    keep = busy.copy()
    keep[[0, -1]] = True
    for extreme in (np.minimum, np.maximum):
        there = np.flatnonzero(volts == np.repeat(extreme.reduceat(volts, first), length))
        keep[there[np.diff(group[there], prepend=-1) > 0]] = True
    return time[keep], volts[keep]


def _stretches(time: Array, width: float) -> tuple[np.ndarray, np.ndarray]:
    """First sample and number of samples of each stretch of time that holds a sample."""
    first = np.flatnonzero(np.diff(np.floor(time / width), prepend=-np.inf) > 0)
    return first, np.diff(first, append=time.size)


def _busy(time: Array, volts: Array, around: float) -> np.ndarray:
    """Mark the samples around which the volts leave their level."""
    import pandas as pd

    look = max(min(LOOK, around), 4.0 * float(np.median(np.diff(time))))
    first, length = _stretches(time, look)
    mean = np.add.reduceat(volts, first) / length
    level = pd.Series(mean).rolling(2 * round(AROUND[0] / look) + 1, center=True, min_periods=1).max()
    away = pd.Series((np.minimum.reduceat(volts, first) < level - DEPARTURE).astype(float))
    near = away.rolling(2 * max(round(around / look), 1) + 1, center=True, min_periods=1).max().to_numpy()
    return np.repeat(near > 0, length)
