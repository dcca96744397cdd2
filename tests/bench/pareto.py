"""What the price of a part in vain and that of a come-back buy: wrong parts against minutes and cars that come back.

Run `python tests/bench/pareto.py --cars 24 --keep FOLDER`; the same virtual cars are worked on by the advice at each
pair of prices, one car at all prices before the next, and a run that was broken off goes on. `--minutes` ends it then;
what is counted are the cars that were worked on at every price. `--write FILE` keeps the figures as JSON. The prices
are those of the advice alone; nothing is added up in money, because money at other prices is another unit.
"""

from __future__ import annotations

import argparse
import csv
import json
import time
from pathlib import Path
from typing import Any

import numpy as np

from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set.records import COLUMNS
from faultnet.shipped import shipped
from faultnet.simulation.trial import Plan, results_of
from faultnet.simulation.workshop.one_car import CarResult

IN_VAIN, CALL_BACK = 400.0, 320.0
PRICES = ((IN_VAIN, CALL_BACK), (100.0, CALL_BACK), (1600.0, CALL_BACK), (IN_VAIN, 80.0), (IN_VAIN, 1280.0))
"""Price of a part in vain and of a come-back [money]: as shipped, then each a quarter and four times of that."""

COUNTS = {
    "wrong_parts": ("wrong parts, 100 cars", 100.0),
    "came_back": ("cars that came back, in 100", 100.0),
    "left_with_fault": ("left with a fault, in 100", 100.0),
    "right_first_time": ("right first time, in 100", 100.0),
    "minutes": ("minutes", 1.0),
    "tests": ("tests", 1.0),
}


def prior_set(folder: Path, in_vain: float, call_back: float) -> Path:
    """Write a small prior set with these prices, the shipped one as its parent."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "prior_set.toml").write_text('name = "prices"\nversion = "1"\nparent = "standard"\n', encoding="utf-8")
    text = (shipped("priors") / "standard" / "costs.csv").read_text(encoding="utf-8").splitlines()
    rows = []
    for row in csv.DictReader(text):
        factor = in_vain / IN_VAIN if row["kind"] == "in_vain" else call_back / CALL_BACK
        if row["kind"] == "in_vain" or (row["kind"], row["name"]) == ("shop", "call_back"):
            rows.append({**row, "value": f"{factor * float(row['value']):g}"})
    with (folder / "costs.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS["costs"], extrasaction="ignore", lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    return folder


def counted(result: CarResult) -> dict[str, float]:
    """What is counted of one car."""
    return {
        "wrong_parts": float(result.wrong_parts),
        "came_back": float(result.come_backs > 0),
        "left_with_fault": float(result.left_with_fault),
        "right_first_time": float(result.right_first_time),
        "minutes": result.minutes,
        "tests": float(result.tests),
    }


def worked(
    cars: int, seed: int, world: str, tools: str, keep: Path, minutes: float
) -> list[dict[tuple[float, float], CarResult]]:
    """Each car at every price, those that were done when time was up."""
    until, done = time.monotonic() + 60.0 * minutes, []
    chosen = tuple(sorted(USUAL_TOOLS)) if tools == "usual" else None
    folders = {pair: prior_set(keep / f"prices_{pair[0]:g}_{pair[1]:g}", *pair) for pair in PRICES}
    for number in range(1, cars + 1):
        found = {}
        for pair, folder in folders.items():
            plan = Plan(number, seed, world, ("expected_cost",), tools=chosen, priors=str(folder))
            found[pair] = results_of(plan, resume=keep / f"{folder.name}_{world}_{tools}.jsonl")["expected_cost"][-1]
            if time.monotonic() > until:
                break
        if len(found) == len(PRICES):
            done.append(found)
        if time.monotonic() > until:
            break
    return done


def figures(done: list[dict[tuple[float, float], CarResult]]) -> list[dict[str, Any]]:
    """Means at each price, and their paired difference from the shipped prices, 95 % by bootstrap over cars."""
    table = {pair: {name: np.array([counted(car[pair])[name] for car in done]) for name in COUNTS} for pair in PRICES}
    drawn = np.random.default_rng(1).integers(0, len(done), (2000, len(done)))
    rows = []
    for pair in PRICES:
        row: dict[str, Any] = {"in_vain": pair[0], "call_back": pair[1]}
        for name, (_, scale) in COUNTS.items():
            change = scale * (table[pair][name] - table[PRICES[0]][name])
            low, high = np.percentile(change[drawn].mean(axis=1), [2.5, 97.5])
            mean = float(scale * table[pair][name].mean())
            row[name] = {"value": round(mean, 2), "low": round(float(low), 2), "high": round(float(high), 2)}
        rows.append(row)
    return rows


def page(rows: list[dict[str, Any]]) -> str:
    """The figures as a table."""
    lines = ["| part in vain, come-back | " + " | ".join(words for words, _ in COUNTS.values()) + " |"]
    lines.append("|---" * (len(COUNTS) + 1) + "|")
    for k, row in enumerate(rows):
        cells = []
        for name in COUNTS:
            cell = row[name]
            cells.append(f"{cell['value']:.1f}" + (f" ({cell['low']:+.1f} to {cell['high']:+.1f})" if k else ""))
        lines.append(f"| {row['in_vain']:g}, {row['call_back']:g} | {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cars", type=int, default=24)
    parser.add_argument("--seed", type=int, default=1811)
    parser.add_argument("--world", default="standard")
    parser.add_argument("--tools", default="all", choices=("all", "usual"))
    parser.add_argument("--keep", type=Path, default=Path("pareto"))
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--write", type=Path)
    given = parser.parse_args()
    begun = time.process_time()
    done = worked(given.cars, given.seed, given.world, given.tools, given.keep, given.minutes)
    spent = time.process_time() - begun
    rows = figures(done)
    head = {
        "cars": len(done),
        "asked_for": given.cars,
        "seed": given.seed,
        "world": given.world,
        "tools": given.tools,
        "invented": True,
    }
    if given.write:
        given.write.write_text(json.dumps({**head, "prices": rows}, indent=1) + "\n", encoding="utf-8")
    where = f"{given.world} world, {given.tools} tools"
    print(f"{len(done)} of {given.cars} cars, seed {given.seed}, {where}; {spent:.0f} s of processor time\n")
    print(page(rows))


if __name__ == "__main__":
    main()
