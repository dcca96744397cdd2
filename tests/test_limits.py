"""Input without end: packed bombs, endless lines, rows and faults are refused while they are read, limit named.

The bombs are small and the limits made smaller for the test; ``tests/bench/hostile.py`` takes them as they are.
"""

from __future__ import annotations

import gzip
import io
import json
import struct
import zlib
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, get_args, get_type_hints

import pytest
import typer
from typer.testing import CliRunner

from faultnet import limits
from faultnet.case.faults import SHOWN, CaseFileError, Fault
from faultnet.case.file import case_from_json, load_case
from faultnet.cli.commands import app
from faultnet.errors import FaultnetError, RecordingError
from faultnet.learning.tables.history import HistoryFileError, iterate_history, load_history, write_history
from faultnet.limits import LOG, Limits, limited_blocks
from faultnet.recordings import read_recording
from faultnet.recordings.readers import mdf_links
from faultnet.recordings.readers.mdf_links import refuse_endless
from tests.test_numbers import commands

HEAD: dict[str, Any] = {"format": "faultnet-case", "version": 1, "car": {"battery": {"rating": 600}}}
STOPPED = r"too much to read.*(packed at most 200 times|lines of at most)|time stands still"
LONG = "z" * 100_000
COLUMNS = "case,battery_rating,visit,entry,test,value\n"


class Tap(io.RawIOBase):
    """A stream that counts what was taken from it."""

    def __init__(self, content: bytes) -> None:
        self._inner, self.taken = io.BytesIO(content), 0

    def read(self, size: int = -1) -> bytes:
        found = self._inner.read(size)
        self.taken += len(found)
        return found


