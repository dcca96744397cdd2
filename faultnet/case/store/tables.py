"""The tables of the store, and the steps from each version of them to the next.

The same statements run on SQLite and PostgreSQL. `events` is the truth and is only ever added to; `cases` repeats
what lists are searched by, and is written in the same transaction. `drafts` is what was typed and not yet
entered, `photos` what entries and visits name by their hash.
"""

from __future__ import annotations

from collections.abc import Callable

from sqlalchemy import Column, Connection, Integer, LargeBinary, MetaData, Table, Text, inspect, text

from faultnet.errors import StoreError

METADATA = MetaData()

CASES = Table(
    "cases",
    METADATA,
    Column("case_id", Text, primary_key=True),
    Column("sequence", Integer, nullable=False),
    Column("created_at", Text, nullable=False),
    Column("changed_at", Text, nullable=False),
    Column("first_date", Text, nullable=False),
    Column("last_date", Text, nullable=False),
    Column("car", Text, nullable=False),
    Column("name", Text, nullable=False),
    Column("complaint", Text, nullable=False),
    Column("closed", Integer, nullable=False),
    Column("causes", Text, nullable=False),
    Column("words", Text, nullable=False),
    Column("deleted", Integer, nullable=False),
)
EVENTS = Table(
    "events",
    METADATA,
    Column("case_id", Text, primary_key=True),
    Column("sequence", Integer, primary_key=True),
    Column("kind", Text, nullable=False),
    Column("payload", Text, nullable=False),
    Column("at", Text, nullable=False),
    Column("who", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("seal", Text, nullable=False),
)
DRAFTS = Table(
    "drafts",
    METADATA,
    Column("place", Text, primary_key=True),
    Column("fields", Text, nullable=False),
    Column("changed_at", Text, nullable=False),
)
PHOTOS = Table(
    "photos",
    METADATA,
    Column("id", Text, primary_key=True),
    Column("data", LargeBinary, nullable=False),
)
SCHEMA_VERSION = Table("schema_version", METADATA, Column("version", Integer, primary_key=True))


def _version_1(connection: Connection) -> None:
    """Make the first tables."""
    for statement in (
        "CREATE TABLE cases (case_id TEXT NOT NULL PRIMARY KEY, sequence INTEGER NOT NULL, created_at TEXT NOT NULL, "
        "changed_at TEXT NOT NULL, first_date TEXT NOT NULL, last_date TEXT NOT NULL, car TEXT NOT NULL, "
        "name TEXT NOT NULL, complaint TEXT NOT NULL, closed INTEGER NOT NULL, causes TEXT NOT NULL, "
        "words TEXT NOT NULL)",
        "CREATE INDEX cases_by_date ON cases (last_date, first_date)",
        "CREATE TABLE events (case_id TEXT NOT NULL REFERENCES cases (case_id), sequence INTEGER NOT NULL, "
        "kind TEXT NOT NULL, payload TEXT NOT NULL, at TEXT NOT NULL, who TEXT NOT NULL, device TEXT NOT NULL, "
        "PRIMARY KEY (case_id, sequence))",
    ):
        connection.execute(text(statement))


def _version_2(connection: Connection) -> None:
    """Let cases be marked as deleted; none is yet."""
    connection.execute(text("ALTER TABLE cases ADD COLUMN deleted INTEGER NOT NULL DEFAULT 0"))


def _version_3(connection: Connection) -> None:
    """Make room for what was typed and not yet entered."""
    connection.execute(
        text("CREATE TABLE drafts (place TEXT NOT NULL PRIMARY KEY, fields TEXT NOT NULL, changed_at TEXT NOT NULL)")
    )


def _version_4(connection: Connection) -> None:
    """Make room for photos."""
    kind = "BYTEA" if connection.dialect.name == "postgresql" else "BLOB"
    connection.execute(text(f"CREATE TABLE photos (id TEXT NOT NULL PRIMARY KEY, data {kind} NOT NULL)"))


def _version_5(connection: Connection) -> None:
    """Let events be sealed by a checksum; those that are there already are not."""
    connection.execute(text("ALTER TABLE events ADD COLUMN seal TEXT NOT NULL DEFAULT ''"))


# The step at place n leads from version n to n + 1. A step that was released is never changed: add one.
MIGRATIONS: list[Callable[[Connection], None]] = [_version_1, _version_2, _version_3, _version_4, _version_5]


def migrate(connection: Connection) -> None:
    """Bring the tables to this program's version, all in the transaction of `connection`.

    Parameters
    ----------
    connection : sqlalchemy.Connection
        In a transaction that may write.

    Raises
    ------
    StoreError
        If a newer program made the tables.
    """
    version = _version_of(connection)
    if version > len(MIGRATIONS):
        raise StoreError(
            "a newer program made this store",
            got=f"version {version}",
            expected=f"at most version {len(MIGRATIONS)}",
            to_do="update this program",
        )
    for step in MIGRATIONS[version:]:
        step(connection)
    if version < len(MIGRATIONS):
        connection.execute(SCHEMA_VERSION.delete())
        connection.execute(SCHEMA_VERSION.insert().values(version=len(MIGRATIONS)))


def is_current(connection: Connection) -> bool:
    """Say whether the tables are of this program's version already."""
    has_table = inspect(connection).has_table("schema_version")
    return has_table and connection.execute(SCHEMA_VERSION.select()).scalar() == len(MIGRATIONS)


def _version_of(connection: Connection) -> int:
    """Read the version; 0 for a store without tables."""
    if connection.dialect.name == "postgresql":  # two programs may open a new store at once
        connection.execute(text("SELECT pg_advisory_xact_lock(1180460116)"))
    if not inspect(connection).has_table("schema_version"):
        connection.execute(text("CREATE TABLE schema_version (version INTEGER NOT NULL PRIMARY KEY)"))
    return int(connection.execute(SCHEMA_VERSION.select()).scalar() or 0)
