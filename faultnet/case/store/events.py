"""What can happen to a stored case, and how a list of such events gives the case.

A stored case is the list of everything that happened to it. Nothing is ever changed or taken out: undoing is an event
too. Payloads are the plain dictionaries of a case file, so that a list of events can be read without this program.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from faultnet.case.plain import (
    ability_fields,
    car_fields,
    case_fields,
    conditions_fields,
    entry_fields,
    outcome_fields,
    photo_fields,
    visit_fields,
)
from faultnet.case.types import Car, Case, CaseOutcome, Conditions, Entry, Photo, Visit
from faultnet.errors import StoreError

EventKind = Literal[
    "case_created",
    "visit_added",
    "entry_added",
    "entry_changed",
    "entry_removed",
    "car_changed",
    "conditions_changed",
    "visit_changed",
    "closed",
    "reopened",
    "deleted",
    "brought_back",
    "undone",
    "redone",
]


@dataclass(frozen=True)
class Event:
    """Something that is to happen to a case; make one with the functions below.

    Parameters
    ----------
    kind : str
    payload : mapping
        What it needs, as in a case file; visits and entries are counted from 0.
    """

    kind: EventKind
    payload: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class StoredEvent:
    """Something that happened.

    Parameters
    ----------
    case_id : str
    sequence : int
        Its place in the case, from 1.
    kind : str
    payload : mapping
    at : str
        When, in UTC, such as ``2026-11-20T14:05:31.250000+00:00``.
    who, device : str
        Whom and what the store was opened for; empty when it was not said.
    """

    case_id: str
    sequence: int
    kind: EventKind
    payload: Mapping[str, Any]
    at: str
    who: str = ""
    device: str = ""

    def __str__(self) -> str:
        by = " by " + " on ".join(part for part in (self.who, self.device) if part) if self.who or self.device else ""
        entry = self.payload.get("entry", {})
        what = entry.get("test") or entry.get("act") if isinstance(entry, Mapping) else None
        return f"{self.kind}{f' ({what})' if what else ''}{by} at {self.at[:16].replace('T', ' ')}"


class ConcurrentEdit(StoreError):
    """Somebody else changed the case first; the event was not written.

    Parameters
    ----------
    case_id : str
    between : tuple of StoredEvent
        What came in between, oldest first.
    """

    def __init__(self, case_id: str, between: tuple[StoredEvent, ...]) -> None:
        self.case_id = case_id
        self.between = between
        self.sequence = between[-1].sequence
        super().__init__(
            "somebody else changed this case meanwhile",
            where=f"case {case_id}",
            got="; ".join(map(str, between)),
            to_do="look at that, then enter yours again if it still holds",
        )


LONGEST_NAME = 40


def signature(name: str) -> str:
    """A name by which entries are signed, without blanks around it.

    Raises
    ------
    StoreError
        If it is longer than 40 characters, or holds what cannot be seen.

    Examples
    --------
    >>> signature("  Kim ")
    'Kim'
    """
    name = " ".join(name.split())
    if len(name) > LONGEST_NAME or not name.isprintable():
        raise StoreError(
            "no name to sign with", got=repr(name[:60]), expected=f"at most {LONGEST_NAME} letters", to_do="shorten it"
        )
    return name


def create_case(case: Case) -> Event:
    """Begin a case."""
    return Event("case_created", {"case": case_fields(case)})


def add_visit(visit: Visit) -> Event:
    """Add a visit behind the others."""
    return Event("visit_added", {"visit": visit_fields(visit)})


def add_entry(visit: int, entry: Entry, position: int | None = None) -> Event:
    """Add an entry to a visit, behind the others or before the one at `position`.

    Examples
    --------
    >>> from faultnet.case.types import Act
    >>> add_entry(0, Act("charge", hours=8.0)).payload
    {'visit': 0, 'entry': {'act': 'charge', 'hours': 8.0}}
    """
    place = {} if position is None else {"position": position}
    return Event("entry_added", {"visit": visit, "entry": entry_fields(entry), **place})


def change_entry(visit: int, position: int, entry: Entry) -> Event:
    """Put another entry in the place of one."""
    return Event("entry_changed", {"visit": visit, "position": position, "entry": entry_fields(entry)})


def remove_entry(visit: int, position: int) -> Event:
    """Take an entry out; it stays in the history."""
    return Event("entry_removed", {"visit": visit, "position": position})


def change_car(car: Car | None = None, *, complaint: str | None = None, name: str | None = None) -> Event:
    """Correct the car, the complaint or the name of the case; what is None stays."""
    given = {"car": car_fields(car) if car else None, "complaint": complaint, "name": name}
    return Event("car_changed", {key: value for key, value in given.items() if value is not None})


def change_conditions(
    visit: int, conditions: Conditions | None = None, *, date: str | None = None, note: str | None = None
) -> Event:
    """Correct the conditions, the date or the note of a visit; what is None stays."""
    given = {"conditions": conditions_fields(conditions) if conditions else None, "date": date, "note": note}
    return Event("conditions_changed", {"visit": visit, **{k: v for k, v in given.items() if v is not None}})


def change_ability(visit: int, changed: Visit) -> Event:
    """Say anew what the car can do at a visit: whether it cranks, runs and shows the fault, as `changed` has it."""
    return Event("visit_changed", {"visit": visit, "can": ability_fields(changed)})


def change_photos(visit: int, photos: tuple[Photo, ...]) -> Event:
    """Put other photos in the place of those of a visit."""
    return Event("visit_changed", {"visit": visit, "photos": photo_fields(photos)})


def close_case(outcome: CaseOutcome) -> Event:
    """Close a case with its confirmed outcome."""
    return Event("closed", {"outcome": outcome_fields(outcome)})


def reopen_case() -> Event:
    """Open a closed case again."""
    return Event("reopened")


def delete_case() -> Event:
    """Mark a case as deleted: it is listed no more, nothing of it is lost, and it can be brought back."""
    return Event("deleted")


def bring_back() -> Event:
    """Bring a deleted case back."""
    return Event("brought_back")


def is_deleted(events: Sequence[StoredEvent]) -> bool:
    """Say whether a case is marked as deleted, undoing allowed for."""
    marks = [event.kind for event in standing(events)[0] if event.kind in ("deleted", "brought_back")]
    return bool(marks) and marks[-1] == "deleted"


def standing(events: Sequence[StoredEvent]) -> tuple[list[StoredEvent], list[StoredEvent]]:
    """Sort out what undoing and redoing left.

    Parameters
    ----------
    events : sequence of StoredEvent
        All events of one case in order.

    Returns
    -------
    done, undone : list of StoredEvent
        What counts, in order; and what can be redone, the next one last. A new change ends the chance to redo.
    """
    done: list[StoredEvent] = []
    undone: list[StoredEvent] = []
    for event in events:
        if event.kind == "undone":
            undone.append(done.pop())
        elif event.kind == "redone":
            done.append(undone.pop())
        else:
            undone.clear()
            done.append(event)
    return done, undone


def replay(events: Sequence[StoredEvent]) -> Case:
    """Give the case that a list of events amounts to.

    Parameters
    ----------
    events : sequence of StoredEvent
        All events of one case in order.

    Returns
    -------
    Case

    Raises
    ------
    StoreError
        If the list does not begin with the making of a case, or an event does not fit what came before it.
    """
    from faultnet.case.store.effects import apply

    _refuse_gaps(events)
    case: Case | None = None
    for event in standing(events)[0]:
        case = apply(case, event.kind, event.payload)
    assert case is not None  # the first event makes a case or apply raises
    return case


def _refuse_gaps(events: Sequence[StoredEvent]) -> None:
    """Refuse a list from which events are missing, or that takes back more than it has.

    Raises
    ------
    StoreError
        If the sequence is not 1, 2, 3 ..., or there is nothing to undo or redo where it says so.
    """
    if not events:
        raise StoreError("a case without events is no case", to_do="restore the store from a backup")
    done = undone = 0
    for expected, event in enumerate(events, start=1):
        step = {"undone": (-1, 1), "redone": (1, -1)}.get(event.kind, (1, -undone))
        done, undone = done + step[0], undone + step[1]
        is_first = event.kind == "case_created"
        if event.sequence != expected or is_first != (expected == 1) or done < 1 or undone < 0:
            raise StoreError(
                "the history of a case is damaged",
                where=f"case {event.case_id}",
                got=f"event {event.sequence}, {event.kind}",
                expected=f"event {expected} of a history that fits together",
                to_do="restore the store from a backup",
            )
