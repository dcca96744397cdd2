"""How much a case counts by its age."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from faultnet.case.types import Case

DAYS_A_YEAR = 365.25


def recency(cases: Sequence[Case], half_life: float | None) -> list[float]:
    """Weight of each case, one for the newest; cases without a date count as the newest.

    Parameters
    ----------
    cases : sequence of Case
    half_life : float, optional
        Age at which a case counts half [years]; all count in full when left out.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Visit
    >>> dated = [Case(Car(Battery(600.0)), (Visit(date=d),)) for d in ("2024-01-01", "2026-01-01", "")]
    >>> [round(w, 2) for w in recency(dated, 2.0)]
    [0.5, 1.0, 1.0]
    """
    if half_life is None:
        return [1.0] * len(cases)
    days = [_day(case) for case in cases]
    newest = max((d for d in days if d is not None), default=0)
    return [1.0 if d is None else 0.5 ** ((newest - d) / DAYS_A_YEAR / half_life) for d in days]


def _day(case: Case) -> int | None:
    """Day of a case's last dated visit."""
    for visit in reversed(case.visits):
        try:
            return date.fromisoformat(visit.date[:10]).toordinal()
        except ValueError:
            continue
    return None