def bomb(megabytes: int, fill: bytes = b"\0", head: bytes = b"") -> bytes:
    """A small gzip file that holds much."""
    file = io.BytesIO()
    with gzip.GzipFile("", "wb", 9, file, mtime=0) as packed:
        packed.write(head)
        for _ in range(megabytes):
            packed.write(fill * (1_000_000 // len(fill)))
    return file.getvalue()


@pytest.mark.parametrize(
    "read, head, fill",
    [
        (read_recording, b"time s;volts\n0;12.6\n1;12.6\n", b"\n"),
        (read_recording, b"time s;volts\n0;12.6\n1;12.6\n", b"2;12.6\n"),
        (read_recording, b"(1.0) can0 7E8#0441423138\n", b"(2.0) can0 7E8#0441423138\n"),
        (read_recording, b"MDF     4.10    ", b"\0"),
        (load_history, COLUMNS.encode(), b"\n"),
        (load_history, COLUMNS.encode(), b"1,600,1,1,rest_voltage,12.4\n"),
        (load_history, COLUMNS.encode(), b"\0"),
    ],
)
def test_a_bomb_is_refused_while_it_is_read(read: Any, head: bytes, fill: bytes) -> None:
    packed = bomb(8, fill, head)
    assert len(packed) < 100_000
    with pytest.raises(FaultnetError, match=STOPPED):
        read(packed)


def test_reading_stops_at_the_limit() -> None:
    tap = Tap(bomb(60, b"x\n"))
    blocks = limited_blocks(tap, LOG, RecordingError, "a log", 64_000)  # type: ignore[arg-type]
    with pytest.raises(RecordingError, match=r"packed at most 200 times"):
        for _ in blocks:
            pass
    assert tap.taken < len(bomb(60, b"x\n")) / 2


@pytest.mark.parametrize(
    "allowed, expected",
    [
        (Limits(999), "at most 999 bytes unpacked"),
        (Limits(10_000, line=9), "lines of at most 9 bytes"),
        (Limits(10_000, line=10, rows=99), "at most 99 rows"),
    ],
)
@pytest.mark.parametrize("packed", [False, True])
@pytest.mark.parametrize("size", [7, 64, 5000])
def test_size_lines_and_rows_have_a_limit(allowed: Limits, expected: str, packed: bool, size: int) -> None:
    plain = b"0123456789"[:9] * 1 + b"x\n"
    content = plain * 100
    data = gzip.compress(content) if packed else content
    with pytest.raises(FaultnetError, match=expected):
        list(limited_blocks(io.BytesIO(data), allowed, FaultnetError, "a log", size))
    enough = Limits(len(content), line=10, rows=100)
    assert b"".join(limited_blocks(io.BytesIO(data), enough, FaultnetError, "a log", size)) == content


def test_a_log_of_one_endless_line_is_refused() -> None:
    with pytest.raises(RecordingError, match="lines of at most 1 MB"):
        read_recording(b"time s;volts\n0;12.6\n1;12.6\n" + b"9" * 9_000_000 + b"\n" + b"0;12.6\n" * 100)


def test_a_history_of_one_endless_line_is_refused() -> None:
    for content in (b"x" * 5_000_000, COLUMNS.encode() + b'"' + b"x\n" * 3_000_000):
        with pytest.raises(HistoryFileError):
            load_history(content)


def test_a_history_that_is_bad_all_over_is_given_up() -> None:
    from faultnet.learning.tables.rows import cases_of

    read = 0

    def rows() -> Iterator[tuple[int, list[str]]]:
        nonlocal read
        for k in range(100_000):
            read += 1
            yield k, [str(k), "high"]

    bad: list[Any] = []
    assert list(cases_of(["case", "battery_rating"], rows(), bad)) == []
    assert limits.MOST_BAD_ROWS < read < limits.MOST_BAD_ROWS + 10
    content = "case,battery_rating\n" + "".join(f"{k},high\n" for k in range(12_000))
    with pytest.raises(HistoryFileError, match="more than 10,000 things are amiss"):
        load_history(content.encode(), keep_good=True)


def test_a_case_of_a_history_has_a_limit() -> None:
    rows = "".join(f"1,600,1,{k},rest_voltage,12.4\n" for k in range(1, 5_100))
    with pytest.raises(HistoryFileError, match="at most 5,000 of one case") as caught:
        load_history((COLUMNS + rows).encode())
    assert len(caught.value.bad) == 1


def test_a_parquet_file_that_unfolds_is_refused(tmp_path: Path) -> None:
    import pyarrow
    import pyarrow.parquet

    rows = 200_000
    columns = {
        "case": [str(k) for k in range(rows)],
        "battery_rating": [600.0] * rows,
        "note": pyarrow.DictionaryArray.from_arrays(pyarrow.array([0] * rows, "int32"), ["x" * 99_000]),
    }
    path = tmp_path / "bomb.parquet"
    pyarrow.parquet.write_table(pyarrow.table(columns), path, compression="zstd")
    assert path.stat().st_size < 3_000_000
    with pytest.raises(FaultnetError, match="too much to read"):
        list(iterate_history(path))


def test_a_parquet_file_that_is_packed_too_well_is_refused(tmp_path: Path) -> None:
    import pyarrow
    import pyarrow.parquet

    table = pyarrow.table({"case": ["1"], "battery_rating": [600.0], "note": ["x" * 9_000_000]})
    pyarrow.parquet.write_table(table, tmp_path / "bomb.parquet", compression="zstd", use_dictionary=False)
    with pytest.raises(FaultnetError, match="packed at most 200 times"):
        list(iterate_history(tmp_path / "bomb.parquet"))


def measurement(claimed: int, content: bytes, blocks: int = 1) -> io.BytesIO:
    """The bones of a measurement file: header, a data group, a list of so many packed data blocks, the same again."""
    packed = zlib.compress(content, 9)
    file = bytearray(b"MDF     4.10    ".ljust(64, b"\0") + b"##HD" + b"\0" * 100)
    file[64 + 24 : 64 + 32] = struct.pack("<Q", 256)
    file = file.ljust(256, b"\0")
    file += b"##DG" + b"\0" * 20 + struct.pack("<QQQ", 0, 0, 512)
    file = file.ljust(512, b"\0")
    links = [1024 + 64 * 0 for _ in range(blocks)]
    file += b"##DL" + b"\0" * 12 + struct.pack("<Q", 1 + blocks) + struct.pack(f"<{1 + blocks}Q", 0, *links)
    file = file.ljust(1024, b"\0")
    file += b"##DZ" + b"\0" * 20 + b"DT\0\0\0\0\0\0" + struct.pack("<QQ", claimed, len(packed)) + packed
    return io.BytesIO(bytes(file))


def test_a_measurement_file_that_unpacks_to_too_much_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    refuse_endless(measurement(1_000_000, b"\0" * 1_000_000))
    with pytest.raises(RecordingError, match=r"got: 80 MB unpacked, or more; expected: at most 64 MB"):
        refuse_endless(measurement(80_000_000, b"\0" * 1_000_000))
    with pytest.raises(RecordingError, match="too much to read"):
        refuse_endless(measurement(1_000, b"\0" * 80_000_000))
    with pytest.raises(RecordingError, match="at most 1,000 MB"):
        refuse_endless(measurement(60_000_000, b"\0" * 60_000_000, blocks=30))
    monkeypatch.setattr(mdf_links, "MOST_UNPACKED", 3_000_000)
    with pytest.raises(RecordingError, match="at most 3 MB"):
        refuse_endless(measurement(1_000_000, b"\0" * 1_000_000, blocks=5))


@pytest.mark.parametrize("count", [30_000, 300_000])
@pytest.mark.parametrize(
    "entry", [{"test": None}, {"test": "rest_voltage", "valu": 1}, {"test": "rest_voltage", "value": "high"}]
)
def test_a_message_has_an_end(entry: dict[str, Any], count: int) -> None:
    if count > 100_000 and entry["test"] is not None:
        count = 60_000  # the same way, and less to write
    with pytest.raises(CaseFileError) as caught:
        case_from_json(json.dumps({**HEAD, "visits": [{"entries": [entry] * count}]}))
    lines = str(caught.value).splitlines()
    assert len(lines) == SHOWN + 2
    assert len(str(caught.value)) < 6000
    assert lines[-1].strip().startswith("and ")
    assert lines[-1].endswith(" more")
    if entry["test"] is None:
        assert lines[0].startswith(f"the case cannot be accepted, {count:,} faults")
        assert lines[-1].strip() == f"and {count - SHOWN:,} more"
    else:
        assert "at least 1," in lines[0]
        assert f"{count + 1:,} visits and entries, expected at most 5,000" in lines[1]


def test_only_the_first_faults_of_a_long_case_are_looked_for() -> None:
    entries = [{"test": "rest_voltage", "value": 12.4}] * 1500
    assert len(case_from_json(json.dumps({**HEAD, "visits": [{"entries": entries}]})).visits[0].entries) == 1500
    for place, said in ((10, "at least 1 fault"), (1400, ", 1 fault;")):
        torn = [*entries[:place], {"test": "rest_voltage"}, *entries[place:]]
        with pytest.raises(CaseFileError, match=said):
            case_from_json(json.dumps({**HEAD, "visits": [{"entries": torn}]}))


def test_a_case_has_so_many_entries_at_most() -> None:
    long = {**HEAD, "visits": [{"entries": [{"act": "charge"}] * 100}] * 60}
    with pytest.raises(CaseFileError, match="6,060 visits and entries, expected at most 5,000"):
        case_from_json(json.dumps(long))


@pytest.mark.parametrize(
    "torn",
    [
        {**HEAD, **{f"x{k}": 1 for k in range(30_000)}},
        {**HEAD, "x" * 1_000_000: 1},
        {**HEAD, "outcome": {"causes": [3] * 30_000}},
        {**HEAD, "complaint": "x" * 1_000_000},
        {**HEAD, "version": "1" * 1_000_000},
        {**HEAD, "visits": {"y" * 1_000_000: [None]}},
    ],
)
def test_names_and_texts_without_end_give_short_messages(torn: dict[str, Any]) -> None:
    with pytest.raises(CaseFileError) as caught:
        case_from_json(json.dumps(torn))
    assert len(str(caught.value)) < 6000


def test_yaml_without_end_is_refused_at_once(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_text("x: 1\n" * 100_000)
    with pytest.raises(CaseFileError, match="written as YAML of at most 100 kB"):
        load_case(path)


def test_few_faults_are_all_listed() -> None:
    error = CaseFileError("a.json", tuple(Fault(f"x{k}", "1", "2") for k in range(SHOWN)))
    assert str(error).count("expected 2") == SHOWN
    assert "more" not in str(error)


def test_texts_that_a_spreadsheet_would_run_are_guarded_and_come_back(tmp_path: Path) -> None:
    import csv

    from tests.learning.test_history_tables import PLAIN

    texts = ("=1+1", "+1", "-1", "@x", "\tx", "\rx", "\nx", "'=1", "''=1", "'tis", "=HYPERLINK(A1)", "\uff1dx", "")
    cases = [replace(PLAIN, complaint=text, name=text, car=replace(PLAIN.car, label=text)) for text in texts]
    for ending in ("csv", "csv.gz", "parquet"):
        path = tmp_path / f"history.{ending}"
        write_history(cases, path, keys=[f"={k}" for k in range(len(cases))])
        assert [case for _, case in iterate_history(path)] == cases
        assert load_history(path).keys == tuple(f"={k}" for k in range(len(cases)))
    with (tmp_path / "history.csv").open(encoding="utf-8", newline="") as file:
        cells = [cell for row in csv.reader(file) for cell in row]
    assert not [cell for cell in cells if cell[:1] and cell[0] in "=+@\t\r\n\uff1d"]


def test_a_full_disk_leaves_no_history_behind(tmp_path: Path) -> None:
    from tests.case.test_store_files import full_disk
    from tests.learning.test_history_tables import PLAIN

    for ending in ("csv", "csv.gz", "parquet"):
        with full_disk(300), pytest.raises(HistoryFileError, match="file too large"):
            write_history([PLAIN] * 50, tmp_path / f"history.{ending}")
    assert list(tmp_path.iterdir()) == []


def test_standard_input_has_a_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    from faultnet.cli import inputs

    monkeypatch.setattr(inputs, "HELD", 10)
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"0;12.6\n" * 3)))
    with pytest.raises(RecordingError, match="at most 10 bytes"):
        inputs.read_source("-")
    assert limits.HELD > 1_000_000


