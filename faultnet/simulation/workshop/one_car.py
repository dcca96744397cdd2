"""One car, one policy, from being brought in to being given back for good."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from faultnet.case.types import Act, Case
from faultnet.diagnosis import work_through
from faultnet.diagnosis.models import keep_room
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.workshop.job import BUYS_NO_PART, Job, Shop
from faultnet.simulation.workshop.policies import Policy
from faultnet.simulation.workshop.roster import Drawn
from faultnet.simulation.workshop.stepping import arrived, stepped, stream
from faultnet.simulation.workshop.steps import GiveBack, Mend


@dataclass(frozen=True)
class CarResult:
    """What became of one car.

    Parameters
    ----------
    car : int
        Its number in the trial.
    faults : tuple of (component, mode)
        With which it was brought in.
    right_first_time : bool
        The first part bought was at fault; no part bought and none at fault also counts.
    wrong_parts, tests, come_backs, steps : int
    minutes, cost : float
        [min], [money].
    left_with_fault, looped : bool
    beliefs : dict of component to float
        Belief that it is at fault, when testing first stopped [-].
    course : tuple of str
        What was done, in order.
    shows : bool or None
        Whether one of its faults acted as it was brought in; None with no fault.
    """

    car: int
    faults: tuple[tuple[str, str], ...]
    right_first_time: bool
    wrong_parts: int
    minutes: float
    cost: float
    tests: int
    come_backs: int
    steps: int
    left_with_fault: bool
    looped: bool
    beliefs: dict[str, float]
    course: tuple[str, ...]
    shows: bool | None = None

    def record(self) -> dict[str, Any]:
        """As plain data for a line of JSON."""
        return asdict(self)


def result_of_record(record: dict[str, Any]) -> CarResult:
    """The result that a line of JSON holds."""
    faults = tuple((str(c), str(m)) for c, m in record["faults"])
    return CarResult(**{**record, "faults": faults, "course": tuple(record["course"])})


def try_car(drawn: Drawn, name: str, policy: Policy, shop: Shop, seed: int) -> CarResult:
    """Let a policy deal with a car.

    Parameters
    ----------
    drawn : Drawn
    name : str
        Of the policy; with the seed and the car's number it makes what a policy draws for itself.
    policy : Policy
    shop : Shop
    seed : int

    Returns
    -------
    CarResult
    """
    key = (seed, drawn.number)
    own = stream(key, name)
    job = arrived(drawn.vehicle, key)
    said: dict[str, float] | None = None
    while not job.done:
        step = policy(job.case, shop, own)
        keep_room()
        if said is None and isinstance(step, Mend | GiveBack):
            said = beliefs(job.case, shop)
        job = stepped(job, shop, step, key)
    return _result(drawn, job, said or {})


def beliefs(case: Case, shop: Shop) -> dict[str, float]:
    """Belief that each component was at fault when the car was brought in [-]."""
    marginals = work_through(case, shop.catalogue).belief.marginals()
    return {c: round(float(p[1:].sum()), 6) for c, p in marginals.items()}


def right_first_time(
    faults: tuple[tuple[str, str], ...], bought: tuple[tuple[str, bool], ...], catalogue: Catalogue
) -> bool:
    """Whether the first part bought was at fault, or none was bought and none was needed.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> right_first_time((("use", "left_on"),), (), load_catalogue())
    True
    """
    if bought:
        return bought[0][1]
    repairs = [m.repair for c, mode in faults for m in catalogue.component(c).modes if m.id == mode]
    return all(r is None or catalogue.act(r).effect in BUYS_NO_PART for r in repairs)


def _course(case: Case) -> Iterator[str]:
    """What was done, a word or two for each entry."""
    for number, visit in enumerate(case.visits):
        if number:
            yield "came back"
        for entry in visit.entries:
            if isinstance(entry, Act):
                yield " ".join(filter(None, (entry.act, entry.component, entry.outcome)))
            else:
                yield f"{entry.test} {entry.state if entry.value is None else f'{entry.value:g}'}"


def _result(drawn: Drawn, job: Job, said: dict[str, float]) -> CarResult:
    faults = drawn.vehicle.faults
    return CarResult(
        drawn.number,
        faults,
        right_first_time(faults, job.bought, drawn.vehicle.catalogue),
        sum(not was_at_fault for _, was_at_fault in job.bought),
        round(job.minutes, 2),
        round(job.money, 2),
        job.tests,
        job.come_backs,
        job.steps,
        job.left_with_fault,
        job.looped,
        said,
        tuple(_course(job.case)),
        drawn.vehicle.shows,
    )
