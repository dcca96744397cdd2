"""Memory of a worker of a trial, car after car: ``python -m tests.bench.trial_memory --cars 20``.

Budget: 500 MB after twenty cars. Cars come in the order of the roster, as a worker gets them. Prints, after each car,
the memory held now and the most so far [MB].
"""

from __future__ import annotations

import argparse
import sys

from faultnet.simulation.trial import Plan, Task, _tasks, work_on
from tests.bench.memory import memory_now, most_memory

MOST_MEGABYTES = 500


def main() -> int:
    """Read the options, deal with the cars and print a line for each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=20)
    parser.add_argument("--seed", type=int, default=5)
    parser.add_argument("--policy", default="expected_cost")
    options = parser.parse_args()
    plan, done = Plan(options.cars, options.seed, policies=(options.policy,)), 0
    for task in (task for group in _tasks(plan, {}) for task in group):
        for number in task.numbers:
            work_on(Task(plan, task.policy, (number,)))
            done += 1
            sys.stdout.write(f"{done:3} cars: {memory_now()} MB now, {most_memory()} MB at most\n")
            sys.stdout.flush()
    return int(memory_now() > MOST_MEGABYTES)


if __name__ == "__main__":
    sys.exit(main())
