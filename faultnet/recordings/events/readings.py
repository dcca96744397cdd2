"""From events to readings that the catalogue takes as they are, with what their likelihood needs."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, Literal, get_args

import numpy as np

from faultnet.errors import RecordingError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.recordings.events.entries import in_terms_of
from faultnet.recordings.events.types import START_WORDS, Charging, Decline, Event, Rest, Start
from faultnet.recordings.events.uncertainty import lowest_uncertainty

Place = Literal["posts", "module"]
Engine = Literal["idle", "unloaded", "loaded", "hot"]

CHARGING_TESTS = {
    "idle": ("charge_idle_voltage", "at idle with the usual loads"),
    "unloaded": ("charge_unloaded_voltage", "at 2000 rev/min with the loads off"),
    "loaded": ("charge_loaded_voltage", "at 2000 rev/min with the loads on"),
    "hot": ("charge_hot_voltage", "with everything hot"),
}
"""Test that a charging level stands for, by what the engine did, which no log tells."""

MODULE_OFFSET, MODULE_SPREAD = -0.15, 0.10
"""Module less posts at rest [V]: -0.05 to -0.4 V, wider while cranking (common practice, no source)."""

MOST_VOLTS = 30.0
"""Highest volts at the posts of a 12 V car that anybody can have read (estimate)."""

MOST_WINDOW = 60.0
"""Longest time over which a recorder averages [s] (estimate)."""

COMPARED_SPREAD = 0.03
"""Spread left once module and posts were compared at rest [V] (estimate: two ordinary meters at 12.6 V)."""

CRANKING_FACTOR = 2.0
"""Factor on the spread of the offset while cranking, when the module's own supply drops too [-] (estimate)."""

LONG_CRANK = (12.0, 18.0)
"""Length of a start whose sag may stand for that of 15 s [s] (estimate)."""

NIGHT = (8.0, 16.0)
"""Length of a standing whose fall may stand for that of a night, 12 h in `spreads.csv` [h] (estimate)."""

_DIFFERENCES = ("dead_crank_sag", "overnight_fall", "charge_ripple", "module_offset_at_rest")


