"""`faultnet cases list`, `backup` and `restore`: between both databases and back; nothing overwritten unasked."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from faultnet.case.store.backup import contents_of
from faultnet.case.store.events import add_entry
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Battery, Car, Case, CaseOutcome, Reading, Visit
from faultnet.cli import main
from tests.case.conftest import new_place
from tests.case.test_photos import drawn

CASE = Case(Car(Battery(600.0), label="grau, Büro"), complaint="turns slowly", invented=True)
Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    def ran(*arguments: object) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as end:
            main(["cases", *(str(a) for a in arguments)])
        told = capsys.readouterr()
        return int(end.value.code or 0), told.out, told.err

    return ran


def filled(store: Store) -> str:
    for number in range(3):
        case_id = store.create_case(CASE)
        store.append(case_id, add_entry(0, Reading("rest_voltage", 12.0 + number / 10, by="Kim")), 1)
    store.undo(case_id)
    store.keep_photo(drawn((200, 100)))
    return case_id


@pytest.mark.parametrize("there, back", [("sqlite", "postgresql"), ("postgresql", "sqlite")])
def test_there_and_back_nothing_is_lost(
    there: str, back: str, run: Run, request: pytest.FixtureRequest, tmp_path: Path
) -> None:
    places = [new_place(kind, request, tmp_path) for kind in (there, back, there)]
    with open_store(places[0], who="Kim") as store:
        case_id = filled(store)
        history = store.history(case_id)
    files = [tmp_path / f"{n}.jsonl" for n in range(3)]
    for file, place, after in zip(files, places, [*places[1:], None], strict=True):
        status, out, _ = run("backup", file, "--store", place, "--json")
        assert status == 0
        assert json.loads(out) == vars(contents_of(file))
        assert json.loads(out) | {"sha256": ""} == {"cases": 3, "events": 7, "photos": 1, "sha256": ""}
        if after is not None:
            status, out, err = run("restore", file, "--store", after, "--json")
            assert (status, err) == (0, "")
            assert json.loads(out)["added"] == 7
    assert len({file.read_bytes() for file in files}) == 1
    with open_store(places[2]) as store:
        assert store.history(case_id) == history
        assert {event.who for event in history} == {"Kim"}


def test_the_list_can_be_asked_for_a_cause_a_car_a_day_and_what_is_closed(run: Run, tmp_path: Path) -> None:
    place = tmp_path / "one.sqlite"
    with open_store(place) as store:
        mine = store.create_case(replace(CASE, visits=(Visit((), date="2026-11-20"),)))
        belt = CaseOutcome((("belt", "slips"),))
        done = store.create_case(Case(Car(Battery(600.0)), (Visit((), date="2026-10-01"),), outcome=belt))

    def listed(*options: str) -> list[str]:
        return [line["case_id"] for line in json.loads(run("list", *options, "--store", place, "--json")[1])["cases"]]

    assert listed() == [done, mine]
    assert listed("--closed") == listed("--cause", "belt") == listed("--cause", "belt:slips") == [done]
    assert listed("--open") == listed("--car", "büro") == [mine]
    assert listed("--since", "2026-11-20", "--until", "2026-11-20") == [mine]
    assert listed("--since", "2026-11-21") == []
    status, out, err = run("list", "--since", "yesterday", "--store", place)
    assert (status, out) == (2, "")
    assert "--since" in err


def test_a_store_that_holds_cases_is_refused_until_merging_is_allowed(run: Run, tmp_path: Path) -> None:
    file, other = tmp_path / "a.jsonl", tmp_path / "other.sqlite"
    with open_store(tmp_path / "one.sqlite") as store:
        filled(store)
        store.backup(file)
    with open_store(other) as store:
        mine = store.create_case(CASE)
    status, out, err = run("restore", file, "--store", other)
    assert (status, out) == (2, "")
    assert "the store to restore into is not empty" in err
    assert "1 case;" in err
    with open_store(other) as store:
        assert [line.case_id for line in store.list_cases()] == [mine]
    assert run("restore", file, "--store", other, "--merge")[0] == 0
    with open_store(other) as store:
        assert len(store.list_cases()) == 4
        assert store.current(mine) == CASE
    status, out, _ = run("restore", file, "--store", other, "--merge", "--json")
    assert json.loads(out)["added"] == 0


@pytest.mark.parametrize("cut", [0.0, 0.3, 0.99, 2.0])
def test_a_damaged_backup_changes_nothing(run: Run, cut: float, tmp_path: Path) -> None:
    file, other = tmp_path / "a.jsonl", tmp_path / "other.sqlite"
    with open_store(tmp_path / "one.sqlite") as store:
        filled(store)
        store.backup(file)
    whole = file.read_bytes()
    file.write_bytes(whole[: int(cut * len(whole))] if cut <= 1.0 else whole.replace(b"slowly", b"fastly"))
    for merge in ([], ["--merge"]):
        status, out, err = run("restore", file, "--store", other, *merge)
        assert (status, out) == (2, "")
        assert "damaged or was cut short" in err
        assert err.count("\n") == 1
    assert not other.exists()


@pytest.mark.parametrize("lost", [2, 3], ids=["in the middle", "the last"])
def test_a_restore_that_does_not_read_back_is_none(
    run: Run, lost: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database that keeps less than it was given: everything is rolled back."""
    from faultnet.case.store import backup

    file, other = tmp_path / "a.jsonl", tmp_path / "other.sqlite"
    with open_store(tmp_path / "one.sqlite") as store:
        case_id = filled(store)
        store.backup(file)
    kept, hit = backup.insert_event, (case_id, lost)
    monkeypatch.setattr(
        backup, "insert_event", lambda c, e, columns: None if (e.case_id, e.sequence) == hit else kept(c, e, columns)
    )
    status, _, err = run("restore", file, "--store", other)
    assert status == 2
    assert case_id in err
    assert "nothing was changed" in err
    with open_store(other) as store:
        assert store.list_cases() == ()


def test_a_file_is_not_replaced_unasked_and_its_owner_alone_reads_it(run: Run, tmp_path: Path) -> None:
    file, place = tmp_path / "a.jsonl", tmp_path / "one.sqlite"
    with open_store(place) as store:
        filled(store)
    assert run("backup", file, "--store", place)[0] == 0
    assert file.stat().st_mode & 0o777 == 0o600
    before = file.read_bytes()
    status, out, err = run("backup", file, "--store", place)
    assert (status, out) == (2, "")
    assert "there already" in err
    with open_store(place) as store:
        store.create_case(CASE)
    status, out, _ = run("backup", file, "--store", place, "--replace")
    assert "Written and read back: 4 cases, 8 events, 1 photos" in out
    assert file.read_bytes() != before


def test_who_did_it_is_noted_where_it_is_said(run: Run, tmp_path: Path) -> None:
    place = tmp_path / "one.sqlite"
    with open_store(place) as store:
        case_id = store.create_case(CASE)
    assert run("delete", case_id, "--store", place, "--by", " Kim  A. ")[0] == 0
    assert run("bring-back", case_id, "--store", place)[0] == 0
    with open_store(place) as store:
        assert [event.who for event in store.history(case_id)] == ["", "Kim A.", ""]
        assert all(event.at for event in store.history(case_id))
    status, _, err = run("delete", case_id, "--store", place, "--by", "x" * 41)
    assert status == 2
    assert "no name to sign with" in err
