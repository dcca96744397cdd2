"""The cells of a history: from text, or from the typed values of a Parquet file, to checked values, and back.

What a cell may be is said in types of pydantic: those of :mod:`faultnet.case.fields` where a case file has the same.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, FiniteFloat, StrictStr, TypeAdapter, ValidationError

from faultnet.case.fields import Date, Identifier, Moment, UnitName, not_true
from faultnet.case.types import Photo
from faultnet.errors import CarError
from faultnet.learning.tables.columns import BY_NAME, Column
from faultnet.limits import LONGEST_TEXT
from faultnet.units import UNITS

_RUN = re.compile("'*[=+\\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")


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
    try:
        return _reader(column.name)(cell)
    except ValidationError:
        raise Unusable(_expected(column)) from None


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
    if column.kind == "photos":
        return "\n".join(f"{photo.id} {photo.caption}" if photo.caption else photo.id for photo in value) or None
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


@cache
def _reader(name: str) -> Any:
    """What reads a cell of a column."""
    column = BY_NAME[name]
    accepted: Any = _ACCEPTED.get(column.kind)
    if column.kind in ("number", "whole"):
        number = FiniteFloat if column.kind == "number" else int
        accepted = Annotated[number, BeforeValidator(not_true), Field(ge=column.low, le=column.high)]
    elif column.kind == "choice":
        accepted = Literal[column.choices]
    return TypeAdapter(accepted).validator.validate_python


def _yes_or_no(cell: Any) -> Any:
    return {"yes": True, "no": False}.get(cell) if isinstance(cell, str) else cell


def _parted(cell: Any) -> Any:
    return [part.strip().split(":") for part in cell.split(";")] if isinstance(cell, str) else cell


def _photos(cell: Any) -> tuple[Photo, ...]:
    lines = cell.split("\n") if isinstance(cell, str) else [""]
    try:
        return tuple(Photo(number, caption) for number, _, caption in (line.partition(" ") for line in lines))
    except CarError as error:
        raise ValueError(error.what) from None


_ACCEPTED = {
    "text": Annotated[StrictStr, Field(max_length=LONGEST_TEXT)],
    "id": Identifier,
    "date": Date,
    "yes_no": Annotated[bool, Field(strict=True), BeforeValidator(_yes_or_no)],
    "unit": UnitName,
    "causes": Annotated[tuple[tuple[Identifier, Identifier], ...], BeforeValidator(_parted)],
    "moment": Moment,
    "photos": Annotated[Any, BeforeValidator(_photos)],
}


def _expected(column: Column) -> str:
    """What a cell of a column should have been, in words."""
    if column.kind in ("number", "whole"):
        number = "a whole number" if column.kind == "whole" else "a number"
        unit = "" if column.unit == "-" else f" {column.unit}"
        limited = f"{number} from {column.low:g} to {column.high:g}{unit}"
        return ("a finite number" if column.high > 1e300 else limited) + ", with a decimal point if any"
    words = {
        "text": f"a text of at most {LONGEST_TEXT:,} characters",
        "id": "an id: small letters, digits and underscores",
        "date": "a day of the calendar such as 2026-11-20",
        "yes_no": "yes or no",
        "choice": "one of " + ", ".join(column.choices),
        "unit": "one of the units " + ", ".join(UNITS),
        "causes": "component:mode, separated by ;",
        "moment": "a moment of the calendar such as 2026-11-20T14:05:31+00:00",
        "photos": "the id of a photo, 64 hexadecimal digits, and its caption, a line each",
    }
    return words[column.kind]
