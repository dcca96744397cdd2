"""The store of cases: append-only, on one computer or for a shop with several bays.

A writer says how far it had read; if somebody else was faster it is told what came in between and nothing is lost.
An event that :meth:`Store.append` has returned from is on the disk.
"""

from __future__ import annotations

import os
import secrets
from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from faultnet.case.store import events as happenings
from faultnet.case.store.events import ConcurrentEdit, Event, StoredEvent, is_deleted, replay, standing
from faultnet.case.store.summary import CaseSummary, columns_of, summary_of
from faultnet.case.tree import checked_tree
from faultnet.case.types import Case
from faultnet.errors import StoreError

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

__all__ = ["CaseSummary", "ConcurrentEdit", "Event", "Store", "StoredCase", "StoredEvent", "open_store"]

_LETTERS = "23456789abcdefghjkmnpqrstvwxyz"  # none that are taken for another when read aloud or copied by hand


@dataclass(frozen=True)
class StoredCase:
    """A case as it stands, with what a writer must know.

    Parameters
    ----------
    case_id : str
    case : Case
    sequence : int
        Number of the last event: the `expected_sequence` of the next.
    can_undo, can_redo : bool
    """

    case_id: str
    case: Case
    sequence: int
    can_undo: bool
    can_redo: bool


def open_store(url_or_path: str | os.PathLike[str] | None = None, *, who: str = "", device: str = "") -> Store:
    """Open a store, making it or bringing it up to date if need be.

    Parameters
    ----------
    url_or_path : str or path, optional
        An SQLite file, or ``postgresql://user@host/database``. When left out, the environment variable
        ``FAULTNET_STORE``, else a file in the user's data folder.
    who, device : str
        Written beside every event of this opening.

    Returns
    -------
    Store
        Also a context manager that closes itself.

    Raises
    ------
    StoreError
        If it cannot be opened, or a newer program made it.
    MissingExtraError
        If PostgreSQL is named and its driver is not installed.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from faultnet.case.types import Battery, Car
    >>> with TemporaryDirectory() as folder, open_store(f"{folder}/cases.sqlite") as store:
    ...     case_id = store.create_case(Case(Car(Battery(600.0)), complaint="slow"))
    ...     store.current(case_id).complaint
    'slow'
    """
    from faultnet.case.store.database import default_place, engine_at, refuse_torn, transaction, url_of
    from faultnet.case.store.tables import is_current, migrate

    checked_tree([who, device], "who and device")
    engine = engine_at(url_of(default_place() if url_or_path is None else url_or_path))
    try:
        with transaction(engine) as connection:
            refuse_torn(connection)
            current = is_current(connection)
        if not current:
            with transaction(engine, writing=True) as connection:
                migrate(connection)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, who, device)


