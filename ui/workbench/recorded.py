"""From readings offered by a recording to readings of the catalogue's tests."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from faultnet.car import Reading
from faultnet.catalogue.catalogue import Catalogue
from faultnet.units import find_unit

TESTS: dict[str, tuple[str, ...]] = {
    "rest_voltage": ("rest_voltage",),
    "recorded_lowest": ("recorded_lowest",),
    "crank_sustained": ("recorded_sustained",),
    "dead_crank_sag": ("dead_crank_sag",),
    "cranking_speed": ("cranking_speed",),
    "charge_running_voltage": (
        "charge_idle_voltage", "charge_unloaded_voltage", "charge_loaded_voltage", "charge_hot_voltage",
    ),
    "charge_ripple": ("charge_ripple",),
    "overnight_fall": ("overnight_fall",),
}  # fmt: skip
AT_MODULE = {"recorded_lowest": ("module_crank_minimum",)}


def tests_for(row: Mapping[str, Any], catalogue: Catalogue) -> tuple[str, ...]:
    """The tests of the catalogue an offered reading may stand for; a person chooses when there are several."""
    wanted = TESTS.get(row["test"], ())
    if row["place"] == "module":
        wanted = AT_MODULE.get(row["test"], wanted)
    known = {t.id for t in catalogue.tests}
    return tuple(t for t in wanted if t in known)


def reading_of(row: Mapping[str, Any], test: str, catalogue: Catalogue) -> Reading:
    """An offered reading as an entry.

    Parameters
    ----------
    row : mapping
        From :func:`faultnet.recordings.readings_from`.
    test : str
        One of :func:`tests_for`.
    catalogue : Catalogue
    """
    unit = catalogue.test(test).unit
    interval = row["interval"] if 0.0 < row["interval"] <= 60.0 else None
    return Reading(
        test,
        value=round(row["value"], 4),
        unit=find_unit(unit).name,
        instrument=instrument_for(row, test, catalogue),
        interval=interval,
        note=f"from a recording: {row['note']}",
    )


def instrument_for(row: Mapping[str, Any], test: str, catalogue: Catalogue) -> str | None:
    """The instrument of that test that comes closest to the recorder: by place, then by time between samples."""
    allowed = [catalogue.instrument(i) for i in catalogue.test(test).instruments]
    if row["place"] == "posts":
        return next((i.id for i in allowed if i.id == "recorder"), None)
    there = [i for i in allowed if i.place == "module" and i.interval is not None]
    if not there:
        return None
    return min(there, key=lambda i: abs((i.interval or 0.0) - row["interval"])).id
