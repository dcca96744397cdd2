"""What is bought while a check that the trade names for it is open, and what is given back without a look at charging.

Run `python -m tests.bench.buying --cars 80 --seed 4207 --policy expected_cost,by_saving --keep FILE --write FILE`. The
same virtual cars are worked on by each way to choose the next test, car by car; a run that was broken off goes on, and
what is counted are the cars that every one of them was done with. Differences are paired, 95 % by bootstrap over cars.
`--older FILE` sets cars beside them that older code was run on, as `before`.
"""

from __future__ import annotations

import argparse
import json
import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from faultnet.case.types import Case, Reading
from faultnet.decision.advice import weigh
from faultnet.decision.choosing import CHOSEN
from faultnet.decision.costs import Costs
from faultnet.decision.proving import unproven
from faultnet.diagnosis import work_through
from faultnet.simulation.trial import Plan, shop_of
from faultnet.simulation.workshop.job import BUYS_NO_PART, Shop
from faultnet.simulation.workshop.one_car import CarResult, try_car
from faultnet.simulation.workshop.policies import as_advised, policy_named
from faultnet.simulation.workshop.roster import drawn_car
from faultnet.simulation.workshop.steps import GiveBack, Mend, Step

CHARGING = ("charge_idle_voltage", "charge_loaded_voltage", "charge_unloaded_voltage", "charge_hot_voltage")
PARKED = ("key_off_current",)
FIGURES = ("cost", "minutes", "tests", "wrong_parts", "right_first_time", "come_backs", "left_with_fault")


@dataclass
class Bought:
    """What was bought and given back of one car, with what was open then.

    `parts` are (component, was at fault, checks open, checks named); `flat` are, for each time that a car which is flat
    again and again was given back, whether a charging voltage was read, could have been, and the same of the draw.
    """

    parts: list[tuple[str, bool, int, int]] = field(default_factory=list)
    flat: list[tuple[bool, bool, bool, bool]] = field(default_factory=list)

    def note(self, step: Step, case: Case, costs: Costs, shop: Shop, doable: Sequence[str], faults: set[str]) -> None:
        """Take down a step before it is done."""
        if isinstance(step, Mend) and shop.catalogue.act(step.act).effect not in BUYS_NO_PART:
            left = unproven(case, costs, doable).open_checks.get(step.component, ())
            named = len(costs.named.get(step.component, ()))
            self.parts.append((step.component, step.component in faults, len(left), named))
        if isinstance(step, GiveBack) and _told(case, "flat_how_often") == "again_and_again":
            read = {e.test for v in case.visits for e in v.entries if isinstance(e, Reading) and not e.not_measured}
            seen = [bool(read & set(tests)) for tests in (CHARGING, PARKED)]
            could = [bool(set(doable) & set(tests)) for tests in (CHARGING, PARKED)]
            self.flat.append((seen[0], could[0], seen[1], could[1]))


def _told(case: Case, test: str) -> str | None:
    return next((e.state for v in case.visits for e in v.entries if isinstance(e, Reading) and e.test == test), None)


