"""Rows of a prior set that nothing reads are refused, retired ones dropped, missing ones named."""

from __future__ import annotations

import ast
import hashlib
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

import faultnet
from faultnet.decision import load_costs
from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.declared import MINUTES_FOR, NUMBERS, PARAMETERS
from faultnet.prior_set.records import FORMAT
from faultnet.prior_set.retired import RETIRED
from faultnet.shipped import shipped

PACKAGE = Path(faultnet.__file__).parent
STANDARD = shipped("priors") / "standard"
TAIL = '"estimate, no source",estimate,\n'


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return Path(shutil.copytree(STANDARD, tmp_path / "mine"))


def add(folder: Path, file: str, rows: str) -> int:
    """Put rows at the end of a table; return the line of the first."""
    text = (folder / file).read_text(encoding="utf-8")
    (folder / file).write_text(text + rows, encoding="utf-8")
    return text.count("\n") + 1


def drop(folder: Path, file: str, begins: str) -> None:
    lines = (folder / file).read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if not line.startswith(begins)]
    assert len(kept) < len(lines)
    (folder / file).write_text("".join(kept), encoding="utf-8")


@pytest.mark.parametrize(
    "file, row, expected",
    [
        ("spreads.csv", f"brush_drop_means,1.0,V,{TAIL}", "brush_drop_mean"),
        ("spreads.csv", f"minutes_for_tea,4,min,{TAIL}", "minutes_for"),
        ("effects.csv", f"belt,sound,output_factors,lognormal,1.0,0.1,-,{TAIL}", "belt, output_factor"),
        ("effects.csv", f"engine_running,sound,drag_factor,lognormal,1.0,0.1,-,{TAIL}", "drag_factor"),
    ],
)
def test_a_row_that_nothing_reads_is_refused_with_its_place(folder: Path, file: str, row: str, expected: str) -> None:
    line = add(folder, file, row)
    with pytest.raises(PriorsError, match="nothing reads") as caught:
        load_catalogue(folder=folder)
    assert caught.value.where == f"{file}, line {line}"
    assert expected in str(caught.value.expected)


def test_an_instrument_that_no_test_takes_is_refused(folder: Path) -> None:
    add(folder, "instruments.csv", f"spare_meter,Spare,voltmeter,V,0.5,0.02,0.01,0.1,,posts,0,0,0.01,V,{TAIL}")
    with pytest.raises(PriorsError, match=r"instruments\.csv.*spare_meter"):
        load_catalogue(folder=folder)


@pytest.mark.parametrize(
    "file, begins, said",
    [
        ("spreads.csv", "brush_drop_mean,", "no row for 'brush_drop_mean'"),
        ("spreads.csv", "minutes_for_rested,", "no row for 'minutes_for_rested'"),
        ("effects.csv", "drain,", "no row for 'drain, current'"),
    ],
)
def test_a_missing_number_is_named(folder: Path, file: str, begins: str, said: str) -> None:
    drop(folder, file, begins)
    with pytest.raises(PriorsError, match="missing") as caught:
        load_catalogue(folder=folder)
    assert caught.value.where == file
    assert said in str(caught.value.got)


def test_a_number_in_another_unit_is_refused(folder: Path) -> None:
    drop(folder, "spreads.csv", "brush_drop_mean,")
    line = add(folder, "spreads.csv", f"brush_drop_mean,1000,s,{TAIL}")
    with pytest.raises(PriorsError, match=rf"spreads\.csv, line {line}.*'s'.*V, in which 'brush_drop_mean' is read"):
        load_catalogue(folder=folder)


def test_retired_rows_of_a_kept_set_are_dropped_with_a_note(folder: Path) -> None:
    add(folder, "spreads.csv", f"start_time,1.0,s,{TAIL}")
    modes = [mode.id for mode in load_catalogue().component("battery").modes]
    rows = "".join(f"battery,{mode},conductance_factor,lognormal,1.0,0.1,-,{TAIL}" for mode in modes)
    add(folder, "effects.csv", rows)
    kept = load_catalogue(folder=folder)
    assert kept.spreads == load_catalogue().spreads
    assert kept.effects == load_catalogue().effects
    assert len(kept.notes) == 2
    assert any("start_time" in note and RETIRED["spreads", "start_time"] in note for note in kept.notes)


def test_a_set_of_the_first_format_gets_what_was_added_since(folder: Path) -> None:
    head = (folder / "prior_set.toml").read_text(encoding="utf-8")
    (folder / "prior_set.toml").write_text(head.replace(f"format = {FORMAT}\n", ""), encoding="utf-8")
    drop(folder, "spreads.csv", "minutes_for_loads_on,")
    kept = load_catalogue(folder=folder)
    assert kept.number("minutes_for_loads_on") == load_catalogue().number("minutes_for_loads_on")
    assert [note for note in kept.notes if "minutes_for_loads_on" in note]
    assert load_catalogue().notes == ()


