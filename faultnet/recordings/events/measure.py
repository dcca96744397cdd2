"""Measure one start: levels, sag, recovery, ripple and what came of it."""

from __future__ import annotations

import numpy as np

from faultnet.physics.cranking import speed_from_frequency
from faultnet.recordings.events.levels import noise_of
from faultnet.recordings.events.spectrum import strongest_sine, without_line
from faultnet.recordings.events.starts import DEAD, FAST, Found, Picture
from faultnet.recordings.events.types import NAN, Start, StartOutcome
from faultnet.recordings.trace import Array

SETTLED = 0.12
"""Time from the beginning until the first dip is over [s]: 70 ms by ISO 16750-2:2003, with margin for slow ones."""

TURNING = 0.45
"""A start shorter than this turned nothing worth the name [s] (estimate)."""

RISEN = 0.3
"""Rise above the rest before from which the engine is taken to run [V]: 1.3 to 2.2 V are usual (derived), less for
load-responsive charge control."""


def measure_start(picture: Picture, found: Found, following: float, cylinders: int = 4) -> Start:
    """Measure a start.

    Parameters
    ----------
    picture : Picture
        The trace.
    found : Found
        Where the start is.
    following : float
        When the next fall begins [s]; nothing from there on is looked at.
    cylinders : int
        Of the engine, for the speed [-].

    Returns
    -------
    Start
        What was found; NaN where the sampling does not allow a number.

    Examples
    --------
    >>> from faultnet.recordings.events.starts import find_falls, picture_of
    >>> from faultnet.recordings.trace import Trace
    >>> time = np.arange(0, 12, 0.1)
    >>> volts = np.where((time > 4) & (time < 5), 11.0, np.where(time < 4.5, 12.6, 14.2))
    >>> picture = picture_of(Trace(time, volts, "demo"))
    >>> start = measure_start(picture, find_falls(picture)[0], np.inf)
    >>> start.outcome, round(start.sustained, 1), round(start.rest_before, 1)
    ('good', 11.0, 12.6)
    """
    time, volts = _samples(picture, found.begin, found.end)
    alive = volts >= DEAD
    drop_outs = int(alive.size - alive.sum())
    time, volts = (time[alive], volts[alive]) if alive.any() else (time, volts)
    interval = float(np.median(np.diff(time))) if time.size > 1 else picture.trace.interval
    steady, when = _lowest_mean(picture, found)
    turning = _turning(time, found, interval)
    inner = volts[turning]
    inner = inner if inner.size else volts[-1:] if interval > SETTLED else volts
    sine = strongest_sine(time[turning], volts[turning], found.begin + SETTLED, found.end - 0.05)
    after = _after(picture, found, following)
    return Start(
        begin=found.begin,
        end=found.end,
        interval=interval,
        outcome=_outcome(picture, found, following, sine is not None, interval),
        rest_before=found.before,
        lowest=float(volts.min()),
        lowest_steady=min(steady, float(np.median(volts))),
        lowest_time=when,
        sustained=float(np.mean(inner)),
        levels=int(inner.size),
        scatter=_scatter(time[turning], volts[turning]),
        sag=_sag(time, volts, found),
        recovered=_level(picture, found.end + 0.1, min(found.end + 1.1 + 2 * interval, following)),
        after=after,
        ripple=sine[0] if sine else NAN,
        ripple_frequency=sine[1] if sine else NAN,
        speed=float(speed_from_frequency(sine[1], cylinders)) if sine else NAN,
        noise=noise_of(_samples(picture, found.begin - 3.0 - 20 * interval, found.begin - 0.02)[1]) or picture.noise,
        drop_outs=drop_outs,
    )


def _samples(picture: Picture, begin: float, end: float) -> tuple[Array, Array]:
    """Take the samples from one instant up to, not including, another; at least one."""
    time = picture.trace.time
    a, b = np.searchsorted(time, [begin, end])
    b = max(int(b), int(a) + 1)
    return time[a:b], picture.trace.volts[a:b]


def _turning(time: Array, found: Found, interval: float) -> np.ndarray:
    """Mark the samples between first dip and release; of slow ones the last may lie on the way up and is left out."""
    inside = (time >= found.begin + SETTLED) & (time < found.end - 0.03)
    if interval > FAST / 2 and inside.sum() >= 4:
        inside[np.flatnonzero(inside)[-1]] = False
    return inside


def _lowest_mean(picture: Picture, found: Found) -> tuple[float, float]:
    """Lowest mean over 5 ms and when it was; stretches that hold a dead sample do not count."""
    a, b = picture.fine.at(found.begin), picture.fine.at(found.end)
    b = max(b, a + 1)
    last = picture.fine.first[b] if b < picture.fine.first.size else picture.trace.volts.size
    least = np.minimum.reduceat(picture.trace.volts[:last], picture.fine.first[a:b])
    mean = picture.fine.mean[a:b]
    mean = np.where(least < DEAD, np.inf, mean) if (least >= DEAD).any() else mean
    return float(mean.min()), float(picture.fine.time[a + int(mean.argmin())])


def _level(picture: Picture, begin: float, end: float) -> float:
    """Median level between two instants, NaN if there is none."""
    values = picture.coarse.between(begin, end)
    return float(np.median(values)) if values.size else NAN


def _after(picture: Picture, found: Found, following: float) -> float:
    """Level some seconds after."""
    interval = picture.trace.interval
    return _level(picture, found.end + 2.0, min(found.end + 8.0 + 4 * interval, following))


def _sag(time: Array, volts: Array, found: Found) -> float:
    """Fall of the level from the first second to the last of a long start."""
    if found.end - found.begin < 3.0:
        return NAN
    first = volts[(time >= found.begin + SETTLED) & (time < found.begin + SETTLED + 1.0)]
    last = volts[(time >= found.end - 1.05) & (time < found.end - 0.05)]
    return float(first.mean() - last.mean()) if first.size and last.size else NAN


def _scatter(time: Array, volts: Array) -> float:
    """Standard deviation about a straight line, NaN for fewer than three samples."""
    if time.size < 3:
        return NAN
    left = without_line(time, volts)
    return float(np.sqrt(left @ left / (time.size - 2)))


def _outcome(picture: Picture, found: Found, following: float, turned: bool, interval: float) -> StartOutcome:
    """Tell what came of a start by the level after it, its length and its ripple."""
    if not found.ended:
        return "unclear"
    until = min(found.end + 10.0 + 4 * interval, following)
    later = picture.coarse.between(found.end, until)
    if later.size == 0:
        return "unclear"
    reached = float(np.quantile(later, 0.8 if later.size > 5 else 0.5))
    if reached > max(found.before + RISEN, 12.8):
        return "good"
    if found.end - found.begin < TURNING:
        return "tried"
    return "tried" if interval <= FAST and not turned else "failed"
