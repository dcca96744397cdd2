"""Trials of the advice as JSON and as a table, and the bar that shows how far they have come."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from faultnet.cli.layout import joined, section, wrapped
from faultnet.simulation.independent.world import FLEET, INDEPENDENT_WORLDS
from faultnet.simulation.scoring.table import Row
from faultnet.simulation.trial import Plan
from faultnet.simulation.workshop.job import MOST_COME_BACKS, MOST_STEPS
from faultnet.simulation.workshop.roster import ROSTER

DEFINITIONS = {
    "right_first_time": "the first part bought was at fault, or none was bought and none was needed; Wilson interval",
    "wrong_parts_per_100": "parts bought that were not at fault, for 100 cars; bootstrap over cars, as are the others",
    "minutes": "hands-on minutes of tests, preparation, repairs and proofs over all visits [min]",
    "cost": "these minutes at the hourly rate, parts, and call-backs when a car was given back with a fault [money]",
    "tests": "tests done, without the complaint and the proofs",
    "brier": "mean squared difference of beliefs and truth, over all components, when testing first stopped",
    "log_loss": "mean of -ln of the belief in what was so [nat], over the same",
    "calibration_error": "mean distance of belief and frequency in ten classes of equal width, by count, over the same",
    "leading_calibration_error": "the same for the likeliest component of each car alone",
}
SHOWN = (
    ("right first time", "right_first_time", 100.0, "{:.1f} %"),
    ("wrong parts, 100 cars", "wrong_parts_per_100", 1.0, "{:.1f}"),
    ("minutes", "minutes", 1.0, "{:.0f}"),
    ("cost", "cost", 1.0, "{:.0f}"),
    ("tests", "tests", 1.0, "{:.1f}"),
    ("Brier score", "brier", 1.0, "{:.4f}"),
    ("log loss", "log_loss", 1.0, "{:.3f}"),
    ("calibration error", "calibration_error", 1.0, "{:.3f}"),
    ("  of the leading cause", "leading_calibration_error", 1.0, "{:.3f}"),
)
COUNTED = (("came back", "come_backs"), ("left with a fault", "left_with_fault"), ("too many steps", "looped"))


def trial_answer(plan: Plan, rows: Mapping[str, Row]) -> dict[str, Any]:
    """Give a trial as JSON."""
    return {
        "cars": plan.cars,
        "seed": plan.seed,
        "world": plan.world,
        "draw": plan.draw,
        "tools": None if plan.tools is None else list(plan.tools),
        "roster": len(FLEET if plan.world in INDEPENDENT_WORLDS else ROSTER),
        "invented": True,
        "definitions": DEFINITIONS,
        "policies": {name: row.record() for name, row in rows.items()},
    }


def trial_sheet(answer: Mapping[str, Any]) -> str:
    """Write a trial's table, one block for each number, a line for each policy, with 95 % intervals."""
    policies = answer["policies"]
    head = (
        f"{answer['cars']} virtual cars, seed {answer['seed']}, {answer['world']} world, faults drawn "
        f"{'by the base rates' if answer['draw'] == 'priors' else 'evenly over modes'}. All cars are invented."
    )
    blocks = [section(words, _lines(policies, name, scale, form)) for words, name, scale, form in SHOWN]
    counts = [_counts(name, row) for name, row in policies.items()]
    notes = [
        wrapped(
            "In brackets: 95 % intervals. A car given back with a fault comes back and the call-back is paid; after "
            f"{MOST_COME_BACKS} call-backs, or {MOST_STEPS} steps, it counts as left with a fault."
        )
    ]
    return joined((wrapped(head, ""), *blocks, section("Counts of cars", counts), section("Notes", notes)))


def _lines(policies: Mapping[str, Any], name: str, scale: float, form: str) -> Iterator[str]:
    for policy, row in policies.items():
        value, low, high = (form.format(scale * row[name][k]) for k in ("value", "low", "high"))
        against = row.get(f"{name}_against_flow_chart")
        share = f"  {100.0 * against['value']:.0f} % of the flow chart's" if against else ""
        yield f"  {policy.replace('_', ' '):<24}{value:>9}  ({low} to {high}){share}"


def _counts(name: str, row: Mapping[str, Any]) -> str:
    return wrapped(f"{name.replace('_', ' ')}: " + ", ".join(f"{words} {row[key]}" for words, key in COUNTED))


@contextmanager
def progress() -> Iterator[Callable[[int, int], None]]:
    """Show a bar on standard error while a trial runs; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    console = Console(stderr=True)
    columns = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task("cars", total=None)

        def told(done: int, whole: int) -> None:
            bar.update(task, completed=done, total=whole)

        yield told