class Store:
    """Many cases, each a list of events; made by :func:`open_store`."""

    def __init__(self, engine: Engine, who: str = "", device: str = "") -> None:
        from faultnet.case.store.database import transaction

        self._engine, self._transaction = engine, transaction
        self._signature = {"who": who, "device": device}

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def signed_by(self, who: str) -> Store:
        """The same store, opened for somebody else; it closes with this one."""
        return Store(self._engine, who, self._signature["device"])

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def create_case(self, case: Case) -> str:
        """Keep a new case.

        Parameters
        ----------
        case : Case

        Returns
        -------
        str
            Its id, short enough to be read aloud.

        Raises
        ------
        CaseFileError
            If the case holds something that cannot be kept.
        StoreError
            If the database fails.
        """
        from faultnet.case.store.rows import insert_case

        case_id = _new_id()
        event = self._stored(case_id, 1, happenings.create_case(case))
        columns = columns_of(replay([event]), event.at)
        with self._writing() as connection:
            insert_case(connection, event, columns)
        return case_id

    def append(self, case_id: str, event: Event, expected_sequence: int) -> int:
        """Add an event to a case.

        Parameters
        ----------
        case_id : str
        event : Event
            From one of the functions in :mod:`faultnet.case.store.events`.
        expected_sequence : int
            Number of the last event the writer has seen.

        Returns
        -------
        int
            Number of the event, which is now on the disk.

        Raises
        ------
        ConcurrentEdit
            If others added events meanwhile.
        CaseFileError
            If the payload is malformed.
        StoreError
            If there is no such case, the event does not fit it, or the database fails.
        """
        if event.kind in ("case_created", "undone", "redone"):
            raise StoreError(f"{event.kind} is not appended", to_do="use create_case, undo or redo")
        from faultnet.case.store.rows import read_events_to_change

        with self._writing() as connection:
            before = read_events_to_change(connection, case_id, expected_sequence)
            _refuse_if_deleted(before, event)
            return self._add(connection, before, event)

    def delete(self, case_id: str, expected_sequence: int | None = None) -> int:
        """Mark a case as deleted: listed no more, but kept whole; the same result and errors as :meth:`append`."""
        return self._mark(case_id, happenings.delete_case(), expected_sequence)

    def bring_back(self, case_id: str, expected_sequence: int | None = None) -> int:
        """Bring a deleted case back; the same result and errors as :meth:`append`."""
        return self._mark(case_id, happenings.bring_back(), expected_sequence)

    def _mark(self, case_id: str, event: Event, expected_sequence: int | None) -> int:
        """Write an event on top of what the writer has seen, or of whatever there is."""
        from faultnet.case.store.rows import read_events_to_change

        with self._writing() as connection:
            before = read_events_to_change(connection, case_id, expected_sequence)
            _refuse_if_deleted(before, event)
            return self._add(connection, before, event)

    def current(self, case_id: str) -> Case:
        """Give a case as it stands.

        Raises
        ------
        StoreError
            If there is no such case.
        """
        return self.opened(case_id).case

    def opened(self, case_id: str) -> StoredCase:
        """Give a case as it stands, with the number of its last event and what can be undone.

        Raises
        ------
        StoreError
            If there is no such case.
        """
        events = self.history(case_id)
        done, undone = standing(events)
        return StoredCase(case_id, replay(events), len(events), len(done) > 1, bool(undone))

    def history(self, case_id: str) -> tuple[StoredEvent, ...]:
        """Give everything that happened to a case, oldest first.

        Raises
        ------
        StoreError
            If there is no such case.
        """
        from faultnet.case.store.rows import read_events

        with self._reading() as connection:
            return read_events(connection, case_id)

    def undo(self, case_id: str, expected_sequence: int | None = None) -> int:
        """Take the last change back.

        Parameters
        ----------
        case_id : str
        expected_sequence : int, optional
            As in :meth:`append`; when left out, whatever came last is taken back.

        Returns
        -------
        int
            Number of the new event.

        Raises
        ------
        ConcurrentEdit
            If others added events meanwhile.
        StoreError
            If there is no such case or nothing to undo.
        """
        from faultnet.case.store.rows import read_events_to_change

        with self._writing() as connection:
            before = read_events_to_change(connection, case_id, expected_sequence)
            done, _ = standing(before)
            if len(done) < 2:
                raise StoreError("there is nothing to undo", where=f"case {case_id}")
            return self._add(connection, before, Event("undone", {"sequence": done[-1].sequence}))

    def redo(self, case_id: str, expected_sequence: int | None = None) -> int:
        """Bring back what was last undone; the same parameters, result and errors as :meth:`undo`."""
        from faultnet.case.store.rows import read_events_to_change

        with self._writing() as connection:
            before = read_events_to_change(connection, case_id, expected_sequence)
            _, undone = standing(before)
            if not undone:
                raise StoreError("there is nothing to redo", where=f"case {case_id}")
            return self._add(connection, before, Event("redone", {"sequence": undone[-1].sequence}))

    def list_cases(
        self,
        text: str = "",
        *,
        since: str | None = None,
        until: str | None = None,
        cause: str | None = None,
        car: str | None = None,
        closed: bool | None = None,
        deleted: bool = False,
        limit: int = 1000,
    ) -> tuple[CaseSummary, ...]:
        """List cases, the one changed last first.

        Parameters
        ----------
        text : str
            Words that must all occur in its name, complaint, car, notes, tests or acts; capitals do not matter.
        since, until : str, optional
            Dates such as ``2026-11-20``: cases with visits in between, both days included.
        cause : str, optional
            A component, or ``component:mode``, that was confirmed.
        car : str, optional
            Part of what the car is called.
        closed : bool, optional
        deleted : bool
            List the deleted cases instead of the others.
        limit : int
            At most so many.

        Returns
        -------
        tuple of CaseSummary

        Raises
        ------
        StoreError
            If the database fails.
        """
        from faultnet.case.store.query import find

        query = find(text, since, until, cause, car, closed, deleted).limit(limit)
        with self._reading() as connection:
            return tuple(summary_of(row) for row in connection.execute(query))

    def draft(self, place: str) -> dict[str, Any]:
        """Give what was typed at a place of the screen and not yet entered, by the names of its fields."""
        from faultnet.case.store.drafts import read_draft

        with self._reading() as connection:
            return read_draft(connection, place)

    def keep_draft(self, place: str, fields: Mapping[str, Any]) -> None:
        """Keep what was typed at a place; empty fields let it go. It is no part of a case and stands in no backup."""
        from faultnet.case.store.drafts import write_draft

        checked_tree(list(fields.values()), f"draft {place}")
        with self._writing() as connection:
            write_draft(connection, place, fields)

    def keep_photo(self, data: bytes, name: str = "the photo") -> str:
        """Keep a photo, made small and stripped of its metadata, and give the id by which an entry or visit names it.

        Raises
        ------
        PhotoError
            If it is no JPEG, PNG or WebP file by its content, is damaged, or too large.
        MissingExtraError
            If Pillow is not installed.
        """
        from faultnet.case.photos import small_photo
        from faultnet.case.store.photos import keep_photo

        small = small_photo(data, name)
        with self._writing() as connection:
            return keep_photo(connection, small)

    def photo(self, name: str) -> bytes:
        """Give a photo as a JPEG file.

        Raises
        ------
        StoreError
            If the store does not have it.
        """
        from faultnet.case.store.photos import read_photo

        with self._reading() as connection:
            return read_photo(connection, name)

    def backup(self, path: str | os.PathLike[str]) -> int:
        """Write every event to one file of text; see :func:`faultnet.case.store.backup.write_backup`."""
        from faultnet.case.store.backup import write_backup

        with self._reading() as connection:
            return write_backup(connection, path)

    def restore(self, path: str | os.PathLike[str], *, merge: bool = True) -> int:
        """Take the cases of a backup in; see :func:`faultnet.case.store.backup.read_backup`."""
        from faultnet.case.store.backup import read_backup

        with self._writing() as connection:
            return read_backup(connection, path, merge=merge)

    def _reading(self) -> AbstractContextManager[Connection]:
        """Begin to read, all from one moment."""
        return self._transaction(self._engine)

    def _writing(self) -> AbstractContextManager[Connection]:
        """Begin to write, after others have finished."""
        return self._transaction(self._engine, writing=True)

    def _stored(self, case_id: str, sequence: int, event: Event) -> StoredEvent:
        """Put place, time and signature to an event."""
        checked_tree(event.payload, f"event {event.kind}")
        now = datetime.now(UTC).isoformat(timespec="microseconds")
        return StoredEvent(case_id, sequence, event.kind, event.payload, now, **self._signature)

    def _add(self, connection: Connection, before: tuple[StoredEvent, ...], event: Event) -> int:
        """Write an event behind those before it, after trying it on the case."""
        from faultnet.case.store.rows import insert_event

        stored = self._stored(before[0].case_id, len(before) + 1, event)
        events = [*before, stored]
        insert_event(connection, stored, columns_of(replay(events), before[0].at, deleted=is_deleted(events)))
        return stored.sequence


def _refuse_if_deleted(before: tuple[StoredEvent, ...], event: Event) -> None:
    """Refuse to change a deleted case, or to bring back one that is not.

    Raises
    ------
    StoreError
        If the event does not fit.
    """
    where = f"case {before[0].case_id}"
    if is_deleted(before) and event.kind != "brought_back":
        raise StoreError("the case is deleted", where=where, got=event.kind, to_do="bring it back first")
    if not is_deleted(before) and event.kind == "brought_back":
        raise StoreError("the case is not deleted", where=where)


def _new_id() -> str:
    """Draw an id; among a million cases two are the same with a chance below one in a million."""
    letters = [secrets.choice(_LETTERS) for _ in range(12)]
    return "-".join("".join(letters[k : k + 4]) for k in (0, 4, 8))
