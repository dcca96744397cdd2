"""From events to readings that can be entered into a case, with what their likelihood needs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal

import numpy as np

from faultnet.errors import RecordingError
from faultnet.recordings.events import Charging, Decline, Event, Rest, Start
from faultnet.recordings.uncertainty import lowest_uncertainty

Place = Literal["posts", "module"]

MODULE_OFFSET, MODULE_SPREAD = -0.15, 0.10
"""Module less posts at rest [V]: -0.05 to -0.4 V, wider while cranking (common practice, no source)."""

COMPARED_SPREAD = 0.03
"""Spread left once module and posts were compared at rest [V] (estimate: two ordinary meters at 12.6 V)."""

CRANKING_FACTOR = 2.0
"""Factor on the spread of the offset while cranking, when the module's own supply drops too [-] (estimate)."""


def readings_from(
    events: Iterable[Event],
    place: Place = "posts",
    *,
    window: float = 0.0,
    posts_at_rest: float | None = None,
) -> list[dict[str, Any]]:
    """Offer readings from the events of one recording.

    Parameters
    ----------
    events : iterable of Event
        From :func:`faultnet.recordings.find_events`.
    place : {"posts", "module"}
        Where the volts were taken.
    window : float
        Time over which the recorder averages each sample [s]; 0 for instant samples.
    posts_at_rest : float, optional
        Voltage at the posts [V] read while the module was recorded at rest; corrects the module's offset.

    Returns
    -------
    list of dict
        For each: `test` ("rest_voltage", "recorded_lowest", "crank_sustained", "dead_crank_sag", "cranking_speed",
        "charge_running_voltage", "charge_ripple", "overnight_fall"), `value` and `unit`, `instrument` ("recorder", or
        "socket_adapter" for the module), `place`, `note`, `begin`, `end` [s], `interval`, `window` [s], `offset` and
        `offset_spread` [V] (recorded less posts; not yet taken off `value`). "recorded_lowest" also has `rest`,
        `sustained`, `ripple`, `noise` [V] and the 90 % bounds `low`, `median`, `high` [V] of the true lowest.

    Raises
    ------
    RecordingError
        If the place is unknown, or a comparison is given but the recording holds no rest to compare.

    Notes
    -----
    Nothing is chosen here: every start and every stretch of charging gives its readings, and a person says which to
    take. A level that the recording cannot tell is left out. Drop-outs are events to look at, not readings.

    Examples
    --------
    >>> from faultnet.recordings.events import Rest
    >>> found = readings_from([Rest(begin=0.0, end=60.0, interval=0.2, level=12.4, slope=0.0)], "module")
    >>> found[0]["test"], found[0]["value"], found[0]["offset"]
    ('rest_voltage', 12.4, -0.15)
    """
    events = list(events)
    if place not in ("posts", "module"):
        raise RecordingError("unknown place of recording", got=str(place), expected="posts or module")
    offset, spread = _offset(events, place, posts_at_rest)
    rows: list[dict[str, Any]] = []
    for event in events:
        for row in _rows(event, window):
            wider = CRANKING_FACTOR if isinstance(event, Start) and place == "module" else 1.0
            rows.append(
                {
                    **row,
                    "instrument": "recorder" if place == "posts" else "socket_adapter",
                    "place": place,
                    "begin": event.begin,
                    "end": event.end,
                    "interval": event.interval,
                    "window": window,
                    "offset": offset if row["unit"] == "V" and row["test"] not in _DIFFERENCES else 0.0,
                    "offset_spread": spread * wider if row["unit"] == "V" and row["test"] not in _DIFFERENCES else 0.0,
                }
            )
    return rows


_DIFFERENCES = ("dead_crank_sag", "overnight_fall")


def _offset(events: list[Event], place: Place, posts_at_rest: float | None) -> tuple[float, float]:
    """Offset of the place of recording and its spread [V]."""
    if place == "posts":
        return 0.0, 0.0
    if posts_at_rest is None:
        return MODULE_OFFSET, MODULE_SPREAD
    rests = [event for event in events if isinstance(event, Rest)]
    if not rests:
        raise RecordingError(
            "module and posts cannot be compared",
            got="no rest in the recording",
            to_do="record some seconds at rest, or leave out posts_at_rest",
        )
    longest = max(rests, key=lambda event: event.duration)
    return longest.level - posts_at_rest, COMPARED_SPREAD


def _rows(event: Event, window: float) -> list[dict[str, Any]]:
    """Readings of one event, without what all have in common."""
    if isinstance(event, Start):
        return _start_rows(event, window)
    if isinstance(event, Charging):
        rows = [_row("charge_running_voltage", event.level, "V", f"median of {event.duration:.0f} s of charging")]
        if np.isfinite(event.ripple):
            rows.append(_row("charge_ripple", event.ripple, "V rms", "above 20 Hz, noise of the recorder included"))
        return rows
    if isinstance(event, Decline):
        return [_row("overnight_fall", event.fall, "V", f"over {event.duration / 3600:.1f} h")]
    if isinstance(event, Rest):
        return [_row("rest_voltage", event.level, "V", f"median of {event.duration:.0f} s; key and loads not known")]
    return []


def _start_rows(start: Start, window: float) -> list[dict[str, Any]]:
    """Readings of one start."""
    bounds = lowest_uncertainty(start, window=window)
    note = f"{start.outcome} start at {start.begin:.1f} s, {start.duration:.1f} s long"
    missed = f"{note}; the true lowest lies between {bounds.low:.2f} and {bounds.high:.2f} V (90 %)"
    lowest = _row("recorded_lowest", start.lowest_steady, "V", missed)
    lowest |= {"rest": start.rest_before, "sustained": start.sustained, "ripple": start.ripple, "noise": start.noise}
    lowest |= {"low": bounds.low, "median": bounds.median, "high": bounds.high}
    rows = [lowest]
    if start.outcome != "tried":
        rows.append(_row("crank_sustained", start.sustained, "V", note))
    if np.isfinite(start.sag):
        rows.append(_row("dead_crank_sag", start.sag, "V", note))
    if np.isfinite(start.speed):
        rows.append(_row("cranking_speed", start.speed, "rev/min", f"{note}; {start.ripple_frequency:.2f} Hz ripple"))
    return rows


def _row(test: str, value: float, unit: str, note: str) -> dict[str, Any]:
    """One reading."""
    return {"test": test, "value": float(value), "unit": unit, "note": note}
