"""Case histories as files: CSV, plain or packed, and Parquet; read and written a chunk at a time.

A history is read as a stream, so that what is held does not grow with the file. Nothing is guessed: columns are known
by their names, in any order; one that is not known is an error.
"""

from __future__ import annotations

import csv
import difflib
import gzip
import hashlib
import io
import os
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path
from typing import Any, BinaryIO

from faultnet.case.types import Case
from faultnet.errors import system_words
from faultnet.learning.result import HistoryError
from faultnet.learning.tables.cells import text_of, unguarded
from faultnet.learning.tables.columns import BY_NAME, NEVER_EMPTY
from faultnet.learning.tables.rows import BadRow, cases_of, rows_of
from faultnet.limits import HISTORY, MOST_BAD_ROWS, LimitedStream, limited_blocks
from faultnet.prior_set.catalogue import Catalogue
from faultnet.whole import written_whole

Source = str | os.PathLike[str] | bytes
CHUNK_ROWS = 20_000
PORTION = 64 * 1024
SHOWN = 20


class HistoryFileError(HistoryError):
    """A history cannot be used.

    Parameters
    ----------
    what, where : str
    bad : tuple of BadRow
        Every row that is amiss.
    """

    def __init__(self, what: str, where: str, bad: Sequence[BadRow] = (), **more: str | None) -> None:
        self.bad = tuple(bad)
        listed = "".join(f"\n  {row}" for row in self.bad[:SHOWN])
        left = f"\n  and {len(self.bad) - SHOWN} more" if len(self.bad) > SHOWN else ""
        super().__init__(what, where=where + listed + left, **more)


@dataclass(frozen=True)
class History:
    """A whole history.

    Parameters
    ----------
    name : str
        Of its file.
    cases : tuple of Case
    keys : tuple of str
        What the file calls each of them.
    bad : tuple of BadRow
        Rows that could not be used; their cases are left out.
    sha256 : str
        Of the bytes of the file.
    """

    name: str
    cases: tuple[Case, ...]
    keys: tuple[str, ...] = field(repr=False)
    bad: tuple[BadRow, ...]
    sha256: str


def load_history(source: Source, catalogue: Catalogue | None = None, *, keep_good: bool = False) -> History:
    """Read a whole history.

    Parameters
    ----------
    source : path or bytes
    catalogue : Catalogue, optional
        Entries are also held against it: known tests, choices, instruments, acts; values that can be.
    keep_good : bool
        Leave the cases with bad rows out instead of refusing the file.

    Returns
    -------
    History

    Raises
    ------
    HistoryFileError
        If it cannot be read, or has bad rows: all of them, with number and reason.
    """
    bad: list[BadRow] = []
    found = list(iterate_history(source, catalogue, bad=bad))
    name = source_name(source)
    if bad and not keep_good:
        raise HistoryFileError(
            f"{len(bad)} rows of the history cannot be used", name, bad,
            to_do="correct them, or say that the good cases are to be kept",
        )  # fmt: skip
    if not found:
        raise HistoryFileError("the history holds no case that can be used", name, bad)
    return History(name, tuple(c for _, c in found), tuple(k for k, _ in found), tuple(bad), _sha256(source))


def iterate_history(
    source: Source, catalogue: Catalogue | None = None, *, bad: list[BadRow] | None = None
) -> Iterator[tuple[str, Case]]:
    """Read a history case by case.

    Parameters
    ----------
    source : path or bytes
    catalogue : Catalogue, optional
    bad : list of BadRow, optional
        Gets the rows that cannot be used, whose cases are passed over; when left out, the first bad case is an error.

    Yields
    ------
    key, case

    Raises
    ------
    HistoryFileError
        If the file cannot be read, or `bad` is left out and a row cannot be used.
    """
    noted: list[BadRow] = [] if bad is None else bad
    name = source_name(source)
    with _readable(name), _opened(source) as file:
        table = _table(file, name)
        names = next(table, None)
        if not names:
            raise HistoryFileError("the history is empty", name, expected="a first row with the names of the columns")
        _check_names(names, name)
        rows = ((number, row) for number, row in enumerate(table, start=2) if row)
        for found in cases_of(names, rows, noted, catalogue):
            if bad is None and noted:
                break
            yield found
        if len(noted) > MOST_BAD_ROWS:
            raise HistoryFileError(
                f"more than {MOST_BAD_ROWS:,} things are amiss in the history; reading stopped there", name, noted,
                to_do="correct the first ones, which may be the same everywhere",
            )  # fmt: skip
    if bad is None and noted:
        raise HistoryFileError("rows of the history cannot be used", name, noted)


