"""The kinds of single fields in a case file: ids, units, dates, amounts."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from sys import float_info
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, WithJsonSchema

from faultnet.errors import CarError, EntryError
from faultnet.units import UNITS


def _known_unit(name: str) -> str:
    """Refuse a unit that is not spelled as in the table of units.

    Raises
    ------
    ValueError
        If there is no such unit.
    """
    if name not in UNITS:
        raise ValueError("one of the units " + ", ".join(UNITS))
    return name


def _a_date(text: str) -> str:
    """Refuse a date that is not in the calendar."""
    try:
        datetime.fromisoformat(text)
    except ValueError:
        raise ValueError("a day of the calendar such as 2026-11-20") from None
    return text


def _one_line(text: str) -> str:
    """Refuse text with line breaks."""
    if text != "".join(text.splitlines()):
        raise ValueError("text in one line")
    return text


def _whole(value: Any) -> Any:
    """Let 4.0 pass for 4, as JSON has one kind of number."""
    return int(value) if isinstance(value, float) and value.is_integer() else value


def not_true(value: Any) -> Any:
    """Refuse ``true`` where the number 1 is meant, since Python takes them for equal."""
    if isinstance(value, bool):
        raise ValueError("a number")
    return value


def _number_or_text(value: Any) -> Any:
    """Accept a finite number or text.

    Raises
    ------
    ValueError
        If it is anything else.
    """
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if isinstance(value, str) or (is_number and abs(value) <= float_info.max):
        return value
    raise ValueError("a number, or the text that was typed")


Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=64)]
UnitName = Annotated[str, AfterValidator(_known_unit), WithJsonSchema({"type": "string", "enum": list(UNITS)})]
Date = Annotated[
    str,
    Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}(T[0-9]{2}:[0-9]{2}(:[0-9]{2})?)?$"),
    AfterValidator(_a_date),
]
Moment = Annotated[
    str,
    Field(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2}(\.[0-9]{1,6})?)?([+-][0-9]{2}:[0-9]{2})?$"),
    AfterValidator(_a_date),
]
PhotoId = Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
Line = Annotated[str, AfterValidator(_one_line)]
Whole = Annotated[int, BeforeValidator(_whole)]
Amount = Annotated[
    Any,
    AfterValidator(_number_or_text),
    WithJsonSchema({"type": ["number", "string"], "description": "a number in `unit`, or the text as typed"}),
]


def in_words_of(make: Callable[[], object]) -> None:
    """Call `make` and hand its complaint on to pydantic.

    Raises
    ------
    ValueError
        If `make` raises :class:`~faultnet.errors.CarError`.
    """
    try:
        make()
    except CarError as error:
        raise ValueError(in_one_line(error)) from None


def in_one_line(error: CarError | EntryError) -> str:
    """Say what was expected, why, and what to do, without repeating what was found."""
    return "; ".join(part for part in (error.expected, error.what, error.to_do) if part)
