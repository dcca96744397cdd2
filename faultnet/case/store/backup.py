"""Backups: all events and photos of a store as lines of JSON in one file, the same for both databases.

The first line names the format, the last holds the number of lines between and a checksum of all
before it. A photo is a line with its id and its bytes in base 64. A backup can be
read with any text tool, moved from SQLite to PostgreSQL or back, and merged into a store that has other cases.
"""

from __future__ import annotations

import hashlib
import json
import os
from base64 import b64decode, b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, func, select

from faultnet.case.store.events import StoredEvent, is_deleted, replay
from faultnet.case.store.photos import all_photos, keep_photo, read_photo
from faultnet.case.store.rows import event_of, insert_case, insert_event, read_events
from faultnet.case.store.summary import columns_of
from faultnet.case.store.tables import CASES, EVENTS
from faultnet.errors import StoreError
from faultnet.whole import written_whole

_HEAD = {"format": "faultnet-store", "version": 2}
_KNOWN = ({"format": "faultnet-store", "version": 1}, _HEAD)


@dataclass(frozen=True)
class Contents:
    """What a backup that is whole holds.

    Parameters
    ----------
    cases, events, photos : int
    sha256 : str
        Of everything but its last line, which says it as well; two stores with the same cases have the same.
    """

    cases: int
    events: int
    photos: int
    sha256: str


def contents_of(path: str | os.PathLike[str]) -> Contents:
    """Look a backup through and count what it holds.

    Raises
    ------
    StoreError
        If the file is no whole backup.
    """
    source = Path(path)
    _refuse_damage(source)
    cases, events, photos, sha256 = set(), 0, 0, ""
    for line in _lines_in(source):
        fields = json.loads(line)
        if "case_id" in fields:
            cases.add(fields["case_id"])
            events += 1
        photos += "photo" in fields
        sha256 = str(fields.get("sha256", ""))
    return Contents(len(cases), events, photos, sha256)


def write_backup(connection: Connection, path: str | os.PathLike[str]) -> int:
    """Write all events to a file, which appears whole or not at all.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction, so that the backup is of one moment.
    path : str or path

    Returns
    -------
    int
        Number of events.

    Raises
    ------
    StoreError
        If the file cannot be written.
    """
    target = Path(path)
    try:
        with written_whole(target, private=True) as file:
            return _write_lines(file, connection)
    except OSError as error:
        raise _trouble(target, error) from None


def read_backup(connection: Connection, path: str | os.PathLike[str], *, merge: bool = True) -> int:
    """Take the cases of a backup in, all or none.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction that may write.
    path : str or path
    merge : bool
        Whether the store may hold cases already.

    Returns
    -------
    int
        Number of events that were new.

    Raises
    ------
    StoreError
        If the file is no whole backup, the store holds cases and may not, one of them went another way in the
        backup, or what was taken in does not read back as it was written.

    Notes
    -----
    A case the store does not have is added; one that went on in the backup is brought up to it; one that went on in
    the store stays.
    """
    source = Path(path)
    _refuse_damage(source)
    there = int(connection.execute(select(func.count()).select_from(CASES)).scalar() or 0)
    if there and not merge:
        raise StoreError(
            "the store to restore into is not empty",
            got=f"{there} case{'s' * (there > 1)}",
            expected="an empty store",
            to_do="name another store, or allow merging: it adds what is missing and overwrites nothing",
        )
    _take_in_photos(connection, source)
    added = sum(
        _take_in(connection, tuple(events), source)
        for _, events in groupby(_events_in(source), key=lambda event: event.case_id)
    )
    _refuse_another_store(connection, source)
    return added


def _all_events(connection: Connection) -> Iterator[StoredEvent]:
    """Read all events, case by case."""
    query = select(EVENTS).order_by(EVENTS.c.case_id, EVENTS.c.sequence)
    for row in connection.execution_options(yield_per=1000).execute(query).mappings():
        yield event_of(row)


def _write_lines(file: Any, connection: Connection) -> int:
    """Write head, photos, events and the line with the checksum; give the number of events."""
    _refuse_gaps(connection)
    digest, lines, events = hashlib.sha256(), 0, 0
    for fields in _lines(connection):
        line = json.dumps(fields, ensure_ascii=False).encode() + b"\n"
        digest.update(line)
        file.write(line)
        lines, events = lines + 1, events + ("case_id" in fields)
    file.write(json.dumps({"events": lines - 1, "sha256": digest.hexdigest()}).encode() + b"\n")
    return events


def _refuse_gaps(connection: Connection) -> None:
    """Check that every case has all its events, so that nobody takes half a store for a whole backup.

    Raises
    ------
    ValueError
        If one has not.
    """
    written, there = CASES.c.sequence, func.count(EVENTS.c.sequence)
    query = select(CASES.c.case_id, written, there).join(EVENTS, EVENTS.c.case_id == CASES.c.case_id, isouter=True)
    for case_id, last, count in connection.execute(query.group_by(CASES.c.case_id, written).having(there != written)):
        raise ValueError(f"{count} events of case {case_id} are there, and {last} were written")


