"""The columns of a case history: one row a reading or act, with what stood around it.

A history is a table. Everything about the car and the end of the case is repeated on each row of the case, everything
about the visit on each row of the visit, so that a row can be read, sorted and counted on its own. The rows of a case
stand together, visits and entries in order. A visit without entries is one row with no entry number, a case without
visits one row with no visit number either. Several causes stand in one cell: ``battery:worn;belt:slips``.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, get_args

from faultnet.case.types import (
    BatteryKind,
    Bound,
    ChargeControl,
    Climate,
    Fuel,
    NotMeasured,
    Outcome,
    Proof,
    RatingStandard,
    Runs,
)

Kind = Literal["text", "id", "number", "whole", "yes_no", "choice", "date", "causes", "unit", "moment", "photos"]
Level = Literal["case", "visit", "entry"]


@dataclass(frozen=True)
class Column:
    """One column of a history.

    Parameters
    ----------
    name : str
    level : {"case", "visit", "entry"}
        What it says something about; it is repeated on every row of that.
    kind : str
        How its cells are written.
    unit : str
        "-" where there is none.
    meaning : str
    low, high : float, optional
        What a number may be [`unit`].
    choices : tuple of str
        Of a choice.
    default : object
        What an empty cell, or a column that is left out, stands for.
    """

    name: str
    level: Level
    kind: Kind
    unit: str
    meaning: str
    low: float = float("-inf")
    high: float = float("inf")
    choices: tuple[str, ...] = ()
    default: Any = None


def _text(name: str, level: Level, meaning: str) -> Column:
    return Column(name, level, "text", "-", meaning, default="")


def _number(name: str, level: Level, unit: str, meaning: str, low: float, high: float, default: Any = None) -> Column:
    return Column(name, level, "number", unit, meaning, low, high, default=default)


def _choice(name: str, level: Level, kind: Any, meaning: str, default: Any = None) -> Column:
    return Column(name, level, "choice", "-", meaning, choices=get_args(kind), default=default)


def _yes_no(name: str, level: Level, meaning: str, default: bool | None = False) -> Column:
    return Column(name, level, "yes_no", "-", meaning, default=default)


def _photos(name: str, level: Level, meaning: str) -> Column:
    return Column(name, level, "photos", "-", f"{meaning}: id and caption, a line each", default=())


_VERY_LARGE = 1.7e308
COLUMNS: tuple[Column, ...] = (
    Column("case", "case", "text", "-", "what tells the case from the others of the file; never empty"),
    _text("name", "case", "name of the case"),
    _yes_no("invented", "case", "whether the case is made up"),
    _text("complaint", "case", "complaint in the driver's words"),
    _yes_no("closed", "case", "whether the causes are confirmed"),
    Column("causes", "case", "causes", "-", "confirmed causes as component:mode, separated by ;", default=()),
    _text("confirmed_by", "case", "how the causes were proven"),
    _text("outcome_note", "case", "note on the end of the case"),
    _choice("proof", "case", Proof, "what sort of proof the causes have; taken as true when empty"),
    _text("label", "case", "what the car is called"),
    _choice("fuel", "case", Fuel, "fuel of the engine", "petrol"),
    _number("displacement", "case", "l", "engine displacement", 0.5, 8.0, 1.6),
    Column("cylinders", "case", "whole", "-", "cylinders of the engine", 2, 12, default=4),
    _number("alternator_rating", "case", "A", "rated current of the alternator", 30.0, 350.0, 90.0),
    _choice("charge_control", "case", ChargeControl, "whether the engine computer moves the charging voltage", "fixed"),
    _choice("climate", "case", Climate, "where the car lives", "temperate"),
    _number("battery_rating", "case", "A", "cold-cranking current on the label; empty when not known", 100.0, 2000.0),
    _choice("battery_standard", "case", RatingStandard, "standard of that rating", "EN"),
    _choice("battery_kind", "case", BatteryKind, "how the acid is held", "flooded"),
    _number("battery_capacity", "case", "A h", "twenty-hour capacity", 15.0, 250.0),
    _number("battery_age", "case", "years", "age of the battery when the case began", 0.0, 30.0),
    _number("needs_rating", "case", "A", "cold-cranking current that the car needs", 100.0, 2000.0),
    _choice("needs_standard", "case", RatingStandard, "standard of that current", "EN"),
    Column("visit", "visit", "whole", "-", "number of the visit, from 1", 1, 10_000),
    Column("date", "visit", "date", "-", "day of the visit as 2026-11-20, or with time 2026-11-20T14:05", default=""),
    _text("visit_note", "visit", "note on the visit"),
    _number("air_temperature", "visit", "degC", "temperature of the air", -50.0, 60.0),
    _number("electrolyte_temperature", "visit", "degC", "temperature of the acid", -40.0, 80.0),
    _number("hours_standing", "visit", "h", "hours since the engine last ran", 0.0, 20000.0),
    _yes_no("damp", "visit", "whether it was damp"),
    _yes_no("rough_road", "visit", "whether the fault showed on rough roads"),
    _yes_no("engine_warm", "visit", "whether the engine was warm"),
    _yes_no("cranks", "visit", "whether the starter turns the engine now; empty when not known", None),
    _choice("runs", "visit", Runs, "whether the engine can be started now"),
    _yes_no("shows_now", "visit", "whether the fault shows now; empty when not known", None),
    _photos("visit_photos", "visit", "photos of the visit"),
    Column("entry", "entry", "whole", "-", "number of the entry in its visit, from 1", 1, 10_000),
    Column("test", "entry", "id", "-", "test that was done, on the row of a reading"),
    _number("value", "entry", "base unit of the test", "what was read", -_VERY_LARGE, _VERY_LARGE),
    Column("state", "entry", "id", "-", "choice that was found"),
    _choice("not_measured", "entry", NotMeasured, "why nothing was read"),
    Column("instrument", "entry", "id", "-", "instrument; the ordinary one of the test when empty"),
    _yes_no("roughly", "entry", "whether the reading was jumping about"),
    _choice(
        "bound", "entry", Bound, "above or below when the meter showed over or under its limit, which `value` gives"
    ),
    Column("unit", "entry", "unit", "-", "unit it was typed in; `value` stays in the base unit", default=""),
    _text("entered", "entry", "the characters typed"),
    _number("interval", "entry", "s", "sampling interval of the log it was taken from", 1e-9, 60.0),
    Column("act", "entry", "id", "-", "what was done, on the row of an act"),
    Column("component", "entry", "id", "-", "component it was done to"),
    _choice("outcome", "entry", Outcome, "how the complaint stood afterwards"),
    _number("hours", "entry", "h", "how long the act took", 0.0, 20000.0),
    _text("note", "entry", "note on the entry"),
    Column("at", "entry", "moment", "-", "when it was entered, as 2026-11-20T14:05:31+00:00", default=""),
    _text("by", "entry", "who entered it"),
    _photos("photos", "entry", "photos of the entry"),
    _text("read_by", "entry", "who read it off, where that is wanted"),
)
BY_NAME: dict[str, Column] = {column.name: column for column in COLUMNS}
NEVER_EMPTY = ("case",)


def dictionary() -> str:
    """Give the columns as a table in Markdown, as it stands in DEVELOPERS.md.

    Examples
    --------
    >>> dictionary().splitlines()[2]
    '| `case` | case | text | - | what tells the case from the others of the file; never empty |'
    """
    rows = [f"| `{c.name}` | {c.level} | {_written_as(c)} | {c.unit} | {c.meaning} |" for c in COLUMNS]
    return "\n".join(("| column | of the | written as | unit | meaning |", "|---|---|---|---|---|", *rows))


def _written_as(column: Column) -> str:
    words: dict[str, Callable[[], str]] = {
        "choice": lambda: ", ".join(column.choices),
        "yes_no": lambda: "yes, no",
        "number": lambda: "number" if column.high >= _VERY_LARGE else f"number, {column.low:g} to {column.high:g}",
        "whole": lambda: f"whole, {column.low:g} to {column.high:g}",
        "unit": lambda: "unit such as V, mV",
    }
    return words.get(column.kind, lambda: column.kind)()
