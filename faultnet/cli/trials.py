"""Trials of the advice as JSON and as a table, and the bar that shows how far they have come."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
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
    "right_at_first_visit": "no part in vain, no coming back and no fault left; Wilson interval",
    "right_in_the_end": "given back for good without a fault; Wilson interval",
    "cars_that_came_back": "cars, not visits; Wilson interval",
    "wrong_parts_per_100": "parts bought that were not at fault, for 100 cars; bootstrap over cars, as are the others",
    "minutes": "hands-on minutes of tests, preparation, repairs and proofs over all visits [min]",
    "cost": "these minutes at the hourly rate, parts, and call-backs when a car was given back with a fault [money]",
    "tests": "tests done, without the complaint and the proofs",
    "brier": "mean squared difference of beliefs and truth, over all components, when testing first stopped",
    "log_loss": "mean of -ln of the belief in what was so [nat], over the same",
    "calibration_error": "mean distance of belief and frequency in ten classes of equal width, by count, over the same",
    "leading_calibration_error": "the same for the likeliest component of each car alone",
    "leading_calibration_corrected": "root mean square distance of belief and frequency of the likeliest component of "
    "each car, in the same classes, less what scatter alone makes of it (Ferro and Fricker 2012)",
    "leading_belief_less_truth": "mean belief in the likeliest component of each car less how often it was at fault",
}
TABLES = {
    "reliability": "belief, frequency and count in ten classes of equal width, over all components and cars",
    "leading_reliability": "the same for the likeliest component of each car alone",
    "first_visit": "cars, and those right at the first visit: a fault shows then, it is hidden, there is none",
    "by_component": "Brier score of each component, its parts corrected for scatter, and its skill: 1 less its share "
    "of the score of who knows nothing but how often that component is at fault in these cars",
}
SHOWN = (
    ("right first time", "right_first_time", 100.0, "{:.1f} %"),
    ("right at the first visit", "right_at_first_visit", 100.0, "{:.1f} %"),
    ("right in the end", "right_in_the_end", 100.0, "{:.1f} %"),
    ("cars that came back", "cars_that_came_back", 100.0, "{:.1f} %"),
    ("wrong parts, 100 cars", "wrong_parts_per_100", 1.0, "{:.1f}"),
    ("minutes", "minutes", 1.0, "{:.0f}"),
    ("cost", "cost", 1.0, "{:.0f}"),
    ("tests", "tests", 1.0, "{:.1f}"),
    ("Brier score", "brier", 1.0, "{:.4f}"),
    ("log loss", "log_loss", 1.0, "{:.3f}"),
    ("calibration error", "calibration_error", 1.0, "{:.3f}"),
    ("  of the leading cause", "leading_calibration_error", 1.0, "{:.3f}"),
    ("  of the leading cause, less scatter", "leading_calibration_corrected", 1.0, "{:.3f}"),
    ("  belief in it less truth", "leading_belief_less_truth", 1.0, "{:+.3f}"),
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
        "tables": TABLES,
        "policies": {name: row.record() for name, row in rows.items()},
    }


def curves(answer: Mapping[str, Any]) -> dict[str, list[dict[str, float]]]:
    """Classes of belief to draw: of all parts, and of the leading cause where it is believed at one half and more."""
    policies = answer["policies"].items()
    above = {f"{name}, leading cause": _above_half(row["leading_reliability"]) for name, row in policies}
    return {name: row["reliability"] for name, row in policies} | above


def trial_sheet(answer: Mapping[str, Any]) -> str:
    """Write a trial's table, one block for each number, a line for each policy, with 95 % intervals."""
    policies = answer["policies"]
    head = (
        f"{answer['cars']} virtual cars, seed {answer['seed']}, {answer['world']} world, faults drawn "
        f"{'by the base rates' if answer['draw'] == 'priors' else 'evenly over modes'}. All cars are invented."
    )
    blocks = [section(words, _lines(policies, name, scale, form)) for words, name, scale, form in SHOWN]
    notes = [
        wrapped(
            "In brackets: 95 % intervals. A car given back with a fault comes back and the call-back is paid; after "
            f"{MOST_COME_BACKS} call-backs, or {MOST_STEPS} steps, it counts as left with a fault."
        )
    ]
    rest = (
        ("Right at the first visit, by whether the fault shows", [_first_visit(*told) for told in policies.items()]),
        ("Counts of cars", [_counts(*told) for told in policies.items()]),
        (
            "Leading cause, believed at one half and more",
            [line for told in policies.items() for line in _believed(*told)],
        ),
        ("Brier skill of each part (more is better)", [_skills(*told) for told in policies.items()]),
        ("Notes", notes),
    )
    return joined((wrapped(head, ""), *blocks, *(section(words, lines) for words, lines in rest)))


def _lines(policies: Mapping[str, Any], name: str, scale: float, form: str) -> Iterator[str]:
    for policy, row in policies.items():
        value, low, high = (form.format(scale * row[name][k]) for k in ("value", "low", "high"))
        against = row.get(f"{name}_against_flow_chart")
        share = f"  {100.0 * against['value']:.0f} % of the flow chart's" if against else ""
        yield f"  {policy.replace('_', ' '):<24}{value:>9}  ({low} to {high}){share}"


def _counts(name: str, row: Mapping[str, Any]) -> str:
    return wrapped(f"{name.replace('_', ' ')}: " + ", ".join(f"{words} {row[key]}" for words, key in COUNTED))


def _first_visit(name: str, row: Mapping[str, Any]) -> str:
    told = (f"{words} {own['right']} of {own['cars']}" for words, own in row["first_visit"].items())
    return wrapped(f"{name.replace('_', ' ')}: {', '.join(told)}")


def _believed(name: str, row: Mapping[str, Any]) -> Iterator[str]:
    """How often the leading cause was so, in each class of belief above one half."""
    for told in _above_half(row["leading_reliability"]):
        so = round(told["frequency"] * told["count"])
        words = f"mean {told['belief']:.2f}, so in {so} of {told['count']} ({told['frequency']:.2f})"
        yield f"  {name.replace('_', ' '):<24}{words}"


def _above_half(classes: Iterable[dict[str, float]]) -> list[dict[str, float]]:
    return [told for told in classes if told["belief"] >= 0.5]


def _skills(name: str, row: Mapping[str, Any]) -> str:
    known = {part: told["skill"] for part, told in row["by_component"].items() if told["skill"] is not None}
    words = (f"{part} {known[part]:.2f}" for part in sorted(known, key=lambda part: -known[part]))
    return wrapped(f"{name.replace('_', ' ')}: {', '.join(words)}")


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
