"""Read a text log block by block: fast where every row is as the first rows are, row by row where it is not."""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from faultnet.errors import RecordingError
from faultnet.limits import LOG
from faultnet.recordings.readers.cells import MISSING, TIME_UNITS, VOLT_UNITS, suffix_of, without_suffix
from faultnet.recordings.readers.clean import counted
from faultnet.recordings.readers.clocks import Clock
from faultnet.recordings.readers.columns import Columns, choose_columns
from faultnet.recordings.readers.layout import Layout, find_layout, split_cells
from faultnet.recordings.readers.sources import Source, name_of, open_source, read_blocks, read_head
from faultnet.recordings.trace import Array


@dataclass
class TextCount:
    """Counts of what could not be read.

    Parameters
    ----------
    rows : int
        Rows left out because they have another number of cells than the rest.
    damaged : int
        Characters that belong to no text.
    own_units : int
        Numbers with a unit behind them that is not the one taken for their column.

    Examples
    --------
    >>> TextCount(rows=2).notes()
    ['2 rows with another number of cells than the rest left out']
    """

    rows: int = 0
    damaged: int = 0
    own_units: int = 0

    def notes(self) -> list[str]:
        """Say the counts in sentences."""
        told = (
            (self.rows, "row", "with another number of cells than the rest left out"),
            (self.damaged, "damaged character", "in the text"),
            (self.own_units, "number", "in another unit than the first of the column, read by the unit behind"),
        )
        return [f"{counted(count, noun)} {what}" for count, noun, what in told if count]


def read_text(
    source: Source,
    notes: list[str],
    *,
    separator: str | None = None,
    decimal: str | None = None,
    **choices: Any,
) -> Iterator[tuple[Array, Array]]:
    """Read time and volts from a text log.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The log, packed with gzip or not.
    notes : list of str
        Receives what was inferred or left out.
    separator, decimal : str, optional
        Given by the user; found out otherwise.
    **choices
        Column options of :func:`faultnet.recordings.readers.columns.choose_columns`.

    Yields
    ------
    time, volts : array, shape (n,)
        As they stand in the file, in seconds and volts; NaN where a cell is no number.

    Raises
    ------
    RecordingError
        If the layout or a column is unclear, or the file is no text.

    Examples
    --------
    >>> for time, volts in read_text(b"t [ms];U [V]\\n0;12,6\\n100;12,5\\n", []):
    ...     print(time.tolist(), volts.tolist())
    [0.0, 0.1] [12.6, 12.5]
    """
    name = name_of(source)
    encoding, lines = _first_lines(read_head(source), name)
    layout = find_layout(lines, separator=separator, decimal=decimal, name=name)
    columns = choose_columns(layout, name=name, **choices)
    notes.extend(columns.notes)
    count, clock, rows = TextCount(), Clock(columns.kind, name), 0
    for text in _texts(source, encoding, layout.first, notes, count):
        time, volts = _parse(text, layout, columns, count)
        if columns.time < 0:
            time = (rows + np.arange(volts.size)) * columns.time_scale
        elif columns.kind != "number":
            time = clock.seconds(time)
        rows += volts.size
        yield np.asarray(time, dtype=np.float64), volts
    notes.extend(count.notes())


def text_columns(source: Source) -> tuple[str, ...]:
    """List the columns of a text log, so that a user can choose.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The log.

    Returns
    -------
    tuple of str
        Column names, "" where the file gives none.

    Raises
    ------
    RecordingError
        If no rows of numbers are found.

    Examples
    --------
    >>> text_columns(b"time;volts;amps\\n0;12,6;0,1\\n")
    ('time', 'volts', 'amps')
    """
    name = name_of(source)
    return find_layout(_first_lines(read_head(source), name)[1], name=name).names


def _first_lines(head: bytes, name: str) -> tuple[str, list[str]]:
    """Find the encoding and cut the beginning into lines."""
    if not head:
        raise RecordingError("the recording is empty", where=name, got="0 bytes", to_do="record or export it again")
    encoding = _encoding(head)
    text = codecs.getincrementaldecoder(encoding)("replace").decode(head)
    odd = sum(char < " " and char not in "\t\r\n\x00" for char in text[:4096])
    if odd > 20 or text[:4096].count("\x00") > 20:
        raise RecordingError(
            "the recording is neither text nor a known measurement format",
            where=name,
            expected="CSV or text, gzip, ASAM MDF 4, or a CAN log",
            to_do="export it as CSV, or name its kind with the option format",
        )
    return encoding, _plain(text).split("\n")


def _encoding(head: bytes) -> str:
    """Tell the encoding by its mark, else UTF-8 where that fits, else Latin 1."""
    for mark, encoding in ((codecs.BOM_UTF8, "utf-8-sig"), (b"\xff\xfe", "utf-16"), (b"\xfe\xff", "utf-16")):
        if head.startswith(mark):
            return encoding
    if len(head) > 8 and head[1:8:2] == b"\x00" * 4:
        return "utf-16-le"
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "latin-1"
    return "utf-8"


