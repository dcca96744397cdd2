"""The library's answers, kept while the program runs; all of them are frozen, so that sessions may share them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from faultnet.car import Case, Entry
from faultnet.catalogue import load_catalogue
from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis import Diagnosis, diagnose
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.sound import sound_ranges
from faultnet.report.beliefs import NO_FAULT, belief_of, until

__all__ = ["NO_FAULT", "Place", "answer", "belief", "catalogue", "places", "ranges", "until"]


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The shipped prior set."""
    return load_catalogue()


@lru_cache(maxsize=128)
def answer(case: Case, tools: frozenset[str]) -> Diagnosis:
    """The diagnosis of a case.

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.diagnosis.diagnose`.
    """
    return diagnose(_bare(case), catalogue(), tools=tools)


@lru_cache(maxsize=512)
def belief(case: Case) -> dict[tuple[str, str], float]:
    """How likely each cause is, and that no part is at fault, without the ranking of tests."""
    return belief_of(work_through(_bare(case), catalogue()))


@lru_cache(maxsize=64)
def ranges(case: Case) -> dict[str, tuple[float, float]]:
    """In which range a sound example of this car reads today, for every number test."""
    worked = work_through(_bare(replace(case, visits=(replace(case.visits[-1], entries=()),))), catalogue())
    return sound_ranges(worked.models[-1], catalogue())


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
    """The part of a case an answer hangs on, so that a new name or note asks nothing anew."""
    return replace(case, outcome=None)