def words_on_the_command_line() -> list[Any]:
    """Every option and argument that takes words or a path: the whole line, with one that is a hundred kilobytes long.

    Left out are a label, which may be any, and files that are written only once the work is done.
    """
    given = {
        ("log",): "LOG", ("tune",): "LOG --to a", ("trial",): "--cars 1", ("priors", "compare"): "standard standard",
        ("priors", "use"): "standard", ("cases", "delete"): "a", ("cases", "bring-back"): "a",
    }  # fmt: skip
    late = {"currency", "html", "cluster"}
    found = []
    for path, function in commands():
        base = given.get(path, "demo:shorted_cell" if path[0] not in ("catalogue", "cases") else "").split()
        place = 0
        for name, hint in get_type_hints(function, include_extras=True).items():
            kinds = {*get_args(getattr(hint, "__origin__", hint)), getattr(hint, "__origin__", hint)}
            if not hasattr(hint, "__metadata__") or not {str, Path, list[str]} & kinds or name in late:
                continue
            if (path, name) in {(("trial",), "svg"), (("sheet",), "out"), (("export",), "out"), (("serve",), "case")}:
                continue
            about = hint.__metadata__[0]
            if isinstance(about, typer.models.ArgumentInfo):
                line = [*path, *base[:place], LONG, *base[place + 1 :]]
                place += 1
            else:
                line = [*path, *base, (about.param_decls or ("--" + name.replace("_", "-"),))[0], LONG]
            found.append(pytest.param(line, id=" ".join((*path, name))))
    return found


def test_there_are_words_to_look_at() -> None:
    names = {str(found.id) for found in words_on_the_command_line()}
    assert {"diagnose case", "diagnose priors", "log file", "log svg", "trial resume", "priors use name"} <= names


@pytest.mark.parametrize("line", words_on_the_command_line())
def test_words_without_end_on_the_command_line_end_in_a_short_message(
    line: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FAULTNET_PRIORS", str(tmp_path / "priors"))
    monkeypatch.setenv("FAULTNET_STORE", str(tmp_path / "cases.sqlite"))
    log = tmp_path / "a.csv"
    log.write_bytes(b"time s;volts\n" + b"".join(b"%d;12.6\n" % k for k in range(60)))
    result = CliRunner().invoke(app, [str(log) if word == "LOG" else word for word in line])
    assert isinstance(result.exception, FaultnetError | SystemExit | None)
    assert len(result.output) + len(str(result.exception)) < 7000
