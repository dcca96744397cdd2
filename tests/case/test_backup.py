"""Backups: whole or not at all, from either database into either."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultnet.case.store.events import add_entry, close_case
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Battery, Car, Case, CaseOutcome, Reading
from faultnet.errors import StoreError
from tests.case.conftest import new_place

CASE = Case(Car(Battery(600.0), label="grau, Büro"), complaint="turns slowly", invented=True)
REST = Reading("rest_voltage", 12.4, unit="V", entered="12,4")


def filled(store: Store) -> list[str]:
    """Put two cases with some history into a store."""
    first, second = store.create_case(CASE), store.create_case(CASE)
    store.append(first, add_entry(0, REST), 1)
    store.append(first, add_entry(0, REST), 2)
    store.undo(first)
    store.append(second, close_case(CaseOutcome((("belt", "slips"),))), 1)
    return [first, second]


@pytest.mark.parametrize("kind", ["sqlite", "postgresql"])
def test_a_backup_goes_into_either_database(
    store: Store, kind: str, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    ids = filled(store)
    assert store.backup(tmp_path / "backup.jsonl") == 6
    with open_store(new_place(kind, request, tmp_path)) as other:
        assert other.restore(tmp_path / "backup.jsonl") == 6
        assert [other.history(case_id) for case_id in ids] == [store.history(case_id) for case_id in ids]
        assert other.list_cases() == store.list_cases()
        assert other.undo(ids[0]) == 5
        assert other.restore(tmp_path / "backup.jsonl") == 0


def test_an_empty_store_has_a_backup_too(store: Store, tmp_path: Path) -> None:
    assert store.backup(tmp_path / "backup.jsonl") == 0
    assert store.restore(tmp_path / "backup.jsonl") == 0


def test_a_case_that_went_on_is_brought_up_to_the_backup(store: Store, tmp_path: Path) -> None:
    case_id = store.create_case(CASE)
    store.backup(tmp_path / "early.jsonl")
    store.append(case_id, add_entry(0, REST), 1)
    store.backup(tmp_path / "late.jsonl")
    with open_store(tmp_path / "other.sqlite") as other:
        assert [other.restore(tmp_path / f"{name}.jsonl") for name in ("early", "late", "early")] == [1, 1, 0]
        assert other.current(case_id) == store.current(case_id)
        assert other.list_cases() == store.list_cases()


def test_a_case_that_went_two_ways_is_refused_and_nothing_is_taken(store: Store, tmp_path: Path) -> None:
    ids = filled(store)
    with open_store(tmp_path / "other.sqlite") as other:
        store.backup(tmp_path / "early.jsonl")
        other.restore(tmp_path / "early.jsonl")
        last = max(ids)  # so that the case before it in the file is taken in first
        store.create_case(CASE)
        for each, note in ((store, "here"), (other, "there")):
            sequence = each.undo(last)
            each.append(last, add_entry(0, Reading("rest_voltage", 12.0, note=note)), sequence)
        before = other.list_cases()
        store.backup(tmp_path / "late.jsonl")
        with pytest.raises(StoreError, match="one way in the backup and another in the store"):
            other.restore(tmp_path / "late.jsonl")
        assert other.list_cases() == before


@pytest.mark.parametrize(
    "damage, part",
    [
        (lambda data: data.replace(b"slowly", b"fastly", 1), "damaged or was cut short"),
        (lambda data: data[: len(data) // 2], "damaged or was cut short"),
        (lambda data: b"".join(data.splitlines(keepends=True)[:-1]), "damaged or was cut short"),
        (lambda data: data + b"{}\n", "damaged or was cut short"),
        (lambda data: data.splitlines(keepends=True)[0], "damaged or was cut short"),
        (lambda data: data.replace(b'"version": 2', b'"version": 3', 1), "no backup of a store"),
        (lambda data: b"", "damaged or was cut short"),
        (lambda data: b"\xff\xfe{}", "no backup of a store"),
    ],
)  # fmt: skip
def test_a_damaged_backup_is_refused(store: Store, damage: object, part: str, tmp_path: Path) -> None:
    filled(store)
    store.backup(tmp_path / "backup.jsonl")
    data = (tmp_path / "backup.jsonl").read_bytes()
    assert callable(damage)
    (tmp_path / "backup.jsonl").write_bytes(damage(data))
    with open_store(tmp_path / "other.sqlite") as other:
        with pytest.raises(StoreError, match=part):
            other.restore(tmp_path / "backup.jsonl")
        assert other.list_cases() == ()


def test_files_that_cannot_be_used(store: Store, tmp_path: Path) -> None:
    filled(store)
    with pytest.raises(StoreError, match="no such file"):
        store.restore(tmp_path / "none.jsonl")
    with pytest.raises(StoreError, match="no such file"):
        store.backup(tmp_path / "none" / "backup.jsonl")
    (tmp_path / "folder").mkdir()
    with pytest.raises(StoreError, match="backup file cannot be used"):
        store.backup(tmp_path / "folder")
    assert [path.name for path in tmp_path.iterdir() if "folder" in path.name] == ["folder"]
