"""The library's answers, kept while the program runs; all of them are frozen, so that sessions may share them.

Cases are worked through one after the other, and so is the advice on them. All at once would take as long in all, each
would be done last instead of in its turn, and every one would hold what it works with in memory. The two wait apart, as
likely causes are shown before the advice is ready.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from faultnet.case.types import Car, Case, Conditions, Entry
from faultnet.decision import Advice, Costs, load_costs
from faultnet.decision.about import telling_tests
from faultnet.decision.advice import weigh
from faultnet.decision.plan import Knot, Leaf, pocket_plan
from faultnet.diagnosis.diagnose import MAX_FAULTS, Worked, diagnosis_of, work_through
from faultnet.diagnosis.models import keep_room, model_for
from faultnet.diagnosis.sound import sound_range_with, sound_ranges
from faultnet.practice.review import Advised, advised
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.sets import IN_USE, set_folder
from faultnet.report.beliefs import NO_FAULT, at_fault_now, belief_of, until
from faultnet.simulation.workshop.job import Shop as PracticeShop

__all__ = [
    "NO_FAULT", "Place", "Shop", "advised_in_turn", "answer", "belief", "catalogue", "costs", "forget", "keep_up",
    "places", "plan", "present", "range_with", "ranges", "tests_of_parts", "until",
]  # fmt: skip


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The prior set in use."""
    return load_catalogue(IN_USE)


def forget() -> None:
    """Let every kept answer go, after another prior set came into use."""
    for kept in (catalogue, costs, worked, _answered, plan, belief, present, _ranges, _range_with):
        kept.cache_clear()


_followed: list[Path] = []
_working, _advising = threading.Lock(), threading.Lock()


def keep_up() -> None:
    """Let every kept answer go if another prior set came into use since, be it by a command or in another session."""
    folder = set_folder(IN_USE)
    if _followed != [folder]:
        forget()
        _followed[:] = [folder]


@dataclass(frozen=True)
class Shop:
    """What the advice depends on besides the case.

    Parameters
    ----------
    tools : frozenset of str
        At hand.
    hourly_rate : float, optional
        [money/h]; the shipped one when left out.
    currency : str
    parts : tuple of (component, float)
        Prices of parts that differ from the shipped ones [money].
    """

    tools: frozenset[str]
    hourly_rate: float | None = None
    currency: str = ""
    parts: tuple[tuple[str, float], ...] = ()


@lru_cache(maxsize=8)
def costs(shop: Shop) -> Costs:
    """The prices of this workshop."""
    shipped = load_costs(IN_USE)
    parts = {name: price for name, price in shop.parts if name in shipped.part}
    return shipped.with_shop(hourly_rate=shop.hourly_rate, currency=shop.currency, parts=parts)


@lru_cache(maxsize=2)
def worked(case: Case) -> Worked:
    """A case without its outcome, worked through once for everything a page shows of it; megabytes each, so few.

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.diagnosis.work_through`.
    """
    bare = _bare(case)
    for visit in bare.visits:  # a network that has to be built takes a second, in which others go on
        model_for(bare.car, visit.conditions, catalogue(), MAX_FAULTS)
    with _working:
        return work_through(bare, catalogue())


def answer(case: Case, shop: Shop) -> Advice:
    """The diagnosis of a case, and what to do.

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.decision.advise`.
    """
    return _answered(case, shop)[0]


def tests_of_parts(case: Case, shop: Shop) -> dict[str, tuple[str, ...]]:
    """For each component the tests that tell most about it, for their time."""
    return _answered(case, shop)[1]


@lru_cache(maxsize=64)
def _answered(case: Case, shop: Shop) -> tuple[Advice, dict[str, tuple[str, ...]]]:
    done = worked(case)
    with _advising:
        weighed = weigh(done, costs(shop), tools=shop.tools)
        diagnosis = diagnosis_of(weighed.worked, weighed.tests)
        about = telling_tests(weighed.position, weighed.tests)
        keep_room()
    return Advice(diagnosis, weighed.decision), about


def advised_in_turn(case: Case, shop: PracticeShop) -> Advised:
    """What the advice would do on a case practised on, worked through in its turn among all sessions."""
    with _working, _advising:
        found = advised(case, shop)
        keep_room()
    return found


@lru_cache(maxsize=16)
def plan(case: Case, shop: Shop) -> Knot | Leaf:
    """The whole tree of what to test and what to do then, from here on."""
    return pocket_plan(worked(case), costs(shop), tools=tuple(sorted(shop.tools)))


@lru_cache(maxsize=512)
def belief(case: Case) -> dict[tuple[str, str], float]:
    """How likely it is that each cause was at fault in this case, without the ranking of tests."""
    return belief_of(worked(case))


@lru_cache(maxsize=512)
def present(case: Case) -> dict[tuple[str, str], float]:
    """How likely each cause is by now, after the repairs of the case, and that no part is at fault."""
    return at_fault_now(worked(case))


def ranges(case: Case) -> dict[str, tuple[float, float]]:
    """In which range a sound example of this car reads today, for every number test."""
    return _ranges(case.car, case.visits[-1].conditions)


@lru_cache(maxsize=64)
def _ranges(car: Car, conditions: Conditions) -> dict[str, tuple[float, float]]:
    return sound_ranges(model_for(car, conditions, catalogue(), MAX_FAULTS), catalogue())


def range_with(case: Case, test: str, instrument: str) -> tuple[float, float] | None:
    """The same for one test with one instrument, as that shows it; None for a choice."""
    return _range_with(case.car, case.visits[-1].conditions, test, instrument)


@lru_cache(maxsize=64)
def _range_with(car: Car, conditions: Conditions, test: str, instrument: str) -> tuple[float, float] | None:
    model = model_for(car, conditions, catalogue(), MAX_FAULTS)
    return sound_range_with(model, catalogue(), catalogue().test(test), catalogue().instrument(instrument))


@dataclass(frozen=True)
class Place:
    """Where an entry stands, counted from 0."""

    visit: int
    position: int
    entry: Entry


def places(case: Case) -> tuple[Place, ...]:
    """Every entry of a case with its place, in order."""
    return tuple(Place(v, k, e) for v, visit in enumerate(case.visits) for k, e in enumerate(visit.entries))


def _bare(case: Case) -> Case:
    """The case without its outcome: advice is what the entries say."""
    return replace(case, outcome=None)
