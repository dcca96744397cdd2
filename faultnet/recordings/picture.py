"""Draw a trace with what was found marked on it, as a picture in SVG made by hand: no library, no outside file."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

import numpy as np

from faultnet.errors import RecordingError
from faultnet.recordings.events.types import START_WORDS, Charging, DropOut, Event, Start
from faultnet.recordings.trace import Array, Trace, decimate

LEFT, RIGHT, TOP, BOTTOM = 52.0, 12.0, 34.0, 40.0
"""Margins of the plot [px]."""

LABELS = 46.0
"""Height kept free above the line for three rows of labels [px]."""

COLOURS = {"start": "#b35900", "charging": "#1b7a5a", "drop_out": "#9b1c5a"}
"""Own colours, told apart by their labels as well."""


def draw_trace(
    trace: Trace,
    events: Iterable[Event] = (),
    *,
    width: int = 900,
    height: int = 320,
    begin: float | None = None,
    end: float | None = None,
) -> str:
    """Draw a trace as SVG, with its events marked.

    Parameters
    ----------
    trace : Trace
        The recording.
    events : iterable of Event
        What to mark: starts, charging and drop-outs.
    width, height : int
        Size [px], at least 200 by 120.
    begin, end : float, optional
        Part to show [s]; all of it when left out.

    Returns
    -------
    str
        One `svg` element. Text takes the colour of its surroundings, so it is readable on light and dark paper.

    Raises
    ------
    RecordingError
        If the size is too small or the part holds fewer than two samples.

    Notes
    -----
    Each column of pixels shows the lowest and highest volts in it, so that no dip is lost. Each start carries its
    number, its lowest recorded level and its sustained level.

    Examples
    --------
    >>> time = np.arange(0, 20, 0.1)
    >>> trace = Trace(time, np.where((time > 6) & (time < 7), 10.8, 12.6), "demo")
    >>> draw_trace(trace).startswith("<svg")
    True
    """
    if width < 200 or height < 120:
        raise RecordingError("the picture is too small", got=f"{width} x {height}", expected="200 x 120 or more")
    part = _part(trace, begin, end)
    middle, low, high = decimate(part, max(int(width - LEFT - RIGHT), 1))
    scale = _Scale(part, low, high, width, height)
    numbered = [(event, number) for event, number in _numbered(events) if scale.shows(event)]
    title = f'<text x="{LEFT}" y="16" font-weight="bold">{escape(trace.name[: max(width // 9, 10)])}</text>'
    body = [title, *_bands([event for event, _ in numbered], scale), *_axes(scale)]
    body += [_line(middle, low, high, scale), *_marks(numbered, scale)]
    label = escape(f"Voltage of {trace.name} over {part.duration:.1f} s, from {low.min():.2f} to {high.max():.2f} V")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" aria-label="{label}" font-family="sans-serif" font-size="12" fill="currentColor">'
        + "".join(body)
        + "</svg>"
    )


class _Scale:
    """Seconds and volts to pixels."""

    def __init__(self, trace: Trace, low: Array, high: Array, width: int, height: int) -> None:
        self.width, self.height = width, height
        self.begin, self.end = float(trace.time[0]), float(trace.time[-1])
        margin = max(0.08 * float(high.max() - low.min()), 0.2)
        self.least, self.most = float(low.min()) - margin, float(high.max()) + margin
        plot = height - TOP - BOTTOM
        head = min(LABELS, 0.3 * plot)
        self.most += (self.most - self.least) * head / (plot - head)

    def shows(self, event: Event) -> bool:
        """Whether an event lies in the part that is drawn."""
        return event.end >= self.begin and event.begin <= self.end

    def x(self, time: float) -> float:
        """Pixels from the left."""
        share = (min(max(time, self.begin), self.end) - self.begin) / (self.end - self.begin)
        return LEFT + share * (self.width - LEFT - RIGHT)

    def y(self, volts: float) -> float:
        """Pixels from the top."""
        return TOP + (self.most - volts) / (self.most - self.least) * (self.height - TOP - BOTTOM)


def _part(trace: Trace, begin: float | None, end: float | None) -> Trace:
    """Cut a part out of a trace."""
    if begin is None and end is None:
        return trace
    inside = (trace.time >= (-np.inf if begin is None else begin)) & (trace.time <= (np.inf if end is None else end))
    return Trace(trace.time[inside], trace.volts[inside], trace.name, trace.repairs)


def steps_between(least: float, most: float, count: int) -> list[float]:
    """Choose round numbers for the marks of an axis.

    Parameters
    ----------
    least, most : float
        Ends of the axis.
    count : int
        About how many marks [-].

    Returns
    -------
    list of float
        Multiples of 1, 2 or 5 times a power of ten within the ends.

    Examples
    --------
    >>> steps_between(7.8, 14.6, 5)
    [8.0, 10.0, 12.0, 14.0]
    """
    rough = (most - least) / max(count, 1)
    power = 10.0 ** np.floor(np.log10(rough))
    step = float(power * next(factor for factor in (1, 2, 5, 10) if factor * power >= rough * 0.999))
    return [round(k * step, 9) for k in range(int(np.ceil(least / step)), int(np.floor(most / step)) + 1)]


def _axes(scale: _Scale) -> list[str]:
    """Draw lines, marks and units of both axes."""
    bottom, right = scale.height - BOTTOM, scale.width - RIGHT
    drawn = []
    for volts in steps_between(scale.least, scale.most, 6):
        y = scale.y(volts)
        drawn.append(f'<path d="M{LEFT} {y:.1f}H{right}" stroke="currentColor" stroke-opacity="0.15"/>')
        drawn.append(f'<text x="{LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{volts:g}</text>')
    for time in steps_between(scale.begin, scale.end, 8):
        x = scale.x(time)
        drawn.append(f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{time:g}</text>')
    drawn.append(f'<path d="M{LEFT} {TOP}V{bottom}H{right}" fill="none" stroke="currentColor"/>')
    drawn.append(f'<text x="{right}" y="{scale.height - 6}" text-anchor="end">time [s]</text>')
    drawn.append(f'<text x="6" y="{TOP - 8}">[V]</text>')
    return drawn


def _bands(events: list[Event], scale: _Scale) -> list[str]:
    """Shade the stretches of events behind the line."""
    drawn = []
    for event in events:
        if event.kind in COLOURS:
            x, until = scale.x(event.begin), scale.x(event.end)
            drawn.append(
                f'<rect x="{x:.1f}" y="{TOP}" width="{max(until - x, 1.5):.1f}" '
                f'height="{scale.height - TOP - BOTTOM:.1f}" fill="{COLOURS[event.kind]}" fill-opacity="0.14"/>'
            )
    return drawn


def _line(time: Array, low: Array, high: Array, scale: _Scale) -> str:
    """Draw the trace: a band between lowest and highest, closed along its back."""
    there = [f"{scale.x(t):.1f} {scale.y(v):.1f}" for t, v in zip(time.tolist(), high.tolist(), strict=True)]
    back = [f"{scale.x(t):.1f} {scale.y(v):.1f}" for t, v in zip(time[::-1].tolist(), low[::-1].tolist(), strict=True)]
    return (
        f'<path d="M{"L".join(there + back)}Z" fill="currentColor" fill-opacity="0.6" '
        'stroke="currentColor" stroke-width="1" stroke-linejoin="round"/>'
    )


def _numbered(events: Iterable[Event]) -> list[tuple[Event, int]]:
    """Number the starts of the whole recording, so that a part of it shows the same numbers."""
    listed = list(events)
    starts = np.cumsum([isinstance(event, Start) for event in listed])
    return [(event, int(number)) for event, number in zip(listed, starts, strict=True)]


def _marks(events: list[tuple[Event, int]], scale: _Scale) -> list[str]:
    """Write numbers and levels of events over the line."""
    drawn = []
    for event, number in events:
        if isinstance(event, Start):
            drawn += _start_mark(event, number, scale)
        elif isinstance(event, Charging):
            drawn.append(_label(event, f"charging {event.level:.2f} V", scale))
        elif isinstance(event, DropOut):
            drawn.append(_label(event, "no samples" if event.missing else "drop-out", scale))
    return drawn


def _start_mark(start: Start, number: int, scale: _Scale) -> list[str]:
    """Mark one start: number, lowest point, sustained level."""
    x, y, colour = scale.x(start.lowest_time), scale.y(start.lowest_steady), COLOURS["start"]
    side, anchor = (8, "start") if x < scale.width - 120 else (-8, "end")
    level = scale.y(start.sustained)
    lasted = [
        f'<path d="M{scale.x(start.begin):.1f} {level:.1f}H{max(scale.x(start.end), scale.x(start.begin) + 6):.1f}" '
        f'stroke="{colour}" stroke-width="2" stroke-dasharray="5 3"/>'
    ]
    return [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="none" stroke="{colour}" stroke-width="2"/>',
        f'<text x="{x + side:.1f}" y="{y + 4:.1f}" text-anchor="{anchor}">{start.lowest_steady:.2f} V</text>',
        *(lasted if start.levels > 1 else ()),
        _label(start, f"start {number}: {START_WORDS[start.outcome]}", scale),
    ]


def _label(event: Event, text: str, scale: _Scale) -> str:
    """Write a label above the stretch of an event, on one of two lines so that neighbours do not collide."""
    x = scale.x(event.begin)
    anchor = "start" if x < scale.width - 130 else "end"
    line = TOP + 12 if isinstance(event, Start) else TOP + 26 if isinstance(event, Charging) else TOP + 40
    return f'<text x="{x + 3:.1f}" y="{line}" text-anchor="{anchor}" font-size="11">{escape(text)}</text>'
