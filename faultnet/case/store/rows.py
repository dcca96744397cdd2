"""Events as rows of their table, written together with what their case is searched by."""

from __future__ import annotations

import difflib
import hashlib
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import Connection, select

from faultnet.case.store.events import ConcurrentEdit, StoredEvent
from faultnet.case.store.tables import CASES, EVENTS
from faultnet.errors import StoreError


def insert_case(connection: Connection, event: StoredEvent, columns: Mapping[str, Any]) -> None:
    """Write the first event of a case."""
    first = {"case_id": event.case_id, "sequence": 1, "created_at": event.at, "changed_at": event.at}
    connection.execute(CASES.insert().values(**first, **columns))
    connection.execute(EVENTS.insert().values(**row_of(event)))


def insert_event(connection: Connection, event: StoredEvent, columns: Mapping[str, Any]) -> None:
    """Write an event of a case that has some."""
    changed = {"sequence": event.sequence, "changed_at": event.at, **columns}
    connection.execute(EVENTS.insert().values(**row_of(event)))
    connection.execute(CASES.update().where(CASES.c.case_id == event.case_id).values(**changed))


def row_of(event: StoredEvent) -> dict[str, Any]:
    """Turn an event into a row."""
    payload = json.dumps(event.payload, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    row = {**{name: getattr(event, name) for name in StoredEvent.__dataclass_fields__}, "payload": payload}
    return {**row, "seal": seal_of(row)}


def seal_of(row: Mapping[Any, Any]) -> str:
    """Checksum of an event's row, by which a byte that the disk got wrong is noticed."""
    parts = [str(row[name]) for name in StoredEvent.__dataclass_fields__]
    return hashlib.sha256("\0".join(parts).encode()).hexdigest()[:16]


def event_of(row: Mapping[Any, Any]) -> StoredEvent:
    """Turn a row into an event.

    Raises
    ------
    ValueError
        If it is not what was written: its checksum does not fit, or its payload is no object of JSON.
    """
    if row["seal"] not in ("", seal_of(row)):
        raise ValueError(f"event {row['sequence']} of case {row['case_id']} is not as it was written")
    payload = json.loads(row["payload"])
    if not isinstance(payload, dict):
        raise ValueError(f"the payload of event {row['sequence']} is no object")
    fields = {name: row[name] for name in StoredEvent.__dataclass_fields__}
    return StoredEvent(**{**fields, "payload": payload})


def read_events(connection: Connection, case_id: str, *, to_change: bool = False) -> tuple[StoredEvent, ...]:
    """Read the events of a case, and hold other writers off if it is to be changed.

    Raises
    ------
    StoreError
        If there is no such case.
    """
    last = select(CASES.c.sequence).where(CASES.c.case_id == case_id)
    written = connection.execute(last.with_for_update() if to_change else last).scalar()
    rows = connection.execute(select(EVENTS).where(EVENTS.c.case_id == case_id).order_by(EVENTS.c.sequence))
    events = tuple(event_of(row) for row in rows.mappings())
    if not events and written is None:
        known = connection.execute(select(CASES.c.case_id).order_by(CASES.c.changed_at.desc()).limit(1000)).scalars()
        close = difflib.get_close_matches(case_id, list(known), n=1)
        hint = f"did you mean {close[0]}?" if close else "list the cases to find its id"
        raise StoreError("no such case", got=repr(case_id), to_do=hint)
    if len(events) != written:
        raise ValueError(f"{len(events)} events of case {case_id} are there, and {written} were written")
    return events


def read_events_to_change(connection: Connection, case_id: str, expected: int | None) -> tuple[StoredEvent, ...]:
    """Read the events of a case that is to be changed.

    Raises
    ------
    ConcurrentEdit
        If there are more than the writer has seen.
    StoreError
        If there are fewer.
    """
    events = read_events(connection, case_id, to_change=True)
    if expected is None or expected == len(events):
        return events
    if 0 < expected < len(events):
        raise ConcurrentEdit(case_id, events[expected:])
    raise StoreError(
        "the case does not have that many events",
        where=f"case {case_id}",
        got=str(expected),
        expected=f"1 to {len(events)}",
        to_do="read the case again",
    )
