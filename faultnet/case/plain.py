"""The types of a case as the plain dictionaries of a case file, fields at their default left out."""

from __future__ import annotations

from dataclasses import fields
from typing import Any

from faultnet.case.types import Act, Car, Case, CaseOutcome, Conditions, Entry, Photo, Reading, Visit
from faultnet.errors import EntryError
from faultnet.units import exact_from_si, from_si, parse_entry, to_si


def case_fields(case: Case) -> dict[str, Any]:
    """Write a case.

    Parameters
    ----------
    case : Case

    Returns
    -------
    dict
        What :class:`~faultnet.case.form.CaseForm` reads back to an equal case.

    Examples
    --------
    >>> from faultnet.case.types import Battery
    >>> case_fields(Case(Car(Battery(600.0)), complaint="slow"))["car"]
    {'battery': {'rating': 600.0}}
    """
    written: dict[str, Any] = {"format": "faultnet-case", "version": 2}
    written.update(_changed(case, "name", "invented", "complaint"))
    written["car"] = car_fields(case.car)
    written["visits"] = [visit_fields(visit) for visit in case.visits]
    if case.outcome is not None:
        written["outcome"] = outcome_fields(case.outcome)
    return written


def car_fields(car: Car) -> dict[str, Any]:
    """Write a car."""
    battery = _changed(car.battery, "rating", "standard", "kind", "capacity", "age")
    rest = [field.name for field in fields(car) if field.name != "battery"]
    return {"battery": battery, **_changed(car, *rest)}


def visit_fields(visit: Visit) -> dict[str, Any]:
    """Write a visit."""
    written = _changed(visit, "date", "note")
    conditions = conditions_fields(visit.conditions)
    if conditions:
        written["conditions"] = conditions
    written |= {**ability_fields(visit), **_photos(visit.photos)}
    written["entries"] = [entry_fields(entry) for entry in visit.entries]
    return written


def ability_fields(visit: Visit) -> dict[str, Any]:
    """Write what the car can do at a visit."""
    return _changed(visit, "cranks", "runs", "shows_now")


def conditions_fields(conditions: Conditions) -> dict[str, Any]:
    """Write conditions, temperatures in [degC]."""
    return _changed(conditions, *(field.name for field in fields(conditions)))


def entry_fields(entry: Entry) -> dict[str, Any]:
    """Write a reading or an act.

    Examples
    --------
    >>> entry_fields(Reading("rest_voltage", 12.4, unit="V", entered="12,4"))
    {'test': 'rest_voltage', 'unit': 'V', 'value': '12,4'}
    """
    if isinstance(entry, Act):
        return {"act": entry.act, **_changed(entry, "component", "outcome", "hours"), **_common(entry)}
    written = {"test": entry.test, **({"unit": entry.unit} if entry.unit else {})}
    if entry.value is None:
        written.update(_changed(entry, "state", "not_measured", "entered"))
    else:
        written.update(_value_fields(entry, entry.value))
    return {**written, **_changed(entry, "instrument", "roughly", "interval", "read_by"), **_common(entry)}


def _common(entry: Entry) -> dict[str, Any]:
    """Write what readings and acts have in common."""
    return {**_changed(entry, "note", "at", "by"), **_photos(entry.photos)}


def _photos(photos: tuple[Photo, ...]) -> dict[str, Any]:
    """Write photos, if there are any."""
    return {"photos": photo_fields(photos)} if photos else {}


def photo_fields(photos: tuple[Photo, ...]) -> list[dict[str, Any]]:
    """Write photos: their ids and captions, not their bytes."""
    return [{"id": photo.id, **_changed(photo, "caption")} for photo in photos]


def outcome_fields(outcome: CaseOutcome) -> dict[str, Any]:
    """Write the end of a case."""
    causes = [{"component": component, "mode": mode} for component, mode in outcome.causes]
    return {"causes": causes, **_changed(outcome, "confirmed_by", "note", "proof")}


def _changed(thing: Any, *names: str) -> dict[str, Any]:
    """Take the named fields that differ from their default."""
    defaults = {field.name: field.default for field in fields(thing)}
    return {name: getattr(thing, name) for name in names if getattr(thing, name) != defaults[name]}


def _value_fields(reading: Reading, value: float) -> dict[str, Any]:
    """Write a value as it was typed if that says it all, else as a number, else with every digit it has."""
    if reading.entered and _says_it_all(reading, value):
        return {"value": reading.entered}
    number = from_si(value, reading.unit) if reading.unit else value
    if not reading.unit or to_si(number, reading.unit) == value:
        return {"value": number, **_changed(reading, "entered", "bound")}
    return {"value": str(exact_from_si(value, reading.unit)), "entered": reading.entered, **_changed(reading, "bound")}


def _says_it_all(reading: Reading, value: float) -> bool:
    """Say whether the characters typed lead back to this very reading."""
    try:
        parsed = parse_entry(reading.entered, reading.unit or None)
    except EntryError:
        return False
    return (parsed.value, parsed.unit, parsed.bound) == (value, reading.unit, reading.bound) and (
        parsed.roughly <= reading.roughly
    )
