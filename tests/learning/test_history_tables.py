"""Histories as files: what is written is read back, every bad row is named, and nothing is guessed."""

from __future__ import annotations

import csv
import gzip
import hashlib
import io
import re
from collections.abc import Callable, Iterator
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from faultnet.case.file import load_case
from faultnet.case.store.store import open_store
from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Reading, Visit
from faultnet.learning.tables.columns import BY_NAME, COLUMNS, dictionary
from faultnet.learning.tables.history import HistoryFileError, iterate_history, load_history, write_history
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from tests.case.drawing import cases

ENDINGS = ("csv", "csv.gz", "parquet")
DEMOS = [load_case(path) for path in sorted(shipped("cases").glob("*.json"))]
CLOSED = CaseOutcome((("battery", "worn"), ("belt", "slips")), "a new one cured it", "both found")
PLAIN = Case(
    Car(Battery(600.0, age=4.0), climate="hot", label="van"),
    (
        Visit(
            (Reading("rest_voltage", 0.0), Reading("charge_lamp", state="stays_on"), Act("charge", hours=0.0)),
            Conditions(air_temperature=0.0, damp=True),
            "2026-11-20",
        ),
        Visit(),
    ),
    "slow",
    "first",
    True,
    CLOSED,
)


def table_of(*rows: dict[str, str], head: tuple[str, ...] | None = None) -> bytes:
    """Write rows given by column as CSV; columns are those that occur."""
    names = head or tuple(dict.fromkeys(name for row in rows for name in row))
    file = io.StringIO()
    writer = csv.DictWriter(file, names, restval="")
    writer.writeheader()
    writer.writerows(rows)
    return file.getvalue().encode()


def row(case: str = "1", **cells: str) -> dict[str, str]:
    return {"case": case, "battery_rating": "600", "visit": "1", "entry": "1", "test": "rest_voltage", "value": "12.4",
            **cells}  # fmt: skip


def reasons(data: bytes, **more: Any) -> list[tuple[int, str, str]]:
    """Row, column and reason of everything that is refused."""
    with pytest.raises(HistoryFileError) as caught:
        load_history(data, **more)
    assert all(f"row {bad.row}" in str(caught.value) for bad in caught.value.bad[:20])
    return [(bad.row, bad.column, bad.expected) for bad in caught.value.bad]


@pytest.fixture
def kept(tmp_path: Path) -> Callable[[list[Case], str], list[Case]]:
    """Writes cases and reads them again."""

    def kept(given: list[Case], ending: str) -> list[Case]:
        path = tmp_path / f"history.{ending}"
        write_history(given, path)
        return [case for _, case in iterate_history(path)]

    return kept


@pytest.mark.parametrize("ending", ENDINGS)
def test_every_demo_case_comes_back_the_same(kept: Callable[..., list[Case]], ending: str) -> None:
    assert kept([PLAIN, *DEMOS], ending) == [PLAIN, *DEMOS]


