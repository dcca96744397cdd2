"""The answers of `faultnet tune` and `faultnet priors`, as JSON and as text."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

from faultnet.cli.layout import WIDTH, joined, section, wrapped
from faultnet.learning.progress import Progress as Step
from faultnet.learning.progress import Told
from faultnet.learning.result import Score, Tuned
from faultnet.learning.versions.versions import Difference, Version
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.tuning import (
    change_words,
    clearly,
    data_warnings,
    influential_words,
    largest,
    people_words,
    score_rows,
    summary_words,
    value_words,
)

MOST_LINES = 25


@contextmanager
def tuning_progress() -> Iterator[Told]:
    """Show a bar with what is being done and the time left on standard error; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    console = Console(stderr=True)
    columns = (BarColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("beginning", total=1.0)

        def told(progress: Step) -> None:
            left = f"; about {progress.left:.0f} s left" if progress.left < 1e6 else ""
            bar.update(task, completed=progress.share, description=progress.doing + left)

        yield told


def tuned_answer(tuned: Tuned, history: str, left_out: int, accepted: str | None) -> dict[str, Any]:
    """Give what tuning found as plain data, as DEVELOPERS.md describes it."""
    options = tuned.options
    return {
        "history": history,
        "cases": tuned.cases,
        "rows_left_out": left_out,
        "from": tuned.from_set,
        "options": {
            "strength": options.strength,
            "recency_half_life": options.recency_half_life,
            "groups": list(options.groups),
            "folds": options.folds,
            "by_person": options.by_person,
            "compact": options.compact,
            "physical": options.physical,
        },
        "passes": tuned.passes,
        "log_posterior": [float(value) for value in tuned.log_posterior],
        "changes": [
            {
                "table": c.table,
                "key": list(c.key),
                "old": float(c.old),
                "new": float(c.new),
                "low": float(c.low),
                "high": float(c.high),
                "effective_cases": float(c.effective_cases),
                "unit": c.unit,
                "clear": clearly(c),
            }
            for c in tuned.changes
        ],
        "scores": {"old": _score(tuned.old_score), "new": _score(tuned.new_score)},
        "influential": [{"case": name, "moved": what, "by": float(far)} for name, what, far in tuned.influential],
        "people": [
            {"person": c.key[0], "times": c.new, "low": c.low, "high": c.high, "readings": c.effective_cases}
            for c in tuned.people
        ],
        "warnings": list(data_warnings(tuned)),
        "accepted": accepted,
    }


def _score(score: Score | None) -> dict[str, Any] | None:
    if score is None:
        return None
    bands = [{"belief": float(b), "true": float(t), "count": int(n)} for b, t, n in score.calibration]
    return {"log_loss": float(score.log_loss), "brier": float(score.brier), "cases": score.cases, "calibration": bands}


def tuned_sheet(tuned: Tuned, catalogue: Catalogue, history: str, left_out: int) -> str:
    """Give what tuning found as text, tables drawn by rich."""
    lines = [wrapped(line) for line in summary_words(tuned, history)]
    if left_out:
        lines.append(wrapped(f"{left_out} rows could not be used; their cases were left out."))
    shown = largest(tuned, MOST_LINES)
    rows = [
        (
            change_words(c, catalogue),
            value_words(c.old, c.unit),
            value_words(c.new, c.unit),
            f"{value_words(c.low, c.unit)} to {value_words(c.high, c.unit)}",
            f"{c.effective_cases:.0f}",
        )
        for c in shown
    ]
    title = f"Changed numbers, the clearest {len(shown)} of {len(tuned.changes)}"
    return joined(
        (
            section("What tuning would change", lines),
            section("Be careful", [wrapped(text, "  - ") for text in data_warnings(tuned)]),
            section("On cases that were not learnt from", _drawn(("", "old", "new"), score_rows(tuned))),
            section(title, _drawn(("number", "old", "new", "95 % interval", "cases"), rows)),
            section("Slips by who read", [wrapped(text, "  - ") for text in people_words(tuned)]),
            section("Cases that moved most", [wrapped(text, "  - ") for text in influential_words(tuned)]),
        )
    )


def _drawn(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    """Draw a table without colours; nothing when it has no rows."""
    if not rows:
        return []
    from io import StringIO

    from rich import box
    from rich.console import Console
    from rich.table import Table

    drawn = Table(*heads, box=box.SIMPLE_HEAD, pad_edge=False, show_edge=False)
    for row in rows:
        drawn.add_row(*row)
    out = StringIO()
    Console(file=out, width=WIDTH, color_system=None, markup=False, highlight=False, emoji=False).print(drawn)
    encoding = getattr(sys.stdout, "encoding", None) or "ascii"
    text = out.getvalue().encode(encoding, errors="replace").decode(encoding)
    return [line.rstrip() for line in text.splitlines()]


def versions_sheet(found: Sequence[Version]) -> str:
    """Give the list of prior sets as text."""
    rows = [(v.label, v.state, v.date, v.title) for v in found]
    return section("Prior sets", _drawn(("set", "state", "date", "what it is"), rows))


def versions_answer(found: Sequence[Version]) -> dict[str, Any]:
    """Give the list of prior sets as plain data."""
    return {"prior_sets": [dict(vars(version)) for version in found]}


def differences_answer(first: str, second: str, found: Sequence[Difference]) -> dict[str, Any]:
    """Give what differs between two prior sets as plain data."""
    rows = [{"table": d.table, "key": list(d.key), "first": d.first, "second": d.second} for d in found]
    return {"first": first, "second": second, "differences": rows}


def differences_sheet(first: str, second: str, found: Sequence[Difference]) -> str:
    """Give what differs between two prior sets as text."""
    if not found:
        return f"{first} and {second} hold the same numbers."

    def shown(value: float | None) -> str:
        return "no row" if value is None else f"{value:.4g}"

    rows = [(d.table, " / ".join(d.key), shown(d.first), shown(d.second)) for d in found]
    return section(f"{len(found)} numbers differ", _drawn(("table", "row", first, second), rows))
