"""What was found in a recorded log, as a dictionary and as text."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from faultnet.case.plain import entry_fields
from faultnet.cli.layout import counted, joined, section, wrapped
from faultnet.recordings import (
    START_WORDS,
    Charging,
    Decline,
    DropOut,
    Event,
    Rest,
    Start,
    Trace,
    entry_of,
    lowest_uncertainty,
    not_offered,
)

OUTCOMES = {
    "good": "the engine ran",
    "failed": "the engine did not run, or nothing charges",
    "tried": "the engine was not turned",
    "unclear": "the log ends",
}


def log_answer(
    trace: Trace, events: Sequence[Event], readings: Sequence[dict[str, Any]], window: float = 0.0
) -> dict[str, Any]:
    """Give a trace and its events as a dictionary; what cannot be told from the log is null.

    Parameters
    ----------
    trace : Trace
    events : sequence of Event
    readings : sequence of dict
        Of :func:`faultnet.recordings.readings_from`.
    window : float
        Time over which the recorder averages each sample [s].

    Returns
    -------
    dict
        Times in [s] from the first sample, volts in [V].
    """
    found = {
        "recording": trace.name,
        "samples": int(trace.time.size),
        "duration": trace.duration,
        "interval": trace.interval,
        "repairs": list(trace.repairs),
        "events": [_event(event, window) for event in events],
        "readings": [{**reading, "entry": entry_fields(entry_of(reading))} for reading in readings],
    }
    return {name: _finite(value) for name, value in found.items()}


def _event(event: Event, window: float) -> dict[str, Any]:
    fields = asdict(event)
    if isinstance(event, Start):
        true = lowest_uncertainty(event, window=window)
        fields["lowest_true"] = {"low": true.low, "median": true.median, "high": true.high, "level": true.level}
    return fields


def _finite(value: Any) -> Any:
    """Put null where a number is not finite, which JSON does not have.

    Examples
    --------
    >>> _finite({"sag": float("nan"), "levels": (12.6,)})
    {'sag': None, 'levels': [12.6]}
    """
    if isinstance(value, dict):
        return {name: _finite(part) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(part) for part in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def log_sheet(trace: Trace, events: Sequence[Event], readings: Sequence[dict[str, Any]], window: float = 0.0) -> str:
    """Write what was found as text of at most 80 columns; parameters as :func:`log_answer`."""
    about = (
        f"{trace.name}: {counted(int(trace.time.size), 'sample')} over {trace.duration:.6g} s, "
        f"one every {_time(trace.interval)} at the median."
    )
    return joined(
        (
            wrapped(about, ""),
            section("Inferred or repaired while reading", [wrapped(text, "  - ") for text in trace.repairs]),
            section("Found", [line for event in events for line in _lines(event, window)] or ["  Nothing."]),
            section("As readings for a case", [_reading(reading) for reading in readings]),
            section("Not offered as a reading", [wrapped(text, "  ") for text in not_offered(events, readings)]),
        )
    )


def _time(seconds: float) -> str:
    """Write a short time.

    Examples
    --------
    >>> _time(0.2), _time(60.0)
    ('200 ms', '60 s')
    """
    return f"{1000.0 * seconds:.4g} ms" if seconds < 1.0 else f"{seconds:.4g} s"


def _reading(reading: dict[str, Any]) -> str:
    note = f"({reading['note']})" if reading.get("note") else ""
    return wrapped(f"{reading['test']}: {reading['value']:.4g} {reading['unit']} {note}", "  ", "    ")


def _lines(event: Event, window: float) -> Iterator[str]:
    yield wrapped(_said(event), f"  {event.begin:9.2f} s  ")
    if isinstance(event, Start):
        yield from (wrapped(text, " " * 13) for text in _start_details(event, window))


def _said(event: Event) -> str:
    """Say one event in a sentence."""
    if isinstance(event, Start):
        return f"start, {event.duration:.2f} s, {START_WORDS[event.outcome]}: {OUTCOMES[event.outcome]}"
    if isinstance(event, Charging):
        return f"charging, {event.duration:.0f} s at {event.level:.2f} V ({event.lowest:.2f} to {event.highest:.2f} V)"
    if isinstance(event, DropOut):
        missing = "samples are missing" if event.missing else f"down to {event.lowest:.2f} V"
        return f"drop-out, {event.duration:.3g} s: {missing}{', within a start' if event.in_start else ''}"
    if isinstance(event, Decline):
        return f"standing, {event.duration / 3600.0:.1f} h from {event.first:.2f} V to {event.last:.2f} V"
    if isinstance(event, Rest):
        return f"rest, {event.duration:.0f} s at {event.level:.2f} V"
    return f"{event.kind}, {event.duration:.2f} s"


def _start_details(start: Start, window: float) -> Iterator[str]:
    true = lowest_uncertainty(start, window=window)
    yield f"from {start.rest_before:.2f} V; lowest recorded {start.lowest:.2f} V"
    sampling = f"{true.low:.2f} to {true.high:.2f} V ({100 * true.level:.0f} %)"
    yield f"true lowest {true.median:.2f} V, by the sampling {sampling}"
    if start.levels > 1:
        yield f"sustained {start.sustained:.2f} V{_optional(', fall over the start {:.2f} V', start.sag)}"
    else:
        yield "one value only while it turned, which says nothing of how long it lasted"
    yield f"recovered to {start.recovered:.2f} V" if math.isfinite(start.recovered) else "recovery not in the log"
    if math.isfinite(start.speed):
        yield f"engine speed {start.speed:.0f} rev/min by the compression ripple"


def _optional(text: str, value: float) -> str:
    return text.format(value) if math.isfinite(value) else ""
