"""What one cell of a text log may say: a number, a time of day, a date and time, or nothing."""

from __future__ import annotations

import re
from typing import Literal

CellKind = Literal["number", "clock", "iso", "day_first", "month_first", "slashed", "date", "missing", "text"]

MISSING = frozenset({"", "-", "--", "---", "nan", "na", "n/a", "null", "none", "ol", "inf", "-inf", "?", "error"})
"""Spellings, in lower case, that loggers use where they have no number."""

TIME_UNITS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1e-3),
    **dict.fromkeys(("us", "µs", "μs", "usec", "microsecond", "microseconds"), 1e-6),
    **dict.fromkeys(("ns", "nanosecond", "nanoseconds"), 1e-9),
    **dict.fromkeys(("min", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hour", "hours"), 3600.0),
}
"""Seconds per unit, by spelling in lower case."""

VOLT_UNITS = {
    **dict.fromkeys(("v", "volt", "volts"), 1.0),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), 1e-3),
}
"""Volts per unit, by spelling in lower case."""

_CLOCK = re.compile(r"\d{1,3}:\d{2}(:\d{2})?([.,]\d+)?( ?[AaPp][Mm])?")
_ISO = re.compile(r"\d{4}([-/.])\d{1,2}\1\d{1,2}[T ]\d{1,2}:\d{2}.*")
_DATED = re.compile(r"\d{1,2}([./-])\d{1,2}\1\d{2,4}[ T,]+\d{1,2}:\d{2}.*")
_DATE = re.compile(r"\d{4}([-/.])\d{1,2}\1\d{1,2}|\d{1,2}([./-])\d{1,2}\2\d{4}")
_SUFFIX = re.compile(r"\s*[a-zA-Zµμ]{1,3}$")
_NUMBER = {mark: re.compile(rf"[+-]?(\d+({re.escape(mark)}\d*)?|{re.escape(mark)}\d+)([eE][+-]?\d+)?") for mark in ".,"}


def kind_of(cell: str, decimal: str) -> CellKind:
    """Tell what one cell is.

    Parameters
    ----------
    cell : str
        As it stands in the file.
    decimal : {".", ","}
        The decimal mark.

    Returns
    -------
    str
        "number", "clock" (12:30:05.2), "iso", "day_first" (25.11.2026 10:00), "slashed" (either order of day and
        month), "date", "missing" or "text".

    Examples
    --------
    >>> [kind_of(cell, ",") for cell in ("12,6", "12.6", "10:00:01,5", "25.11.2026 10:00:01", "--")]
    ['number', 'text', 'clock', 'day_first', 'missing']
    """
    cell = cell.strip()
    if cell.lower() in MISSING or not cell.strip("-=_"):
        return "missing"
    if is_number(cell, decimal):
        return "number"
    if _CLOCK.fullmatch(cell):
        return "clock"
    if _ISO.fullmatch(cell):
        return "iso"
    if _DATED.fullmatch(cell):
        return "slashed" if "/" in cell else "day_first"
    return "date" if _DATE.fullmatch(cell) else "text"


def is_number(cell: str, decimal: str) -> bool:
    """Say whether a cell is a number, with or without a unit behind it.

    Parameters
    ----------
    cell : str
        One cell without blanks at its ends.
    decimal : {".", ","}
        The decimal mark.

    Returns
    -------
    bool
        True for "12.6", "1.26e1" and "12.6 V".

    Examples
    --------
    >>> is_number("12.6 V", "."), is_number("12,6", "."), is_number("12.6 left", ".")
    (True, False, False)
    """
    if _NUMBER[decimal].fullmatch(cell):
        return True
    unit = suffix_of(cell)
    return bool(unit) and _NUMBER[decimal].fullmatch(_SUFFIX.sub("", cell)) is not None


def suffix_of(cell: str) -> str:
    """Give the unit written behind a number.

    Parameters
    ----------
    cell : str
        One cell.

    Returns
    -------
    str
        The unit in lower case if it is one of time or voltage, else "".

    Examples
    --------
    >>> suffix_of("12.6 V"), suffix_of("350mV"), suffix_of("12.6")
    ('v', 'mv', '')
    """
    match = _SUFFIX.search(cell.strip())
    unit = match.group().strip().lower() if match else ""
    return unit if unit in VOLT_UNITS or unit in TIME_UNITS else ""


def without_suffix(cell: str) -> str:
    """Strip the unit behind a number.

    Parameters
    ----------
    cell : str
        One cell.

    Returns
    -------
    str
        The number alone; a cell without a unit comes back as it was, but for blanks.

    Examples
    --------
    >>> without_suffix(" 12.6 V"), without_suffix("12.6")
    ('12.6', '12.6')
    """
    cell = cell.strip()
    return _SUFFIX.sub("", cell) if suffix_of(cell) else cell


def could_be_thousands(cell: str, mark: str) -> bool:
    """Say whether a mark in a number could part thousands as well as decimals.

    Parameters
    ----------
    cell : str
        A number.
    mark : {".", ","}
        The mark in doubt.

    Returns
    -------
    bool
        True for "1,000" and "12,600"; False for "0,100", "12,6" and "12".

    Examples
    --------
    >>> [could_be_thousands(cell, ",") for cell in ("12,600", "0,100", "12,6", "12")]
    [True, False, False, False]
    """
    return re.fullmatch(rf"[+-]?[1-9]\d{{0,2}}({re.escape(mark)}\d{{3}})+", cell.strip()) is not None
