"""What a list of cases shows of each, and what it is searched by."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from faultnet.case.types import Act, Case


@dataclass(frozen=True)
class CaseSummary:
    """One line in a list of cases.

    Parameters
    ----------
    case_id : str
    sequence : int
        Number of its last event.
    car, name, complaint : str
    created_at, changed_at : str
        In UTC.
    first_date, last_date : str
        Of its visits; the day it was created when no visit has a date.
    causes : tuple of (component, mode)
        Empty while the case is open.
    closed : bool
    """

    case_id: str
    sequence: int
    car: str
    name: str
    complaint: str
    created_at: str
    changed_at: str
    first_date: str
    last_date: str
    causes: tuple[tuple[str, str], ...]
    closed: bool


def columns_of(case: Case, created_at: str, *, deleted: bool = False) -> dict[str, Any]:
    """Work out the searched columns of a case.

    Parameters
    ----------
    case : Case
    created_at : str
    deleted : bool

    Returns
    -------
    dict
        Causes as ``" battery:worn belt:slips "``, words in lower case.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, CaseOutcome
    >>> columns_of(Case(Car(Battery(600.0)), outcome=CaseOutcome((("belt", "slips"),))), "2026-11-20")["causes"]
    ' belt:slips '
    """
    dates = [visit.date for visit in case.visits if visit.date] or [created_at[:10]]
    causes = case.outcome.causes if case.outcome else ()
    return {
        "first_date": min(dates),
        "last_date": max(dates),
        "car": case.car.label,
        "name": case.name,
        "complaint": case.complaint,
        "closed": int(case.outcome is not None),
        "causes": "".join(f" {component}:{mode}" for component, mode in causes) + " ",
        "deleted": int(deleted),
        "words": " ".join(_words_of(case)).casefold(),
    }


def summary_of(row: Any) -> CaseSummary:
    """Make a line of a list from a row of the table."""
    causes = tuple((component, mode) for component, _, mode in (pair.partition(":") for pair in row.causes.split()))
    fields = {name: getattr(row, name) for name in CaseSummary.__dataclass_fields__ if name not in ("causes", "closed")}
    return CaseSummary(**fields, causes=causes, closed=bool(row.closed))


def _words_of(case: Case) -> list[str]:
    """Collect everything in a case that was written in words."""
    words = [case.name, case.complaint, case.car.label]
    for visit in case.visits:
        words += [visit.date, visit.note]
        for entry in visit.entries:
            words += [entry.act if isinstance(entry, Act) else entry.test, entry.note]
    if case.outcome:
        words += [case.outcome.confirmed_by, case.outcome.note]
    return [word for word in words if word]
