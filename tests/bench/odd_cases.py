"""Good cases with odd contents: are they all answered, with beliefs in [0, 1], and how slow is the slowest.

``python -m tests.bench.odd_cases pairs --every 10`` takes one in ten pairs of an act and a test, read before and after
it; ``... long`` takes thirty visits, two hundred readings of one test, and a repair at each of eight visits. The exit
code is 1 if one was not answered, a belief is no number in [0, 1], or one took more than 5 s of processor time.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
import time
from collections.abc import Iterator
from typing import Any

from faultnet import advise
from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.errors import ClashError
from faultnet.prior_set import ActSpec, Catalogue, Test, load_catalogue
from tests.bench.memory import most_memory

MOST_SECONDS = 5.0
CAR = Car(Battery(540.0, age=4.0))


def reading_of(test: Test) -> Reading:
    """An ordinary answer to a test: its first choice, or the middle of what can be read."""
    if test.choices:
        return Reading(test.id, state=test.choices[0][0])
    low, high = test.plausible or (0.0, 1.0)
    return Reading(test.id, value=low + 0.4 * (high - low))


def act_of(act: ActSpec) -> Act:
    """An act as it is written, on the first part it can be done to."""
    return Act(act.id, act.components[0] if act.components else None, hours=8.0 if act.kind == "wait" else None)


def pairs(catalogue: Catalogue) -> Iterator[tuple[str, Case]]:
    """Every pair of an act and a test: read, done, read again."""
    for act in catalogue.acts:
        for test in catalogue.tests:
            entries: tuple[Entry, ...] = (reading_of(test), act_of(act), reading_of(test))
            yield f"{act.id} {test.id}", Case(CAR, (Visit(entries, Conditions(10.0)),))


def long_cases() -> Iterator[tuple[str, Case]]:
    """Cases with much in them."""
    rest, lamp = Reading("rest_voltage", 12.4), Reading("charge_lamp", state="stays_on")
    day = Visit((rest, lamp), Conditions(10.0))
    yield "30 visits", Case(CAR, (day,) * 30)
    for count in (20, 200):
        yield f"{count} readings of one test", Case(CAR, (Visit((rest,) * count, Conditions(10.0)),))
    mended = Visit((rest, lamp, Act("clean_joint", "positive_joint", "no_change")), Conditions(10.0))
    for count in (1, 2, 4, 8):
        yield f"{count} visits with a repair", Case(CAR, (mended,) * count)


def numbers_in(value: Any) -> Iterator[float]:
    """Every belief of an answer."""
    for cause in value.causes:
        yield from (cause.probability, cause.prior)
    for modes in value.components.values():
        yield from modes.values()
    yield value.nothing_wrong


def run(cases: Iterator[tuple[str, Case]], catalogue: Catalogue, every: int = 1) -> dict[str, Any]:
    """Diagnose cases and count.

    Returns
    -------
    dict
        Numbers of cases, of those answered and said to clash, of tracebacks, of beliefs that are none, of cases above
        5 s, and the slowest [s] with its name; most memory [MB].
    """
    told: dict[str, Any] = dict.fromkeys(("cases", "answered", "clash", "tracebacks", "not_beliefs", "slow"), 0)
    slowest = (0.0, "")
    advise(Case(CAR, (Visit((), Conditions(10.0)),)), catalogue)  # the car's network is built
    for number, (name, case) in enumerate(cases):
        if number % every:
            continue
        told["cases"] += 1
        before = time.process_time()
        try:
            found = advise(case, catalogue).diagnosis
            told["answered"] += 1
            good = all(math.isfinite(p) and -1e-9 <= p <= 1.0 + 1e-9 for p in numbers_in(found))
            told["not_beliefs"] += not good
        except ClashError:
            told["clash"] += 1
        except Exception as error:
            told["tracebacks"] += 1
            sys.stderr.write(f"{name}: {type(error).__name__}: {error}\n")
        took = time.process_time() - before
        told["slow"] += took > MOST_SECONDS
        slowest = max(slowest, (round(took, 2), name))
        sys.stderr.write(f"{took:6.2f} s  {name}\n")
    return {**told, "slowest": slowest, "megabytes": most_memory()}


def main() -> int:
    """Read the options, run and print the counts as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=("pairs", "long"))
    parser.add_argument("--every", type=int, default=1)
    options = parser.parse_args()
    catalogue = load_catalogue("standard")
    told = run(pairs(catalogue) if options.what == "pairs" else long_cases(), catalogue, options.every)
    sys.stdout.write(json.dumps(told) + "\n")
    return int(told["tracebacks"] > 0 or told["not_beliefs"] > 0 or told["slow"] > 0)


if __name__ == "__main__":
    sys.exit(main())
