"""A virtual car in the workshop: what is done to it, what that brings to light, and what it costs.

Every policy works through the same four steps, at the same prices: :func:`looked` does a test, :func:`prepared` an act
that a test needs, :func:`mended` a repair with its proof, :func:`given_back` ends the visit. A car that is given back
with a fault comes back: the call-back is paid and it is brought in once more with what was found so far.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field, replace

import numpy as np

from faultnet.case.types import Act, Case, Entry, Outcome, Visit
from faultnet.decision.costs import Costs
from faultnet.diagnosis.needs import SHORT_WAIT, minutes_for, preparing_acts, unmet_needs
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.worlds import AnyCar, act_outcome, after_act, measure, next_visit

Streams = Callable[[str], np.random.Generator]
"""A random stream for each act or test by its id, where what one draws is not to depend on the others."""

COMPLAINT = "how_it_turns_over"
MOST_COME_BACKS = 3
MOST_STEPS = 160
BUYS_NO_PART = ("clean", "tighten", "refill", "reset", "desulphate", "advise_use")  # effects of acts


@dataclass(frozen=True, eq=False)
class Shop:
    """What every policy works with.

    Parameters
    ----------
    catalogue : Catalogue
    costs : Costs
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    """

    catalogue: Catalogue
    costs: Costs
    tools: Collection[str] | None = None


@dataclass(frozen=True, eq=False)
class Job:
    """A car with its case so far and its bill.

    Parameters
    ----------
    vehicle : VirtualCar or IndependentCar
        As it is now; a policy must not look at it.
    case : Case
        What a policy may look at.
    minutes, money : float
        Spent so far [min], [money].
    tests : int
        Done so far, proofs and the complaint not counted.
    bought : tuple of (str, bool)
        Parts bought, and whether each was at fault.
    mended : tuple of str
        Components that something was done to, in order.
    opened : frozenset of str
        Covers that are off in this visit.
    come_backs, steps : int
    done, left_with_fault, looped : bool
        Given back for good; given back for good with a fault; because it took too many steps.
    """

    vehicle: AnyCar = field(repr=False)
    case: Case
    minutes: float = 0.0
    money: float = 0.0
    tests: int = 0
    bought: tuple[tuple[str, bool], ...] = ()
    mended: tuple[str, ...] = ()
    opened: frozenset[str] = frozenset()
    come_backs: int = 0
    steps: int = 0
    done: bool = False
    left_with_fault: bool = False
    looped: bool = False

    @property
    def visit(self) -> Visit:
        """The visit it is in."""
        return self.case.visits[-1]


def brought_in(vehicle: AnyCar, rng: np.random.Generator) -> Job:
    """A car just handed over, with what the driver says of how it turns over."""
    job = Job(vehicle, Case(vehicle.car, (Visit((), vehicle.conditions),), invented=True))
    return _entered(job, measure(vehicle, COMPLAINT, "question", rng))


def looked(
    job: Job,
    shop: Shop,
    test_id: str,
    drawn: Streams,
    *,
    charged: bool = False,
    instrument: str | None = None,
    skipping: Collection[str] = (),
) -> Job:
    """Do a test, after what it needs.

    Parameters
    ----------
    job : Job
    shop : Shop
    test_id : str
    drawn : Streams
    charged : bool
        The battery is known to be charged and need not be put on a charger for this.
    instrument : str, optional
        The test's ordinary one when left out.
    skipping : collection of str
        Needs that are passed over: it is measured at once, and reads what it reads then.
    """
    test = shop.catalogue.test(test_id)
    needs = tuple(n for n in unmet_needs(test, job.visit, shop.catalogue, charged=charged) if n not in skipping)
    minutes = test.minutes + shop.costs.overhead_minutes + sum(minutes_for(n, shop.catalogue) for n in needs)
    for act in preparing_acts(needs):
        job = prepared(job, shop, act.act, drawn(act.act), hours=act.hours, free=True)
    job = _spent(job, shop, minutes)
    found = measure(job.vehicle, test_id, instrument, drawn(test_id))
    return replace(_entered(job, found), tests=job.tests + 1)


def prepared(
    job: Job, shop: Shop, act: str, rng: np.random.Generator, *, hours: float | None = None, free: bool = False
) -> Job:
    """Do an act that mends nothing; `free` where a test's own minutes have it already."""
    if act == "wait" and hours is None:
        hours = SHORT_WAIT
    after = after_act(job.vehicle, act, None, rng, hours=hours)
    entry = Act(act, None, _outcome(job.vehicle, after, act, rng), hours)
    job = _entered(replace(job, vehicle=after), entry)
    return job if free else _spent(job, shop, shop.catalogue.act(act).minutes)


