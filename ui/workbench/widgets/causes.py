"""The leading causes as plain bars, with the change since the last entry."""

from __future__ import annotations

from collections.abc import Mapping

from faultnet.diagnosis import Diagnosis
from faultnet.report.words import share_words
from workbench.answers import NO_FAULT
from workbench.words import NO_FAULT as NO_FAULT_WORDS
from workbench.words import change, plain

SHOWN = 3
LEAST_NO_FAULT = 0.02


def leading(diagnosis: Diagnosis, count: int = SHOWN) -> list[tuple[tuple[str, str], str, float]]:
    """The leading causes, and that no part is at fault where that is among them: key, label, probability."""
    rows = [((c.component, c.mode), c.label, c.probability) for c in diagnosis.causes[:count]]
    if diagnosis.nothing_wrong > LEAST_NO_FAULT:
        rows.append((NO_FAULT, NO_FAULT_WORDS, diagnosis.nothing_wrong))
    return sorted(rows, key=lambda row: -row[2])[:count]


def bars(diagnosis: Diagnosis, before: Mapping[tuple[str, str], float] | None, count: int = SHOWN) -> str:
    """HTML of the leading causes.

    Parameters
    ----------
    diagnosis : Diagnosis
    before : mapping of (component, mode) to probability, optional
        As it stood one entry earlier; a thin mark on the bar shows it.
    count : int
    """
    lines = [_line(label, now, before.get(key) if before else None) for key, label, now in leading(diagnosis, count)]
    return f"<ol class='fn-causes' aria-label='Likely causes'>{''.join(lines)}</ol>"


def _line(label: str, now: float, before: float | None) -> str:
    moved, mark = "", ""
    if before is not None:
        moved = f"<span class='moved' title='change since the last entry'>{change(now, before)}</span>"
        mark = f"<b style='left:calc({100 * before:.1f}% - 1px)'></b>"
    return (
        f"<li><span class='name'>{plain(label)}</span><span class='share'>{plain(share_words(now))}</span>"
        f"{moved or '<span class=moved></span>'}"
        f"<span class='bar' aria-hidden='true'><i style='width:{100 * now:.1f}%'></i>{mark}</span></li>"
    )
