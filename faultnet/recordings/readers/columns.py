"""Which column is time, which is volts, and in what units: read off the names, settled by options, never guessed."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from faultnet.errors import RecordingError
from faultnet.recordings.readers.cells import TIME_UNITS, VOLT_UNITS, CellKind, kind_of, suffix_of, without_suffix
from faultnet.recordings.readers.layout import Layout

CLOCKS: tuple[CellKind, ...] = ("clock", "iso", "day_first", "month_first", "slashed")
"""Kinds of cell that are a time without needing a unit."""

_TIME_WORDS = {"time", "timestamp", "elapsed", "clock", "datetime", "t", "zeit", "uhrzeit", "temps", "tiempo", "tempo"}
_VOLT_WORDS = {
    *("volt", "volts", "voltage", "battery", "batt", "bat", "vbat", "ubat", "vbatt", "u", "v"),
    *("spannung", "tension", "voltaje", "tensione", "batteriespannung"),
}
_OTHER_WORDS = {
    *("current", "amps", "ampere", "a", "ma", "temperature", "temp", "charge", "soc", "percent", "power", "speed"),
    *("strom", "courant", "corriente", "corrente", "temperatur", "ladung", "status", "rpm"),
}


@dataclass(frozen=True)
class Columns:
    """Which cells to take and how to turn them into seconds and volts.

    Parameters
    ----------
    time, volts : int
        Column numbers counted from 0; time is -1 when rows are equally spaced.
    date : int
        Column of the date that belongs to a time of day, -1 if there is none.
    kind : str
        What the time cells are: "number", "clock", "h:m", "m:s", "iso", "day_first",
        "month_first" or "slashed".
    time_scale, volts_scale : float
        Seconds and volts per unit written.
    notes : tuple of str
        What was inferred, in words.

    Examples
    --------
    >>> Columns(0, 1, -1, "number", 1e-3, 1.0).time_scale
    0.001
    """

    time: int
    volts: int
    date: int
    kind: str
    time_scale: float
    volts_scale: float
    notes: tuple[str, ...] = ()


def choose_columns(
    layout: Layout,
    *,
    time_column: str | int | None = None,
    volts_column: str | int | None = None,
    time_unit: str | None = None,
    volts_unit: str | None = None,
    interval: float | None = None,
    name: str = "recording",
) -> Columns:
    """Settle which columns of a text log are time and volts.

    Parameters
    ----------
    layout : Layout
        From :func:`faultnet.recordings.readers.layout.find_layout`.
    time_column, volts_column : str or int, optional
        Column name, or number counted from 1.
    time_unit, volts_unit : str, optional
        "s", "ms", "us", "min", "h"; for dates "day_first" or "month_first"; "V" or "mV".
    interval : float, optional
        Time between rows [s], for a file without a time column.
    name : str
        What messages call the file.

    Returns
    -------
    Columns
        The choice, with a note for whatever was inferred.

    Raises
    ------
    RecordingError
        If a column or unit is unclear; the message names the option that settles it.

    Notes
    -----
    A unit of time must be written in the file or be given: 0.1 may be seconds or milliseconds. A unit of volts may
    be inferred where the values allow only one, and the inference is noted.

    Examples
    --------
    >>> from faultnet.recordings.readers.layout import find_layout
    >>> choose_columns(find_layout(["t [ms],U [mV]", "0,12600", "100,12590"])).volts_scale
    0.001
    """
    if interval is not None:
        time = -1
    else:
        wanted = _chosen(layout, time_column, "time_column", name)
        time = _time_column(layout, name) if wanted is None else wanted
    wanted = _chosen(layout, volts_column, "volts_column", name)
    volts = _volts_column(layout, time, name) if wanted is None else wanted
    kind = "number" if time < 0 else _time_kind(layout, time, time_unit, name)
    date = _date_column(layout) if kind == "clock" and time >= 0 else -1
    kind = _dated_kind(layout, date, time, time_unit) if date >= 0 else kind
    time_scale = interval if interval is not None else _time_scale(layout, time, kind, time_unit, name)
    volts_scale, notes = _volts_scale(layout, volts, volts_unit, name)
    return Columns(time, volts, date, kind, time_scale, volts_scale, notes)


def words_in(text: str) -> set[str]:
    """Cut a column name into its words, in lower case.

    Parameters
    ----------
    text : str
        A column name.

    Returns
    -------
    set of str
        Its words; digits and signs part words.

    Examples
    --------
    >>> sorted(words_in("Time_ms [U_bat]"))
    ['bat', 'ms', 'time', 'u']
    """
    return set(re.findall(r"[^\W\d_]+", text.lower()))


def _chosen(layout: Layout, wanted: str | int | None, option: str, name: str) -> int | None:
    """Find the column an option asks for."""
    if wanted is None:
        return None
    number = int(wanted) - 1 if len(str(wanted)) < 7 and str(wanted).isdecimal() else -1
    if 0 <= number < layout.width:
        return number
    same = [i for i, label in enumerate(layout.names) if label.lower() == str(wanted).strip().lower()]
    if len(same) == 1:
        return same[0]
    what = "two columns have that name" if same else "there is no such column"
    raise _unclear(what, layout, option, name, got=str(wanted))


def _unclear(what: str, layout: Layout, option: str, name: str, got: str | None = None) -> RecordingError:
    """Build the question a user has to answer."""
    listed = ", ".join(f"{i + 1} {label or '(no name)'}" for i, label in enumerate(layout.names[:20]))
    to_do = f"give the option {option}"
    if layout.separator == "," and layout.width == 2 * layout.above:
        got = f"rows of {layout.width} cells under a line of {layout.above}"
        to_do = "if the comma parts decimals as well as columns, export it with another separator; else " + to_do
    return RecordingError(what, where=name, got=got, expected=f"one of: {listed}", to_do=to_do)


def _time_column(layout: Layout, name: str) -> int:
    """Find the one column that is time by its name, its unit or its cells."""
    width = range(layout.width)
    clocks = [i for i in width if _kinds(layout, i) & set(CLOCKS)]
    named = [i for i in width if _is_time_name(layout.names[i]) or layout_unit(layout, i) in TIME_UNITS]
    named = [i for i in named if "number" in _kinds(layout, i) or i in clocks]
    for found in (clocks, named):
        if len(found) == 1 and set(named) <= set(found):
            return found[0]
    what = "several columns may be the time" if clocks or named else "no column is called time"
    option = "time_column, or interval if the rows are equally spaced and carry no time"
    raise _unclear(what, layout, option, name)


def _volts_column(layout: Layout, time: int, name: str) -> int:
    """Find the one column that is volts by its name or unit."""
    others = [i for i in range(layout.width) if i != time]
    filled = [i for i in others if "number" in _kinds(layout, i)]
    empty = [i for i in others if _kinds(layout, i) == {"missing"}]
    found = _called_volts(layout, filled) or _called_volts(layout, empty)
    if len(found) == 1:
        return found[0]
    raise _unclear(
        "several columns may be volts" if found else "no column is called volts", layout, "volts_column", name
    )


def _called_volts(layout: Layout, columns: Sequence[int]) -> list[int]:
    """Pick the columns that are volts by unit or name."""
    by_unit = [i for i in columns if layout_unit(layout, i) in VOLT_UNITS]
    by_name = [i for i in columns if _is_volts_name(layout.names[i]) and layout_unit(layout, i) not in TIME_UNITS]
    return sorted({*by_unit, *by_name})


def _kinds(layout: Layout, column: int) -> set[CellKind]:
    """Tell which kinds of cell a column holds in the first rows."""
    return {kind_of(row[column], layout.decimal) for row in layout.rows if column < len(row)}


def _is_time_name(label: str) -> bool:
    """Say whether a name means time."""
    words = words_in(label)
    return bool(words & _TIME_WORDS) or (bool(words) and words <= set(TIME_UNITS))


def _is_volts_name(label: str) -> bool:
    """Say whether a name means volts."""
    words = words_in(label)
    return bool(words & (_VOLT_WORDS | set(VOLT_UNITS))) and not words & _OTHER_WORDS


def layout_unit(layout: Layout, column: int) -> str:
    """Give the unit a file writes for a column: units row first, then the name, then behind the numbers.

    Parameters
    ----------
    layout : Layout
        The layout.
    column : int
        Column number counted from 0.

    Returns
    -------
    str
        The unit in lower case, "" if the file gives none.

    Examples
    --------
    >>> from faultnet.recordings.readers.layout import find_layout
    >>> layout = find_layout(["t_ms,signal", "0,12.6 V", "1,12.6 V"])
    >>> layout_unit(layout, 0), layout_unit(layout, 1)
    ('ms', 'v')
    """
    written = layout.units[column].strip("[](){} ").lower()
    if written in TIME_UNITS or written in VOLT_UNITS:
        return written
    last: list[str] = re.findall(r"[^\W\d_]+", layout.names[column].lower())
    if last and len(last) > 1 and (last[-1] in TIME_UNITS or last[-1] in VOLT_UNITS):
        return last[-1]
    if len(last) == 1 and (last[0] in TIME_UNITS or last[0] in VOLT_UNITS):
        return last[0]
    return next((unit for row in layout.rows if column < len(row) and (unit := suffix_of(row[column]))), "")


def _time_kind(layout: Layout, column: int, unit: str | None, name: str) -> str:
    """Tell how the time is written."""
    kinds = _kinds(layout, column) - {"missing", "text"}
    if kinds & set(CLOCKS) and unit in ("day_first", "month_first", "h:m", "m:s"):
        return unit
    if len(kinds) == 1:
        return kinds.pop()
    raise _unclear(
        "the time is written in more than one way", layout, "time_column", name, got=", ".join(sorted(kinds))
    )


def _dated_kind(layout: Layout, date: int, time: int, unit: str | None) -> str:
    """Tell how a date and a time of day in two columns are written together."""
    if unit in ("day_first", "month_first"):
        return unit
    row = next(row for row in layout.rows if len(row) > max(date, time) and kind_of(row[date], ".") == "date")
    kind = kind_of(f"{row[date]} {row[time]}", layout.decimal)
    return kind if kind in CLOCKS else "clock"


def _time_scale(layout: Layout, column: int, kind: str, unit: str | None, name: str) -> float:
    """Give the seconds per unit of the time column."""
    if kind != "number":
        return 1.0
    asked = unit.strip().lower() if unit else layout_unit(layout, column)
    if asked in TIME_UNITS:
        return TIME_UNITS[asked]
    raise RecordingError(
        "the unit of the time is not known",
        where=f"{name}, column {column + 1} {layout.names[column]}".rstrip(),
        got=unit,
        expected="s, ms, us, min or h",
        to_do="give the option time_unit",
    )


def _volts_scale(layout: Layout, column: int, unit: str | None, name: str) -> tuple[float, tuple[str, ...]]:
    """Give the volts per unit of the volts column, and a note if it had to be inferred."""
    asked = unit.strip().lower() if unit else layout_unit(layout, column)
    if asked in VOLT_UNITS:
        return VOLT_UNITS[asked], ()
    middle = _median(layout, column)
    for scale, label in ((1.0, "V"), (1e-3, "mV")):
        if not unit and 5.0 <= middle * scale <= 20.0:
            return scale, (f"the volts carry no unit; {label} is the only one that fits their median, {middle:g}",)
    raise RecordingError(
        "the unit of the volts is not known",
        where=f"{name}, column {column + 1} {layout.names[column]}".rstrip(),
        got=unit or ("no number in the first rows" if middle != middle else f"a median of {middle:g} without a unit"),
        expected="V or mV",
        to_do="give the option volts_unit, or another volts_column",
    )


def _median(layout: Layout, column: int) -> float:
    """Take the median of the first rows of a column."""
    cells: Sequence[str] = [row[column] for row in layout.rows if column < len(row)]
    numbers = [cell for cell in cells if kind_of(cell, layout.decimal) == "number"]
    values = sorted(float(without_suffix(cell).replace(",", ".")) for cell in numbers)
    return values[len(values) // 2] if values else float("nan")


def _date_column(layout: Layout) -> int:
    """Find the column of dates beside a time of day."""
    dates = [i for i in range(layout.width) if "date" in _kinds(layout, i)]
    return dates[0] if len(dates) == 1 else -1
