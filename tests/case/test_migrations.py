"""The tables of the store: made, brought up to date, refused when newer, unharmed when a step fails."""

from __future__ import annotations

import pytest
from sqlalchemy import Connection, create_engine, inspect, text

from faultnet.case.store import tables
from faultnet.case.store.database import url_of
from faultnet.case.store.store import open_store
from faultnet.case.types import Battery, Car, Case
from faultnet.errors import StoreError

CASE = Case(Car(Battery(600.0)), complaint="turns slowly", invented=True)


def add_a_column(connection: Connection) -> None:
    """A step such as a later version may have."""
    connection.execute(text("ALTER TABLE cases ADD COLUMN colour TEXT NOT NULL DEFAULT 'grey'"))


def fail_half_way(connection: Connection) -> None:
    """A step that breaks after it has begun."""
    add_a_column(connection)
    connection.execute(text("INSERT INTO no_such_table VALUES (1)"))


def columns_at(place: str) -> dict[str, list[str]]:
    """Look at the tables by other means than the store's own."""
    engine = create_engine(url_of(place))
    inspector = inspect(engine)
    found = {name: [column["name"] for column in inspector.get_columns(name)] for name in inspector.get_table_names()}
    engine.dispose()
    return found


def test_the_statements_make_the_tables_that_are_used(place: str) -> None:
    open_store(place).close()
    assert columns_at(place) == {
        table.name: [c.name for c in table.columns] for table in tables.METADATA.tables.values()
    }


def test_an_older_store_is_brought_up_to_date(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
    monkeypatch.setattr(tables, "MIGRATIONS", [*tables.MIGRATIONS, add_a_column])
    for _ in range(2):  # the second time there is nothing to do
        with open_store(place) as store:
            assert store.current(case_id) == CASE
    assert "colour" in columns_at(place)["cases"]


def test_a_newer_store_is_refused(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as newer:
        newer.setattr(tables, "MIGRATIONS", [*tables.MIGRATIONS, add_a_column])
        open_store(place).close()
    with pytest.raises(StoreError, match=r"newer program made this store.*update this program"):
        open_store(place)


def test_a_step_that_fails_changes_nothing(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
    before = columns_at(place)
    with monkeypatch.context() as broken:
        broken.setattr(tables, "MIGRATIONS", [*tables.MIGRATIONS, fail_half_way])
        with pytest.raises(StoreError):
            open_store(place)
    assert columns_at(place) == before
    with open_store(place) as store:
        assert store.current(case_id) == CASE
