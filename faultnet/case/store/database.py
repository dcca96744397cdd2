"""Opening the database of a store, and its troubles in words a user can act on."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError

from faultnet.errors import MissingExtraError, StoreError

BUSY_SECONDS = 15.0

_ADVICE = (
    (("readonly", "read-only"), "the store cannot be written", "make its folder and file writable, or choose another"),
    (("unable to open",), "the store cannot be opened", "check that its folder exists and may be written"),
    (("permission denied",), "the store may not be used", "check the rights on it"),
    (("is full", "no space left", "could not extend"), "the disk is full", "free some space and try again"),
    (("locked",), "another program is busy with the store", "try again in a moment"),
    (("not a database", "malformed"), "the file is no store, or is damaged", "restore it from a backup"),
    (("i/o error",), "the disk does not answer as it should", "check the disk; restore the store from a backup"),
    (("connection", "could not translate"), "the database does not answer", "check that it runs and how it is reached"),
)


def default_place() -> str:
    """Give the store's place: the environment variable ``FAULTNET_STORE``, else a file in the user's data folder.

    Returns
    -------
    str
        A path or a URL.
    """
    import platformdirs

    return os.environ.get("FAULTNET_STORE") or str(platformdirs.user_data_path("faultnet") / "cases.sqlite")


def url_of(place: str | os.PathLike[str]) -> URL:
    """Turn a path or a URL into the URL of a database.

    Parameters
    ----------
    place : str or path

    Returns
    -------
    sqlalchemy.URL

    Raises
    ------
    StoreError
        If it is neither a file nor PostgreSQL.

    Examples
    --------
    >>> str(url_of("cases.sqlite")), url_of("postgresql://shop/cases").drivername
    ('sqlite:///cases.sqlite', 'postgresql+psycopg')
    """
    if isinstance(place, os.PathLike) or "://" not in place:
        return URL.create("sqlite", database=os.fspath(place))
    try:
        url = make_url(place)
    except (ArgumentError, ValueError):
        raise _no_store_url("an address that cannot be read") from None
    if url.get_backend_name() == "postgresql":
        return url.set(drivername="postgresql+psycopg")
    if url.get_backend_name() == "sqlite" and url.database:
        return url
    raise _no_store_url(url.render_as_string(hide_password=True))


def engine_at(url: URL) -> Engine:
    """Make the engine of a database.

    Raises
    ------
    MissingExtraError
        If the driver for PostgreSQL is not installed.
    StoreError
        If the folder of a file cannot be made.
    """
    if url.get_backend_name() == "sqlite":
        return _sqlite_engine(url)
    try:
        return create_engine(url, pool_pre_ping=True, connect_args={"connect_timeout": int(BUSY_SECONDS)})
    except (ModuleNotFoundError, NoSuchModuleError):
        raise MissingExtraError("a store in PostgreSQL needs its driver", extra="postgres") from None


@contextmanager
def transaction(engine: Engine, *, writing: bool = False) -> Iterator[Connection]:
    """Run a transaction, with the database's troubles as :class:`~faultnet.errors.StoreError`.

    Parameters
    ----------
    engine : sqlalchemy.Engine
    writing : bool
        Takes the right to write at once, so that two writers queue and neither fails half way. A transaction that
        only reads sees one moment throughout.

    Raises
    ------
    StoreError
        If the database fails.
    """
    isolation = "READ COMMITTED" if writing else "REPEATABLE READ"
    options: dict[str, Any] = {"faultnet_writing": writing}
    if engine.dialect.name == "postgresql":
        options["isolation_level"] = isolation
    try:
        with engine.connect().execution_options(**options) as connection, connection.begin():
            yield connection
    except (SQLAlchemyError, UnicodeEncodeError) as error:
        raise in_our_words(error, engine.url) from error


def in_our_words(error: Exception, url: URL) -> StoreError:
    """Say what a failure of the database means for the user.

    Parameters
    ----------
    error : Exception
    url : sqlalchemy.URL

    Returns
    -------
    StoreError
    """
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = str(cause).strip().splitlines()[0] if str(cause).strip() else type(cause).__name__
    where = url.render_as_string(hide_password=True)
    for signs, what, to_do in _ADVICE:
        if any(sign in said.lower() for sign in signs):
            return StoreError(what, where=where, got=said, to_do=to_do)
    return StoreError("the store failed", where=where, got=said, to_do="try again; if it stays, restore a backup")


def _no_store_url(got: str) -> StoreError:
    """Make the error for an address we cannot use."""
    return StoreError(
        "this is no place for a store",
        got=got,
        expected="a path, or postgresql://user@host/database",
        to_do="check FAULTNET_STORE or the option that names the store",
    )


def _sqlite_engine(url: URL) -> Engine:
    """Make the engine of a file, with its folder.

    Raises
    ------
    StoreError
        If the folder cannot be made.
    """
    try:
        Path(str(url.database)).expanduser().parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise in_our_words(error, url) from None
    url = url.set(database=str(Path(str(url.database)).expanduser()))
    engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})
    event.listen(engine, "connect", _prepare)
    event.listen(engine, "begin", _begin)
    return engine


def _prepare(connection: Any, record: object) -> None:
    """Set a new SQLite connection up.

    Write-ahead logging lets a reader look on while another writes; ``synchronous = FULL`` has each commit on the disk
    before it is reported, so that what was acknowledged survives the end of the program or of the power.
    """
    connection.isolation_level = None  # transactions are begun below, not by the driver
    connection.execute(f"PRAGMA busy_timeout = {int(BUSY_SECONDS * 1000)}")
    connection.execute("PRAGMA synchronous = FULL")
    connection.execute("PRAGMA foreign_keys = ON")
    _to_write_ahead_log(connection)


def _to_write_ahead_log(connection: Any) -> None:
    """Change the journal once; SQLite does not wait for other connections here, so we do."""
    deadline = time.monotonic() + BUSY_SECONDS
    while connection.execute("PRAGMA journal_mode").fetchone()[0] != "wal":
        try:
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
        except sqlite3.OperationalError as error:
            if "locked" not in str(error) or time.monotonic() > deadline:
                raise
            time.sleep(0.01)


def _begin(connection: Connection) -> None:
    """Begin a transaction as :func:`transaction` wants it."""
    writing = connection.get_execution_options().get("faultnet_writing", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")