def readings_from(
    events: Iterable[Event],
    place: Place = "posts",
    *,
    window: float = 0.0,
    posts_at_rest: float | None = None,
    engine: Engine = "idle",
    catalogue: Catalogue | None = None,
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
    engine : {"idle", "unloaded", "loaded", "hot"}
        What the engine did while it charged; the log cannot tell, and the note of the reading says what was taken.
    catalogue : Catalogue, optional
        Whose tests and instruments the readings name; the shipped one when left out.

    Returns
    -------
    list of dict
        For each: `test`, `instrument` and `unit` of the catalogue, `value`, `roughly`, `note`, `may_be` (tests it may
        be taken as), `place`, `begin`, `end` [s], `interval`, `window` [s], `offset` and `offset_spread` [V] (recorded
        less posts; not taken off `value`: the diagnosis does that). A lowest also has `rest`, `sustained`, `ripple`,
        `noise` [V] and the 90 % bounds `low`, `median`, `high` [V] of the true lowest at the place of recording.

    Raises
    ------
    RecordingError
        If the place or what the engine did is unknown, or a comparison is given for a recording that is not of the
        module or holds no rest to compare.

    Notes
    -----
    Nothing is chosen here: every start and every stretch of charging gives its readings, and a person says which to
    take. A level that the recording cannot tell is left out, and so is one for which the catalogue has no test with
    an instrument at that place and of that sampling: through the module that is all but the lowest of a start and the
    comparison at rest. Drop-outs are events to look at, not readings.

    Examples
    --------
    >>> from faultnet.recordings.events.types import Rest
    >>> rest = Rest(begin=0.0, end=60.0, interval=0.2, level=12.4, slope=0.0)
    >>> [(row["test"], row["value"], row["instrument"]) for row in readings_from([rest])]
    [('rest_voltage', 12.4, 'multimeter')]
    >>> [(row["test"], round(row["value"], 2)) for row in readings_from([rest], "module", posts_at_rest=12.6)]
    [('module_offset_at_rest', -0.2)]
    """
    events = list(events)
    _check_choices(place, engine, posts_at_rest, window)
    known = catalogue if catalogue is not None else _shipped()
    offset, spread = _offset(events, place, posts_at_rest)
    rows: list[dict[str, Any]] = []
    for event in events:
        for row in _rows(event, window, engine, place):
            wider = CRANKING_FACTOR if isinstance(event, Start) and place == "module" else 1.0
            row |= {"place": place, "begin": event.begin, "end": event.end, "interval": event.interval}
            row |= {"window": window, "offset": 0.0, "offset_spread": 0.0}
            if row["test"] not in (*_DIFFERENCES, "cranking_speed"):
                row |= {"offset": offset, "offset_spread": spread * wider}
            rows.append(row)
    if posts_at_rest is not None:
        rows.append(_comparison(events, posts_at_rest, window))
    return [whole for row in rows if (whole := in_terms_of(known, row)) is not None]


def _shipped() -> Catalogue:
    """Load the shipped catalogue."""
    from faultnet.prior_set import load_catalogue

    return load_catalogue()


def _check_choices(place: str, engine: str, posts_at_rest: float | None, window: float) -> None:
    """Refuse choices that do not exist, and a comparison of the posts with themselves."""
    if place not in get_args(Place):
        raise RecordingError("unknown place of recording", got=str(place), expected="posts or module")
    if engine not in CHARGING_TESTS:
        raise RecordingError("unknown state of the engine", got=str(engine), expected=", ".join(CHARGING_TESTS))
    if posts_at_rest is not None and not 0.0 <= posts_at_rest <= MOST_VOLTS:
        raise RecordingError(
            "no such open-circuit (rest) voltage", got=f"{posts_at_rest:g}", expected=f"0 to {MOST_VOLTS:g} V"
        )
    if not 0.0 <= window <= MOST_WINDOW:
        raise RecordingError("no such window", got=f"{window:g}", expected=f"0 to {MOST_WINDOW:g} s")
    if place == "posts" and posts_at_rest is not None:
        raise RecordingError(
            "posts cannot be compared with posts",
            got=f"{posts_at_rest:g} V at the posts and a recording of the posts",
            to_do="say that the module was recorded, or leave out posts_at_rest",
        )


def _offset(events: list[Event], place: Place, posts_at_rest: float | None) -> tuple[float, float]:
    """Offset of the place of recording and its spread [V]."""
    if place == "posts":
        return 0.0, 0.0
    if posts_at_rest is None:
        return MODULE_OFFSET, MODULE_SPREAD
    return _longest_rest(events).level - posts_at_rest, COMPARED_SPREAD


def _longest_rest(events: list[Event]) -> Rest:
    """Give the rest that the posts are compared with."""
    rests = [event for event in events if isinstance(event, Rest)]
    if not rests:
        raise RecordingError(
            "module and posts cannot be compared",
            got="no rest in the recording",
            to_do="record some seconds at rest, or leave out posts_at_rest",
        )
    return max(rests, key=lambda event: event.duration)


def _comparison(events: list[Event], posts_at_rest: float, window: float) -> dict[str, Any]:
    """Offer the comparison at rest, which the diagnosis takes off every later reading at the module."""
    rest = _longest_rest(events)
    note = f"{rest.level:.2f} V at the module, median of {rest.duration:.0f} s, and {posts_at_rest:.2f} V at the posts"
    row = _row("module_offset_at_rest", rest.level - posts_at_rest, note)
    row |= {"place": "posts", "begin": rest.begin, "end": rest.end, "interval": rest.interval}
    return row | {"window": window, "offset": 0.0, "offset_spread": 0.0}


def _rows(event: Event, window: float, engine: Engine, place: Place) -> list[dict[str, Any]]:
    """Readings of one event, without what all have in common."""
    if isinstance(event, Start):
        return _start_rows(event, window, place)
    if isinstance(event, Charging):
        return _charging_rows(event, engine)
    if isinstance(event, Decline) and NIGHT[0] <= event.duration / 3600 <= NIGHT[1]:
        return [_row("overnight_fall", event.fall, f"over {event.duration / 3600:.1f} h")]
    if isinstance(event, Rest):
        return [_row("rest_voltage", event.level, f"median of {event.duration:.0f} s; key and loads not known")]
    return []


def _charging_rows(event: Charging, engine: Engine) -> list[dict[str, Any]]:
    """Readings of one stretch of charging; the kind of engine running is a person's to say."""
    test, words = CHARGING_TESTS[engine]
    about = f"median of {event.duration:.0f} s of charging"
    level = _row(test, event.level, f"{about}; taken {words}, which the log cannot tell")
    level |= {"may_be": tuple(name for name, _ in CHARGING_TESTS.values()), "about": about}
    if not np.isfinite(event.ripple):
        return [level]
    note = "above 20 Hz, noise of the recorder included; loads not known"
    return [level, _row("charge_ripple", event.ripple, note) | {"roughly": True}]


def _start_rows(start: Start, window: float, place: Place) -> list[dict[str, Any]]:
    """Readings of one start."""
    note = f"start at {start.begin:.1f} s, {start.duration:.1f} s long: {START_WORDS[start.outcome]}"
    rows = [_lowest_row(start, window, place, note)]
    if start.outcome != "tried" and start.levels > 1:
        rows.append(_row("recorded_sustained", start.sustained, note))
    if np.isfinite(start.sag) and LONG_CRANK[0] <= start.duration <= LONG_CRANK[1]:
        rows.append(_row("dead_crank_sag", start.sag, note))
    if np.isfinite(start.speed):
        rows.append(_row("cranking_speed", start.speed, f"{note}; {start.ripple_frequency:.2f} Hz ripple"))
    return rows


def _lowest_row(start: Start, window: float, place: Place, note: str) -> dict[str, Any]:
    """Lowest recorded voltage of one start, with what the sampling may have missed."""
    bounds = lowest_uncertainty(start, window=window)
    missed = f"{note}; the true lowest lies between {bounds.low:.2f} and {bounds.high:.2f} V (90 %)"
    test = "recorded_lowest" if place == "posts" else "module_crank_minimum"
    lowest = _row(test, start.lowest_steady, missed)
    lowest |= {"rest": start.rest_before, "sustained": start.sustained, "ripple": start.ripple, "noise": start.noise}
    return lowest | {"low": bounds.low, "median": bounds.median, "high": bounds.high}


def _row(test: str, value: float, note: str) -> dict[str, Any]:
    """One reading."""
    return {"test": test, "value": float(value), "roughly": False, "note": note, "about": note, "may_be": (test,)}
