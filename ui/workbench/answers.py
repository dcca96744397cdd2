"""The library's answers, kept while the program runs; all of them are frozen, so that sessions may share them.

What is not kept is asked of :mod:`workbench.thinking`, in a process beside the server where there are some.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from faultnet.case.types import Car, Case, Conditions, Entry
from faultnet.decision import Advice
from faultnet.decision.plan import Knot, Leaf
from faultnet.decision.robust import Robustness
from faultnet.practice.review import Advised
from faultnet.report.beliefs import NO_FAULT, until
from workbench import thinking
from workbench.thinking import Belief, Range, Shop, catalogue, costs
from workbench.workers import ask

__all__ = [
    "NO_FAULT", "Place", "Shop", "advised_in_turn", "answer", "belief", "catalogue", "costs", "counted", "forget",
    "keep_up", "places", "plan", "present", "range_with", "ranges", "robust", "tests_of_parts", "until",
]  # fmt: skip


def forget() -> None:
    """Let every kept answer go, after another prior set came into use."""
    thinking.forget()
    for kept in (_advice, robust, plan, belief, present, _ranges, _range_with):
        kept.cache_clear()


def keep_up() -> None:
    """Let every kept answer go if another prior set came into use since, be it by a command or in another session."""
    if thinking.keep_up():
        forget()


def answer(case: Case, shop: Shop) -> Advice:
    """The diagnosis of a case, and what to do.

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.decision.advise`.
    """
    return _advice(case, shop)[0]


def counted(case: Case, shop: Shop) -> Case:
    """A case without its newest entry where that is a reading that is asked about.

    It counts once somebody keeps it, or goes on and lets it stand; then by the chance that it is no slip, as a reading
    does that others put in doubt later.
    """
    newest = len(case.visits) - 1, len(case.visits[-1].entries) - 1 if case.visits else -1
    if newest not in answer(case, shop).diagnosis.asked:
        return case
    last = case.visits[-1]
    return replace(case, visits=(*case.visits[:-1], replace(last, entries=last.entries[:-1])))


def tests_of_parts(case: Case, shop: Shop) -> dict[str, tuple[str, ...]]:
    """For each component the tests that tell most about it, for their time."""
    return _advice(case, shop)[1]


@lru_cache(maxsize=64)
def _advice(case: Case, shop: Shop) -> tuple[Advice, dict[str, tuple[str, ...]]]:
    return ask(thinking.advice, case.car, case, shop)


def advised_in_turn(case: Case, shop: Shop) -> Advised:
    """What the advice would do on a case practised on, with every tool."""
    return ask(thinking.advised_in_turn, case.car, case, shop)


@lru_cache(maxsize=64)
def robust(case: Case, shop: Shop, *, whole: bool) -> Robustness:
    """Whether the verdict holds when base rates and estimates are off; the whole of it takes half a second."""
    return ask(thinking.robust, case.car, case, shop, whole)


@lru_cache(maxsize=16)
def plan(case: Case, shop: Shop) -> Knot | Leaf:
    """The whole tree of what to test and what to do then, from here on."""
    return ask(thinking.plan, case.car, case, shop)


@lru_cache(maxsize=512)
def belief(case: Case) -> Belief:
    """How likely it is that each cause was at fault in this case, without the ranking of tests."""
    return ask(thinking.belief, case.car, case)


@lru_cache(maxsize=512)
def present(case: Case) -> Belief:
    """How likely each cause is by now, after the repairs of the case, and that no part is at fault."""
    return ask(thinking.present, case.car, case)


def ranges(case: Case) -> dict[str, Range]:
    """In which range a sound example of this car reads today, for every number test."""
    return _ranges(case.car, case.visits[-1].conditions)


@lru_cache(maxsize=64)
def _ranges(car: Car, conditions: Conditions) -> dict[str, Range]:
    return ask(thinking.ranges, car, car, conditions)


def range_with(case: Case, test: str, instrument: str) -> Range | None:
    """The same for one test with one instrument, as that shows it; None for a choice."""
    return _range_with(case.car, case.visits[-1].conditions, test, instrument)


@lru_cache(maxsize=64)
def _range_with(car: Car, conditions: Conditions, test: str, instrument: str) -> Range | None:
    return ask(thinking.range_with, car, car, conditions, test, instrument)


@dataclass(frozen=True)
class Place:
    """Where an entry stands, counted from 0."""

    visit: int
    position: int
    entry: Entry


def places(case: Case) -> tuple[Place, ...]:
    """Every entry of a case with its place, in order."""
    return tuple(Place(v, k, e) for v, visit in enumerate(case.visits) for k, e in enumerate(visit.entries))
