"""The effect of one event on a case, with its payload checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any, Literal

from pydantic import Field, ValidationError

from faultnet.case.faults import CaseFileError, from_validation
from faultnet.case.fields import Date
from faultnet.case.form import (
    CarForm,
    CaseForm,
    ConditionsForm,
    EntryForm,
    Form,
    OutcomeForm,
    PhotoForm,
    VisitForm,
    known_fields,
)
from faultnet.case.types import Case, Entry, Runs, Visit
from faultnet.errors import StoreError

Index = Field(ge=0)


class Created(Form):
    """Payload of `case_created`."""

    case: CaseForm


class VisitAdded(Form):
    """Payload of `visit_added`."""

    visit: VisitForm


class EntryAdded(Form):
    """Payload of `entry_added`."""

    visit: int = Index
    entry: EntryForm
    position: int | None = Field(None, ge=0)


class EntryChanged(Form):
    """Payload of `entry_changed`."""

    visit: int = Index
    position: int = Index
    entry: EntryForm


class EntryRemoved(Form):
    """Payload of `entry_removed`."""

    visit: int = Index
    position: int = Index


class CarChanged(Form):
    """Payload of `car_changed`."""

    car: CarForm | None = None
    complaint: str | None = None
    name: str | None = None


class ConditionsChanged(Form):
    """Payload of `conditions_changed`."""

    visit: int = Index
    conditions: ConditionsForm | None = None
    date: Date | Literal[""] | None = None
    note: str | None = None


class AbilityForm(Form):
    """What the car can do at a visit; what is left out is not known."""

    cranks: bool | None = None
    runs: Runs | None = None
    shows_now: bool | None = None


class VisitChanged(Form):
    """Payload of `visit_changed`."""

    visit: int = Index
    can: AbilityForm | None = None
    photos: list[PhotoForm] | None = None


class Closed(Form):
    """Payload of `closed`."""

    outcome: OutcomeForm


class Reopened(Form):
    """Payload of `reopened`, which needs nothing."""


class Marked(Form):
    """Payload of `deleted` and `brought_back`, which need nothing."""


def apply(case: Case | None, kind: str, payload: Mapping[str, Any]) -> Case:
    """Give the case after an event.

    Parameters
    ----------
    case : Case or None
        As it was before; None before it is made.
    kind : str
        Any kind but `undone` and `redone`, which :func:`faultnet.case.store.events.standing` has dealt with.
    payload : mapping

    Returns
    -------
    Case

    Raises
    ------
    StoreError
        If the event does not fit the case: no such visit or entry, or the case is closed.
    CaseFileError
        If the payload is malformed, with every fault.
    """
    form, effect = _known(kind)
    try:
        checked = form.model_validate(dict(payload))
    except ValidationError as error:
        raise CaseFileError(f"event {kind}", from_validation(error.errors(include_url=False), known_fields())) from None
    if isinstance(checked, Created):
        return checked.case.build()
    if case is None:
        raise StoreError("the case is not made yet", got=kind, expected="case_created", to_do="create the case first")
    _refuse_if_closed(case, kind)
    return effect(case, checked)


def _known(kind: str) -> tuple[type[Form], Callable[[Case, Any], Case]]:
    """Look a kind of event up.

    Raises
    ------
    StoreError
        If there is none of that name.
    """
    if kind not in _EFFECTS:
        raise StoreError("unknown kind of event", got=repr(kind), expected=", ".join(_EFFECTS))
    return _EFFECTS[kind]


def _refuse_if_closed(case: Case, kind: str) -> None:
    """Refuse to change a closed case, or to reopen an open one.

    Raises
    ------
    StoreError
        If the event does not fit.
    """
    if case.outcome is not None and kind not in ("reopened", "deleted", "brought_back"):
        raise StoreError("the case is closed", got=kind, to_do="reopen it first")
    if case.outcome is None and kind == "reopened":
        raise StoreError("the case is open already", got=kind)


def _visit(case: Case, number: int) -> Visit:
    """Take a visit of a case.

    Raises
    ------
    StoreError
        If it has no such visit.
    """
    if number >= len(case.visits):
        count = len(case.visits)
        raise StoreError("no such visit", got=str(number), expected=f"0 to {count - 1}" if count else "a visit first")
    return case.visits[number]


def _place(position: int, count: int) -> int:
    """Check the place of an entry.

    Raises
    ------
    StoreError
        If `position` is not below `count`.
    """
    if position >= count:
        raise StoreError("no such entry", got=str(position), expected=f"below {count}", to_do="look at the visit again")
    return position


def _with_visit(case: Case, number: int, visit: Visit) -> Case:
    """Put a visit in the place of one."""
    return replace(case, visits=(*case.visits[:number], visit, *case.visits[number + 1 :]))


def _with_entries(case: Case, number: int, position: int, until: int, entries: tuple[Entry, ...]) -> Case:
    """Put entries in the place of those from `position` up to `until`."""
    visit = _visit(case, number)
    kept = (*visit.entries[:position], *entries, *visit.entries[until:])
    return _with_visit(case, number, replace(visit, entries=kept))


def _visit_added(case: Case, event: VisitAdded) -> Case:
    return replace(case, visits=(*case.visits, event.visit.build()))


def _entry_added(case: Case, event: EntryAdded) -> Case:
    visit = _visit(case, event.visit)
    count = len(visit.entries)
    position = count if event.position is None else _place(event.position, count + 1)
    return _with_entries(case, event.visit, position, position, (event.entry.build(),))


def _entry_changed(case: Case, event: EntryChanged) -> Case:
    visit = _visit(case, event.visit)
    position = _place(event.position, len(visit.entries))
    return _with_entries(case, event.visit, position, position + 1, (event.entry.build(),))


def _entry_removed(case: Case, event: EntryRemoved) -> Case:
    visit = _visit(case, event.visit)
    position = _place(event.position, len(visit.entries))
    return _with_entries(case, event.visit, position, position + 1, ())


def _car_changed(case: Case, event: CarChanged) -> Case:
    given = {"car": event.car.build() if event.car else None, "complaint": event.complaint, "name": event.name}
    return replace(case, **{name: value for name, value in given.items() if value is not None})  # type: ignore[arg-type]


def _conditions_changed(case: Case, event: ConditionsChanged) -> Case:
    conditions = event.conditions.build() if event.conditions else None
    given = {"conditions": conditions, "date": event.date, "note": event.note}
    changed = {name: value for name, value in given.items() if value is not None}
    return _with_visit(case, event.visit, replace(_visit(case, event.visit), **changed))  # type: ignore[arg-type]


def _visit_changed(case: Case, event: VisitChanged) -> Case:
    changed: dict[str, Any] = event.can.model_dump() if event.can else {}
    if event.photos is not None:
        changed["photos"] = tuple(photo.build() for photo in event.photos)
    return _with_visit(case, event.visit, replace(_visit(case, event.visit), **changed))


def _closed(case: Case, event: Closed) -> Case:
    return replace(case, outcome=event.outcome.build())


def _reopened(case: Case, event: Reopened) -> Case:
    return replace(case, outcome=None)


def _marked(case: Case, event: Marked) -> Case:
    return case


def _created(case: Case, event: Created) -> Case:
    return event.case.build()


_EFFECTS: dict[str, tuple[type[Form], Callable[[Case, Any], Case]]] = {
    "case_created": (Created, _created),
    "visit_added": (VisitAdded, _visit_added),
    "entry_added": (EntryAdded, _entry_added),
    "entry_changed": (EntryChanged, _entry_changed),
    "entry_removed": (EntryRemoved, _entry_removed),
    "car_changed": (CarChanged, _car_changed),
    "conditions_changed": (ConditionsChanged, _conditions_changed),
    "visit_changed": (VisitChanged, _visit_changed),
    "closed": (Closed, _closed),
    "reopened": (Reopened, _reopened),
    "deleted": (Marked, _marked),
    "brought_back": (Marked, _marked),
}
