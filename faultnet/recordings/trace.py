"""The trace: volts against time, with every repair that was needed to get there said beside it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.errors import RecordingError

Array = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Trace:
    """One recorded voltage against time, cleaned and in order.

    Parameters
    ----------
    time : array of float64, shape (n,)
        Time since the first sample [s], strictly rising, at least two samples.
    volts : array of float64, shape (n,)
        What was recorded [V], finite.
    name : str
        File and channel it came from.
    repairs : tuple of str
        Every thing that was repaired, left out, reduced or inferred while reading, with counts.

    Raises
    ------
    RecordingError
        If the arrays differ in length, hold fewer than two samples, are not finite, or time does not rise.

    Examples
    --------
    >>> trace = Trace(np.array([0.0, 0.1, 0.2]), np.array([12.6, 12.6, 9.9]), "demo")
    >>> round(trace.interval, 3), round(trace.duration, 3)
    (0.1, 0.2)
    """

    time: Array
    volts: Array
    name: str = "recording"
    repairs: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for field in ("time", "volts"):
            values = np.ascontiguousarray(getattr(self, field), dtype=np.float64).view()
            values.flags.writeable = False
            object.__setattr__(self, field, values)
        _check(self.time, self.volts, self.name)

    @cached_property
    def interval(self) -> float:
        """Median time between two samples [s]."""
        return float(np.median(np.diff(self.time)))

    @property
    def duration(self) -> float:
        """Time from the first to the last sample [s]."""
        return float(self.time[-1] - self.time[0])


def _check(time: Array, volts: Array, name: str) -> None:
    """Refuse arrays that are no trace."""
    if time.ndim != 1 or time.shape != volts.shape:
        raise RecordingError("time and volts differ in length", where=name, got=f"{time.shape} and {volts.shape}")
    if time.size < 2:
        raise RecordingError(
            "too few samples to be a trace",
            where=name,
            got=f"{time.size} usable sample(s)",
            expected="at least 2",
            to_do="check that the right columns were chosen and that the file is complete",
        )
    if not (np.isfinite(time).all() and np.isfinite(volts).all()):
        raise RecordingError("a trace may hold finite numbers only", where=name)
    if not (np.diff(time) > 0).all():
        raise RecordingError("time must rise from sample to sample", where=name, to_do="read it with read_recording")


def decimate(trace: Trace, points: int) -> tuple[Array, Array, Array]:
    """Reduce a trace to the lowest and highest volts of equal stretches of time, for drawing.

    Parameters
    ----------
    trace : Trace
        The recording.
    points : int
        How many stretches the whole time is cut into [-], at least 1.

    Returns
    -------
    time : array, shape (m,)
        Middle of each stretch that holds a sample [s]; m <= points.
    low, high : array, shape (m,)
        Lowest and highest volts recorded in it [V]; no dip and no spike is ever lost.

    Raises
    ------
    RecordingError
        If `points` is below 1.

    Examples
    --------
    >>> trace = Trace(np.arange(4.0), np.array([12.6, 8.1, 11.0, 14.2]), "demo")
    >>> [part.tolist() for part in decimate(trace, 2)]
    [[0.75, 2.25], [8.1, 11.0], [12.6, 14.2]]
    """
    if points < 1:
        raise RecordingError("a picture needs at least one point", got=str(points), expected="1 or more")
    width = trace.duration / points
    index = np.minimum(((trace.time - trace.time[0]) / width).astype(np.int64), points - 1)
    first = np.flatnonzero(np.diff(index, prepend=-1))
    middle = trace.time[0] + (index[first] + 0.5) * width
    return middle, np.minimum.reduceat(trace.volts, first), np.maximum.reduceat(trace.volts, first)


def doubts(volts: Array) -> list[str]:
    """Say in sentences why volts may not be those of a 12 V system; nothing is changed.

    Parameters
    ----------
    volts : array, shape (n,)
        The samples [V].

    Returns
    -------
    list of str
        Empty where the median lies between 0 and 18 V.

    Examples
    --------
    >>> doubts(np.array([-12.6, -12.5, -12.6]))
    ['the median is -12.6 V, as with leads swapped; the volts were left as they are']
    """
    middle = float(np.median(volts)) if volts.size else 0.0
    if middle < 0.0:
        return [f"the median is {middle:.3g} V, as with leads swapped; the volts were left as they are"]
    return [f"the median is {middle:.3g} V, too much for a 12 V system"] if middle > 18.0 else []