def _lines(connection: Connection) -> Iterator[dict[str, Any]]:
    """Give the head, and one dictionary a photo or an event."""
    yield _HEAD
    for name, data in all_photos(connection):
        yield {"photo": name, "data": b64encode(data).decode()}
    for event in _all_events(connection):
        yield {name: getattr(event, name) for name in StoredEvent.__dataclass_fields__}


def _refuse_damage(source: Path) -> None:
    """Check that a backup is whole before anything of it is believed.

    Raises
    ------
    StoreError
        If it cannot be read, is no backup of this version, or its checksum does not fit.
    """
    digest, count, last = hashlib.sha256(), -1, b""
    for line in _lines_in(source):
        if count < 0:
            _refuse_another_head(source, line)
        else:
            digest.update(last)
        last, count = line, count + 1
    expected = {"events": count - 1, "sha256": digest.hexdigest()}
    if count < 1 or _parsed(last) != expected:
        raise StoreError(
            "the backup is damaged or was cut short",
            where=str(source),
            got=f"{max(count - 1, 0)} events and a checksum that does not fit",
            to_do="use another backup; nothing was changed",
        )


def _refuse_another_head(source: Path, line: bytes) -> None:
    """Refuse a file that is no backup, or one of a newer program.

    Raises
    ------
    StoreError
        If it does not begin as a backup does.
    """
    if _parsed(line) not in _KNOWN:
        raise StoreError(
            "this is no backup of a store that this program knows",
            where=str(source),
            got=repr(line[:60].decode(errors="replace")),
            expected=json.dumps(_HEAD),
            to_do="choose a file that a backup wrote, or update this program",
        )


def _lines_in(source: Path) -> Iterator[bytes]:
    """Read the lines of a file.

    Raises
    ------
    StoreError
        If it cannot be read.
    """
    try:
        with source.open("rb") as file:
            yield from file
    except OSError as error:
        raise _trouble(source, error) from None


def _parsed(line: bytes) -> Any:
    """Read a line of JSON; None if it is none."""
    try:
        return json.loads(line)
    except ValueError:
        return None


def _events_in(source: Path) -> Iterator[StoredEvent]:
    """Read the events of a backup that was found whole."""
    for line in _lines_in(source):
        fields = json.loads(line)
        if "case_id" in fields:
            yield StoredEvent(**fields)


def _take_in_photos(connection: Connection, source: Path) -> None:
    """Keep the photos of a backup that was found whole."""
    for line in _lines_in(source):
        fields = json.loads(line)
        if "photo" in fields:
            keep_photo(connection, b64decode(fields["data"]))


def _take_in(connection: Connection, events: tuple[StoredEvent, ...], source: Path) -> int:
    """Add what the store does not have of one case.

    Raises
    ------
    StoreError
        If the case went another way in the store.
    """
    query = select(EVENTS).where(EVENTS.c.case_id == events[0].case_id).order_by(EVENTS.c.sequence)
    here = tuple(event_of(row) for row in connection.execute(query).mappings())
    common = min(len(here), len(events))
    if here[:common] != events[:common]:
        raise StoreError(
            "a case went one way in the backup and another in the store",
            where=f"{source}, case {events[0].case_id}",
            got=next(str(b) for a, b in zip(here, events, strict=False) if a != b),
            expected=next(str(a) for a, b in zip(here, events, strict=False) if a != b),
            to_do="restore into an empty store; nothing was changed",
        )
    columns = columns_of(replay(events), events[0].at, deleted=is_deleted(events))
    if not here:
        insert_case(connection, events[0], columns)
    for event in events[max(common, 1) :]:
        insert_event(connection, event, columns)
    return len(events) - common


def _refuse_another_store(connection: Connection, source: Path) -> None:
    """Read back what was taken in and hold it beside the backup, before it is made to last.

    Raises
    ------
    StoreError
        If something is not there as it was written.
    """
    for case_id, events in groupby(_events_in(source), key=lambda event: event.case_id):
        wanted = tuple(events)
        try:
            same = read_events(connection, case_id)[: len(wanted)] == wanted
        except ValueError:  # events with a gap between
            same = False
        if not same:
            raise _not_taken_in(source, f"case {case_id}")
    for line in _lines_in(source):
        fields = json.loads(line)
        if "photo" in fields and read_photo(connection, fields["photo"]) != b64decode(fields["data"]):
            raise _not_taken_in(source, f"photo {fields['photo']}")


def _not_taken_in(source: Path, what: str) -> StoreError:
    return StoreError(
        "the store does not give back what the backup held",
        where=f"{source}, {what}",
        to_do="check the database; nothing was changed",
    )


def _trouble(path: Path, error: OSError) -> StoreError:
    """Say what the system said about a backup file."""
    reason = (error.strerror or type(error).__name__).lower()
    return StoreError("the backup file cannot be used", where=str(path), got=reason, to_do="choose another place")
