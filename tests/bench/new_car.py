"""What a technician waits for who types a case on a car that was not met before.

``python tests/bench/new_car.py`` draws ten cars (invented), each with a fault, and works on them one after the other in
this process: the first answer on the empty case, then eleven entries as a technician would make them, complaint first
and then whatever the advice puts first, with what a test needs done before it. Each time is the processor time until
beliefs, ranked tests, decision and reasons stand. The cache folder is new, as on a machine just set up; ``--cache``
takes the user's own. ``orders_searched`` counts the orders of contraction that are not among the shipped ones;
``--write-orders`` searches for all that these cars and the demo cases ask for, and ships these. ``--quick`` takes three
cars, ``--json`` prints the figures as JSON, ``--profile`` where it goes.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the products are small
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from faultnet.cache import cache_folder
from faultnet.case.demo import load_case
from faultnet.case.types import Case, Entry, Visit
from faultnet.decision import advise, load_costs
from faultnet.decision.advice import Advice
from faultnet.decision.costs import Costs
from faultnet.diagnosis.models import keep_room
from faultnet.diagnosis.needs import preparing_acts, unmet_needs
from faultnet.inference.kept_orders import ORDERS_FILE, SHIPPED_ORDERS
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.world import VirtualCar, after_act, draw_car, draw_conditions, draw_vehicle, measure

SEED = 20261128
CARS, QUICK_CARS, ENTRIES = 10, 3, 11
COMPLAINT = ("how_it_turns_over", "when_it_fails", "flat_how_often")


def drawn(catalogue: Catalogue, number: int) -> tuple[VirtualCar, np.random.Generator]:
    """A car with one fault, each component in turn."""
    rng = np.random.default_rng([SEED, number])
    components = [c for c in catalogue.components if c.id != "unlisted"]
    component = components[(number * 7) % len(components)]
    mode = component.modes[1 + int(rng.integers(len(component.modes) - 1))]
    car = draw_vehicle(rng)
    return draw_car(rng, catalogue, car, {component.id: mode.id}, draw_conditions(rng, car), faults_on=True), rng


class Technician:
    """Who works on one car: what is entered so far, and what it took."""

    def __init__(self, catalogue: Catalogue, costs: Costs, number: int) -> None:
        self.catalogue, self.costs = catalogue, costs
        self.vehicle, self.rng = drawn(catalogue, number)
        self.entries: list[Entry] = []
        self.seconds: list[float] = []

    def case(self) -> Case:
        """The case as it is typed by now."""
        visit = Visit(tuple(self.entries), conditions=self.vehicle.conditions)
        return Case(self.vehicle.car, (visit,), name="invented")

    def answered(self) -> Advice:
        """The answer to what is entered by now."""
        begin = time.process_time()
        found = advise(self.case(), self.catalogue, self.costs)
        self.seconds.append(time.process_time() - begin)
        keep_room()
        return found

    def work(self, entries: int) -> None:
        """Enter so many things, each followed by an answer."""
        advice = self.answered()
        pending: list[Entry] = [measure(self.vehicle, t, None, self.rng) for t in COMPLAINT]
        while len(self.entries) < entries:
            if not pending:
                pending = self._advised(advice)
            entry = pending.pop(0)
            self.entries.append(entry)
            advice = self.answered()

    def _advised(self, advice: Advice) -> list[Entry]:
        """The test put first, after what it needs."""
        test = self.catalogue.test(advice.diagnosis.next_tests[0].test)
        acts = preparing_acts(unmet_needs(test, self.case().visits[-1], self.catalogue))
        for act in acts:
            self.vehicle = after_act(self.vehicle, act.act, act.component, self.rng, hours=act.hours)
        return [*acts, measure(self.vehicle, test.id, None, self.rng)]


def figures(workers: list[Technician]) -> dict[str, float]:
    """First answers and entries: median, 95 %, worst [s of processor time]; peak memory [MB]."""
    first = np.array([w.seconds[0] for w in workers])
    later = np.concatenate([w.seconds[1:] for w in workers])
    told = {"cars": len(workers), "entries": len(later)}
    for name, times in (("first", first), ("entry", later)):
        told |= {
            f"{name}_median": round(float(np.median(times)), 3),
            f"{name}_p95": round(float(np.quantile(times, 0.95)), 3),
            f"{name}_worst": round(float(times.max()), 3),
        }
    told["peak_memory_mb"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
    told["processor_seconds"] = round(time.process_time(), 1)
    return told


def run(cars: int) -> list[Technician]:
    """Work on so many cars, one after the other."""
    catalogue, costs = load_catalogue(), load_costs()
    workers = []
    for number in range(cars):
        workers.append(Technician(catalogue, costs, number))
        workers[-1].work(ENTRIES)
    return workers


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_CARS} cars")
    parser.add_argument("--cars", type=int, default=None)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--each", action="store_true", help="print every time")
    parser.add_argument("--cache", action="store_true", help="the user's own cache folder instead of a new one")
    parser.add_argument("--write-orders", action="store_true", help="ship the orders searched for, and no others")
    parser.add_argument("--profile", action="store_true", help="print the functions that took longest")
    told = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if not told.cache:
            os.environ["FAULTNET_CACHE"] = folder
        if told.write_orders:
            SHIPPED_ORDERS.write_text("", encoding="utf-8")
            for path in sorted((Path(__file__).parents[2] / "cases").glob("*.json")):
                advise(load_case(path), load_catalogue(), load_costs())
        cars = told.cars or (QUICK_CARS if told.quick else CARS)
        workers = profiled(cars) if told.profile else run(cars)
        searched = orders_searched()
    if told.write_orders:
        SHIPPED_ORDERS.write_text("".join(f"{line}\n" for line in sorted(set(searched))), encoding="utf-8")
    if told.each:
        for w in workers:
            words = [getattr(e, "test", None) or getattr(e, "act", "") for e in w.entries]
            print(w.vehicle.faults, " ".join(f"{n} {s:.3f}" for n, s in zip(["first", *words], w.seconds, strict=True)))
    found = figures(workers) | {"orders_searched": len(searched)}
    if told.json:
        print(json.dumps(found))
    else:
        for name, value in found.items():
            print(f"{name:20} {value}")


def orders_searched() -> list[str]:
    """Orders of contraction that were searched for and kept in the cache folder."""
    path = cache_folder() / ORDERS_FILE
    lines = path.read_text().splitlines() if path.exists() else []
    return [line.partition(" ")[2] for line in lines]  # without the seal, which is this user's


def profiled(cars: int) -> list[Technician]:
    """The same under the profiler."""
    import cProfile
    import pstats

    profile = cProfile.Profile()
    workers = profile.runcall(run, cars)
    for order in ("tottime", "cumulative"):
        pstats.Stats(profile).sort_stats(order).print_stats(45)
    return workers


if __name__ == "__main__":
    main()