def worked(plan: Plan, number: int, name: str, shop: Shop) -> tuple[CarResult, Bought]:
    """One car under one way to choose the next test."""
    criterion = CHOSEN if name == "expected_cost" else name.removeprefix("by_")
    drawn, bought = drawn_car(shop.catalogue, plan.seed, number, plan.world, plan.draw), Bought()

    def policy(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
        weighed = weigh(work_through(case, shop.catalogue), shop.costs, tools=shop.tools, criterion=criterion)
        step = as_advised(weighed, weighed.tests[0].test if weighed.tests else "")
        faults = {component for component, _ in drawn.vehicle.faults}
        bought.note(step, case, shop.costs, shop, [t.test for t in weighed.tests], faults)
        return step

    return try_car(drawn, name, policy, shop, plan.seed), bought


def run(plan: Plan, keep: Path, minutes: float) -> None:
    """Work on the cars that are not kept yet, until time is up."""
    shop, until = shop_of(plan), time.monotonic() + 60.0 * minutes
    done = {(line["policy"], line["result"]["car"]) for line in kept(keep)}
    for number in range(plan.cars):
        for name in plan.policies:
            if (name, number) in done:
                continue
            if time.monotonic() > until:
                return
            result, bought = worked(plan, number, name, shop)
            line = {"policy": name, "result": result.record(), "parts": bought.parts, "flat": bought.flat}
            with keep.open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")


def kept(path: Path) -> list[dict[str, Any]]:
    """Lines of a file of kept cars; a last one that was cut off is left out."""
    lines = path.read_text(encoding="utf-8").split("\n") if path.exists() else []
    return [json.loads(line) for line in lines[:-1]]


def figures(lines: Sequence[dict[str, Any]], policies: Sequence[str]) -> dict[str, Any]:
    """Means, paired differences of the first policy from each other, and what was open, over cars all are done with."""
    by = {name: {x["result"]["car"]: x for x in lines if x["policy"] == name} for name in policies}
    cars = sorted(set.intersection(*(set(found) for found in by.values())))
    value = {
        name: {f: np.array([float(found[c]["result"][f]) for c in cars]) for f in FIGURES} for name, found in by.items()
    }
    drawn = np.random.default_rng(1).integers(0, len(cars), (4000, len(cars)))
    differ = {}
    for other in policies[1:]:
        rows = {}
        for f in FIGURES:
            change = value[policies[0]][f] - value[other][f]
            low, high = np.percentile(change[drawn].mean(axis=1), [2.5, 97.5])
            rows[f] = {k: round(float(v), 4) for k, v in (("value", change.mean()), ("low", low), ("high", high))}
        differ[f"{policies[0]} - {other}"] = rows
    return {
        "cars": len(cars),
        "policies": {n: {f: round(float(v.mean()), 4) for f, v in found.items()} for n, found in value.items()},
        "differences": differ,
        "bought": {name: open_when_bought([found[c] for c in cars]) for name, found in by.items()},
        "flat_again_and_again": {name: given_back([found[c] for c in cars]) for name, found in by.items()},
    }


def open_when_bought(lines: Sequence[dict[str, Any]]) -> dict[str, dict[str, int]]:
    """Of each part for which the trade names checks: how many were bought, of these with a check open, and in vain."""
    found: dict[str, dict[str, int]] = {}
    for component, was_at_fault, left, named in (tuple(p) for line in lines for p in line["parts"]):
        if named:
            row = found.setdefault(component, {"bought": 0, "with_a_check_open": 0, "with_all_open": 0, "in_vain": 0,
                                               "in_vain_with_a_check_open": 0})  # fmt: skip
            row["bought"] += 1
            row["with_a_check_open"] += left > 0
            row["with_all_open"] += left == named
            row["in_vain"] += not was_at_fault
            row["in_vain_with_a_check_open"] += not was_at_fault and left > 0
    return dict(sorted(found.items()))


def given_back(lines: Sequence[dict[str, Any]]) -> dict[str, int]:
    """Times that a car which is flat again and again was given back, and what had not been read although it could."""
    times = [tuple(t) for line in lines for t in line["flat"]]
    return {
        "given_back": len(times),
        "without_charging_voltage": sum(not seen for seen, _, _, _ in times),
        "which_could_be_read": sum(could and not seen for seen, could, _, _ in times),
        "without_key_off_current": sum(not seen for _, _, seen, _ in times),
        "which_could_be_had": sum(could and not seen for _, _, seen, could in times),
    }


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cars", type=int, default=80)
    parser.add_argument("--seed", type=int, default=4207)
    parser.add_argument("--world", default="standard")
    parser.add_argument("--tools", default="all", help="comma-separated; all for every tool")
    parser.add_argument("--policy", default="expected_cost,by_saving")
    parser.add_argument("--priors", default="standard")
    parser.add_argument("--minutes", type=float, default=40.0)
    parser.add_argument("--keep", type=Path, default=Path("buying.jsonl"))
    parser.add_argument("--older", type=Path, help="kept cars of older code, worked on as expected_cost there")
    parser.add_argument("--write", type=Path)
    given = parser.parse_args()
    tools = None if given.tools == "all" else tuple(given.tools.split(","))
    policies = tuple(given.policy.split(","))
    for name in policies:
        policy_named(name)
    plan = Plan(given.cars, given.seed, given.world, policies, "priors", tools, given.priors)
    run(plan, given.keep, given.minutes)
    lines = kept(given.keep)
    if given.older:
        lines += [{**line, "policy": "before"} for line in kept(given.older) if line["policy"] == "expected_cost"]
        policies = (*policies, "before")
    head = {"seed": given.seed, "world": given.world, "tools": given.tools, "fixed_beforehand": given.cars}
    found = {**head, "invented": True, **figures(lines, policies)}
    if given.write:
        given.write.write_text(json.dumps(found, indent=1, sort_keys=True) + "\n", encoding="utf-8")
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    main()
