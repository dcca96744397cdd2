"""Write the trial's table into trials.md from stored results, which one command makes.

``python tests/bench/trial_table.py`` writes the block between the marks in ``tests/bench/trials.md`` from
``tests/bench/results/trials.json``. With ``--run`` it first makes that file: the advice against the flow chart on
``--cars`` of the standard and ``--mismatched`` of the mismatched world, and against every other policy on the first
``--all`` of the standard one (0: not), with ``--seed S --workers W``; ``--resume FOLDER`` keeps each car's result
there, so that a run that was broken off goes on.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import time
from pathlib import Path
from typing import Any

from faultnet.cli.trials import COUNTED, SHOWN, trial_answer

TOP = Path(__file__).parents[2]
RESULTS = TOP / "tests" / "bench" / "results" / "trials.json"
BEGIN, END = "<!-- trial table: begin -->", "<!-- trial table: end -->"
AIMS = {
    "standard": (
        ("right first time", "right_first_time", 100.0, "at least", 95.0, " %"),
        ("wrong parts in 100 cars", "wrong_parts_per_100", 1.0, "at most", 4.0, ""),
        ("cost against the chart", "cost_against_flow_chart", 100.0, "at most", 60.0, " %"),
        ("minutes against the chart", "minutes_against_flow_chart", 100.0, "at most", 60.0, " %"),
        ("calibration error", "calibration_error", 1.0, "at most", 0.02, ""),
        ("calibration error of the leading cause", "leading_calibration_error", 1.0, "at most", 0.02, ""),
    ),
    "mismatched": (
        ("right first time", "right_first_time", 100.0, "at least", 88.0, " %"),
        ("calibration error", "calibration_error", 1.0, "at most", 0.06, ""),
        ("calibration error of the leading cause", "leading_calibration_error", 1.0, "at most", 0.06, ""),
    ),
}
"""Aims of each world for the advice: words, name in the results, scale, which side, limit, unit."""

MAIN = ("expected_cost", "flow_chart")
ALL = (*MAIN, "most_likely_first", "random", "information_per_minute", "class_edges")


def block(results: dict[str, Any]) -> str:
    """The part of the page between the marks."""
    worlds = results["worlds"]
    first = worlds[0]
    head = (
        f"{first['cars']} invented cars, seed {first['seed']}, faults by the base rates, every tool at hand; "
        f"{results['machine']}, {_time(results['minutes'])}. In brackets: 95 % intervals."
    )
    return "\n\n".join((BEGIN, _filled(head), *(_world(world) for world in worlds), _aims(worlds), END))


def _aims(worlds: list[dict[str, Any]]) -> str:
    """What was aimed at, and whether the whole 95 % interval meets it."""
    lines = ["| aim for the advice | reached, 95 % interval | |", "|---|---|---|"]
    for world in worlds:
        for words, name, scale, side, limit, unit in AIMS.get(world["world"], ()):
            if (row := world["policies"].get(MAIN[0], {}).get(name)) is None:
                continue
            value, low, high = (scale * row[end] for end in ("value", "low", "high"))
            digits = 1 if limit >= 1.0 else 3
            reached = f"{value:.{digits}f}{unit} ({low:.{digits}f} to {high:.{digits}f})"
            aim = f"{world['world']} world: {words} {side} {limit:g}{unit}"
            lines.append(f"| {aim} | {reached} | {verdict(side, limit, value, low, high)} |")
    return "\n".join(lines)


def verdict(side: str, limit: float, value: float, low: float, high: float) -> str:
    """An aim is met only where the whole interval meets it, and missed where its value does not.

    Examples
    --------
    >>> verdict("at least", 95.0, 96.0, 94.6, 97.0), verdict("at most", 4.0, 5.0, 3.0, 7.0)
    ('not shown', '**missed**')
    """
    sign = 1.0 if side == "at least" else -1.0
    if sign * value < sign * limit:
        return "**missed**"
    return "met" if min(sign * low, sign * high) >= sign * limit else "not shown"


def _time(minutes: float | None) -> str:
    """How long it took; nothing was timed where a run was put together from pieces."""
    return "run in pieces and not timed" if minutes is None else f"{minutes:g} min"


def _filled(text: str) -> str:
    import textwrap

    return textwrap.fill(text, 118)


def _world(world: dict[str, Any]) -> str:
    names = list(world["policies"])
    titles = " | ".join(name.replace("_", " ") for name in names)
    lines = [f"| {world['world']} world, {world['cars']} cars | {titles} |", "|---" * (len(names) + 1) + "|"]
    told = world["policies"][names[0]]
    for words, name, scale, form in (shown for shown in SHOWN if shown[1] in told):  # older results hold fewer numbers
        cells = [_cell(world["policies"][p], name, scale, form) for p in names]
        lines.append(f"| {words.strip()} | {' | '.join(cells)} |")
    for words, name in COUNTED:
        lines.append(f"| {words} | {' | '.join(str(world['policies'][p][name]) for p in names)} |")
    return "\n".join(lines)


def _cell(row: dict[str, Any], name: str, scale: float, form: str) -> str:
    value, low, high = (form.format(scale * row[name][k]) for k in ("value", "low", "high"))
    against = row.get(f"{name}_against_flow_chart")
    share = f", {100.0 * against['value']:.0f} % of the chart's" if against else ""
    return f"{value} ({low.removesuffix(' %')} to {high.removesuffix(' %')}){share}"


def written(text: str, results: dict[str, Any]) -> str:
    """The page with the block put in."""
    start, stop = text.index(BEGIN), text.index(END) + len(END)
    return text[:start] + block(results) + text[stop:]


def run(given: argparse.Namespace) -> dict[str, Any]:
    """Run the trials."""
    from faultnet.simulation.trial import Plan, run_trial

    started, worlds = time.time(), []
    tables = (("standard", MAIN, given.cars), ("mismatched", MAIN, given.mismatched), ("standard", ALL, given.all))
    for world, policies, cars in (table for table in tables if table[2]):
        plan = Plan(cars, given.seed, world, policies)
        keep = None if given.resume is None else given.resume / f"{world}.jsonl"
        worlds.append(trial_answer(plan, run_trial(plan, workers=given.workers, resume=keep)))
    minutes = None if given.resume is not None else round((time.time() - started) / 60.0, 1)
    machine = (
        f"{platform.machine()}, {os.cpu_count()} cores, {given.workers} workers, Python {platform.python_version()}"
    )
    return {"machine": machine, "minutes": minutes, "worlds": worlds}


def main() -> None:
    """Read or make the results, and write the page."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--run", action="store_true")
    parser.add_argument("--cars", type=int, default=2000)
    parser.add_argument("--mismatched", type=int, default=2000, metavar="CARS")
    parser.add_argument("--all", type=int, default=500, metavar="CARS")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--resume", type=Path)
    given = parser.parse_args()
    if given.run:
        RESULTS.parent.mkdir(exist_ok=True)
        results = run(given)
        RESULTS.write_text(json.dumps(results, indent=1) + "\n", encoding="utf-8")
    page = TOP / "tests" / "bench" / "trials.md"
    results = json.loads(RESULTS.read_text(encoding="utf-8"))
    page.write_text(written(page.read_text(encoding="utf-8"), results), encoding="utf-8")


if __name__ == "__main__":
    main()