def mended(job: Job, shop: Shop, component: str, act: str, rng: np.random.Generator) -> Job:
    """Do a repair, ask how the complaint stands, and read the tests that prove it.

    Notes
    -----
    To put right how a car is used includes a full charge.
    """
    spec, costs = shop.catalogue.act(act), shop.costs
    if component == "use":
        job = prepared(job, shop, "charge", rng, free=True)
    after = after_act(job.vehicle, act, component, rng)
    entry = Act(act, component, _outcome(job.vehicle, after, act, rng))
    at_fault = any(c == component for c, _ in job.vehicle.faults)
    bought = () if spec.effect in BUYS_NO_PART else ((component, at_fault),)
    cover = costs.behind.get(component, "")
    minutes = costs.labour[component] + costs.check[component]
    minutes += costs.access[cover] if cover and cover not in job.opened else 0.0
    job = replace(
        _spent(job, shop, minutes, costs.part[component]),
        vehicle=after,
        bought=job.bought + bought,
        mended=(*job.mended, component),
        opened=job.opened | {cover},
    )
    job = _entered(job, entry)
    for test in costs.proof[component]:
        job = _entered(job, measure(after, test, None, rng))
    return job


def given_back(job: Job, shop: Shop, rng: np.random.Generator) -> Job:
    """Give the car back; with a fault it comes back, or after some call-backs goes to somebody else."""
    job = _spent(job, shop, shop.costs.overhead_minutes)
    if not needs_mending(job):
        return replace(job, done=True)
    job = _spent(job, shop, 0.0, shop.costs.call_back)
    if job.come_backs >= MOST_COME_BACKS or job.looped:
        needed = sum(shop.costs.repair(component) for component, _ in job.vehicle.faults)
        return _spent(replace(job, done=True, left_with_fault=True), shop, 0.0, shop.costs.start_over + needed)
    vehicle = next_visit(job.vehicle, rng, job.vehicle.conditions)
    job = _entered(job, Act("drive", None, "no_change"))
    visits = (*job.case.visits, Visit((), vehicle.conditions))
    case = replace(job.case, visits=visits)
    job = replace(job, vehicle=vehicle, case=case, opened=frozenset(), come_backs=job.come_backs + 1)
    return _entered(job, measure(vehicle, COMPLAINT, "question", rng))


def stopped(job: Job, shop: Shop, rng: np.random.Generator) -> Job:
    """End a job that took too many steps: the car counts as given back for good."""
    return given_back(replace(job, looped=True), shop, rng)


def needs_mending(job: Job) -> bool:
    """Whether a part is at fault, or how the car is used and nothing was mended for it."""
    return any(component != "use" or not job.mended for component, _ in job.vehicle.faults)


def _outcome(before: AnyCar, after: AnyCar, act: str, rng: np.random.Generator) -> Outcome | None:
    found = act_outcome(before, after, act, rng)
    return found if found in ("cured", "better", "no_change") else None  # type: ignore[return-value]


def _entered(job: Job, entry: Entry) -> Job:
    visit = replace(job.visit, entries=(*job.visit.entries, entry))
    return replace(job, case=replace(job.case, visits=(*job.case.visits[:-1], visit)))


def _spent(job: Job, shop: Shop, minutes: float, money: float = 0.0) -> Job:
    return replace(job, minutes=job.minutes + minutes, money=job.money + money + shop.costs.money(minutes))
