"""A deleted case is listed no more, changed no more, and comes back whole."""

from __future__ import annotations

from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from faultnet.case.store import tables
from faultnet.case.store.database import url_of
from faultnet.case.store.events import ConcurrentEdit, change_car, close_case
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Battery, Car, Case, CaseOutcome
from faultnet.cli import main
from faultnet.errors import StoreError

CASE = Case(Car(Battery(600.0)), complaint="turns slowly", name="van", invented=True)


def ids(store: Store, **wanted: bool) -> list[str]:
    return [line.case_id for line in store.list_cases(**wanted)]  # type: ignore[arg-type]


@pytest.mark.parametrize("closed", [False, True])
def test_a_deleted_case_is_hidden_kept_and_brought_back(place: str, closed: bool) -> None:
    with open_store(place) as store:
        other, case_id = store.create_case(CASE), store.create_case(CASE)
        if closed:
            store.append(case_id, close_case(CaseOutcome()), 1)
        before = store.current(case_id)
        store.delete(case_id)
        assert (ids(store), ids(store, deleted=True)) == ([other], [case_id])
        assert store.current(case_id) == before
        store.bring_back(case_id)
        assert (set(ids(store)), ids(store, deleted=True)) == ({other, case_id}, [])
        assert store.current(case_id) == before


def test_deleting_can_be_undone_like_any_change(place: str) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
        store.undo(case_id, store.delete(case_id))
        assert ids(store) == [case_id]
        store.redo(case_id)
        assert ids(store) == []


def test_a_deleted_case_is_not_changed_and_only_a_deleted_one_brought_back(place: str) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
        with pytest.raises(StoreError, match="not deleted"):
            store.bring_back(case_id)
        seen = store.delete(case_id)
        for again in (lambda: store.append(case_id, change_car(name="x"), seen), lambda: store.delete(case_id)):
            with pytest.raises(StoreError, match=r"is deleted.*bring it back"):
                again()


def test_who_deletes_without_having_seen_a_change_is_told(place: str) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
        store.append(case_id, change_car(name="y"), 1)
        with pytest.raises(ConcurrentEdit):
            store.delete(case_id, 1)
        assert ids(store) == [case_id]


def test_a_backup_carries_the_mark(place: str, tmp_path: Path) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
        store.delete(case_id)
        store.backup(tmp_path / "backup")
    with open_store(tmp_path / "other.sqlite") as other:
        other.restore(tmp_path / "backup")
        assert (ids(other), ids(other, deleted=True)) == ([], [case_id])


def test_a_store_of_version_1_lists_its_cases(place: str, monkeypatch: pytest.MonkeyPatch) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
    engine = create_engine(url_of(place))
    with engine.begin() as connection:  # back to version 1
        connection.execute(text("ALTER TABLE cases DROP COLUMN deleted"))
        connection.execute(text("DROP TABLE drafts"))
        connection.execute(text("DROP TABLE photos"))
        connection.execute(text("ALTER TABLE events DROP COLUMN seal"))
        connection.execute(tables.SCHEMA_VERSION.update().values(version=1))
    engine.dispose()
    with open_store(place) as store:
        assert ids(store) == [case_id]
        store.delete(case_id)
        assert ids(store) == []


def test_on_the_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = str(tmp_path / "cases.sqlite")
    with open_store(place) as store:
        case_id = store.create_case(CASE)

    def run(*arguments: str) -> str:
        with pytest.raises(SystemExit):
            main(["cases", *arguments, "--store", place])
        return capsys.readouterr().out

    assert case_id in run("list")
    assert "bring-back" in run("delete", case_id)
    assert run("list") == "No case.\n"
    assert case_id in run("list", "--deleted", "--json")
    run("bring-back", case_id)
    assert case_id in run("list")
