"""Cases to the rows of a history, and rows back to cases, with every row that cannot be used."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from itertools import groupby, islice
from typing import Any

from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Conditions, Entry, Reading, Visit
from faultnet.diagnosis.acts import check_act
from faultnet.diagnosis.evidence import check_reading
from faultnet.errors import CarError, EntryError, FaultnetError
from faultnet.learning.tables.cells import Unusable, cell_of, value_of
from faultnet.learning.tables.columns import BY_NAME, COLUMNS, NEVER_EMPTY, Level
from faultnet.limits import MOST_BAD_ROWS, MOST_ROWS_OF_CASE
from faultnet.prior_set.catalogue import Catalogue

Cells = Sequence[Any]
Row = tuple[int, Cells]


@dataclass(frozen=True)
class BadRow:
    """A row that cannot be used.

    Parameters
    ----------
    row : int
        As a spreadsheet counts them: the head of the table is row 1.
    case, column : str
        Where it is known.
    got, expected : str
    """

    row: int
    case: str
    column: str
    got: str
    expected: str

    def __str__(self) -> str:
        place = f"row {self.row}" + (f", column {self.column}" if self.column else "")
        return f"{place}: got {self.got}, expected {self.expected}"


def rows_of(case: Case, key: str) -> Iterator[list[Any]]:
    """Write a case as rows, cells in the order of the columns.

    Parameters
    ----------
    case : Case
    key : str
        What tells it from the other cases.

    Examples
    --------
    >>> [row] = rows_of(Case(Car(Battery(600.0)), visits=()), "1")
    >>> dict(zip(BY_NAME, row))["battery_rating"]
    600.0
    """
    outcome = case.outcome or CaseOutcome()
    battery = {f"battery_{field.name}": getattr(case.car.battery, field.name) for field in fields(Battery)}
    about = {**vars(case.car), **vars(case), **battery, "case": key, "closed": case.outcome is not None}
    about |= {"causes": outcome.causes, "confirmed_by": outcome.confirmed_by, "outcome_note": outcome.note}
    about["proof"] = outcome.proof
    head = _cells("case", about)
    for v, visit in enumerate(case.visits, start=1):
        place = {**vars(visit.conditions), "visit": v, "date": visit.date, "visit_note": visit.note}
        place |= {"cranks": visit.cranks, "runs": visit.runs, "shows_now": visit.shows_now}
        place["visit_photos"] = visit.photos
        before = [*head, *_cells("visit", place)]
        for e, entry in enumerate(visit.entries, start=1):
            yield [*before, *_cells("entry", {**vars(entry), "entry": e})]
        if not visit.entries:
            yield [*before, *_empty("entry")]
    if not case.visits:
        yield [*head, *_empty("visit"), *_empty("entry")]


def _cells(level: Level, values: dict[str, Any]) -> list[Any]:
    return [cell_of(c, values.get(c.name, c.default)) for c in COLUMNS if c.level == level]


def _empty(level: Level) -> list[None]:
    return [None for c in COLUMNS if c.level == level]


@dataclass(frozen=True)
class Layout:
    """Where the columns stand in a file, by level: pairs of place and column."""

    width: int
    key: int
    levels: dict[str, tuple[tuple[int, str], ...]]


def layout_of(names: Sequence[str]) -> Layout:
    """Find the places of the columns of a file; names are known and differ."""
    places: dict[str, list[tuple[int, str]]] = {"case": [], "visit": [], "entry": []}
    for place, name in enumerate(names):
        places[BY_NAME[name].level].append((place, name))
    return Layout(len(names), list(names).index("case"), {level: tuple(found) for level, found in places.items()})


def cases_of(
    names: Sequence[str], rows: Iterable[Row], bad: list[BadRow], catalogue: Catalogue | None = None
) -> Iterator[tuple[str, Case]]:
    """Read cases, one after the other; no more than one case is held.

    Parameters
    ----------
    names : sequence of str
        Columns of the file in its order.
    rows : iterable of (number, cells)
    bad : list of BadRow
        Gets every row that cannot be used; the whole case is then left out, as half a case would say that the rest
        was not seen. Reading stops when there are more than :data:`~faultnet.limits.MOST_BAD_ROWS`.
    catalogue : Catalogue, optional
        What entries and causes are held against.

    Yields
    ------
    key, case
    """
    layout, seen = layout_of(names), set()
    for key, group in groupby(rows, lambda row: row[1][layout.key] if len(row[1]) > layout.key else ""):
        held, before = list(islice(group, MOST_ROWS_OF_CASE + 1)), len(bad)
        if len(held) > MOST_ROWS_OF_CASE:
            bad.append(BadRow(held[-1][0], _short(key), "", "more rows", f"at most {MOST_ROWS_OF_CASE:,} of one case"))
            held = held[:1]
        if key in seen:
            name = _short(key)
            bad.append(BadRow(held[0][0], name, "case", repr(name), "the rows of a case to stand together"))
        seen.add(key)
        case = _Reading(layout, str(key or ""), bad, catalogue).case(held)
        if len(bad) > MOST_BAD_ROWS:
            return
        if case is not None and len(bad) == before:
            yield str(key), case


def _short(text: object) -> str:
    """Show at most sixty characters."""
    return str(text) if len(str(text)) <= 60 else f"{str(text)[:57]}..."


class _Reading:
    """Reads the rows of one case and notes what cannot be used."""

    def __init__(self, layout: Layout, key: str, bad: list[BadRow], catalogue: Catalogue | None) -> None:
        self.layout, self.key, self.bad, self.catalogue = layout, key, bad, catalogue

    def amiss(self, row: int, column: str, got: object, expected: str) -> None:
        """Note a row that cannot be used."""
        self.bad.append(BadRow(row, _short(self.key), column, _short(repr(got)), expected))

    def case(self, rows: list[Row]) -> Case | None:
        """Read a case; what is returned counts only if nothing was noted."""
        for number, cells in rows:
            if len(cells) != self.layout.width:
                self.amiss(number, "", f"{len(cells)} cells", f"{self.layout.width} cells, as in the head")
        rows = [row for row in rows if len(row[1]) == self.layout.width]
        about = self.shared("case", rows) if rows else None
        if about is None:
            return None
        visits = tuple(self.visits(rows))
        outcome = self.made(rows[0][0], "causes", lambda: self.outcome(rows[0][0], about))
        car = self.made(rows[0][0], "", lambda: _car(about))
        if car is None:
            return None
        return Case(car, visits, about["complaint"], about["name"], about["invented"], outcome)

    def outcome(self, row: int, about: dict[str, Any]) -> CaseOutcome | None:
        """Read the end of a case."""
        if about["closed"]:
            return CaseOutcome(about["causes"], about["confirmed_by"], about["outcome_note"], about["proof"])
        for name in ("causes", "confirmed_by", "outcome_note", "proof"):
            if about[name]:
                self.amiss(row, name, about[name], "nothing, as the case is not closed")
        return None

    def visits(self, rows: list[Row]) -> Iterator[Visit]:
        """Read the visits of a case."""
        place = next((p for p, name in self.layout.levels["visit"] if name == "visit"), None)
        if place is None or all(not row[1][place] for row in rows):
            if len(rows) > 1 or any(row[1][p] for row in rows for p, _ in self.layout.levels["entry"]):
                self.amiss(rows[0][0], "visit", "", "the number of the visit, from 1")
            return
        for expected, (_, group) in enumerate(groupby(rows, lambda row: row[1][place]), start=1):
            held = list(group)
            about = self.shared("visit", held)
            if about is None:
                continue
            if about["visit"] != expected:
                self.amiss(held[0][0], "visit", held[0][1][place], f"{expected}: visits in order, counted from 1")
            entries = tuple(self.entries(held))
            conditions = {field.name: about[field.name] for field in fields(Conditions)}
            able = about["cranks"], about["runs"], about["shows_now"]
            yield Visit(
                entries, Conditions(**conditions), about["date"], about["visit_note"], *able, about["visit_photos"]
            )

    def entries(self, rows: list[Row]) -> Iterator[Entry]:
        """Read the entries of a visit."""
        for expected, (number, cells) in enumerate(rows, start=1):
            about = self.values("entry", number, cells)
            if about is None:
                continue
            if about["entry"] is None and len(rows) == 1 and not about["test"] and not about["act"]:
                return
            if about["entry"] != expected:
                self.amiss(number, "entry", about["entry"], f"{expected}: entries in order, counted from 1")
            entry = self.made(number, "test" if about["test"] else "act", lambda about=about: _entry(about))  # type: ignore[misc]
            if entry is not None:
                yield entry

    def made(self, number: int, column: str, make: Callable[[], Any]) -> Any:
        """Make a thing, and check an entry; None if it is refused."""
        try:
            thing = make()
            if self.catalogue is not None:
                _check(thing, self.catalogue)
        except FaultnetError as error:
            self.amiss(number, column, error.got or "", error.what + (f": {error.expected}" if error.expected else ""))
            return None
        return thing

    def shared(self, level: Level, rows: list[Row]) -> dict[str, Any] | None:
        """Read what is repeated on all these rows, and note where it is not the same."""
        first = rows[0][1]
        for number, cells in rows[1:]:
            for place, name in self.layout.levels[level]:
                if cells[place] != first[place]:
                    expected = f"{_short(repr(first[place]))}, as on the first row of the {level}"
                    self.amiss(number, name, cells[place], expected)
        return self.values(level, rows[0][0], first)

    def values(self, level: Level, number: int, cells: Cells) -> dict[str, Any] | None:
        """Read the cells of a level; None if one of them cannot be used."""
        found, good = dict(_DEFAULTS[level]), True
        for place, name in self.layout.levels[level]:
            try:
                cell = cells[place]
                if cell is not None and cell != "":  # nought and "no" are not empty
                    found[name] = value_of(BY_NAME[name], cell)
            except Unusable as error:
                self.amiss(number, name, cells[place], str(error))
                good = False
        for name in NEVER_EMPTY:
            if level == "case" and good and found[name] is None:
                self.amiss(number, name, "", BY_NAME[name].meaning)
                good = False
        return found if good else None


_DEFAULTS: dict[str, dict[str, Any]] = {
    level: {c.name: c.default for c in COLUMNS if c.level == level} for level in ("case", "visit", "entry")
}


def _car(about: dict[str, Any]) -> Car:
    battery = Battery(**{field.name: about[f"battery_{field.name}"] for field in fields(Battery)})
    given = {field.name: about[field.name] for field in fields(Car) if field.name in BY_NAME}
    return Car(**{**given, "battery": battery})


def _entry(about: dict[str, Any]) -> Entry:
    if bool(about["test"]) == bool(about["act"]):
        raise CarError("a row is of a test or of an act", got="both" if about["test"] else "neither")
    kind: type[Entry] = Reading if about["test"] else Act
    own = {field.name for field in fields(kind)}
    for column in COLUMNS:
        if column.level == "entry" and column.name not in {*own, "entry"} and about[column.name] != column.default:
            raise CarError(f"`{column.name}` does not belong to this row", got=repr(about[column.name]))
    return kind(**{name: about[name] for name in own})


def _check(thing: Car | Entry | CaseOutcome | None, catalogue: Catalogue) -> None:
    """Hold an entry, or the end of a case, against the catalogue.

    Raises
    ------
    EntryError
        For what makes no sense.
    """
    if isinstance(thing, Reading):
        check_reading(catalogue, thing, "")
    elif isinstance(thing, Act):
        check_act(catalogue, thing, "")
    elif isinstance(thing, CaseOutcome):
        faults = {(component.id, mode.id) for component in catalogue.components for mode in component.modes[1:]}
        unknown = [f"{component}:{mode}" for component, mode in thing.causes if (component, mode) not in faults]
        if unknown:
            raise EntryError("a fault mode of the catalogue", got="; ".join(unknown))
