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

NO_FAULT = ("", "")


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
    """How likely each cause is, and that no part is at fault (key ``("", "")``), without the ranking of tests."""
    worked = work_through(_bare(case), catalogue())
    nodes = worked.models[0].compiled.network.nodes
    found = {
        (name, state): float(p)
        for name, chances in worked.belief.marginals().items()
        for state, p in list(zip(nodes[name].states, chances, strict=False))[1:]
    }
    found[NO_FAULT] = float(worked.belief.posterior[~worked.space.modes.any(axis=1)].sum())
    return found


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


def until(case: Case, count: int) -> Case:
    """The case as it stood after its first `count` entries: later entries, and visits without any of them, left out."""
    visits, left = [], count
    for visit in case.visits:
        taken = visit.entries[:left]
        visits.append(replace(visit, entries=taken))
        left -= len(taken)
        if left <= 0:
            break
    return replace(case, visits=tuple(visits))


def _bare(case: Case) -> Case:
    """The part of a case an answer hangs on, so that a new name or note asks nothing anew."""
    return replace(case, outcome=None)
