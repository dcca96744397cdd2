"""The cells of a history: from text, or from the typed values of a Parquet file, to checked values, and back."""

from __future__ import annotations

import math
import re
from datetime import datetime
from typing import Any

from faultnet.learning.tables.columns import Column
from faultnet.limits import LONGEST_TEXT
from faultnet.units import UNITS

_ID = re.compile(r"[a-z][a-z0-9_]{0,63}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?")
_RUN = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_CAUSE = re.compile(r"[a-z][a-z0-9_]{0,63}:[a-z][a-z0-9_]{0,63}")


class Unusable(Exception):
    """A cell cannot be used; the text says what was expected."""


def value_of(column: Column, cell: Any) -> Any:
    """Read a cell.

    Parameters
    ----------
    column : Column
    cell : object
        Text of a CSV file, or a value of a Parquet file; "" and None are empty.

    Returns
    -------
    object
        A value for the types of :mod:`faultnet.case.types`; the column's default for an empty cell.

    Raises
    ------
    Unusable
        If it cannot be read, or is outside what the column allows.

    Examples
    --------
    >>> from faultnet.learning.tables.columns import BY_NAME
    >>> value_of(BY_NAME["causes"], "battery:worn;belt:slips")
    (('battery', 'worn'), ('belt', 'slips'))
    """
    if cell is None or cell == "":
        return column.default
    return _READERS[column.kind](column, cell)


def cell_of(column: Column, value: Any) -> Any:
    """Write a value: None for what is empty, else text, a number, or whether something holds.

    Examples
    --------
    >>> from faultnet.learning.tables.columns import BY_NAME
    >>> cell_of(BY_NAME["causes"], (("battery", "worn"),))
    'battery:worn'
    """
    if column.kind == "causes":
        return ";".join(f"{component}:{mode}" for component, mode in value) or None
    if column.kind == "number" and value is not None:
        return float(value)
    return None if value == "" and column.default == "" else value


def text_of(cell: Any) -> str:
    """Write a cell into a CSV file; a number with all its digits.

    Examples
    --------
    >>> text_of(None), text_of(True), text_of(0.1)
    ('', 'yes', '0.1')
    """
    if isinstance(cell, str):
        return guarded(cell)
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    return repr(cell)


def guarded(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would run as a formula.

    Those begin with an equals sign, a plus, a minus, an at sign, a tab or a line end (and their wide forms). A text
    that begins with apostrophes before one of these gets one more: so :func:`unguarded` gives every text back.

    Examples
    --------
    >>> guarded("=1+1"), guarded("'=1+1"), guarded("'tis slow")
    ("'=1+1", "''=1+1", "'tis slow")
    """
    return f"'{text}" if _RUN.match(text) else text


def unguarded(cell: str) -> str:
    """Take the apostrophe of :func:`guarded` off again.

    Examples
    --------
    >>> unguarded("'=1+1"), unguarded("=1+1"), unguarded("'tis slow")
    ('=1+1', '=1+1', "'tis slow")
    """
    return cell[1:] if cell.startswith("'") and _RUN.match(cell) else cell


def _as_text(column: Column, cell: Any) -> str:
    if not isinstance(cell, str) or len(cell) > LONGEST_TEXT:
        raise Unusable(f"a text of at most {LONGEST_TEXT:,} characters")
    return cell


def _as_id(column: Column, cell: Any) -> str:
    return _matching(_ID, cell, "an id: small letters, digits and underscores")


def _as_date(column: Column, cell: Any) -> str:
    text = _matching(_DATE, cell, "a day such as 2026-11-20")
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise Unusable("a day of the calendar such as 2026-11-20") from None
    return text


def _as_number(column: Column, cell: Any) -> float:
    expected = f"a number from {column.low:g} to {column.high:g}" if column.high < 1e300 else "a finite number"
    try:
        number = float(cell)
    except (TypeError, ValueError, OverflowError):
        raise Unusable(expected + ", with a decimal point") from None
    if isinstance(cell, bool) or not math.isfinite(number) or not column.low <= number <= column.high:
        raise Unusable(expected + (f" {column.unit}" if column.unit != "-" else ""))
    return number


def _as_whole(column: Column, cell: Any) -> int:
    number = _as_number(column, cell)
    if not number.is_integer():
        raise Unusable(f"a whole number from {column.low:g} to {column.high:g}")
    return int(number)


def _as_yes_no(column: Column, cell: Any) -> bool:
    if isinstance(cell, bool):
        return cell
    if cell not in ("yes", "no"):
        raise Unusable("yes or no")
    return bool(cell == "yes")


def _as_choice(column: Column, cell: Any) -> str:
    if cell not in column.choices:
        raise Unusable("one of " + ", ".join(column.choices))
    return str(cell)


def _as_unit(column: Column, cell: Any) -> str:
    if not isinstance(cell, str) or cell not in UNITS:
        raise Unusable("one of the units " + ", ".join(UNITS))
    return cell


def _as_causes(column: Column, cell: Any) -> tuple[tuple[str, str], ...]:
    parts = cell.split(";") if isinstance(cell, str) else [""]
    found = []
    for part in parts:
        component, _, mode = _matching(_CAUSE, part.strip(), "component:mode, parted by ;").partition(":")
        found.append((component, mode))
    return tuple(found)


def _matching(pattern: re.Pattern[str], cell: Any, expected: str) -> str:
    if not isinstance(cell, str) or not pattern.fullmatch(cell):
        raise Unusable(expected)
    return cell


_READERS = {
    "text": _as_text,
    "id": _as_id,
    "date": _as_date,
    "number": _as_number,
    "whole": _as_whole,
    "yes_no": _as_yes_no,
    "choice": _as_choice,
    "unit": _as_unit,
    "causes": _as_causes,
}
