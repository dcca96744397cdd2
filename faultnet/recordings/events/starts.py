"""Find the starts in a trace: a steep fall below the level before, a stretch down there, and a way back up.

The thresholds are estimates, set on invented recordings and measured on others (`tests/bench/recordings.py`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from faultnet.recordings.events.levels import COARSE, FINE, Levels, levels_of, noise_of, reference_of
from faultnet.recordings.trace import Array, Trace

FALL = 0.35
"""Least fall below the level before that begins a start [V] (estimate: a strong battery with a small engine)."""

NOISIEST = 0.6
"""Most that noise may raise that fall [V] (estimate)."""

BACK = 0.5
"""How far below the level before the volts may stay and still count as back [V]: a battery rests 0.05 to 0.2 V lower
for some minutes after cranking (common practice, no source), and a lamp may be on."""

LONGEST = 40.0
"""Longest start [s]: starters are not run longer than 15 to 30 s (service manuals, secondary), with margin."""

DEAD = 2.5
"""Below this a battery does not turn an engine: contact or supply is lost [V] (estimate)."""

CHARGED = 13.2
"""Above this something charges [V]: 13.2 to 13.3 V is where undercharge begins (common practice, no source)."""

REST_CAP = 12.7
"""Level from which a fall is counted when the level before is higher [V]: charging, or surface charge that goes."""

FAST = 0.0205
"""Longest sampling interval at which a first dip is hardly missed and ripple is seen [s]: 50 samples a second."""

SLOWEST = 2.5
"""Longest sampling interval at which a start can be told from a wild sample [s] (estimate)."""


@dataclass(frozen=True)
class Found:
    """Where a fall and a way back up were found.

    Parameters
    ----------
    begin, end : float
        [s].
    rest : float
        Level from which the fall is counted [V], :data:`REST_CAP` at most.
    before : float
        Level before [V].
    ended : bool
        False if the recording ends before the way back up.

    Examples
    --------
    >>> Found(1.0, 2.0, 12.6, 12.6, True).ended
    True
    """

    begin: float
    end: float
    rest: float
    before: float
    ended: bool


@dataclass(frozen=True, eq=False)
class Picture:
    """A trace with its fine and coarse levels, its noise and the level before each instant.

    Parameters
    ----------
    trace : Trace
        The recording.
    fine, coarse : Levels
        Means over 5 ms and 0.1 s.
    reference : array
        Level before each fine stretch [V].
    noise : float
        Of the samples [V].
    fine_noise : float
        Of the fine means [V].

    Examples
    --------
    >>> trace = Trace(np.arange(100) * 0.1, np.full(100, 12.6), "demo")
    >>> picture_of(trace).noise
    0.0
    """

    trace: Trace
    fine: Levels
    coarse: Levels
    reference: Array
    noise: float
    fine_noise: float


def picture_of(trace: Trace) -> Picture:
    """Prepare a trace for finding events.

    Parameters
    ----------
    trace : Trace
        The recording.

    Returns
    -------
    Picture
        The trace and what was computed from it.

    Examples
    --------
    >>> trace = Trace(np.arange(100) * 0.001, np.full(100, 12.6), "demo")
    >>> picture_of(trace).fine.time.size
    20
    """
    fine, coarse = levels_of(trace, FINE), levels_of(trace, COARSE)
    level = reference_of(coarse, 1.5)
    reference = level[np.clip(np.searchsorted(coarse.time, fine.time, side="right") - 1, 0, None)]
    return Picture(trace, fine, coarse, reference, noise_of(trace.volts), noise_of(fine.mean))


def find_falls(picture: Picture) -> tuple[Found, ...]:
    """Find every stretch that a start could be, and those that are drop-outs or loads still among them.

    Parameters
    ----------
    picture : Picture
        Of :func:`picture_of`.

    Returns
    -------
    tuple of Found
        In order; they do not overlap.

    Examples
    --------
    >>> time = np.arange(0, 10, 0.1)
    >>> trace = Trace(time, np.where((time > 4) & (time < 5), 11.0, 12.6), "demo")
    >>> [(round(found.begin, 1), round(found.end, 1)) for found in find_falls(picture_of(trace))]
    [(4.1, 5.0)]
    """
    return tuple(_merged(picture, _falls(picture)))


def _falls(picture: Picture) -> Iterator[Found]:
    """Walk from fall to fall."""
    threshold = min(max(FALL, 6.0 * picture.fine_noise), NOISIEST)
    fine = picture.fine
    below = np.flatnonzero(fine.mean < np.minimum(picture.reference, REST_CAP) - threshold)
    position, last = 0, -np.inf
    while (place := int(np.searchsorted(below, position))) < below.size:
        i = int(below[place])
        before = _level_before(picture, i, last)
        rest = min(before, REST_CAP)
        if fine.mean[i] >= rest - threshold:
            position = i + 1
            continue
        found = _follow(picture, i, before)
        if found is None:
            position = max(fine.at(fine.time[i] + 2.5), i + 5)  # it stays down: look on behind it
            continue
        again = _second_fall(picture, found, threshold)
        if again is not None:
            last, position = float(fine.time[again]) - COARSE, again
            continue
        yield found
        last, position = found.end, max(fine.at(found.end), i + 1)


def _level_before(picture: Picture, i: int, last: float) -> float:
    """Give the level just before a fall, not looking back over the start before it."""
    now, step = picture.fine.time[i], max(picture.trace.interval, COARSE)
    before = picture.coarse.between(max(last + 0.02, now - max(0.6, 3.5 * step)), now - 0.5 * COARSE)
    if before.size < 2 and last > now - 1.0:
        before = picture.fine.between(last, now)
    elif before.size < 2:
        return float(picture.reference[i])
    return float(np.quantile(before, 0.5, method="lower")) if before.size else float(picture.reference[i])


def _follow(picture: Picture, i: int, before: float) -> Found | None:
    """Follow a fall to where the volts come back; None if they stay down for longer than any start."""
    fine, rest = picture.fine, min(before, REST_CAP)
    stop = fine.at(fine.time[i] + LONGEST)
    time, mean = fine.time[i:stop], fine.mean[i:stop]
    back = _way_back(time, mean, rest)
    if back == mean.size and stop < fine.time.size:
        return None
    ended = back < mean.size
    end = float(time[back]) if ended else float(picture.trace.time[-1])
    return Found(float(time[0]), max(end, float(time[0])), rest, before, ended)


def _way_back(time: Array, mean: Array, rest: float) -> int:
    """Number of the stretch at which the volts are back: over halfway from the level down there to the rest.

    A starter that is let go ends in a step up. Where the volts only creep back it was a click, whose rest stays low
    for a while; it ended with its dip.
    """
    ahead = _mean_ahead(time, mean, 0.25)
    down = _first(ahead >= rest - BACK, mean.size)
    back = _reached(mean, ahead, rest, float(np.median(mean[: max(down, 1)])))
    early = float(np.median(mean[time < time[0] + 0.1]))
    if rest - early > 1.0 and back < mean.size and not _steps_up(time, mean, float(time[back])):
        return min(back, _reached(mean, ahead, rest, early))
    return back


def _reached(mean: Array, ahead: Array, rest: float, level: float) -> int:
    """Number of the first stretch after the way down that is, and stays, over halfway up to the rest, else the size."""
    target = rest - 0.45 * max(rest - level, BACK)
    bottom = _first(np.diff(mean) >= 0, mean.size - 1)  # a slow sample on the way down may lie above halfway
    return bottom + _first((mean[bottom:] >= target) & (ahead[bottom:] >= target), mean.size - bottom)


def _steps_up(time: Array, mean: Array, instant: float) -> bool:
    """Say whether the volts rise by a step there, not slowly; where sampling is too slow to see it, they do."""
    before = mean[(time >= instant - 0.3) & (time < instant - 0.05)]
    after = mean[(time >= instant) & (time < instant + 0.2)]
    return before.size < 3 or after.size < 3 or float(np.median(after) - np.median(before)) > 0.15


def _mean_ahead(time: Array, mean: Array, span: float) -> Array:
    """Mean over the time that follows each stretch, itself included."""
    total = np.concatenate([[0.0], np.cumsum(mean)])
    until = np.searchsorted(time, time + span - 1e-9)
    until = np.maximum(until, np.arange(time.size) + 1)
    return np.asarray((total[until] - total[:-1]) / (until - np.arange(time.size)))


def _first(mask: np.ndarray, otherwise: int) -> int:
    """Number of the first true element."""
    return int(mask.argmax()) if mask.any() else otherwise


def _second_fall(picture: Picture, found: Found, threshold: float) -> int | None:
    """Find a start inside a longer fall: an even level without a first dip, then another fall.

    An engine that is switched off falls from charging to rest, and glow plugs or lamps pull the rest down, before
    the starter does.
    """
    coarse = picture.coarse
    a, b = coarse.at(found.begin + COARSE), coarse.at(found.end)
    values = coarse.mean[a:b]
    need = max(round(1.0 / max(picture.trace.interval, COARSE)), 3)
    allowed = 0.25 + 6 * (picture.noise if picture.trace.interval > COARSE else picture.fine_noise)
    for k in range(need, values.size):
        level = float(np.median(values[k - need : k]))
        if np.ptp(values[k - need : k]) > allowed or level < 11.5:
            continue
        if values[k : k + 2].min() < level - threshold:
            lowest = picture.fine.between(found.begin, coarse.time[a + k] - COARSE).min(initial=level)
            if lowest < level - 0.3 - 4 * picture.fine_noise:
                return None
            return max(picture.fine.at(coarse.time[a + k] - COARSE), picture.fine.at(found.begin) + 1)
    return None


def _merged(picture: Picture, falls: Iterator[Found]) -> Iterator[Found]:
    """Join falls that follow each other within less than half a second, as in rapid clicking.

    Loads are not joined, and a rest that stays low after a click is no part of it and no fall of its own.
    """
    held: Found | None = None
    for found in falls:
        if held and held.ended and found.begin - held.end < 0.45 and _deep(picture, held):
            if _deep(picture, found) or not found.ended or _ends_in_step(picture, found):
                held = Found(held.begin, found.end, held.rest, held.before, found.ended)
            continue
        if held:
            yield held
        held = found
    if held:
        yield held


def _ends_in_step(picture: Picture, found: Found) -> bool:
    """Say whether a fall ends in a step up."""
    a, b = picture.fine.at(found.end - 0.4), picture.fine.at(found.end + 0.4)
    return _steps_up(picture.fine.time[a:b], picture.fine.mean[a:b], found.end)


def _deep(picture: Picture, found: Found) -> bool:
    """Say whether a fall goes deeper than lamps or glow plugs pull."""
    return bool(picture.fine.between(found.begin, found.end).min(initial=found.rest) < found.rest - 1.0)
