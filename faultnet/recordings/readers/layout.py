"""How a text log is laid out: separator, decimal mark, where the data begin, what the columns are called.

Everything is read off the first lines. Two candidates that explain the lines equally well, but give other numbers,
are an error that names the option which settles it.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from faultnet.errors import RecordingError
from faultnet.recordings.readers.cells import TIME_UNITS, VOLT_UNITS, could_be_thousands, kind_of

SEPARATORS = (";", "\t", ",", "|", " ")
"""Tried in this order; " " stands for any run of blanks."""

LINES = 400
"""How many lines of the beginning are looked at."""


@dataclass(frozen=True)
class Layout:
    """Where the numbers of a text log are.

    Parameters
    ----------
    separator : str
        One character; " " means any run of blanks.
    decimal : {".", ","}
        The decimal mark.
    first : int
        Number of lines before the first line of data [-].
    names, units : tuple of str
        Column names and units as the file writes them; "" where it gives none.
    rows : tuple of tuple of str
        The first rows of data, cut into cells.
    quoted : bool
        Whether cells stand in quotation marks.
    above : int
        Number of cells in the line above the first rows [-].

    Examples
    --------
    >>> layout = find_layout(["time (s);volts", "0,0;12,6", "0,1;12,5"])
    >>> layout.separator, layout.decimal, layout.first, layout.names
    (';', ',', 1, ('time (s)', 'volts'))
    """

    separator: str
    decimal: str
    first: int
    names: tuple[str, ...]
    units: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    quoted: bool = False
    above: int = 0

    @property
    def width(self) -> int:
        """Number of columns [-]."""
        return len(self.rows[0])


def split_cells(line: str, separator: str, quoted: bool = False) -> tuple[str, ...]:
    """Cut a line into cells, leaving out empty cells at its end.

    Parameters
    ----------
    line : str
        One line without its end.
    separator : str
        One character; " " means any run of blanks.
    quoted : bool
        Whether quotation marks may hide a separator.

    Returns
    -------
    tuple of str
        The cells without blanks at their ends.

    Examples
    --------
    >>> split_cells('"0,1","12,6",', ",", quoted=True)
    ('0,1', '12,6')
    """
    if separator == " ":
        cells = line.split()
    elif quoted and '"' in line:
        cells = next(csv.reader([line], delimiter=separator, strict=False), [])
    else:
        cells = line.split(separator)
    cells = [cell.strip() for cell in cells]
    while cells and not cells[-1]:
        cells.pop()
    return tuple(cells)


def find_layout(
    lines: Sequence[str], *, separator: str | None = None, decimal: str | None = None, name: str = "recording"
) -> Layout:
    """Find out how a text log is laid out.

    Parameters
    ----------
    lines : sequence of str
        Its first lines.
    separator, decimal : str, optional
        Given by the user; found out otherwise.
    name : str
        What messages call the file.

    Returns
    -------
    Layout
        The layout whose run of equal rows of numbers is longest.

    Raises
    ------
    RecordingError
        If no lines of numbers are found, or the decimal mark could as well part thousands.

    Notes
    -----
    The data are the longest run of lines that have the same kind of cell in each column, at least one of them a
    number. With equal runs the guess of :class:`csv.Sniffer` goes first, then the order of :data:`SEPARATORS`.

    Examples
    --------
    >>> find_layout(["# bench log", "0.0 12.6", "0.5 12.5"]).separator
    ' '
    """
    lines = [line.rstrip("\r\n") for line in lines[:LINES]]
    best: tuple[int, int, Layout] | None = None
    for one, mark in _candidates(lines, separator, decimal):
        found = _longest_run(lines, one, mark)
        if found and (best is None or found[:2] > best[:2]):
            best = found
    if best is None:
        raise RecordingError(
            "no rows of numbers were found",
            where=name,
            expected="lines with a time and a voltage, such as '0.1;12.6'",
            to_do="check the file, or give the options separator and decimal",
        )
    layout = best[2]
    if decimal is None and layout.decimal == ",":
        _refuse_thousands(layout, name)
    return layout


def _candidates(lines: Sequence[str], separator: str | None, decimal: str | None) -> Iterator[tuple[str, str]]:
    """List separators and decimal marks in the order in which they are believed."""
    if separator:
        found = ["\t" if separator == r"\t" else separator]
    else:
        seen = _sniffed(lines)
        found = sorted(SEPARATORS, key=lambda one: one != seen)
    for one in found:
        for mark in [decimal] if decimal else [".", ","]:
            yield one, mark


def _sniffed(lines: Sequence[str]) -> str | None:
    """Ask the standard library which separator it sees."""
    sample = "\n".join(line[:200] for line in lines[-20:])
    try:
        return csv.Sniffer().sniff(sample, delimiters="".join(SEPARATORS)).delimiter
    except csv.Error:
        return None


def _longest_run(lines: Sequence[str], separator: str, decimal: str) -> tuple[int, int, Layout] | None:
    """Find the longest run of equal rows of numbers; give its length, its values less its texts, its layout."""
    quoted = separator != " " and any(line.lstrip().startswith('"') or f'{separator}"' in line for line in lines)
    table = [split_cells(line, separator, quoted) for line in lines]
    best: tuple[int, int] = (0, 0)
    start = 0
    for shape, group in groupby(table, key=lambda cells: _shape(cells, decimal)):
        length = len(list(group))
        if shape is not None and length > best[0]:
            best = (length, start)
        start += length
    if best[0] == 0 or (separator == "," and decimal == "," and not quoted):
        return None
    length, start = best
    rows = tuple(table[start : start + min(length, 200)])
    above = len(table[start - 1]) if start else 0
    first, names, units = _header(table[:start], len(rows[0]), decimal)
    clean = sum(1 if kind_of(cell, decimal) != "text" else -1 for cell in rows[0])
    return length, clean, Layout(separator, decimal, first, names, units, rows, quoted, above)


def _shape(cells: tuple[str, ...], decimal: str) -> tuple[bool, ...] | None:
    """Say which cells of a row that can be data are text; None for any other line."""
    kinds = [kind_of(cell, decimal) for cell in cells]
    texts, values = kinds.count("text"), sum(kind not in ("text", "missing") for kind in kinds)
    return tuple(kind == "text" for kind in kinds) if "number" in kinds and values >= texts else None


def _header(above: Sequence[tuple[str, ...]], width: int, decimal: str) -> tuple[int, tuple[str, ...], tuple[str, ...]]:
    """Read column names, and the units row if there is one, from the lines above the longest run of data.

    Also gives the number of the first line that may hold data: damaged or incomplete rows between the names and the
    longest run are data too. Without names, the data begin with the first line that holds a number.
    """
    blank = ("",) * width
    for i in range(len(above) - 1, -1, -1):
        cells = _unmarked(above[i])
        if len(cells) != width or not all(kind_of(cell, decimal) == "text" or not cell for cell in cells):
            continue
        before = _unmarked(above[i - 1]) if i else ()
        if _are_units(cells) and len(before) == width and "number" not in {kind_of(cell, decimal) for cell in before}:
            return i + 1, before, cells
        return i + 1, cells, blank
    numbered = (i for i, cells in enumerate(above) if len(cells) == width and _shape(cells, decimal) is not None)
    return next(numbered, len(above)), blank, blank


def _unmarked(cells: tuple[str, ...]) -> tuple[str, ...]:
    """Take the sign of a comment off a header line."""
    if not cells:
        return cells
    first = cells[0].lstrip("#%/ ")
    return (first, *cells[1:]) if first or len(cells) == 1 else cells[1:]


def _are_units(cells: tuple[str, ...]) -> bool:
    """Say whether a row holds units: at least one known unit, all cells short."""
    bare = [cell.strip("[](){} ").lower() for cell in cells]
    known = [cell in TIME_UNITS or cell in VOLT_UNITS for cell in bare]
    return any(known) and all(len(cell) <= 8 for cell in bare)


def _refuse_thousands(layout: Layout, name: str) -> None:
    """Ask for the decimal mark when every comma could as well part thousands."""
    marked = [cell for row in layout.rows for cell in row if "," in cell and kind_of(cell, ",") == "number"]
    if marked and all(could_be_thousands(cell, ",") for cell in marked):
        raise RecordingError(
            "the comma may part decimals or thousands",
            where=name,
            got=f"{marked[0]!r} and the like in every row",
            to_do="give the option decimal ',' if 1,000 means one; if it means a thousand, export it as 1000",
        )
