"""The store of cases, on SQLite and on PostgreSQL alike."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import threading
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faultnet.case.faults import CaseFileError
from faultnet.case.store.database import url_of
from faultnet.case.store.events import (
    Event,
    StoredEvent,
    add_entry,
    add_visit,
    change_ability,
    change_car,
    change_conditions,
    change_entry,
    change_photos,
    close_case,
    create_case,
    remove_entry,
    reopen_case,
    replay,
)
from faultnet.case.store.store import ConcurrentEdit, Store, open_store
from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Photo, Reading, Visit
from faultnet.errors import MissingExtraError, StoreError
from tests.case.drawing import acts, cars, cases, conditions, outcomes, readings, visits

CAR = Car(Battery(600.0), label="grey van")
CASE = Case(CAR, complaint="turns slowly", invented=True)
REST = Reading("rest_voltage", 12.4, unit="V", entered="12,4")
CHARGE = Act("charge", hours=8.0)
SLIPS = CaseOutcome((("belt", "slips"),))
PHOTO = Photo("0123456789abcdef" * 4, "left post")


@settings(max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(case=cases)
def test_any_case_is_kept_exactly(store: Store, case: Case) -> None:
    assert store.current(store.create_case(case)) == case


def test_events_change_the_case_in_order(store: Store) -> None:
    case_id = store.create_case(CASE)
    steps: list[tuple[Event, Callable[[Case], Case]]] = [
        (add_entry(0, REST), lambda c: replace(c, visits=(Visit((REST,)),))),
        (add_entry(0, CHARGE, position=0), lambda c: replace(c, visits=(Visit((CHARGE, REST)),))),
        (change_entry(0, 1, CHARGE), lambda c: replace(c, visits=(Visit((CHARGE, CHARGE)),))),
        (remove_entry(0, 0), lambda c: replace(c, visits=(Visit((CHARGE,)),))),
        (add_visit(Visit(date="2026-11-20")), lambda c: replace(c, visits=(*c.visits, Visit(date="2026-11-20")))),
        (
            change_conditions(1, Conditions(air_temperature=-5.0), date="2026-11-21", note="yard"),
            lambda c: replace(c, visits=(c.visits[0], Visit((), Conditions(-5.0), "2026-11-21", "yard"))),
        ),
        (
            change_conditions(1, date=""),
            lambda c: replace(c, visits=(c.visits[0], replace(c.visits[1], date=""))),
        ),
        (
            change_ability(0, Visit(cranks=True, runs="with_booster")),
            lambda c: replace(c, visits=(replace(c.visits[0], cranks=True, runs="with_booster"), c.visits[1])),
        ),
        (
            change_photos(0, (PHOTO,)),
            lambda c: replace(c, visits=(replace(c.visits[0], photos=(PHOTO,)), c.visits[1])),
        ),
        (
            change_ability(0, Visit(shows_now=False)),
            lambda c: replace(
                c, visits=(replace(c.visits[0], cranks=None, runs=None, shows_now=False), c.visits[1])
            ),
        ),
        (change_car(replace(CAR, fuel="diesel")), lambda c: replace(c, car=replace(CAR, fuel="diesel"))),
        (change_car(complaint="clicks", name="n"), lambda c: replace(c, complaint="clicks", name="n")),
        (close_case(SLIPS), lambda c: replace(c, outcome=SLIPS)),
        (reopen_case(), lambda c: replace(c, outcome=None)),
    ]  # fmt: skip
    expected = CASE
    for sequence, (event, effect) in enumerate(steps, start=1):
        assert store.append(case_id, event, sequence) == sequence + 1
        expected = effect(expected)
        assert store.current(case_id) == expected
    assert [event.kind for event in store.history(case_id)] == ["case_created", *(event.kind for event, _ in steps)]


def test_history_says_who_where_and_when(store: Store) -> None:
    case_id = store.create_case(CASE)
    store.append(case_id, add_entry(0, REST), 1)
    first, second = store.history(case_id)
    assert (second.case_id, second.sequence, second.who, second.device) == (case_id, 2, "Kim", "bay 1")
    assert first.at < second.at
    assert second.at.endswith("+00:00")
    assert second.payload == {"visit": 0, "entry": {"test": "rest_voltage", "unit": "V", "value": "12,4"}}
    assert str(second).startswith("entry_added (rest_voltage) by Kim on bay 1 at 20")


def test_the_second_writer_is_told_and_nothing_is_lost(place: str) -> None:
    with open_store(place, who="Kim") as one, open_store(place, who="Sam") as other:
        case_id = one.create_case(CASE)
        seen = other.opened(case_id).sequence
        one.append(case_id, add_entry(0, REST), seen)
        one.append(case_id, change_car(complaint="clicks"), seen + 1)
        with pytest.raises(ConcurrentEdit, match=r"entry_added \(rest_voltage\) by Kim") as caught:
            other.append(case_id, add_entry(0, CHARGE), seen)
        assert [event.kind for event in caught.value.between] == ["entry_added", "car_changed"]
        assert other.append(case_id, add_entry(0, CHARGE), caught.value.sequence) == 4
        assert one.current(case_id).visits[0].entries == (REST, CHARGE)
        for change in (other.undo, other.redo):
            with pytest.raises(ConcurrentEdit):
                change(case_id, expected_sequence=seen)


def test_many_writers_at_once_lose_nothing(place: str) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
    barrier = threading.Barrier(3)

    def write(number: int) -> None:
        with open_store(place, who=str(number)) as mine:
            barrier.wait()
            for turn in range(12):
                write_once(mine, case_id, Reading("rest_voltage", 12.0, note=f"{number}:{turn}"))

    threads = [threading.Thread(target=write, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with open_store(place) as store:
        notes = [entry.note for entry in store.current(case_id).visits[0].entries]
        assert [event.sequence for event in store.history(case_id)] == list(range(1, 38))
    assert sorted(notes) == sorted(f"{number}:{turn}" for number in range(3) for turn in range(12))
    for number in range(3):  # each writer's own are in its own order
        assert [note for note in notes if note.startswith(f"{number}:")] == [f"{number}:{turn}" for turn in range(12)]


def write_once(store: Store, case_id: str, entry: Reading) -> None:
    """Add an entry, as often as it takes."""
    sequence, done = store.opened(case_id).sequence, False
    while not done:
        try:
            store.append(case_id, add_entry(0, entry), sequence)
            done = True
        except ConcurrentEdit as clash:
            sequence = clash.sequence


def test_several_programs_may_open_a_new_store_at_once(place: str) -> None:
    barrier, opened, failures = threading.Barrier(4), [], []

    def run() -> None:
        barrier.wait()
        try:
            with open_store(place) as store:
                opened.append(store.create_case(CASE))
        except BaseException as error:
            failures.append(error)

    threads = [threading.Thread(target=run) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    with open_store(place) as store:
        assert {line.case_id for line in store.list_cases()} == set(opened)


def test_undo_and_redo(store: Store) -> None:
    case_id = store.create_case(CASE)
    store.append(case_id, add_entry(0, REST), 1)
    store.append(case_id, add_entry(0, CHARGE), 2)
    assert store.undo(case_id) == 4
    assert store.current(case_id).visits[0].entries == (REST,)
    store.undo(case_id)
    assert store.current(case_id) == CASE
    with pytest.raises(StoreError, match="nothing to undo"):
        store.undo(case_id)
    store.redo(case_id)
    assert store.current(case_id).visits[0].entries == (REST,)
    opened = store.opened(case_id)
    assert (opened.can_undo, opened.can_redo, opened.sequence) == (True, True, 6)
    store.append(case_id, add_visit(Visit()), 6)
    with pytest.raises(StoreError, match="nothing to redo"):
        store.redo(case_id)
    assert [event.kind for event in store.history(case_id)][3:] == ["undone", "undone", "redone", "visit_added"]
    assert [event.payload for event in store.history(case_id)][3:6] == [{"sequence": n} for n in (3, 2, 2)]


entries = readings() | acts
operations = st.lists(
    st.one_of(
        st.just("undo"),
        st.just("redo"),
        st.builds(add_entry, st.integers(0, 2), entries, st.none() | st.integers(0, 2)),
        st.builds(change_entry, st.integers(0, 2), st.integers(0, 2), entries),
        st.builds(remove_entry, st.integers(0, 2), st.integers(0, 2)),
        st.builds(add_visit, visits),
        st.builds(change_car, cars),
        st.builds(change_conditions, st.integers(0, 2), conditions),
        st.builds(close_case, outcomes),
        st.just(reopen_case()),
    ),
    max_size=10,
)


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(case=cases, asked=operations)
def test_any_work_agrees_with_a_pile_of_whole_cases(store: Store, case: Case, asked: list[Any]) -> None:
    """Second road: undo and redo on whole cases laid on two piles, without any events."""
    case_id, sequence = store.create_case(case), 1
    past, future = [case], []
    for operation in asked:
        before = store.history(case_id)
        try:
            if operation == "undo":
                sequence = store.undo(case_id)
                future.append(past.pop())
            elif operation == "redo":
                sequence = store.redo(case_id)
                past.append(future.pop())
            else:
                sequence = store.append(case_id, operation, sequence)
                past.append(store.current(case_id))
                future.clear()
        except StoreError:
            assert store.history(case_id) == before
            assert operation != "undo" or len(past) == 1
            assert operation != "redo" or not future
        assert past, "the first state can never be undone"
        assert store.current(case_id) == past[-1]
        assert store.opened(case_id).sequence == sequence


@pytest.mark.parametrize(
    "event, part",
    [
        (add_entry(1, REST), "no such visit"),
        (add_entry(0, REST, position=1), "no such entry"),
        (change_entry(0, 0, REST), "no such entry"),
        (remove_entry(0, 0), "no such entry"),
        (reopen_case(), "open already"),
        (create_case(CASE), "use create_case"),
        (Event("undone", {"sequence": 1}), "use create_case, undo or redo"),
        (Event("painted"), "unknown kind"),  # type: ignore[arg-type]
    ],
)
def test_an_event_that_does_not_fit_is_not_kept(store: Store, event: Event, part: str) -> None:
    case_id = store.create_case(CASE)
    with pytest.raises(StoreError, match=part):
        store.append(case_id, event, 1)
    assert len(store.history(case_id)) == 1


@pytest.mark.parametrize(
    "payload, path",
    [
        ({"visit": -1, "entry": {"test": "a", "value": 1}}, "visit"),
        ({"visit": 0, "entry": {"test": "a", "value": "12,4,3"}}, "entry.value"),
        ({"visit": 0, "entry": {"act": "charge", "hours": "8"}}, "entry.hours"),
        ({"visit": 0, "entry": {"test": "a", "value": None}}, "entry.value"),
        ({"visit": 0, "entry": {"test": "a", "value": 1, "note": "\0"}}, "entry.note"),
        ({"visit": 0}, "entry"),
        ({"visit": 0, "entry": {"test": "a", "value": 1}, "by": "Kim"}, "by"),
    ],
)
def test_a_malformed_event_is_not_kept(store: Store, payload: dict[str, Any], path: str) -> None:
    case_id = store.create_case(CASE)
    with pytest.raises(CaseFileError) as caught:
        store.append(case_id, Event("entry_added", payload), 1)
    assert [fault.path for fault in caught.value.faults] == [path]
    assert len(store.history(case_id)) == 1


def test_a_closed_case_is_left_alone_until_reopened(store: Store) -> None:
    case_id = store.create_case(CASE)
    store.append(case_id, close_case(CaseOutcome()), 1)
    for event in (add_entry(0, REST), add_visit(Visit()), change_car(CAR), close_case(CaseOutcome())):
        with pytest.raises(StoreError, match="reopen it first"):
            store.append(case_id, event, 2)
    store.append(case_id, reopen_case(), 2)
    assert store.append(case_id, add_entry(0, REST), 3) == 4


def test_an_unknown_case_is_named_with_a_near_one(store: Store) -> None:
    case_id = store.create_case(CASE)
    other = case_id[:-1] + ("2" if case_id[-1] != "2" else "3")
    for ask in (store.current, store.history, store.undo, store.redo):
        with pytest.raises(StoreError, match=f"did you mean {case_id}"):
            ask(other)
    with pytest.raises(StoreError, match="no such case"):
        store.append("x", add_entry(0, REST), 1)
    with pytest.raises(StoreError, match="expected: 1 to 1"):
        store.append(case_id, add_entry(0, REST), 5)


def test_cases_are_found(store: Store) -> None:
    slow = Case(
        CAR, (Visit(date="2026-11-03"), Visit((REST,), date="2026-11-20T14:05")), "Turns SLOWLY, 100% sure", "a"
    )
    done = Case(
        replace(CAR, label="Blue_car"),
        (Visit(date="2026-10-01", note="Straße"),),
        "clicks",
        "b",
        outcome=CaseOutcome((("battery", "worn"), ("belt", "slips"))),
    )
    first, second = store.create_case(slow), store.create_case(done)
    third = store.create_case(Case(Car(Battery(600.0)), outcome=CaseOutcome((("battery", "weak_cell"),))))

    def found(text: str = "", **options: Any) -> list[str]:
        names = {first: "slow", second: "done", third: "bare"}
        return [names[line.case_id] for line in store.list_cases(text, **options)]

    assert found() == ["bare", "done", "slow"]
    assert found("slowly turns") == ["slow"]
    assert found("STRASSE") == ["done"]
    assert found("100%") == ["slow"]
    assert found("%") == ["slow"]
    assert found("_") == ["done", "slow"]  # blue_car; rest_voltage
    assert found("rest_voltage") == ["slow"]
    assert found("' OR 1=1 --") == []
    assert found(car="blue_") == ["done"]
    assert found(car="grey van") == ["slow"]
    assert found(cause="battery") == ["bare", "done"]
    assert found(cause="battery:worn") == ["done"]
    assert found(cause="battery:w") == []
    assert found(cause="batter") == []
    assert found(closed=False) == ["slow"]
    assert found(since="2026-10-02", until="2026-11-20") == ["slow"]
    assert found(until="2026-10-31") == ["done"]
    assert found(since="2026-11-20", until="2026-11-20", text="slowly") == ["slow"]
    assert found(limit=1) == ["bare"]
    line = store.list_cases("clicks")[0]
    assert line.causes == (("battery", "worn"), ("belt", "slips"))
    assert (line.car, line.name, line.closed, line.first_date, line.sequence) == (
        "Blue_car",
        "b",
        True,
        "2026-10-01",
        1,
    )


def test_the_list_follows_every_change(store: Store) -> None:
    case_id = store.create_case(CASE)
    other = store.create_case(CASE)
    assert store.list_cases()[0].case_id == other
    store.append(case_id, change_car(complaint="rattles"), 1)
    assert [line.case_id for line in store.list_cases("rattles")] == [case_id]
    assert store.list_cases()[0].case_id == case_id
    store.append(case_id, close_case(CaseOutcome((("belt", "lost"),))), 2)
    assert store.list_cases(cause="belt")[0].closed
    store.undo(case_id)
    assert store.list_cases(cause="belt") == ()
    store.undo(case_id)
    assert store.list_cases("rattles") == ()


def test_a_reader_is_not_held_up_by_a_writer(place: str) -> None:
    with open_store(place) as store:
        case_id = store.create_case(CASE)
        engine = sqlalchemy.create_engine(url_of(place))
        with engine.connect() as writer:
            if engine.dialect.name == "sqlite":
                writer.exec_driver_sql("BEGIN IMMEDIATE")
            writer.exec_driver_sql("UPDATE cases SET complaint = 'half done'")
            assert store.current(case_id) == CASE
            assert store.list_cases()[0].complaint == "turns slowly"
            writer.rollback()
        engine.dispose()


def test_acknowledged_entries_survive_kill_9(place: str) -> None:
    """The short version of ``tests/bench/kill_store.py``, which says what it proves."""
    program = [sys.executable, "-m", "tests.bench.kill_store", "--kills", "20", "--store", place]
    root = Path(__file__).parents[2]
    run = subprocess.run(program, capture_output=True, text=True, check=True, cwd=root, env=environment(root))
    counts = json.loads(run.stdout)
    assert (counts["kills"], counts["lost"], counts["damaged"]) == (20, 0, 0)
    assert counts["acknowledged"] >= 20
    assert counts["kept_unreported"] <= 20


def environment(root: Path) -> dict[str, str]:
    """Let a started program find this project."""
    return {**os.environ, "PYTHONPATH": str(root)}


def test_the_settings_that_make_entries_last(tmp_path: Path) -> None:
    with open_store(tmp_path / "cases.sqlite") as store, store._writing() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar() == "wal"
        assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2  # FULL, by the SQLite manual
        assert connection.exec_driver_sql("PRAGMA foreign_keys").scalar() == 1


def test_the_default_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("FAULTNET_STORE", str(tmp_path / "here" / "my.sqlite"))
    open_store().close()
    assert (tmp_path / "here" / "my.sqlite").exists()
    monkeypatch.delenv("FAULTNET_STORE")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    open_store().close()
    assert (tmp_path / "data" / "faultnet" / "cases.sqlite").exists()


TRY_TO_OPEN = """
import os, sys
from faultnet.case.types import Battery, Car, Case
from faultnet.case.store.store import open_store
from faultnet.errors import StoreError
with open_store(sys.argv[1] + "/elsewhere/warm.sqlite") as store:  # everything is imported before rights are given up
    store.create_case(Case(Car(Battery(600.0))))
