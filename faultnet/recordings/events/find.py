"""Find all events of a trace: starts, charging, drop-outs, rests, and the decline of a long standing."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.recordings.events.levels import COARSE, noise_of
from faultnet.recordings.events.measure import measure_start
from faultnet.recordings.events.spectrum import strongest_sine
from faultnet.recordings.events.starts import CHARGED, DEAD, FAST, SLOWEST, Found, Picture, find_falls, picture_of
from faultnet.recordings.events.types import NAN, Charging, Decline, DropOut, Event, Rest, Start
from faultnet.recordings.trace import Array, Trace

SHORTEST = 0.03
"""A fall shorter than this is no start where sampling is fast [s]: the first dip alone lasts longer (ISO 16750-2)."""

LEAST_DEPTH = 0.65
"""Fall of the sustained level from which a slowly sampled fall that leads to no charging is a start [V] (estimate:
glow plugs pull 0.3 to 0.6 V, a weakly loaded starter 0.5 V and more)."""

WEAK_DEPTH = 0.4
"""Fall from which it is a start if it shows what no even load shows, or the level of another start [V] (estimate)."""

LEAST_REST = 2.0
"""Shortest rest that is reported [s]."""

LEAST_CHARGING = 3.0
"""Shortest charging that is reported [s]."""

MOST_GAPS = 1000
"""Gaps reported at most [-]."""

PREHEATING = 1.2
"""A weak fall that ends this shortly before the next one is taken for glow plugs [s] (estimate)."""

OVERNIGHT = 7200.0
"""Shortest rest that is looked at for a decline [s]."""


def find_events(trace: Trace, *, cylinders: int = 4) -> tuple[Event, ...]:
    """Find what happened in a recording.

    Parameters
    ----------
    trace : Trace
        From :func:`faultnet.recordings.read_recording`.
    cylinders : int
        Of the engine, to turn ripple into speed [-].

    Returns
    -------
    tuple of Event
        Starts, charging, drop-outs, rests and declines, in order of their beginning.

    Notes
    -----
    Made for 2 samples a second to 100,000. Below one sample in 2.5 s no start is looked for. A fall counts as a start
    if it comes back within 40 s and shows a first dip or compression ripple (fast sampling), is deep (0.65 V), ends in
    charging, or is weak (0.4 V) but uneven or as deep as another start of the recording (slow sampling); an even load
    without those is none. A short attempt that falls between two samples leaves no trace and cannot be found.

    Examples
    --------
    >>> time = np.arange(0, 20, 0.1)
    >>> volts = np.where((time > 6) & (time < 7), 10.8, np.where(time < 6.5, 12.6, 14.2))
    >>> [event.kind for event in find_events(Trace(time, volts, "demo"))]
    ['rest', 'start', 'charging']
    """
    picture = picture_of(trace)
    falls = find_falls(picture) if trace.interval <= SLOWEST else ()
    starts, lost = _sorted_falls(picture, falls, cylinders)
    taken: list[Start | DropOut] = [*starts, *lost, *_gaps(picture)]
    found: list[Event] = [*taken, *_charging(picture, taken), *_rests(picture, taken)]
    return tuple(sorted(found, key=lambda event: (event.begin, event.end)))


def _sorted_falls(picture: Picture, falls: tuple[Found, ...], cylinders: int) -> tuple[list[Start], list[DropOut]]:
    """Part falls into starts, drop-outs and loads, and drop the loads."""
    starts: list[Start] = []
    lost: list[DropOut] = []
    after = [*(found.begin for found in falls[1:]), np.inf][: len(falls)]
    measured = [measure_start(picture, one, next_one, cylinders) for one, next_one in zip(falls, after, strict=True)]
    levels = [
        start.sustained
        for found, start, next_one in zip(falls, measured, after, strict=True)
        if _is_start(picture, found, start, next_one) and not _is_dead(picture, found)
    ]
    for found, start, following in zip(falls, measured, after, strict=True):
        if _is_dead(picture, found):
            lost.append(_drop_out(picture, found, start))
        elif _is_start(picture, found, start, following, levels):
            starts.append(start)
            if start.drop_outs:
                lost.append(_drop_out(picture, found, start, in_start=True))
        elif start.duration < SHORTEST and start.lowest < found.rest - 2.0:
            lost.append(_drop_out(picture, found, start))
    return starts, lost


def _is_dead(picture: Picture, found: Found) -> bool:
    """Say whether most of a fall is below what any battery shows while it turns an engine."""
    a, b = picture.fine.at(found.begin), picture.fine.at(found.end)
    return float(np.mean(picture.fine.mean[a : max(b, a + 1)] < DEAD)) > 0.5


def _is_start(picture: Picture, found: Found, start: Start, following: float, levels: Sequence[float] = ()) -> bool:
    """Tell a start from a load; `levels` are those of the starts that are certain."""
    depth = found.rest - start.sustained
    if start.interval > FAST:
        if start.outcome == "good":
            return depth > 0.3
        if depth < 1.0 and following - found.end < PREHEATING:
            return False
        return depth >= LEAST_DEPTH or (depth >= WEAK_DEPTH and _unlike_a_load(picture, found, start, levels))
    if start.duration < SHORTEST:
        return False
    dip = start.sustained - start.lowest_steady > max(0.35, 5 * picture.fine_noise)
    turning = np.isfinite(start.ripple)
    return bool(dip or turning or depth >= 1.5)


def _unlike_a_load(picture: Picture, found: Found, start: Start, levels: Sequence[float]) -> bool:
    """Say whether a slowly sampled, weak fall shows a first dip, compression ripple or the level of another start."""
    early = start.lowest_time - found.begin < 1.5 * start.interval
    dip = early and start.sustained - start.lowest_steady > max(0.6, 8 * start.noise)
    samples = picture.fine.between(found.begin + COARSE, found.end - 0.03)
    uneven = samples.size >= 8 and noise_of(samples) > 2.5 * start.noise + 0.02
    alike = any(abs(start.sustained - level) < 0.12 + start.noise for level in levels)
    return bool(dip or uneven or alike)


def _drop_out(picture: Picture, found: Found, start: Start, *, in_start: bool = False) -> DropOut:
    """Describe a drop-out."""
    time, volts = picture.trace.time, picture.trace.volts
    a, b = np.searchsorted(time, [found.begin, found.end])
    inside = volts[a : max(b, a + 1)]
    dead = np.flatnonzero(inside < DEAD)
    first, last = (a + dead[0], a + dead[-1]) if in_start and dead.size else (a, max(b - 1, a))
    return DropOut(
        begin=float(time[first]),
        end=float(time[last]) + (start.interval if in_start else found.end - float(time[last])),
        interval=start.interval,
        lowest=float(inside.min()),
        before=start.rest_before,
        after=start.recovered,
        in_start=in_start,
    )


def _gaps(picture: Picture) -> list[DropOut]:
    """Find the stretches without samples."""
    time, coarse = picture.trace.time, picture.coarse
    steps = np.diff(time)
    usual = _usual_step(steps)
    found: list[DropOut] = []
    for i in np.flatnonzero(steps > np.maximum(10 * usual, 0.5))[:MOST_GAPS]:
        k = coarse.at(float(time[i + 1]))
        before, after = coarse.mean[max(k - 3, 0) : k], coarse.mean[k : k + 3]
        found.append(
            DropOut(
                begin=float(time[i]),
                end=float(time[i + 1]),
                interval=float(usual[i]),
                lowest=NAN,
                before=float(np.median(before)),
                after=float(np.median(after)),
                missing=True,
            )
        )
    return found


def _usual_step(steps: Array) -> Array:
    """Time between samples around each step, itself left out: the larger of the means of twenty before and after."""
    total = np.concatenate([[0.0], np.cumsum(steps)])
    place = np.arange(steps.size)
    before, after = np.maximum(place - 20, 0), np.minimum(place + 21, steps.size)
    mean_before = (total[place] - total[before]) / np.maximum(place - before, 1)
    mean_after = (total[after] - total[place + 1]) / np.maximum(after - place - 1, 1)
    return np.asarray(np.maximum(mean_before, mean_after))


def _free(picture: Picture, taken: list[Start | DropOut]) -> np.ndarray:
    """Mark the coarse stretches outside every start and drop-out, and outside the half second after a start."""
    free = np.ones(picture.coarse.time.size, dtype=bool)
    for event in taken:
        after = 0.5 if event.kind == "start" else 0.0
        free[max(picture.coarse.at(event.begin - 0.05), 0) : picture.coarse.at(event.end + after)] = False
    return free


def _smoothed(picture: Picture) -> Array:
    """Median of the coarse levels over a second, at least three of them."""
    import pandas as pd

    count = max(round(1.0 / max(picture.trace.interval, 0.1)), 3) | 1
    return pd.Series(picture.coarse.mean).rolling(count, center=True, min_periods=1).median().to_numpy()


def _runs(mask: np.ndarray) -> list[tuple[int, int]]:
    """Give beginning and end of every run of true elements."""
    edges = np.flatnonzero(np.diff(mask.astype(np.int8), prepend=0, append=0))
    return [(int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _charging(picture: Picture, taken: list[Start | DropOut]) -> list[Charging]:
    """Find the stretches above the level at which something charges."""
    level = _smoothed(picture)
    time = picture.coarse.time
    found: list[Charging] = []
    for a, b in _runs((level > CHARGED) & _free(picture, taken)):
        begin, end = float(time[a]), float(time[b - 1]) + picture.trace.interval
        if end - begin < LEAST_CHARGING or b - a < 3:
            continue
        end = min(end, float(picture.trace.time[-1]))
        ripple, frequency = _alternating(picture, begin, end)
        found.append(
            Charging(
                begin=begin,
                end=end,
                interval=picture.trace.interval,
                level=float(np.median(picture.coarse.mean[a:b])),
                lowest=float(level[a:b].min()),
                highest=float(level[a:b].max()),
                ripple=ripple,
                ripple_frequency=frequency,
            )
        )
    return found


def _alternating(picture: Picture, begin: float, end: float) -> tuple[float, float]:
    """Alternating part above 20 Hz in the middle of a stretch [V rms], and its strongest frequency [Hz]."""
    step = picture.trace.interval
    if step > FASTEST_STEP:
        return NAN, NAN
    middle = (begin + end) / 2
    a, b = np.searchsorted(picture.trace.time, [max(begin, middle - 0.5), min(end, middle + 0.5)])
    time, volts = picture.trace.time[a:b], picture.trace.volts[a:b]
    count = max(round(0.05 / step), 3)
    if volts.size < 4 * count:
        return NAN, NAN
    total = np.concatenate([[0.0], np.cumsum(volts)])
    slow = (total[count:] - total[:-count]) / count
    fast = volts[count // 2 : count // 2 + slow.size] - slow
    sine = strongest_sine(time, volts, float(time[0]), float(time[-1]), 20.0, min(0.3 / step, 20_000.0))
    return float(np.sqrt(np.mean(fast**2))), sine[1] if sine else NAN


FASTEST_STEP = 0.005
"""Longest sampling interval at which alternating volts mean something [s]."""


def _rests(picture: Picture, taken: list[Start | DropOut]) -> list[Rest | Decline]:
    """Find the stretches in which nothing cranks and nothing charges, parted where the level steps."""
    level = _smoothed(picture)
    quiet = (level <= CHARGED) & (level > DEAD) & _free(picture, taken)
    step = np.abs(np.diff(level, prepend=level[0])) > 0.12 + 3 * noise_of(level)
    found: list[Rest | Decline] = []
    for a, b in _runs(quiet & ~step):
        begin, end = float(picture.coarse.time[a]), float(picture.coarse.time[b - 1])
        if end - begin < LEAST_REST or b - a < 3:
            continue
        values = picture.coarse.mean[a:b]
        slope = _slope(picture.coarse.time[a:b], values)
        step_time = picture.trace.interval
        found.append(Rest(begin=begin, end=end, interval=step_time, level=float(np.median(values)), slope=slope))
        if end - begin >= OVERNIGHT:
            tenth = max((b - a) // 10, 1)
            first, last = float(np.median(values[:tenth])), float(np.median(values[-tenth:]))
            found.append(Decline(begin=begin, end=end, interval=step_time, first=first, last=last, slope=slope))
    return found


def _slope(time: Array, volts: Array) -> float:
    """Change of a level by a straight line [V/h]."""
    centred = time - time.mean()
    return float(3600.0 * (centred @ (volts - volts.mean())) / max(float(centred @ centred), 1e-12))