def test_a_set_from_before_the_thresholds_decides_as_the_shipped_one(folder: Path) -> None:
    head = (folder / "prior_set.toml").read_text(encoding="utf-8")
    (folder / "prior_set.toml").write_text(head.replace(f"format = {FORMAT}\n", "format = 2\n"), encoding="utf-8")
    drop(folder, "costs.csv", "shop,well_founded,")
    drop(folder, "spreads.csv", "sure_from,")
    assert load_costs(folder=folder).well_founded == load_costs().well_founded
    assert load_catalogue(folder=folder).number("sure_from") == load_catalogue().number("sure_from")


def test_a_set_kept_before_proofs_had_an_error_gets_those_numbers(folder: Path) -> None:
    head = (folder / "prior_set.toml").read_text(encoding="utf-8")
    (folder / "prior_set.toml").write_text(head.replace(f"format = {FORMAT}\n", "format = 2\n"), encoding="utf-8")
    proofs = [f"wrong_by_{proof}" for proof in ("replacement", "measurement", "opinion")]
    for name in proofs:
        drop(folder, "spreads.csv", f"{name},")
    kept = load_catalogue(folder=folder)
    assert [kept.number(name) for name in proofs] == [load_catalogue().number(name) for name in proofs]
    [note] = kept.notes
    assert all(name in note for name in proofs)


def test_the_format_rises_with_every_number_that_is_added() -> None:
    """A set kept whole under the same format would be refused for want of the new number: raise FORMAT, then this."""
    names = sorted([*NUMBERS, *(":".join(key) for key in PARAMETERS)])
    assert (FORMAT, len(names), hashlib.sha256("\n".join(names).encode()).hexdigest()[:12]) == (5, 305, "738dca3114af")


def test_a_format_of_the_future_is_refused(folder: Path) -> None:
    head = (folder / "prior_set.toml").read_text(encoding="utf-8")
    (folder / "prior_set.toml").write_text(head.replace(f"format = {FORMAT}\n", "format = 9\n"), encoding="utf-8")
    with pytest.raises(PriorsError, match="'format'"):
        load_catalogue(folder=folder)


def test_what_is_retired_is_not_read() -> None:
    assert not {key[1] for key in RETIRED if key[0] == "spreads"} & set(NUMBERS)
    assert not {key[1:] for key in RETIRED if key[0] == "effects"} & set(PARAMETERS)


# what the code reads


def strings() -> Iterator[str]:
    """Every text in the code, and every text with gaps as a pattern; not those of the declaration itself."""
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.relative_to(PACKAGE).as_posix() in ("prior_set/declared.py", "prior_set/retired.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.JoinedStr):
                parts = [re.escape(p.value) if isinstance(p, ast.Constant) else "[a-z_]+" for p in node.values]
                yield "".join(parts)
            elif isinstance(node, ast.Constant) and isinstance(node.value, str):
                yield re.escape(node.value)


def test_the_code_reads_every_number_that_is_declared() -> None:
    """Texts with gaps, such as `starter_cable_area_` and a fuel, count where enough of them stands fast."""
    told = set(strings())
    with_gaps = [t for t in told if re.fullmatch(r"[a-z_\[\]+-]+", t) and len(t.replace("[a-z_]+", "")) > 8]
    patterns = [re.compile(text) for text in with_gaps if "[a-z_]+" in text]
    unread = [n for n in NUMBERS if n not in told and not any(p.fullmatch(n) for p in patterns)]
    assert unread == []
    parameters = {re.escape(name) for _, name in PARAMETERS}
    assert parameters <= set(strings())


def test_the_code_reads_no_number_that_is_not_declared() -> None:
    """A name that is read as `number("...")` stands in the declaration; where tables are read, that is a cell."""
    read = set()
    for path in set(PACKAGE.rglob("*.py")) - {PACKAGE / "prior_set" / "records.py", PACKAGE / "decision" / "costs.py"}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "number":
                read |= {a.value for a in node.args if isinstance(a, ast.Constant) and isinstance(a.value, str)}
    assert len(read) > 50
    assert {name for name in read - set(NUMBERS) if not name.startswith(MINUTES_FOR)} == set()


def test_the_declaration_is_in_the_units_of_the_shipped_set() -> None:
    catalogue = load_catalogue()
    assert {name: row.unit for name, row in catalogue.spreads.items() if not name.startswith(MINUTES_FOR)} == NUMBERS
