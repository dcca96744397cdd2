"""The answers of `faultnet cases`, as JSON and as text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from faultnet.case.store.backup import Contents
from faultnet.case.store.summary import CaseSummary
from faultnet.cli.layout import section, wrapped


def cases_answer(found: Sequence[CaseSummary]) -> dict[str, Any]:
    """Give a list of kept cases as plain data."""
    return {"cases": [{**vars(line), "causes": [list(cause) for cause in line.causes]} for line in found]}


def cases_sheet(found: Sequence[CaseSummary]) -> str:
    """Give a list of kept cases as text."""
    lines = [wrapped(f"{c.case_id}  {c.last_date[:10]}  {_state(c)}  {c.name or c.car or c.complaint}") for c in found]
    return section("Cases", lines) or "No case."


def _state(line: CaseSummary) -> str:
    causes = ", ".join(f"{component}:{mode}" for component, mode in line.causes)
    return f"closed ({causes or 'nothing at fault'})" if line.closed else "open"


def backup_answer(held: Contents) -> dict[str, Any]:
    """Give what a backup holds as plain data."""
    return dict(vars(held))