def _plain(text: str) -> str:
    """Make all line ends alike."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def _texts(source: Source, encoding: str, skip: int, notes: list[str], count: TextCount) -> Iterator[str]:
    """Decode a source into texts of whole lines, without the lines before the data."""
    decoder = codecs.getincrementaldecoder(encoding)("replace")
    stream = open_source(source)
    rest = ""
    try:
        for block in read_blocks(stream, notes, limits=LOG):
            text = rest + decoder.decode(block)
            held = len(text) - 1 if text.endswith("\r") else len(text)
            cut = max(text.rfind("\n", 0, held), text.rfind("\r", 0, held)) + 1
            whole, rest = _plain(text[:cut]), text[cut:]
            skip, whole = _skipped(whole, skip)
            if whole:
                yield _undamaged(whole, count)
        whole = _skipped(_plain(rest + decoder.decode(b"", final=True)), skip)[1]
        if whole:
            yield _undamaged(whole, count)
    finally:
        if stream is not source:
            stream.close()


def _skipped(text: str, lines: int) -> tuple[int, str]:
    """Take lines off the beginning; give how many are still to take off."""
    while lines and text:
        _, end, text = text.partition("\n")
        lines -= bool(end) or not text
    return lines, text


def _undamaged(text: str, count: TextCount) -> str:
    """Take out characters that belong to no text, and count them."""
    bad = text.count("\x00") + text.count("\ufffd")
    count.damaged += bad
    return text.replace("\x00", "").replace("\ufffd", "") if bad else text


def _parse(text: str, layout: Layout, columns: Columns, count: TextCount) -> tuple[Any, Array]:
    """Turn whole lines into time and volts."""
    if not layout.quoted and columns.kind == "number" and _even(text, layout):
        try:
            return _parse_even(text, layout, columns)
        except (ValueError, OverflowError):
            pass
    return _parse_rows(text, layout, columns, count)


def _even(text: str, layout: Layout) -> bool:
    """Say whether every line has as many separators as the first rows of data, and nothing needs care."""
    if '"' in text or "\n\n" in text or text.startswith("\n"):
        return False
    lines = text.count("\n") + (not text.endswith("\n"))
    if layout.separator == " ":
        return len(text.split()) == lines * layout.width
    marks = text.count(layout.separator)
    return marks in (lines * (layout.width - 1), lines * layout.width)


def _parse_even(text: str, layout: Layout, columns: Columns) -> tuple[Array, Array]:
    """Read rows that are all alike, at the speed of pandas."""
    import pandas as pd

    wanted = {column: np.float64 for column in (columns.time, columns.volts, layout.width) if column >= 0}
    kinds: Any = dict.fromkeys(range(layout.width), str) | wanted
    frame = pd.read_csv(
        io.StringIO(text),
        sep=r"\s+" if layout.separator == " " else layout.separator,
        decimal=layout.decimal,
        header=None,
        names=list(kinds),
        index_col=False,
        dtype=kinds,
        quoting=3,
        na_values=sorted(MISSING),
        skip_blank_lines=False,
        engine="c",
    )
    if frame[layout.width].notna().any():
        raise ValueError("a row has more cells than the rest")
    volts = frame[columns.volts].to_numpy() * columns.volts_scale
    return (frame[columns.time].to_numpy() * columns.time_scale if columns.time >= 0 else volts), volts


def _parse_rows(text: str, layout: Layout, columns: Columns, count: TextCount) -> tuple[Any, Array]:
    """Read row by row, leaving out and counting rows that do not fit."""
    rows = [split_cells(line, layout.separator, layout.quoted) for line in text.split("\n")]
    needed = max(columns.time, columns.volts, columns.date) + 1
    fitting = [cells + ("",) * (needed - len(cells)) for cells in rows if 0 < len(cells) <= layout.width]
    count.rows += sum(1 for cells in rows if cells) - len(fitting)
    volts = _numbers([c[columns.volts] for c in fitting], layout.decimal, columns.volts_scale, VOLT_UNITS, count)
    if columns.time < 0:
        return volts, volts
    stamps = [cells[columns.time] for cells in fitting]
    if columns.kind == "number":
        return _numbers(stamps, layout.decimal, columns.time_scale, TIME_UNITS, count), volts
    if columns.date >= 0:
        stamps = [f"{cells[columns.date]} {cell}" for cells, cell in zip(fitting, stamps, strict=True)]
    return stamps, volts


def _numbers(cells: list[str], decimal: str, scale: float, units: dict[str, float], count: TextCount) -> Array:
    """Turn cells into seconds or volts, NaN where they are none; a unit behind a number wins over its column's."""
    import pandas as pd

    bare = [without_suffix(cell) for cell in cells]
    if decimal == ",":
        bare = [cell.replace(".", "?").replace(",", ".") for cell in bare]
    values = pd.to_numeric(pd.Series(bare, dtype=object), errors="coerce")
    behind = [suffix_of(cell) for cell in cells]
    scales = np.array([units.get(unit, np.nan) if unit else scale for unit in behind], dtype=np.float64)
    count.own_units += int((np.isfinite(scales) & (scales != scale)).sum())
    found: Array = np.asarray(values, dtype=np.float64) * scales
    return found
