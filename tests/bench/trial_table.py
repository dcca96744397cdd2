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
    return "\n\n".join((BEGIN, _filled(head), *(_world(world) for world in worlds), END))


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
    for words, name, scale, form in SHOWN:
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