if os.geteuid() == 0:
    os.setuid(65534)
for name in ("/new.sqlite", "/sub/new.sqlite", "/old.sqlite"):
    try:
        with open_store(sys.argv[1] + "/shut" + name) as store:
            store.create_case(Case(Car(Battery(600.0))))
    except StoreError as error:
        print(error)
"""


def test_a_folder_that_may_not_be_written(tmp_path: Path) -> None:
    root = Path(__file__).parents[2]
    with tempfile.TemporaryDirectory() as folder:
        shut = Path(folder) / "shut"
        shut.mkdir()
        with open_store(shut / "old.sqlite") as store:
            store.create_case(CASE)
        Path(folder).chmod(0o755)
        (shut / "old.sqlite").chmod(0o444)
        shut.chmod(0o555)
        program = [sys.executable, "-c", TRY_TO_OPEN, folder]
        run = subprocess.run(program, capture_output=True, text=True, cwd=root, env=environment(root), check=True)
        shut.chmod(0o755)
    lines = run.stdout.splitlines()
    assert len(lines) == 3, run.stdout
    assert all("what to do: " in line and str(shut) in line for line in lines)
    assert "cannot be opened" in lines[0]
    assert "may not be used" in lines[1]
    assert "cannot be written" in lines[2] or "cannot be opened" in lines[2]


def test_a_full_disk_loses_nothing(tmp_path: Path) -> None:
    """SQLite's own limit on the size of the file gives the very error of a full disk (SQLITE_FULL)."""
    place = tmp_path / "cases.sqlite"

    def limit(connection: Any, record: object) -> None:
        connection.execute("PRAGMA max_page_count = 20")

    sqlalchemy.event.listen(sqlalchemy.Engine, "connect", limit)
    try:
        with open_store(place) as store:
            case_id = store.create_case(CASE)
            kept = append_until_it_fails(store, case_id)
            assert store.opened(case_id).sequence == kept > 1
            with pytest.raises(StoreError, match=r"the disk is full.*free some space"):
                store.append(case_id, add_entry(0, LONG), kept)
    finally:
        sqlalchemy.event.remove(sqlalchemy.Engine, "connect", limit)
    with open_store(place) as store:
        assert store.append(case_id, add_entry(0, REST), kept) == kept + 1


