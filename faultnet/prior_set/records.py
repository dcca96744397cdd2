"""Turning checked rows into records: one function for each file of a prior set."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Any, cast

from faultnet.errors import PriorsError
from faultnet.prior_set.tables import LARGEST, Row, identified
from faultnet.prior_set.types import (
    CONDITIONS,
    MARKS,
    OUTCOMES,
    WORKINGS,
    ActSpec,
    BaseRate,
    Complaint,
    Component,
    Effect,
    Forbid,
    Instrument,
    Mode,
    OnRate,
    Provenance,
    Spread,
    SymptomTable,
    Test,
    Timer,
)

_TAIL = ("unit", "source", "mark", "note")
INSTRUMENT_COLUMNS = (
    *("id", "label", "tool", "measures", "percent", "floor", "resolution", "window", "interval"),
    *("place", "offset", "offset_spread", "slip", *_TAIL),
)
BASE_RATE_COLUMNS = ("component", "mode", "group", "value", "of", *_TAIL)
ON_RATE_COLUMNS = ("component", "mode", "condition", "value", *_TAIL)
EFFECT_COLUMNS = ("component", "mode", "parameter", "shape", "centre", "spread", *_TAIL)
SPREAD_COLUMNS = ("name", "value", *_TAIL)
SYMPTOM_COLUMNS = ("test", "cause", "choice", "value", *_TAIL)
COST_COLUMNS = ("kind", "name", "value", *_TAIL)
COLUMNS: dict[str, tuple[str, ...]] = {
    "instruments": INSTRUMENT_COLUMNS,
    "base_rates": BASE_RATE_COLUMNS,
    "on_rates": ON_RATE_COLUMNS,
    "effects": EFFECT_COLUMNS,
    "spreads": SPREAD_COLUMNS,
    "symptoms": SYMPTOM_COLUMNS,
    "costs": COST_COLUMNS,
}
FORMAT = 5
"""Of the shipped set; it rises with every number that is added, so that a set which was kept before gets it.

