"""Bench: whether fragile verdicts are wrong more often than robust ones, in worlds that are not the network's own.

Virtual cars are tested as advised until a repair is advised, or to give the car back. What the advice says then about
its own robustness (:mod:`faultnet.decision.robust`) is set beside what is true of the car. A first repair is wrong
where its part was not at fault, giving back where something still has to be repaired, a leading cause where the car
did not have it. Run `python -m tests.bench.robust --cars 40` for the table, with `--json` for the numbers; `--keep
FILE` adds each car to a file and takes over what is in it, so that a run that was broken off goes on.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path

from faultnet.decision.advice import Weighed, weigh
from faultnet.decision.costs import load_costs
from faultnet.decision.repair import GIVE_BACK
from faultnet.decision.robust import robustness
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.models import rest_all
from faultnet.diagnosis.robust import cause_claim
from faultnet.prior_set import load_catalogue
from faultnet.simulation.scoring.record import made_of
from faultnet.simulation.scoring.scores import wilson
from faultnet.simulation.workshop.job import Job, Shop, needs_mending
from faultnet.simulation.workshop.policies import as_advised
from faultnet.simulation.workshop.roster import drawn_car, place_of
from faultnet.simulation.workshop.stepping import arrived, stepped
from faultnet.simulation.workshop.steps import Look, Prepare

SEED = 27
WORLDS = ("standard", "mismatched", "independent")
MOST_STEPS = 60
CARS_AWAKE = 6  # cars after which models are let rest
ROBUST, ONE_AT_A_TIME, FRAGILE = GRADES = ("robust", "one at a time", "fragile")


@dataclass(frozen=True)
class Verdict:
    """What was said of one car when testing stopped, and whether it was so.

    Parameters
    ----------
    world, car : str, int
    repair, cause : str
        What was to be repaired first, and the leading cause.
    repair_grade, cause_grade : str
        One of :data:`GRADES`; empty where no repair was well founded.
    repair_wrong, cause_wrong : bool
    chance : float
        Of the repair being the whole cure, by the advice [-].
    """

    world: str
    car: int
    repair: str
    cause: str
    repair_grade: str
    cause_grade: str
    repair_wrong: bool
    cause_wrong: bool
    chance: float


def tested(shop: Shop, world: str, number: int, seed: int) -> tuple[Job, Weighed]:
    """A car tested as advised, up to the first repair or to being given back."""
    job = arrived(drawn_car(shop.catalogue, seed, number, world).vehicle, (seed, number))
    for _ in range(MOST_STEPS):
        weighed = weigh(work_through(job.case, shop.catalogue), shop.costs, tools=shop.tools)
        step = as_advised(weighed, weighed.tests[0].test if weighed.tests else "")
        if not isinstance(step, Look | Prepare):
            break
        job = stepped(job, shop, step, (seed, number))
    return job, weighed


def verdict_on(shop: Shop, world: str, number: int, seed: int) -> Verdict:
    """One car from being brought in to the first repair."""
    job, weighed = tested(shop, world, number, seed)
    cause, repair = cause_claim(weighed.worked), robustness(weighed, shop.costs, whole=False).repair
    name, faults = weighed.decision.repair, job.vehicle.faults
    had = {":".join(fault) for fault in faults} or {"nothing"}
    wrong = needs_mending(job) if name is None else name not in {component for component, _ in faults}
    chance = weighed.decision.chance_of_cure
    return Verdict(
        world,
        number,
        name or GIVE_BACK,
        cause.said,
        "" if repair is None else repair.grade,
        cause.grade,
        wrong,
        cause.said not in had,
        chance,
    )


def kept(path: Path | None, key: str) -> list[Verdict]:
    """Verdicts of the same run in a file; a last line that was cut off is done again."""
    if path is None or not path.exists():
        return []
    found = []
    for line in path.read_text(encoding="utf-8").splitlines():
        try:
            record = json.loads(line)
        except json.JSONDecodeError:
            continue
        if record.pop("key") == key:
            found.append(Verdict(**record))
    return found


def counted(verdicts: Iterable[Verdict], about: str) -> dict[str, dict[str, float]]:
    """For each grade how many verdicts there were, how many were wrong, and the Wilson interval."""
    found: dict[str, dict[str, float]] = {}
    told = [(getattr(v, f"{about}_grade"), getattr(v, f"{about}_wrong")) for v in verdicts]
    together = {"not fragile": (ROBUST, ONE_AT_A_TIME), "not robust": (ONE_AT_A_TIME, FRAGILE), "no grade": ("",)}
    for name, grades in ({grade: (grade,) for grade in GRADES} | together).items():
        wrong = [was for grade, was in told if grade in grades]
        if wrong:
            share = wilson(sum(wrong), len(wrong))
            found[name] = {"verdicts": len(wrong), "wrong": sum(wrong), **asdict(share)}
    return found


def report(verdicts: list[Verdict]) -> dict[str, dict[str, dict[str, dict[str, float]]]]:
    """By world and over all of them, for repairs and for causes."""
    worlds = {world: [v for v in verdicts if v.world == world] for world in WORLDS} | {"all": verdicts}
    return {
        world: {about: counted(some, about) for about in ("repair", "cause")} for world, some in worlds.items() if some
    }


def text(found: dict[str, dict[str, dict[str, dict[str, float]]]]) -> str:
    """The same as lines."""
    lines = []
    for world, abouts in found.items():
        for about, places in abouts.items():
            for name, row in places.items():
                share = f"{row['value']:.0%} ({row['low']:.0%} to {row['high']:.0%})"
                lines.append(f"{world:12} {about:7} {name:13} {row['wrong']:3} of {row['verdicts']:3} wrong  {share}")
    return "\n".join(lines)


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=40, help="in each world")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--world", choices=WORLDS, action="append", help="one world alone, or several")
    parser.add_argument("--keep", type=Path, help="file of JSON lines to add to and to go on from")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    shop = Shop(load_catalogue(), load_costs())
    key = f"{options.seed} {made_of(shop.catalogue, shop.costs)}"
    verdicts = kept(options.keep, key)
    done = {(v.world, v.car) for v in verdicts}
    for world in options.world or WORLDS:
        cars = sorted(range(options.cars), key=lambda number: (place_of(options.seed, number, world), number))
        for number in cars:
            if (world, number) in done:
                continue
            verdicts.append(verdict_on(shop, world, number, options.seed))
            print(f"{world} {number}: {verdicts[-1]}", file=sys.stderr)
            if options.keep is not None:
                with options.keep.open("a", encoding="utf-8") as file:
                    file.write(json.dumps({"key": key, **asdict(verdicts[-1])}) + "\n")
            if len(verdicts) % CARS_AWAKE == 0:
                rest_all()
    found = report(verdicts)
    print(json.dumps(found, indent=1) if options.json else text(found))


if __name__ == "__main__":
    main()
