"""The query behind a list of cases."""

from __future__ import annotations

from typing import Any

from sqlalchemy import ColumnElement, Select, func, select

from faultnet.case.store.tables import CASES


def find(
    text: str,
    since: str | None,
    until: str | None,
    cause: str | None,
    car: str | None,
    closed: bool | None,
    deleted: bool = False,
) -> Select[Any]:
    """Write the query for :meth:`faultnet.case.store.store.Store.list_cases`, with the same parameters.

    Returns
    -------
    sqlalchemy.Select
        Text given by the user is always a bound value, and its ``%`` and ``_`` mean themselves.
    """
    wanted: list[ColumnElement[bool]] = [
        CASES.c.words.contains(word, autoescape=True) for word in text.casefold().split()
    ]
    if since:
        wanted.append(CASES.c.last_date >= since)
    if until:
        wanted.append(func.substr(CASES.c.first_date, 1, len(until)) <= until)
    if cause:
        wanted.append(CASES.c.causes.contains(f" {cause}" + (" " if ":" in cause else ":"), autoescape=True))
    if car:
        wanted.append(func.lower(CASES.c.car).contains(car.lower(), autoescape=True))
    if closed is not None:
        wanted.append(CASES.c.closed == int(closed))
    wanted.append(CASES.c.deleted == int(deleted))
    return select(CASES).where(*wanted).order_by(CASES.c.changed_at.desc(), CASES.c.case_id)
