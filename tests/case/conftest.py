"""Stores to test: each test runs on SQLite and on PostgreSQL."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from faultnet.case.store.store import Store, open_store
from tests.case import postgres

_NUMBERS = count()


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    with postgres.server() as url:
        yield url


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An empty place for a store."""
    return new_place(request.param, request, tmp_path)


def new_place(kind: str, request: pytest.FixtureRequest, folder: Path) -> str:
    """Make an empty place of one kind; on the server, a schema of its own."""
    number = next(_NUMBERS)
    if kind == "sqlite":
        return str(folder / f"cases{number}.sqlite")
    url: Any = request.getfixturevalue("postgres_server")
    engine = create_engine(url.replace("postgresql:", "postgresql+psycopg:"))
    with engine.begin() as connection:
        connection.execute(text(f"CREATE SCHEMA place{number}"))
    engine.dispose()
    return f"{url}&options=-csearch_path%3Dplace{number}"


@pytest.fixture
def store(place: str) -> Iterator[Store]:
    with open_store(place, who="Kim", device="bay 1") as opened:
        yield opened
