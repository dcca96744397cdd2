"""Hostile uploads, each in a process of its own: how long until it is refused, and with how much memory.

``python -m tests.bench.hostile``; the exit code is 1 if one was not refused in words, took more than 5 s of processor
time or more than 500 MB. ``--size`` is what the bombs unpack to [MB]; ``--only NAME`` takes one.
"""

from __future__ import annotations

import argparse
import gzip
import io
import json
import subprocess
import sys
import tempfile
import time
import zlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.bench.memory import most_memory

MOST_SECONDS = 5.0
MOST_MEGABYTES = 500
COLUMNS = b"case,battery_rating,visit,entry,test,value,note\n"
HEAD = b'{"format": "faultnet-case", "version": 1, "car": {"battery": {"rating": 600}}, "visits": [{"entries": ['
SHIPPED = Path(__file__).parents[2] / "cases" / "recordings"


def bomb(size: int, fill: bytes, head: bytes = b"") -> bytes:
    """Gzip of a head and then `size` megabytes of the same."""
    file, part = io.BytesIO(), fill * (1_000_000 // len(fill))
    with gzip.GzipFile("", "wb", 9, file, mtime=0) as packed:
        packed.write(head)
        for _ in range(size):
            packed.write(part)
    return file.getvalue()


def less_packed(size: int, head: bytes, row: Callable[[int], bytes]) -> bytes:
    """Gzip of rows that differ, so that it is packed some ten to a hundred times only."""
    file, written, number = io.BytesIO(), 0, 0
    with gzip.GzipFile("", "wb", 1, file, mtime=0) as packed:
        packed.write(head)
        while written < size * 1_000_000:
            part = b"".join(row(number + k) for k in range(5000))
            packed.write(part)
            written, number = written + len(part), number + 5000
    return file.getvalue()


def measurement(size: int) -> bytes:
    """The shipped measurement file with its data replaced by a packed block that holds `size` megabytes of nothing."""
    content = bytearray((SHIPPED / "measurement.mf4").read_bytes())
    first = int.from_bytes(content[64 + 24 : 64 + 32], "little")
    place = len(content) + (-len(content)) % 8
    engine, parts = zlib.compressobj(9), []
    parts += [engine.compress(bytes(1_000_000)) for _ in range(size)]
    packed = b"".join(parts) + engine.flush()
    block = b"##DZ\0\0\0\0" + (48 + len(packed)).to_bytes(8, "little") + bytes(8) + b"DT\0\0\0\0\0\0"
    block += (size * 1_000_000).to_bytes(8, "little") + len(packed).to_bytes(8, "little") + packed
    content[first + 40 : first + 48] = place.to_bytes(8, "little")
    return bytes(content.ljust(place, b"\0")) + block


def parquet(size: int, **how: Any) -> bytes:
    """A Parquet file of one long text, in one row or by reference in many."""
    import pyarrow
    import pyarrow.parquet

    rows = how.pop("rows")
    text = pyarrow.DictionaryArray.from_arrays(pyarrow.array([0] * rows, "int32"), ["x" * (size * 1_000_000 // rows)])
    note = text if how else text.cast("string")
    table = pyarrow.table({"case": [str(k) for k in range(rows)], "battery_rating": [600.0] * rows, "note": note})
    file = io.BytesIO()
    pyarrow.parquet.write_table(table, file, compression="zstd", **({} if how else {"use_dictionary": False}))
    return file.getvalue()


def made(name: str, size: int) -> bytes:
    """Make a hostile file by its name."""
    makers: dict[str, Callable[[], bytes]] = {
        "log_zeros.csv.gz": lambda: bomb(size, b"\0"),
        "log_line_ends.csv.gz": lambda: bomb(size, b"\n", b"time s;volts\n0;12.6\n1;12.6\n"),
        "log_rows.csv.gz": lambda: bomb(size, b"2;12.6\n", b"time s;volts\n0;12.6\n1;12.6\n"),
        "log_one_line.csv.gz": lambda: bomb(size, b"9", b"time s;volts\n0;12.6\n1;12.6\n"),
        "log_one_line.csv": lambda: b"time s;volts\n0;12.6\n1;12.6\n" + b"9" * 50_000_000,
        "log_dump.log.gz": lambda: bomb(size, b"(2.0) can0 7E8#0441423138\n", b"(1.0) can0 7E8#0441423138\n"),
        "log_dump_line.log": lambda: b"(1.0) can0 7E8#0441423138\n" + b"A" * 50_000_000,
        "log_vector.asc.gz": lambda: bomb(size, b" ", b"date Mon\nbase hex\n"),
        "log_data.mf4.gz": lambda: bomb(size, b"\0", b"MDF     4.10    "),
        "log_measurement.mf4": lambda: measurement(size),
        "history_line_ends.csv.gz": lambda: bomb(size, b"\n", COLUMNS),
        "history_rows.csv.gz": lambda: bomb(size, b"1,600,1,1,rest_voltage,12.4,\n", COLUMNS),
        "history_zeros.csv.gz": lambda: bomb(size, b"\0", COLUMNS),
        "history_quoted.csv.gz": lambda: bomb(size, b"x\n", COLUMNS + b'1,600,1,1,rest_voltage,12.4,"'),
        "history_bad.csv.gz": lambda: less_packed(60, COLUMNS, lambda k: b"%d,600,1,1,rest_voltage,high,\n" % k),
        "history_one_case.csv.gz": lambda: less_packed(60, COLUMNS, lambda k: b"1,600,1,%d,rest_voltage,12.4,\n" % k),
        "history_one_line.csv": lambda: COLUMNS + b"1,600,1,1,rest_voltage,12.4," + b"x" * 50_000_000,
        "history_text.parquet": lambda: parquet(200, rows=1),
        "history_references.parquet": lambda: parquet(size * 20, rows=200_000, by="reference"),
        "case_faults.json": lambda: (
            HEAD + b",".join([b'{"test": "rest_voltage", "value": "high"}'] * 300_000) + b"]}]}"
        ),
        "case_entries.json": lambda: HEAD + b",".join([b'{"act": "charge"}'] * 500_000) + b"]}]}",
        "case_levels.json": lambda: b"[" * 5_000_000,
        "case_levels.yaml": lambda: b"[" * 99_000,
        "case_long.yaml": lambda: b"- {}\n" * 19_000,
        "case_note.json": lambda: HEAD + b'{"act": "charge", "note": "' + b"x" * 15_000_000 + b'"}]}]}',
        "case_endless.json": lambda: b'{"format": "' + b"x" * 50_000_000,
        "case_number.json": lambda: HEAD + b'{"test": "rest_voltage", "value": ' + b"9" * 15_000_000 + b"}]}]}",
    }
    return makers[name]()


NAMES = (
    *("log_zeros.csv.gz", "log_line_ends.csv.gz", "log_rows.csv.gz", "log_one_line.csv.gz", "log_one_line.csv"),
    *("log_dump.log.gz", "log_dump_line.log", "log_vector.asc.gz", "log_data.mf4.gz", "log_measurement.mf4"),
    *("history_line_ends.csv.gz", "history_rows.csv.gz", "history_zeros.csv.gz", "history_quoted.csv.gz"),
    *("history_bad.csv.gz", "history_one_case.csv.gz", "history_one_line.csv", "history_text.parquet"),
    *("history_references.parquet", "case_faults.json", "case_entries.json", "case_levels.json", "case_levels.yaml"),
    *("case_long.yaml", "case_note.json", "case_endless.json", "case_number.json"),
)


def take_in(path: Path) -> dict[str, Any]:
    """Read one hostile file, as an upload of its kind is read, and tell what came of it."""
    from faultnet.case.file import load_case
    from faultnet.errors import FaultnetError
    from faultnet.learning.tables.history import load_history
    from faultnet.prior_set import load_catalogue
    from faultnet.recordings import read_recording

    content, catalogue = path.read_bytes(), load_catalogue("standard")
    readers: dict[str, Callable[[], Any]] = {
        "log": lambda: read_recording(content),
        "history": lambda: load_history(content, catalogue, keep_good=True),
        "case": lambda: load_case(content, path.name),
    }
    before = time.process_time()
    try:
        readers[path.name.split("_")[0]]()
        said = "was read"
    except FaultnetError as error:
        said = str(error)
    except Exception as error:
        said = f"TRACEBACK {type(error).__name__}"
    took = time.process_time() - before
    memory = most_memory()
    return {"bytes": len(content), "seconds": round(took, 2), "megabytes": memory, "said": said[:160].splitlines()[0]}


def refused(told: dict[str, Any]) -> bool:
    """Whether a file was refused in words, quickly, in little memory."""
    in_words = not told["said"].startswith(("was read", "TRACEBACK"))
    return bool(in_words and told["seconds"] <= MOST_SECONDS and told["megabytes"] <= MOST_MEGABYTES)


def tried(name: str, size: int) -> dict[str, Any]:
    """Make a hostile file and have it read by a new process."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(made(name, size))
        ran = subprocess.run(
            [sys.executable, "-m", "tests.bench.hostile", "--read", str(path)],
            capture_output=True, text=True, timeout=300, check=False,
        )  # fmt: skip
    if ran.returncode:
        return {"bytes": 0, "seconds": 0, "megabytes": 0, "said": f"TRACEBACK {ran.stderr.strip().splitlines()[-1:]}"}
    return dict(json.loads(ran.stdout))


def main() -> int:
    """Read the options, try every file, and print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--size", type=int, default=1000)
    parser.add_argument("--only")
    parser.add_argument("--read", type=Path)
    options = parser.parse_args()
    if options.read is not None:
        sys.stdout.write(json.dumps(take_in(options.read)))
        return 0
    missed = 0
    for name in [options.only] if options.only else NAMES:
        told = tried(name, options.size)
        missed += not refused(told)
        sys.stdout.write(f"{'ok    ' if refused(told) else 'MISSED'} {name:28} {json.dumps(told)}\n")
        sys.stdout.flush()
    sys.stdout.write(f"{missed} missed\n")
    return int(missed > 0)


if __name__ == "__main__":
    sys.exit(main())
