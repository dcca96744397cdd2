"""Readings offered by a recording in the terms of the catalogue: its tests, units and instruments, and as entries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

import numpy as np

from faultnet.case.types import Reading
from faultnet.errors import RecordingError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.recordings.events.types import Event, Start

NEAREST = 2.0
"""Largest ratio of the log's interval to an adapter's for which the adapter may stand for the log [-] (estimate)."""


def in_terms_of(catalogue: Catalogue, row: dict[str, Any]) -> dict[str, Any] | None:
    """Add unit and instrument to an offered reading.

    Parameters
    ----------
    catalogue : Catalogue
    row : dict
        With `test`, `value`, `may_be`, `place` and `interval`.

    Returns
    -------
    dict or None
        None where the catalogue has no such test, no instrument that fits, or cannot believe the value.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> row = {"test": "recorded_lowest", "value": 9.5, "may_be": ("recorded_lowest",)}
    >>> in_terms_of(load_catalogue(), row | {"place": "posts", "interval": 0.1})["instrument"]
    'recorder'
    """
    known = {test.id for test in catalogue.tests}
    if row["test"] not in known:
        return None
    test = catalogue.test(row["test"])
    instrument = _instrument(catalogue, row)
    low, high = test.plausible or (-np.inf, np.inf)
    if instrument is None or not low <= row["value"] <= high:
        return None
    may_be = tuple(name for name in row["may_be"] if name in known and instrument in catalogue.test(name).instruments)
    return row | {"unit": test.unit, "instrument": instrument, "may_be": may_be}


def _instrument(catalogue: Catalogue, row: Mapping[str, Any]) -> str | None:
    """Instrument of a test that stands for the recorder.

    At the posts the recorder itself, or else the ordinary meter, whose limit of error is the same; at the module the
    adapter of the nearest interval; anywhere one to which the place does not matter.
    """
    allowed = catalogue.test(row["test"]).instruments
    if row["place"] == "posts":
        return next((name for name in ("recorder", "multimeter", *allowed) if name in allowed), None)
    placeless = [name for name in allowed if catalogue.instrument(name).place == "-"]
    if placeless:
        return placeless[0]
    there = {name: catalogue.instrument(name) for name in allowed if catalogue.instrument(name).place == "module"}
    away = {name: abs(np.log(row["interval"] / one.interval)) for name, one in there.items() if one.interval}
    nearest = min(away, key=lambda name: away[name], default=None)
    return nearest if nearest is not None and away[nearest] <= np.log(NEAREST) else None


def entry_of(row: Mapping[str, Any], test: str | None = None) -> Reading:
    """Turn an offered reading into an entry of a case.

    Parameters
    ----------
    row : mapping
        From :func:`faultnet.recordings.readings_from`.
    test : str, optional
        One of the row's `may_be`; its `test` when left out.

    Returns
    -------
    Reading
        With the sampling interval of the log, from which the diagnosis works out what the log may have missed.

    Raises
    ------
    RecordingError
        If the row may not be taken as that test.

    Examples
    --------
    >>> row = {"test": "rest_voltage", "may_be": ("rest_voltage",), "value": 12.4, "unit": "V", "roughly": False}
    >>> entry_of(row | {"instrument": "multimeter", "interval": 0.2, "note": "median of 60 s"}).value
    12.4
    """
    chosen = test or row["test"]
    if chosen not in row["may_be"]:
        raise RecordingError(
            "this reading may not be taken as that test", got=chosen, expected=", ".join(row["may_be"])
        )
    interval = row["interval"]
    return Reading(
        chosen,
        value=round(row["value"], 4),
        unit=row["unit"],
        instrument=row["instrument"],
        roughly=row["roughly"],
        interval=interval if 0.0 < interval <= 60.0 else None,
        note=f"from a recording: {row['note'] if chosen == row['test'] else row['about']}",
    )


def not_offered(events: Iterable[Event], rows: Iterable[Mapping[str, Any]], place: str = "posts") -> tuple[str, ...]:
    """Say what was found and is offered as no reading, with the reason.

    Parameters
    ----------
    events : iterable of Event
    rows : iterable of mapping
        What :func:`faultnet.recordings.readings_from` made of them.
    place : {"posts", "module"}
        Where the volts were taken.

    Returns
    -------
    tuple of str
        Sentences, without a capital.

    Examples
    --------
    >>> not_offered([], [])
    ()
    """
    events, rows = list(events), list(rows)
    return (*_no_lowest(events, rows), *_no_sustained(events), *(_withheld(events, rows) if place == "module" else ()))


def _no_sustained(events: Iterable[Event]) -> tuple[str, ...]:
    """Say which starts have one value only while the engine was turned."""
    single = [e for e in events if isinstance(e, Start) and e.levels < 2 and e.outcome != "tried"]
    if not single:
        return ()
    return (
        f"the sustained voltage of {len(single)} start(s) is offered as no reading: one value came while the starter "
        f"turned, {1000 * single[0].interval:.3g} ms from the next, and one value says nothing of how long it lasted",
    )


def _withheld(events: Iterable[Event], rows: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Say which levels through a module are withheld, and why."""
    tests = {(row["begin"], row["test"]) for row in rows}
    named = {"rest": "rest", "charging": "charging"}
    found = [named[e.kind] for e in events if e.kind in named and (e.begin, "module_offset_at_rest") not in tests]
    found += ["sustained" for e in events if isinstance(e, Start) and (e.begin, "recorded_sustained") not in tests]
    counts = ", ".join(f"{found.count(word)} of {word}" for word in dict.fromkeys(found))
    if not found:
        return ()
    return (
        f"levels through the module are withheld ({counts}): the module lies some tenths of a volt below the posts "
        "and its own supply drops with the load, which no test of these levels takes into account; measure them at the "
        "posts, or give what a meter at the posts read while the module rested, for the offset alone",
    )


def _no_lowest(events: Iterable[Event], rows: Iterable[Mapping[str, Any]]) -> tuple[str, ...]:
    """Say which starts gave no lowest that can be taken as a reading."""
    taken = {row["begin"] for row in rows if "low" in row}
    missing = [event for event in events if isinstance(event, Start) and event.begin not in taken]
    if not missing:
        return ()
    return (
        f"the lowest voltage of {len(missing)} start(s) is offered as no reading: through the module only adapters of "
        f"2 to 10 samples a second are known, and here a sample came every {1000 * missing[0].interval:.3g} ms",
    )
