"""A trial: the same virtual cars for every policy, spread over processes, the table at the end.

Each car has random streams of its own, by seed and number, so the table does not depend on how many processes there are
or in which order cars are dealt with, and policies differ by what they do to a car and not by luck. Cars of one place
in the roster go to one process together, where the model of their network is in memory.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from faultnet.cluster import as_they_come
from faultnet.decision.costs import load_costs
from faultnet.diagnosis.models import rest_all
from faultnet.errors import CarError
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.sets import set_folder
from faultnet.simulation.scoring import record
from faultnet.simulation.scoring.table import Results, table
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.one_car import CarResult, try_car
from faultnet.simulation.workshop.policies import policy_named
from faultnet.simulation.workshop.roster import Draw, drawn_car, place_of
from faultnet.simulation.worlds import check_world

TOGETHER = 4  # cars of one task


@dataclass(frozen=True)
class Plan:
    """What a trial is to be.

    Parameters
    ----------
    cars, seed : int
    world : {"standard", "mismatched", "independent", "independent-other"}
    policies : tuple of str
    draw : {"priors", "evenly"}
    tools : tuple of str, optional
        Tools at hand; every tool when None.
    priors : str
        Name of a shipped prior set, or a folder.
    """

    cars: int
    seed: int
    world: str = "standard"
    policies: tuple[str, ...] = ("expected_cost", "flow_chart")
    draw: Draw = "priors"
    tools: tuple[str, ...] | None = None
    priors: str = "standard"

    def __post_init__(self) -> None:
        check_world(self.world)
        for name in self.policies:
            policy_named(name)
        if self.cars < 1 or self.seed < 0:
            raise CarError(
                "a trial needs at least one car and a seed that is not negative", got=f"{self.cars}, {self.seed}"
            )


@dataclass(frozen=True)
class Task:
    """Some cars of one place in the roster for one policy."""

    plan: Plan
    policy: str
    numbers: tuple[int, ...]


Told = Callable[[int, int], None]


def run_trial(
    plan: Plan, *, workers: int = 1, resume: Path | None = None, told: Told | None = None, client: Any = None
) -> Results:
    """Run a trial and put its table together.

    Parameters
    ----------
    plan : Plan
    workers : int
        Processes; one works in this process.
    resume : path, optional
        File of JSON lines: results in it are taken over, new ones are added.
    told : callable, optional
        Told after each task how many cars are done and how many there are, over all policies.
    client : distributed.Client, optional
        Of a cluster that works instead of processes of this machine.

    Returns
    -------
    Results
        Policy to Row; the same for the same plan, whatever the number of workers.

    Raises
    ------
    FaultnetError
        If the prior set is malformed or the file cannot be read or written.
    """
    return table(results_of(plan, workers=workers, resume=resume, told=told, client=client))


def results_of(
    plan: Plan, *, workers: int = 1, resume: Path | None = None, told: Told | None = None, client: Any = None
) -> dict[str, list[CarResult]]:
    """What became of each car under each policy; parameters as for :func:`run_trial`."""
    shop = shop_of(plan)
    key = record.Key(plan.seed, plan.world, plan.draw, plan.tools, record.made_of(shop.catalogue, shop.costs))
    wanted = [(policy, number) for policy in plan.policies for number in range(plan.cars)]
    kept = {} if resume is None else record.kept_results(resume, key)
    if resume is not None:
        record.keep(resume, key, "", [])  # that it cannot be written is said before the work, not after
    found = {name: kept[name] for name in wanted if name in kept}
    for task, results in _worked(_tasks(plan, found), workers, client):
        if resume is not None:
            record.keep(resume, key, task.policy, results)
        found |= {(task.policy, r.car): r for r in results}
        if told is not None:
            told(len(found), len(wanted))
    return {policy: [found[policy, number] for number in range(plan.cars)] for policy in plan.policies}


def shop_of(plan: Plan) -> Shop:
    """Prior set, prices and tools of a plan."""
    folder = set_folder(plan.priors)
    return Shop(load_catalogue(folder=folder), load_costs(plan.priors, folder), plan.tools)


def _tasks(plan: Plan, done: dict[tuple[str, int], CarResult]) -> list[list[Task]]:
    """What is left to do: the same cars under every policy side by side, so that one process builds their networks."""
    by_place = sorted(range(plan.cars), key=lambda number: (place_of(plan.seed, number, plan.world), number))
    groups = []
    for start in range(0, plan.cars, TOGETHER):
        cars = by_place[start : start + TOGETHER]
        left = {policy: tuple(n for n in cars if (policy, n) not in done) for policy in plan.policies}
        groups.append([Task(plan, policy, numbers) for policy, numbers in left.items() if numbers])
    return [group for group in groups if group]


def _worked(
    groups: Sequence[Sequence[Task]], workers: int, client: Any = None
) -> Iterator[tuple[Task, list[CarResult]]]:
    if client is not None:
        for group, answers in as_they_come(client, work_on_all, groups):
            yield from zip(group, answers, strict=True)
        return
    if workers <= 1 or len(groups) <= 1:
        for task in (task for group in groups for task in group):
            yield task, work_on(task)
        return
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # before a new process imports numpy: small products only
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        running = {pool.submit(work_on_all, group): group for group in groups}
        try:
            for future in as_completed(running):
                yield from zip(running[future], future.result(), strict=True)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def work_on_all(tasks: Sequence[Task]) -> list[list[CarResult]]:
    """Deal with several tasks, one after the other."""
    return [work_on(task) for task in tasks]


def work_on(task: Task) -> list[CarResult]:
    """Deal with the cars of a task, in whatever process."""
    shop, plan = shop_of(task.plan), task.plan
    policy = policy_named(task.policy)
    found = [
        try_car(drawn_car(shop.catalogue, plan.seed, n, plan.world, plan.draw), task.policy, policy, shop, plan.seed)
        for n in task.numbers
    ]
    rest_all()
    return found