def write_history(cases: Iterable[Case], path: str | os.PathLike[str], keys: Iterable[str] | None = None) -> int:
    """Write a history; the ending of the path says how: ``.csv``, ``.csv.gz`` or ``.parquet``.

    Parameters
    ----------
    cases : iterable of Case
        Taken one after the other.
    path : path
    keys : iterable of str, optional
        What tells them apart; numbers from 1 when left out.

    Returns
    -------
    int
        Number of rows.

    Raises
    ------
    HistoryFileError
        If the ending is another one, or the file cannot be written.
    MissingExtraError
        If Parquet is wanted and pyarrow is not installed.
    """
    named = keys if keys is not None else map(str, count(1))
    rows = (row for case, key in zip(cases, named, strict=False) for row in rows_of(case, key))
    target = Path(path)
    if target.suffix == ".parquet":
        from faultnet.learning.tables.parquet import write_parquet

        with _readable(str(target)), written_whole(target) as raw:
            return write_parquet(rows, raw, CHUNK_ROWS)
    if not target.name.endswith((".csv", ".csv.gz")):
        raise HistoryFileError("no such kind of history", target.name, expected="a name in .csv, .csv.gz or .parquet")
    with _readable(str(target)):
        return _write_csv(rows, target)


def source_name(source: Source) -> str:
    """What to call a source in a message: the name of the file, without its folders."""
    return "the file given" if isinstance(source, bytes) else Path(source).name


def _write_csv(rows: Iterable[list[Any]], target: Path) -> int:
    written = 0
    with written_whole(target) as raw:
        # neither name nor time of the file in the packed bytes: the same cases give the same file
        packed: Any = gzip.GzipFile("", "wb", 9, raw, mtime=0) if target.suffix == ".gz" else raw
        file = io.TextIOWrapper(packed, encoding="utf-8", newline="")
        writer = csv.writer(file)  # its rows end in CR LF (RFC 4180): then a lone CR in a text is quoted too
        writer.writerow(BY_NAME)
        for row in rows:
            writer.writerow([text_of(cell) for cell in row])
            written += 1
        file.detach()
        if packed is not raw:
            packed.close()
    return written


@contextmanager
def _opened(source: Source) -> Iterator[BinaryIO]:
    with io.BytesIO(source) if isinstance(source, bytes) else Path(source).open("rb") as raw:
        yield raw


@contextmanager
def _readable(name: str) -> Iterator[None]:
    """Say in our words why a file cannot be read or written."""
    try:
        yield
    except UnicodeDecodeError as error:
        raise HistoryFileError(
            "the history is not UTF-8 text", name, got=f"byte {error.object[error.start]:#04x}",
            to_do="save it as CSV in UTF-8",
        ) from None  # fmt: skip
    except csv.Error as error:
        raise HistoryFileError("the history is no CSV that can be read", name, got=str(error)) from None
    except OSError as error:
        got = system_words(error)
        raise HistoryFileError("the history cannot be used", name, got=got, to_do="check the path") from None


def _table(file: BinaryIO, name: str) -> Iterator[Sequence[Any]]:
    """The names of the columns, then row after row; an empty line of a CSV file is an empty row."""
    start = file.read(4)
    file.seek(0)
    if start == b"PAR1":
        from faultnet.learning.tables.parquet import read_parquet

        names, rows = read_parquet(file, name)
        yield names
        yield from rows
        return
    plain = LimitedStream(limited_blocks(file, HISTORY, HistoryFileError, name, PORTION))
    with io.TextIOWrapper(io.BufferedReader(plain, PORTION), encoding="utf-8-sig", newline="") as text:
        for row in csv.reader(text, strict=True):
            yield [unguarded(cell) for cell in row]


def _check_names(names: Sequence[str], name: str) -> None:
    for column in names:
        if column not in BY_NAME:
            close = difflib.get_close_matches(column[:60], BY_NAME, n=1)
            hint = f"did you mean {close[0]}?" if close else "the columns stand in DEVELOPERS.md"
            parted = "; are the columns separated by commas?" if ";" in column or "\t" in column else ""
            raise HistoryFileError("unknown column", name, got=repr(column[:60]), to_do=hint + parted)
    twice = sorted({column for column in names if list(names).count(column) > 1})
    if twice:
        raise HistoryFileError("a column stands twice", name, got=", ".join(twice))
    missing = [column for column in NEVER_EMPTY if column not in names]
    if missing:
        raise HistoryFileError("a column is missing", name, expected=", ".join(missing))


def _sha256(source: Source) -> str:
    with io.BytesIO(source) if isinstance(source, bytes) else Path(source).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