LONG = Reading("rest_voltage", 12.0, note="x" * 500)


def append_until_it_fails(store: Store, case_id: str) -> int:
    """Give the number of the last event that was acknowledged."""
    sequence = 1
    while True:
        try:
            sequence = store.append(case_id, add_entry(0, LONG), sequence)
        except StoreError:
            return sequence


def test_a_file_that_is_no_store(tmp_path: Path) -> None:
    (tmp_path / "cases.sqlite").write_bytes(b"not a database at all " * 100)
    with pytest.raises(StoreError, match=r"no store, or is damaged.*restore it from a backup"):
        open_store(tmp_path / "cases.sqlite")


@pytest.mark.parametrize("place", ["mysql://host/cases", "sqlite://", "://", "http://a:b/c"])
def test_a_place_that_cannot_be(place: str) -> None:
    with pytest.raises(StoreError, match="this is no place for a store"):
        open_store(place)


def test_a_server_that_does_not_answer_and_a_password_not_shown(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="does not answer") as caught:
        open_store(f"postgresql://kim:sesame@/cases?host={tmp_path}")
    assert "sesame" not in str(caught.value)


def test_postgresql_without_its_driver(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "psycopg", None)
    with pytest.raises(MissingExtraError, match=r"faultnet\[postgres\]"):
        open_store("postgresql://shop/cases")


def stored(sequence: int, kind: Any, payload: Any = None) -> StoredEvent:
    """Make an event as if it had been read."""
    return StoredEvent("c", sequence, kind, payload or {}, "2026-11-20T10:00:00+00:00")


BEGIN = stored(1, "case_created", create_case(CASE).payload)


@pytest.mark.parametrize(
    "damaged",
    [
        [],
        [stored(1, "reopened")],
        [BEGIN, BEGIN],
        [BEGIN, stored(3, "undone")],
        [BEGIN, stored(2, "undone")],
        [BEGIN, stored(2, "redone")],
        [BEGIN, stored(2, "visit_added", {"visit": {}}), stored(3, "undone"), stored(4, "undone")],
    ],
)
def test_a_damaged_history_is_found(damaged: list[StoredEvent]) -> None:
    with pytest.raises(StoreError, match="restore the store from a backup"):
        replay(damaged)


def test_opening_names_no_database_library_before_it_is_needed() -> None:
    program = (
        "import sys, faultnet.case.store.store; print([m for m in ('pydantic', 'sqlalchemy') if m in sys.modules])"
    )
    run = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
