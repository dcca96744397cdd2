"""A step taken on a virtual car, with the chance that belongs to it.

What a test or an act draws depends on the car, on what it is, and on how often it was done before, and not on what was
done in between: whoever does the same to the same car sees the same. So two who work on one car differ by what they do
and not by luck, which is what makes them comparable car by car (common random numbers).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from zlib import crc32

import numpy as np

from faultnet.case.types import Act, Case, Reading
from faultnet.simulation.workshop.job import (
    MOST_STEPS,
    Job,
    Shop,
    Streams,
    brought_in,
    given_back,
    looked,
    mended,
    prepared,
    stopped,
)
from faultnet.simulation.workshop.steps import Look, Mend, Prepare, Step
from faultnet.simulation.worlds import AnyCar

SKIPPABLE = ("surface_charge_gone", "rested", "battery_charged")  # preparations that haste leaves out


def stream(key: Sequence[int], what: str) -> np.random.Generator:
    """The random stream of one thing done to a car.

    Parameters
    ----------
    key : sequence of int
        Of the car.
    what : str

    Examples
    --------
    >>> float(stream((1, 2), "rest_voltage 0").random()) == float(stream((1, 2), "rest_voltage 0").random())
    True
    """
    return np.random.default_rng([*key, crc32(what.encode())])


def streams(key: Sequence[int], case: Case) -> Streams:
    """Random streams of tests and acts by id, after what was done in a case."""
    return lambda what: stream(key, f"{what} {_times(case, what)}")


def arrived(vehicle: AnyCar, key: Sequence[int]) -> Job:
    """A car just handed over, the same for all who work on it."""
    return brought_in(vehicle, stream(key, "brought in"))


def stepped(job: Job, shop: Shop, step: Step, key: Sequence[int]) -> Job:
    """The job after a step, whoever takes it.

    Parameters
    ----------
    job : Job
    shop : Shop
    step : Step
    key : sequence of int
        Of the car's random streams.
    """
    drawn = streams(key, job.case)
    back = stream(key, f"back {job.come_backs}")
    if job.steps >= MOST_STEPS:
        return stopped(job, shop, back)
    if isinstance(step, Look):
        skipping = SKIPPABLE if step.at_once else ()
        after = looked(job, shop, step.test, drawn, charged=step.charged, instrument=step.instrument, skipping=skipping)
    elif isinstance(step, Prepare):
        after = prepared(job, shop, step.act, drawn(step.act))
    elif isinstance(step, Mend):
        after = mended(job, shop, step.component, step.act, drawn(f"{step.act} {step.component}"))
    else:
        after = given_back(job, shop, back)
    return replace(after, steps=after.steps + 1)


def _times(case: Case, what: str) -> int:
    """How often a test was read or an act done, by its id; a repair by act and component."""
    return sum(_name(e) == what for visit in case.visits for e in visit.entries)


def _name(entry: Reading | Act) -> str:
    if isinstance(entry, Reading):
        return entry.test
    return entry.act if entry.component is None else f"{entry.act} {entry.component}"
