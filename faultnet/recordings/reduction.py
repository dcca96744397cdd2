"""Keep memory bounded on very long recordings, and every dip at full resolution.

A recording that fits is kept sample by sample. In a longer one the quiet stretches, where the volts stay near their
level, are cut into short buckets of which the lowest and the highest sample are kept, each at its own time; where the
volts leave their level (a start, a drop-out, the engine stopping) and for some seconds around it every sample stays.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from faultnet.recordings.trace import Array

CAPACITY = 4_000_000
"""Samples kept at most: 64 MB of time and volts, some four times that while working (derived)."""

BUCKET = 32
"""Samples per bucket; two of them stay."""

AGAIN = 8
"""Samples per bucket when what is kept has to be reduced once more."""

AROUND = 15.0
"""Time kept in full before and after the volts leave their level [s]."""

DEPARTURE = 0.4
"""Fall below the level around it from which a sample counts as away from it [V] (estimate: half of a weak start)."""


@dataclass
class Reducer:
    """Collects samples and reduces quiet stretches when they become too many.

    Parameters
    ----------
    capacity : int
        Most samples to keep [-].

    Examples
    --------
    >>> reducer = Reducer(capacity=1000)
    >>> time = np.arange(100_000) * 0.01
    >>> volts = np.where((time > 500) & (time < 501), 10.0, 12.6)
    >>> for part in np.split(np.arange(time.size), 100):
    ...     reducer.add(time[part], volts[part])
    >>> kept_time, kept_volts = reducer.result()
    >>> kept_time.size <= 1000, float(kept_volts.min())
    (True, 10.0)
    """

    capacity: int = CAPACITY
    samples: int = 0
    fresh: list[tuple[Array, Array]] = field(default_factory=list)
    coarse: list[tuple[Array, Array]] = field(default_factory=list)

    def add(self, time: Array, volts: Array) -> None:
        """Take samples that follow on those before."""
        self.samples += time.size
        if time.size:
            self.fresh.append((time, volts))
        if self._held(self.fresh) > self.capacity // 2:
            self._reduce_fresh()

    def result(self) -> tuple[Array, Array]:
        """Give what was kept, in order."""
        if self._held(self.fresh) + self._held(self.coarse) > self.capacity:
            self._reduce_fresh()
        return _joined(self.coarse + self.fresh)

    def notes(self) -> list[str]:
        """Say in a sentence what was reduced."""
        kept = self._held(self.coarse) + self._held(self.fresh)
        if kept == self.samples:
            return []
        return [
            f"{self.samples} samples reduced to {kept}: quiet stretches keep the lowest and highest of every "
            f"{BUCKET} or more samples, the {AROUND:g} s around every departure from the level keep all where they fit"
        ]

    def _reduce_fresh(self) -> None:
        """Move the fresh samples to the older ones; reduce them first once they do not all fit any more."""
        fresh, self.fresh = _joined(self.fresh), []
        if self._held(self.coarse) + fresh[0].size > self.capacity // 2:
            fresh = reduce_quiet(*fresh, _busy(*fresh, BUCKET), BUCKET)
        self.coarse.append(fresh)
        if self._held(self.coarse) > self.capacity // 2:
            self._reduce_older()

    def _reduce_older(self) -> None:
        """Reduce the older samples again, quiet stretches first, everything if that is not enough."""
        time, volts = _joined(self.coarse)
        time, volts = reduce_quiet(time, volts, _busy(time, volts, AGAIN), AGAIN)
        while time.size > self.capacity // 2:
            time, volts = reduce_quiet(time, volts, np.zeros(time.size, dtype=bool), AGAIN)
        self.coarse = [(time, volts)]

    @staticmethod
    def _held(parts: list[tuple[Array, Array]]) -> int:
        """Count samples."""
        return sum(time.size for time, _ in parts)


def _joined(parts: list[tuple[Array, Array]]) -> tuple[Array, Array]:
    """Put parts behind each other."""
    if not parts:
        return np.empty(0), np.empty(0)
    return np.concatenate([time for time, _ in parts]), np.concatenate([volts for _, volts in parts])


def reduce_quiet(time: Array, volts: Array, busy: np.ndarray, bucket: int) -> tuple[Array, Array]:
    """Keep every busy sample, and of every bucket of quiet ones the lowest and the highest.

    Parameters
    ----------
    time, volts : array, shape (n,)
        The samples [s], [V].
    busy : array of bool, shape (n,)
        Samples that must stay.
    bucket : int
        Samples per bucket [-], at least 3.

    Returns
    -------
    time, volts : array, shape (m,)
        What is kept, in order.

    Examples
    --------
    >>> time, volts = np.arange(6.0), np.array([12.6, 12.7, 12.5, 12.6, 9.0, 12.6])
    >>> reduce_quiet(time, volts, np.zeros(6, dtype=bool), 3)[1].tolist()
    [12.7, 12.5, 12.6, 9.0]
    """
    whole = time.size // bucket * bucket
    blocks = volts[:whole].reshape(-1, bucket)
    keep = busy.copy()
    keep[whole:] = True
    start = np.arange(0, whole, bucket)
    if start.size:
        keep[start + blocks.argmin(axis=1)] = True
        keep[start + blocks.argmax(axis=1)] = True
    return time[keep], volts[keep]


def _busy(time: Array, volts: Array, bucket: int) -> np.ndarray:
    """Mark the samples around which the volts leave their level."""
    import pandas as pd

    whole = time.size // bucket * bucket
    if whole == 0:
        return np.ones(time.size, dtype=bool)
    blocks = volts[:whole].reshape(-1, bucket)
    each = max(float(time[whole - 1] - time[0]) / blocks.shape[0], 1e-9)
    width = int(np.clip(2 * AROUND / each, 3, 2 * blocks.shape[0])) | 1
    level = pd.Series(blocks.mean(axis=1)).rolling(width, center=True, min_periods=1).max()
    left = (blocks.min(axis=1) < level - DEPARTURE).astype(float)
    away = left.rolling(width, center=True, min_periods=1).max().to_numpy()
    busy = np.ones(time.size, dtype=bool)
    busy[:whole] = np.repeat(away > 0, bucket)
    return busy
