"""Long cases: how the time of an answer grows with visits, readings and repairs.

``python tests/bench/long_cases.py [--json] [--most 8]`` prints processor time of a whole answer (beliefs, ranked tests,
reasons, decision left out) in one process, each case after one of the same car has been answered once. It is the answer
to the last entry, all others having been made at once before it; for visits also the mean over the last visit's entries
as they are made one after another, as at the car.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from collections.abc import Iterator
from dataclasses import replace

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import Diagnosis, diagnosis_of, work_through
from faultnet.diagnosis.diagnose import ranked
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue

CAR = Car(Battery(600.0, age=5.0), displacement=1.6, label="invented")
REPAIRS = (
    ("clean_joint", "negative_joint"), ("repair_circuit", "start_control"), ("replace", "battery"),
    ("clean_joint", "positive_joint"), ("replace", "solenoid"), ("replace", "starter_cable"),
    ("replace", "starter_motor"), ("replace", "ground_path"),
)  # fmt: skip


def readings(number: int) -> tuple[Entry, ...]:
    """Five ordinary readings of a car that turns slowly; they differ a little from visit to visit."""
    shift = 0.01 * (number % 4)
    return (
        Reading("rest_voltage", value=12.45 + shift),
        Reading("how_it_turns_over", state="slow"),
        Reading("crank_minimum", value=8.9 + 5.0 * shift),
        Reading("positive_side_drop", value=0.32 + shift),
        Reading("charge_unloaded_voltage", value=14.2 + shift),
    )


def visits(count: int, *, repairs: bool) -> Case:
    """So many visits with five readings each, and one repair each where that is asked for."""
    found = []
    for number in range(count):
        act, component = REPAIRS[number % len(REPAIRS)]
        mended = (Act(act, component, outcome="no_change"),) if repairs else ()
        found.append(Visit((*readings(number), *mended), Conditions(air_temperature=12.0 - number, hours_standing=8.0)))
    return Case(CAR, tuple(found))


def same_reading(count: int) -> Case:
    """One visit in which one quantity is read again and again."""
    entries = tuple(Reading("positive_side_drop", value=0.30 + 0.002 * (k % 7)) for k in range(count))
    return Case(CAR, (Visit(entries, Conditions(air_temperature=12.0, hours_standing=8.0)),))


def same_reading_and_repair(count: int) -> Case:
    """One visit in which a reading and a repair follow each other again and again."""
    step = (Reading("positive_side_drop", value=0.3), Act("clean_joint", "positive_joint", outcome="no_change"))
    return Case(CAR, (Visit(step * count, Conditions(air_temperature=12.0, hours_standing=8.0)),))


def cases(most: int) -> Iterator[tuple[str, Case]]:
    """Names and cases, in the order they are timed."""
    for count in (1, 2, 3, 5, 8):
        if count <= most:
            yield f"{count} visits, 5 readings each", visits(count, repairs=False)
            yield f"{count} visits, 5 readings and a repair each", visits(count, repairs=True)
    for count in (20, 100, 200):
        if count <= 25 * most:
            yield f"{count} readings of one test", same_reading(count)
    for count in (5, 20):
        if count <= 2.5 * most:
            yield f"{count} x reading and repair in one visit", same_reading_and_repair(count)


def diagnosed(case: Case, catalogue: Catalogue) -> Diagnosis:
    """What is timed: beliefs, ranked tests and reasons."""
    worked = work_through(case, catalogue)
    return diagnosis_of(worked, ranked(worked, None)[0])


def seconds(case: Case, catalogue: Catalogue) -> float:
    """Processor time of a whole answer when all but the last entry has been answered before [s]."""
    *before, last = case.visits
    diagnosed(replace(case, visits=(*before, replace(last, entries=last.entries[:-1]))), catalogue)
    begin = time.process_time()
    diagnosed(case, catalogue)
    return time.process_time() - begin


def mean_seconds(case: Case, catalogue: Catalogue) -> float:
    """Mean over the entries of the last visit, made one after another once the visit has been begun [s]."""
    *before, last = case.visits
    diagnosed(replace(case, visits=(*before, replace(last, entries=()))), catalogue)
    begin = time.process_time()
    for count in range(1, len(last.entries) + 1):
        diagnosed(replace(case, visits=(*before, replace(last, entries=last.entries[:count]))), catalogue)
    return (time.process_time() - begin) / len(last.entries)


def elsewhere(case: Case, degrees: float) -> Case:
    """The case in other weather, so that nothing worked out for it before is met again."""
    return replace(case, visits=tuple(
        replace(v, conditions=replace(v.conditions, air_temperature=(v.conditions.air_temperature or 0.0) + degrees))
        for v in case.visits
    ))  # fmt: skip


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--most", type=int, default=8, help="leave longer cases out")
    asked = parser.parse_args()
    catalogue = load_catalogue()
    diagnosed(visits(1, repairs=True), catalogue)
    found: dict[str, float] = {}
    for name, case in cases(asked.most):
        told = {name: seconds(case, catalogue)}
        if "visits" in name:
            told[f"{name}, mean of entries"] = mean_seconds(elsewhere(case, 0.3), catalogue)
        for what, took in told.items():
            found[what] = round(took, 3)
            if not asked.json:
                print(f"{what:65s} {took:8.3f} s", flush=True)
    found["peak memory [MB]"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0)
    print(json.dumps(found) if asked.json else f"peak memory {found['peak memory [MB]']:.0f} MB")


if __name__ == "__main__":
    main()