Sets of format 1 held rows that nothing read, and lacked numbers that stood in the code; those of format 2 may lack what
a proof of causes is worth, how far cars are off the model, and the thresholds of verdicts and decisions.
"""
UNITS = (
    "V",
    "V rms",
    "A",
    "A h",
    "ohm",
    "degC",
    "rpm",
    "s",
    "h",
    "d",
    "-",
    "m",
    "mm2",
    "V/K",
    "K",
    "1/d",
    "1/min",
    "years",
    "min",
    "bit",
    "decibans",
)
LONGEST_TIMER = 86400.0  # [s]
GROUPS = ("ask", "look", "rest", "cranking", "load", "charging", "codes")


def head(table: dict[str, Any]) -> dict[str, Any]:
    """Return name, version and provenance from `prior_set.toml`."""
    row = Row("prior_set.toml", table)
    marks = table.get("marks")
    if table.get("format", 1) not in range(1, FORMAT + 1):
        raise row.wrong("format", table["format"], f"{FORMAT}, or an older one; a newer program reads newer sets")
    if not isinstance(marks, dict) or set(marks) != set(MARKS):
        raise row.wrong("marks", marks, "a table that explains each of " + ", ".join(MARKS))
    names = ("title", "author", "date", "population", "note")
    provenance = Provenance(**{name: row.text(name) for name in names}, marks=marks)
    return {"name": row.text("name"), "version": row.text("version"), "provenance": provenance}


def texts(table: dict[str, Any]) -> dict[str, Any]:
    """Return cautions, in full and in short, preconditions with the time they take, and the general cautions."""
    found: dict[str, Any] = {}
    for key in ("cautions", "preconditions"):
        section = table.get(key)
        if not isinstance(section, dict) or not all(isinstance(text, str) and text for text in section.values()):
            raise Row("cautions.toml", table).wrong(key, section, f"a table [{key}] of texts by id")
        found[key] = section
    row = Row("cautions.toml", table)
    found["general_cautions"] = row.texts("general")
    found["cautions_in_short"] = {**found["cautions"], **table.get("in_short", {})}
    found["waits"] = {name: _timer(row, f"waits.{name}", told) for name, told in table.get("waits", {}).items()}
    words = table.get("words", {})
    if not isinstance(words, dict) or not all(isinstance(text, str) and text for text in words.values()):
        raise row.wrong("words", words, "a table [words] of explanations by word")
    found["words"] = words
    return found


def component(row: Row) -> Component:
    """Return a component with its modes."""
    modes = row.cells.get("mode")
    if not isinstance(modes, list) or len(modes) < 2:
        raise row.wrong("mode", modes, "the sound mode first and at least one fault mode, each as [[component.mode]]")
    rows = identified([Row(row.where, cells) for cells in modes], row.where, "mode")
    in_vain = row.text("in_vain", allow_empty=True) if "in_vain" in row.cells else ""
    told = tuple(_mode(entry) for entry in rows)
    return Component(row.text("id"), row.text("label"), row.text("explanation"), told, in_vain)


def _mode(row: Row) -> Mode:
    brought_on = row.texts("brought_on")
    unknown = set(brought_on) - set(CONDITIONS)
    if unknown:
        raise row.wrong("brought_on", sorted(unknown), "some of " + ", ".join(CONDITIONS))
    return Mode(
        id=row.text("id"),
        label=row.text("label"),
        explanation=row.text("explanation"),
        shows=row.text("shows", allow_empty=True) if "shows" in row.cells else "",
        repair=row.text("repair", allow_empty=True) if "repair" in row.cells else "",
        comes_and_goes=bool(row.cells.get("comes_and_goes", False)),
        brought_on=brought_on,
    )


def test(row: Row) -> Test:
    """Return a test."""
    kind = row.choice("kind", ("number", "choice"))
    return Test(
        id=row.text("id"),
        label=row.text("label"),
        group=row.choice("group", GROUPS),
        kind=cast(Any, kind),
        unit=row.choice("unit", UNITS) if kind == "number" else "",
        choices=_choices(row) if kind == "choice" else (),
        tools=row.texts("tools"),
        minutes=row.number("minutes", 0.0, 2000.0),
        needs=row.texts("needs"),
        steps=row.texts("steps"),
        cautions=row.texts("cautions"),
        quantity=row.text("quantity"),
        instruments=row.texts("instruments"),
        plausible=_plausible(row) if kind == "number" else None,
        explanation=row.text("explanation"),
        timers=_timers(row),
        does=_workings(row),
        forbids=_forbids(row),
        tells=_tells(row),
        asked_after=_asked_after(row),
    )


def complaint(row: Row, tests: Sequence[Test]) -> Complaint:
    """Return what a driver complains of."""
    asked = {test.id: [choice for choice, _ in test.choices] for test in tests if test.kind == "choice"}
    test_id = row.choice("test", asked)
    return Complaint(row.text("id"), row.text("label"), test_id, row.choice("choice", asked[test_id]))


def _workings(row: Row) -> tuple[str, ...]:
    """Return what doing a test or an act does to the car."""
    found = row.texts("does")
    unknown = set(found) - set(WORKINGS)
    if unknown:
        raise row.wrong("does", sorted(unknown), "some of " + ", ".join(WORKINGS))
    return found


def _forbids(row: Row) -> tuple[Forbid, ...]:
    """Return what must not be done after some choices of a test."""
    told = row.cells.get("forbids", [])
    if not isinstance(told, list) or not all(isinstance(entry, dict) for entry in told):
        raise row.wrong("forbids", told, "tables [[test.forbids]]")
    rows = [Row(row.where, entry) for entry in told]
    choices = [choice for choice, _ in _choices(row)] if rows else []
    return tuple(
        Forbid(entry.choice("choice", choices), _workings(entry), entry.texts("until"), entry.text("words"))
        for entry in rows
    )


def _tells(row: Row) -> tuple[tuple[str, str, str], ...]:
    """Return what else is answered with some choices of a test."""
    told = row.cells.get("tells", {})
    choices = [choice for choice, _ in _choices(row)] if told else []
    good = isinstance(told, dict) and all(c in choices and str(t).count("=") == 1 for c, t in told.items())
    if not good:
        raise row.wrong("tells", told, 'some of its choices, each = "test=choice"')
    return tuple((choice, *str(other).split("=", 1)) for choice, other in told.items())


def _asked_after(row: Row) -> tuple[tuple[str, str], ...]:
    """Return what has to be told before a test is asked."""
    told = [entry.split("=") for entry in row.texts("asked_after")]
    if not all(len(parts) == 2 for parts in told):
        raise row.wrong("asked_after", row.texts("asked_after"), 'a list of "test=choice" or "act=outcome"')
    return tuple((name, word) for name, word in told)


def check_told(rows: Sequence[Row], tests: Sequence[Test], acts: Collection[str]) -> None:
    """Refuse a test that tells what no other can say, or that is asked after what nobody can tell."""
    known = {(test.id, choice) for test in tests for choice in ("", *(choice for choice, _ in test.choices))}
    done = {(act, outcome) for act in acts for outcome in OUTCOMES}
    for row, test in zip(rows, tests, strict=True):
        for name, word in test.asked_after:
            if not word or (name, word) not in known | done:
                raise row.wrong("asked_after", f"{name}={word}", "a test and one of its choices, or an act's outcome")
        for _, other, state in test.tells:
            if (other, state) not in known:
                raise row.wrong("tells", f"{other}={state}", "another test and one of its choices")


def _timers(row: Row) -> tuple[Timer, ...]:
    """Return the times that the steps of a test or an act ask for."""
    return tuple(_timer(row, "timers", told) for told in row.cells.get("timers", ()))


def _timer(row: Row, name: str, told: Any) -> Timer:
    good = isinstance(told, dict) and set(told) == {"label", "seconds"} and isinstance(told["label"], str)
    if not good or not isinstance(told["seconds"], (int, float)) or not 1 <= told["seconds"] <= LONGEST_TIMER:
        raise row.wrong(name, told, f"{{label = text, seconds = 1 to {LONGEST_TIMER:g}}}")
    return Timer(told["label"], float(told["seconds"]))


def _choices(row: Row) -> tuple[tuple[str, str], ...]:
    pairs = row.cells.get("choices")
    if not isinstance(pairs, dict) or len(pairs) < 2 or not all(isinstance(text, str) for text in pairs.values()):
        raise row.wrong("choices", pairs, "at least two choices, id = label")
    return tuple(pairs.items())


def _plausible(row: Row) -> tuple[float, float]:
    pair = row.cells.get("plausible")
    if not isinstance(pair, list) or len(pair) != 2 or not all(isinstance(x, (int, float)) for x in pair):
        raise row.wrong("plausible", pair, "two numbers [low, high]")
    if not -LARGEST <= pair[0] < pair[1] <= LARGEST:
        raise row.wrong("plausible", pair, f"the lower number first, both from {-LARGEST:g} to {LARGEST:g}")
    return float(pair[0]), float(pair[1])


def act(row: Row) -> ActSpec:
    """Return an act."""
    return ActSpec(
        id=row.text("id"),
        label=row.text("label"),
        kind=cast(Any, row.choice("kind", ("repair", "prepare", "bypass", "wait"))),
        components=row.texts("components"),
        minutes=row.number("minutes", 0.0, 2000.0),
        steps=row.texts("steps"),
        cautions=row.texts("cautions"),
        effect=row.text("effect"),
        explanation=row.text("explanation"),
        timers=_timers(row),
        does=_workings(row),
        only_for=_only_for(row),
    )


def _only_for(row: Row) -> dict[str, tuple[str, ...]]:
    """The parts for which some of the cautions of an act hold, by caution; empty where they hold for all."""
    told = row.cells.get("only_for", {})
    if not isinstance(told, dict):
        raise row.wrong("only_for", told, 'a table, caution = ["component", ...]')
    return {name: Row(row.where, told).texts(name) for name in told}


def instruments(rows: Sequence[Row]) -> tuple[Instrument, ...]:
    """Return the instruments."""
    return tuple(_instrument(row) for row in identified(list(rows), "instruments.csv", "instrument"))


def _instrument(row: Row) -> Instrument:
    return Instrument(
        id=row.text("id"),
        label=row.text("label"),
        tool=row.text("tool"),
        measures=tuple(filter(None, row.text("measures", allow_empty=True).split(";"))),
        percent=row.number("percent", 0.0, 50.0),
        floor=row.number("floor", 0.0),
        resolution=row.number("resolution", 0.0),
        window=row.optional_number("window", 0.0, 60.0),
        interval=row.optional_number("interval", 0.0, 3600.0),
        place=row.choice("place", ("posts", "module", "socket", "-")),
        offset=row.number("offset", -2.0, 2.0),
        offset_spread=row.number("offset_spread", 0.0, 2.0),
        slip=row.number("slip", 1e-4, 0.5),
        source=row.text("source"),
        mark=row.mark(),
        note=row.text("note", allow_empty=True),
    )


def base_rates(rows: Sequence[Row]) -> dict[tuple[str, str], dict[str, BaseRate]]:
    """Return the base rates by (component, mode), then by group."""
    found: dict[tuple[str, str], dict[str, BaseRate]] = {}
    for row in rows:
        of = row.number("of", 1.0)
        rate = BaseRate(
            **_names(row, "component", "mode", "group"), value=row.number("value", 1e-3, of), of=of, **_tail(row)
        )
        _add(found.setdefault((rate.component, rate.mode), {}), rate.group, rate, row)
    return found


def on_rates(rows: Sequence[Row]) -> dict[tuple[str, str], dict[str, OnRate]]:
    """Return the chances of modes that come and go by (component, mode), then by condition."""
    found: dict[tuple[str, str], dict[str, OnRate]] = {}
    for row in rows:
        condition = row.choice("condition", ("any", *CONDITIONS))
        rate = OnRate(
            **_names(row, "component", "mode"),
            condition=condition,
            value=row.number("value", 0.001, 0.999),
            **_tail(row),
        )
        _add(found.setdefault((rate.component, rate.mode), {}), condition, rate, row)
    return found


def effects(rows: Sequence[Row]) -> dict[tuple[str, str, str], Effect]:
    """Return the effects by (component, mode, parameter)."""
    found: dict[tuple[str, str, str], Effect] = {}
    for row in rows:
        shape = row.choice("shape", ("lognormal", "normal", "uniform"))
        centre, spread = row.number("centre", 0.0 if shape == "lognormal" else -1e9), row.number("spread")
        if (shape == "lognormal" and centre == 0.0) or (spread <= centre if shape == "uniform" else spread <= 0.0):
            raise row.wrong("spread", spread, "a positive median and spread, or a high end above the low end")
        names = _names(row, "component", "mode", "parameter")
        effect = Effect(**names, shape=cast(Any, shape), centre=centre, spread=spread, **_tail(row))
        _add(found, (effect.component, effect.mode, effect.parameter), effect, row)
    return found


def spreads(rows: Sequence[Row]) -> dict[str, Spread]:
    """Return the other numbers by name."""
    found: dict[str, Spread] = {}
    for row in rows:
        _add(found, row.text("name"), Spread(row.text("name"), row.number("value"), **_tail(row)), row)
    return found


def symptoms(rows: Sequence[Row], tests: Sequence[Row]) -> dict[str, SymptomTable]:
    """Return the symptom tables by test id; how a table combines its causes stands with the test."""
    by_id = {row.text("id"): row for row in tests}
    counts: dict[str, dict[str, dict[str, Row]]] = {}
    for row in rows:
        row.choice("test", by_id)
        row.number("value", 0.0)
        _add(counts.setdefault(row.text("test"), {}).setdefault(row.text("cause"), {}), row.text("choice"), row, row)
    return {name: _symptom_table(by_id[name], causes) for name, causes in counts.items()}


def _symptom_table(test_row: Row, causes: dict[str, dict[str, Row]]) -> SymptomTable:
    name, choices = test_row.text("id"), [choice for choice, _ in _choices(test_row)]
    counted = {cause: tuple(_counts(name, cause, cells, choices)) for cause, cells in causes.items()}
    if "otherwise" not in counted:
        raise PriorsError("a symptom table lacks its 'otherwise' rows", where=f"symptoms.csv, test '{name}'")
    first = {cause: next(iter(cells.values())) for cause, cells in causes.items()}
    return SymptomTable(
        test=name,
        combine=cast(Any, test_row.choice("combine", ("worst", "average"))),
        otherwise=counted.pop("otherwise"),
        rows={_cause(cause, first[cause]): values for cause, values in counted.items()},
        sources={c: (r.text("source"), r.mark(), r.text("note", allow_empty=True)) for c, r in first.items()},
        today=bool(test_row.cells.get("today", False)),
        decided_by=_decided_by(test_row, {cause.partition(":")[0] for cause in counted}),
    )


def _decided_by(test_row: Row, components: Collection[str]) -> tuple[str, ...]:
    """Components whose rows count alone, in a test's own words."""
    named = tuple(str(c) for c in test_row.cells.get("decided_by", ()))
    for component in named:
        if component not in components or test_row.text("combine") != "average":
            raise test_row.wrong("decided_by", component, "components with rows in the table, of a test that averages")
    return named


def _counts(name: str, cause: str, cells: dict[str, Row], choices: list[str]) -> list[float]:
    if set(cells) != set(choices):
        raise PriorsError(
            "a row of a symptom table has other choices than its test",
            where=f"symptoms.csv, test '{name}', cause '{cause}'",
            got=", ".join(cells),
            expected=", ".join(choices),
            to_do="write one line for each choice of the test",
        )
    return [cells[choice].number("value", 1e-3) for choice in choices]


def _cause(cause: str, row: Row) -> tuple[str, str]:
    component_id, colon, mode = cause.partition(":")
    if not (colon and component_id and mode):
        raise row.wrong("cause", cause, "component:mode, or otherwise")
    return component_id, mode


def _names(row: Row, *keys: str) -> dict[str, str]:
    return {key: row.text(key) for key in keys}


def _tail(row: Row) -> dict[str, str]:
    return {
        "unit": row.text("unit"),
        "source": row.text("source"),
        "mark": row.mark(),
        "note": row.text("note", allow_empty=True),
    }


def _add(found: dict[Any, Any], key: Any, record: Any, row: Row) -> None:
    if key in found:
        raise PriorsError("a row stands twice", where=row.where, got=str(key), to_do="take one of them out")
    found[key] = record
