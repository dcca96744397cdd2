"""Reading the small tables of a prior set, with errors that name the file, the row and the column."""

from __future__ import annotations

import csv
import math
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from faultnet.errors import PriorsError
from faultnet.prior_set.types import MARKS

LARGEST = 1e9
"""Largest number of a prior set: no resistance, count, price or time in it comes near (estimate)."""


@dataclass(frozen=True)
class Row:
    """One record of a file, and where it stood.

    Parameters
    ----------
    where : str
        File and line (CSV) or file and id (TOML).
    cells : dict
        Column or key to what stands there.
    """

    where: str
    cells: dict[str, Any]

    def text(self, key: str, allow_empty: bool = False) -> str:
        """Return a text, refusing an absent or (unless allowed) an empty one."""
        value = self.cells.get(key)
        if not isinstance(value, str) or not (value.strip() or allow_empty):
            raise self.wrong(key, value, "a text")
        return value.strip()

    def number(self, key: str, low: float = -LARGEST, high: float = LARGEST) -> float:
        """Return a finite number from `low` to `high`."""
        value = self.cells.get(key)
        try:
            number = float(value)  # type: ignore[arg-type]
        except (TypeError, ValueError, OverflowError):
            raise self.wrong(key, value, "a number with a decimal point") from None
        if not (math.isfinite(number) and low <= number <= high):
            raise self.wrong(key, value, f"a finite number from {low:g} to {high:g}")
        return number

    def optional_number(self, key: str, low: float = -LARGEST, high: float = LARGEST) -> float | None:
        """Return a number, or None when the cell is empty."""
        return None if str(self.cells.get(key) or "").strip() == "" else self.number(key, low, high)

    def choice(self, key: str, allowed: Iterable[str]) -> str:
        """Return a text that is one of the allowed ones."""
        value, names = self.text(key, allow_empty=True), tuple(allowed)
        if value not in names:
            raise self.wrong(key, value, "one of " + ", ".join(name or "(empty)" for name in names))
        return value

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; an absent key is an empty list."""
        value = self.cells.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise self.wrong(key, value, "a list of texts")
        return tuple(value)

    def mark(self) -> str:
        """Return the mark that says how far the number can be trusted."""
        return self.choice("mark", MARKS)

    def wrong(self, key: str, got: object, expected: str) -> PriorsError:
        """Return the error for a bad cell; the caller raises it."""
        return PriorsError(
            f"'{key}' cannot be used",
            where=self.where,
            got="nothing" if got is None else repr(got)[:200],
            expected=expected,
            to_do=f"correct '{key}' there",
        )


def csv_rows(path: Path, columns: tuple[str, ...]) -> list[Row]:
    """Read a CSV table whose columns must be exactly these.

    Parameters
    ----------
    path : pathlib.Path
    columns : tuple of str

    Returns
    -------
    list of Row

    Raises
    ------
    PriorsError
        If the file is missing, is not UTF-8 text, or a row has more or fewer cells than the header.
    """
    reader = csv.DictReader(_text(path).splitlines())
    if tuple(reader.fieldnames or ()) != columns:
        raise PriorsError(
            "the table has other columns than it should",
            where=path.name,
            got=", ".join(reader.fieldnames or ()) or "nothing",
            expected=", ".join(columns),
            to_do="put the columns in this order in the first line",
        )
    rows = [Row(f"{path.name}, line {reader.line_num}", cells) for cells in reader]
    for row in rows:
        _check_width(row, columns)
    return rows


def toml_table(path: Path) -> dict[str, Any]:
    """Read a TOML file.

    Raises
    ------
    PriorsError
        If it is missing or not TOML; the parser's line and column are passed on.
    """
    try:
        return tomllib.loads(_text(path))
    except (ValueError, RecursionError) as error:  # a number of thousands of digits is no TOMLDecodeError
        said = str(error)[:200] or "levels without end"
        raise PriorsError("not a TOML file", where=path.name, got=said, to_do="correct that line") from None


def toml_rows(path: Path, key: str) -> list[Row]:
    """Read the array of tables called `key`; each must have an id and the ids must differ.

    Raises
    ------
    PriorsError
        If the array is missing or empty, or an id is missing, malformed or used twice.
    """
    entries = toml_table(path).get(key)
    if not isinstance(entries, list) or not entries:
        raise PriorsError(f"no [[{key}]] in the file", where=path.name, expected=f"one [[{key}]] for each entry")
    return identified([Row(f"{path.name}, {key} {n}", entry) for n, entry in enumerate(entries, 1)], path.name, key)


def identified(rows: list[Row], file: str, kind: str) -> list[Row]:
    """Name rows by their id, and refuse ids that are malformed or used twice."""
    seen: set[str] = set()
    named = []
    for row in rows:
        name = row.text("id")
        if not (name.isascii() and name.replace("_", "a").isalnum() and name[0].isalpha() and name == name.lower()):
            raise row.wrong("id", name, "small letters, digits and underscores, beginning with a letter")
        if name in seen:
            raise row.wrong("id", name, "an id that is used once")
        seen.add(name)
        named.append(Row(f"{file}, {kind} '{name}'", row.cells))
    return named


def _check_width(row: Row, columns: tuple[str, ...]) -> None:
    if None in row.cells or None in row.cells.values():
        raise PriorsError(
            "a row has another number of cells than the header",
            where=row.where,
            expected=f"{len(columns)} cells",
            to_do="quote a text that holds a comma, and write empty cells as nothing between commas",
        )


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise PriorsError(
            "a file of the prior set is missing",
            where=path.name,
            expected=f"{path.name} in {path.parent.name}",
            to_do="copy it from the shipped set 'standard' and change what you need",
        ) from None
    except UnicodeDecodeError:
        raise PriorsError("the file is not UTF-8 text", where=path.name, to_do="save it as UTF-8") from None