@pytest.mark.parametrize("ending", ENDINGS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(given=st.lists(cases, min_size=1, max_size=4))
def test_any_case_comes_back_the_same(kept: Callable[..., list[Case]], ending: str, given: list[Case]) -> None:
    assert kept(given, ending) == given


def test_what_a_store_gives_out_comes_back_the_same(kept: Callable[..., list[Case]], tmp_path: Path) -> None:
    with open_store(tmp_path / "cases.sqlite") as store:
        out = [store.current(store.create_case(case)) for case in (PLAIN, *DEMOS)]
    assert kept(out, "csv.gz") == out == [PLAIN, *DEMOS]


@pytest.mark.parametrize("visits", [(), (Visit(),), (Visit(), Visit(note="second"), Visit((Act("wait"),)))])
@pytest.mark.parametrize("outcome", [None, CaseOutcome(), CLOSED])
def test_cases_without_entries_or_without_causes_are_kept_apart(
    kept: Callable[..., list[Case]], visits: tuple[Visit, ...], outcome: CaseOutcome | None
) -> None:
    case = replace(PLAIN, visits=visits, outcome=outcome)
    assert kept([case, case], "csv") == [case, case]


def test_the_same_cases_give_the_same_packed_bytes(tmp_path: Path) -> None:
    first, second = tmp_path / "a.csv.gz", tmp_path / "b.csv.gz"
    write_history(DEMOS, first)
    write_history(DEMOS, second)
    assert first.read_bytes() == second.read_bytes()
    assert load_history(first).sha256 == hashlib.sha256(first.read_bytes()).hexdigest()


def test_cases_are_taken_one_at_a_time(tmp_path: Path) -> None:
    """What is held does not grow: the thousandth case is not made before the first is written and read."""
    path, made = tmp_path / "history.csv", []

    def many() -> Iterator[Case]:
        for number in range(1000):
            made.append(number)
            yield replace(PLAIN, name=str(number))

    write_history(many(), path)
    reading = iterate_history(path)
    assert next(reading)[1].name == "0"
    assert len(made) == 1000
    reading.close()  # type: ignore[attr-defined]


def test_columns_may_stand_in_any_order_and_be_left_out() -> None:
    data = table_of({"battery_rating": "600", "case": "a"}, {"battery_rating": "720", "case": "b"})
    first, second = load_history(data).cases
    assert (first, second) == (Case(Car(Battery(600.0)), visits=()), Case(Car(Battery(720.0)), visits=()))
    assert load_history(data).keys == ("a", "b")


def test_every_field_of_a_case_has_a_column() -> None:
    named = {"visits", "entries", "conditions", "car", "battery"}  # the parts themselves
    fixed = {"system_voltage", "drive"}  # only one value is accepted
    renamed = {"battery.": "battery_", "outcome.note": "outcome_note", "visit.note": "visit_note"}
    wanted = {f.name for t in (Case, Car, Conditions, Reading, Act, CaseOutcome) for f in fields(t)}
    wanted |= {f"{renamed['battery.']}{f.name}" for f in fields(Battery)} | {"date", *list(renamed.values())[1:]}
    assert wanted - named - fixed <= set(BY_NAME)


def test_every_column_is_documented() -> None:
    text = (shipped("priors").parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert dictionary() in text
    assert all(column.meaning and column.unit for column in COLUMNS)


@pytest.mark.parametrize(
    "column, cell, expected",
    [
        ("value", "twelve", "finite number"),
        ("value", "nan", "finite number"),
        ("value", "1e999", "finite number"),
        ("battery_rating", "60", "100 to 2000 A"),
        ("cranks", "perhaps", "yes or no"),
        ("runs", "yes", "by_itself, with_booster, no"),
        ("at", "noon", "a moment of the calendar such as"),
        ("at", "2026-02-30T10:00", "moment of the calendar"),
        ("photos", "post.jpg left post", "64 hexadecimal"),
        ("fuel", "gas", "petrol, diesel"),
        ("damp", "perhaps", "yes or no"),
        ("air_temperature", "61", "-50 to 60 degC"),
        ("cylinders", "4.5", "whole number"),
        ("date", "2026-13-01", "day of the calendar"),
        ("test", "Rest voltage", "an id"),
        ("causes", "battery worn", "component:mode"),
        ("causes", "battery:worn", "not closed"),
        ("unit", "volts", "units V"),
        ("visit", "2", "in order"),
        ("entry", "2", "in order"),
        ("entry", "", "in order"),
        ("state", "slow", "exactly one"),
        ("act", "charge", "of a test or of an act"),
        ("hours", "8", "does not belong"),
        ("test", "", "does not belong"),
    ],
)
def test_each_bad_cell_is_named_with_row_and_reason(column: str, cell: str, expected: str) -> None:
    if column == "test" and not cell:
        found = reasons(table_of(row("0"), row(test="", act="charge")))
    else:
        found = reasons(table_of(row("0"), row(**{column: cell})))
    assert [number for number, _, _ in found] == [3]
    assert expected in found[0][2]


def test_every_bad_row_is_named_and_the_good_cases_kept_only_if_told_to() -> None:
    rows = [row(str(k), value="x" if k % 3 == 0 else "12.4") for k in range(90)]
    data = table_of(*rows)
    assert [number for number, _, _ in reasons(data)] == [k + 2 for k in range(0, 90, 3)]
    kept = load_history(data, keep_good=True)
    assert kept.keys == tuple(str(k) for k in range(90) if k % 3)
    assert len(kept.bad) == 30


def test_a_case_with_one_bad_row_is_left_out_whole() -> None:
    data = table_of(row("1"), row("1", entry="2", value="x"), row("2"))
    assert load_history(data, keep_good=True).keys == ("2",)


def test_what_is_repeated_must_agree_and_rows_of_a_case_stand_together() -> None:
    assert reasons(table_of(row(fuel="petrol"), row(entry="2", fuel="diesel"))) == [
        (3, "fuel", "'petrol', as on the first row of the case")
    ]
    assert reasons(table_of(row(damp="no"), row(entry="2", damp="yes")))[0][:2] == (3, "damp")
    assert reasons(table_of(row("1"), row("2"), row("1")))[0] == (4, "case", "the rows of a case to stand together")


def test_a_row_that_is_too_short_is_named() -> None:
    data = table_of(row("1"), row("2")) + b"3,600,1\r\n"
    assert reasons(data) == [(4, "", "6 cells, as in the head")]


@pytest.mark.parametrize(
    "cells, expected",
    [
        ({"test": "rest_volts"}, "unknown test"),
        ({"value": "200"}, "cannot be"),
        ({"test": "charge_lamp", "value": "", "state": "blue"}, "no such choice"),
        ({"test": "", "value": "", "act": "pray"}, "act"),
        ({"closed": "yes", "causes": "battery:tired"}, "fault mode of the catalogue"),
    ],
)
def test_entries_and_causes_are_held_against_the_catalogue(cells: dict[str, str], expected: str) -> None:
    data = table_of(row("1", **cells))
    assert load_history(data).cases
    found = reasons(data, catalogue=load_catalogue())
    assert found[0][0] == 2
    assert expected in found[0][2]


@pytest.mark.parametrize(
    "data, expected",
    [
        (b"", "empty"),
        (b"case;battery_rating\n1;600\n", "separated by commas"),
        (b"case,battery_ratings\n1,600\n", "battery_rating"),
        (b"battery_rating\n600\n", "a column is missing"),
        (b"case,case,battery_rating\n1,1,600\n", "twice"),
        ("case,battery_rating,label\n1,600,bl\u00e4u\n".encode("latin-1"), "UTF-8"),
        (gzip.compress(b"case,battery_rating\n1,600\n", mtime=0)[:-6], "damaged"),
        (b"PAR1 but nothing else", "damaged"),
        (b'case,battery_rating\n1,"600\n', "no CSV"),
        (b"case,battery_rating\n", "no case"),
    ],
)
def test_a_file_that_is_no_history_is_refused_in_words(data: bytes, expected: str) -> None:
    with pytest.raises(Exception, match=re.escape(expected)) as caught:
        load_history(data)
    assert type(caught.value).__module__.startswith("faultnet.")


def test_a_missing_file_and_an_unknown_ending_are_said(tmp_path: Path) -> None:
    with pytest.raises(HistoryFileError, match="no such file"):
        load_history(tmp_path / "none.csv")
    with pytest.raises(HistoryFileError, match=re.escape(".csv.gz or .parquet")):
        write_history(DEMOS, tmp_path / "history.xlsx")
