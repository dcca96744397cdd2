"""What the pages' answers are worked out by, in the server itself or in a process beside it (:mod:`workbench.workers`).

Cases are worked through one after the other, and so is the advice on them. All at once would take as long in all, each
would be done last instead of in its turn, and every one would hold what it works with in memory. The two wait apart, as
likely causes are shown before the advice is ready.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from faultnet.case.types import Car, Case, Conditions
from faultnet.decision import Advice, Costs, load_costs
from faultnet.decision.about import telling_tests
from faultnet.decision.advice import Weighed, weigh
from faultnet.decision.plan import Knot, Leaf, pocket_plan
from faultnet.decision.robust import Robustness, robustness
from faultnet.diagnosis.diagnose import MAX_FAULTS, Worked, diagnosis_of, work_through
from faultnet.diagnosis.models import keep_room, model_for
from faultnet.diagnosis.sound import sound_range_with, sound_ranges
from faultnet.practice.review import Advised, advised
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.sets import IN_USE, set_folder
from faultnet.report.beliefs import at_fault_now, belief_of
from faultnet.simulation.workshop.job import Shop as PracticeShop

Belief = dict[tuple[str, str], float]
Range = tuple[float, float]
_followed: list[Path] = []
_working, _advising = threading.Lock(), threading.Lock()


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    """The prior set in use."""
    return load_catalogue(IN_USE)


def keep_up() -> bool:
    """Let what was kept go if another prior set came into use since, in whatever process; whether one did."""
    folder = set_folder(IN_USE)
    if _followed == [folder]:
        return False
    forget()
    _followed[:] = [folder]
    return True


def forget() -> None:
    """Let what depends on the prior set go."""
    catalogue.cache_clear()
    costs.cache_clear()
    let_go()


def let_go() -> None:
    """Let the cases that were worked through go."""
    worked.cache_clear()
    _weighed.cache_clear()


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
    bare = replace(case, outcome=None)  # advice is what the entries say
    for visit in bare.visits:  # a network that has to be built takes a second, in which others go on
        model_for(bare.car, visit.conditions, catalogue(), MAX_FAULTS)
    with _working:
        return work_through(bare, catalogue())


@lru_cache(maxsize=4)
def _weighed(case: Case, shop: Shop) -> Weighed:
    """The decision with all it was taken from, which `robust` asks for once the page is drawn; large, so few."""
    done = worked(case)
    with _advising:
        return weigh(done, costs(shop), tools=shop.tools)


def advice(case: Case, shop: Shop) -> tuple[Advice, dict[str, tuple[str, ...]]]:
    """The diagnosis of a case and what to do; for each component the tests that tell most about it, for their time."""
    weighed = _weighed(case, shop)
    with _advising:
        diagnosis = diagnosis_of(weighed.worked, weighed.tests)
        about = telling_tests(weighed.state, weighed.tests, weighed.worked.catalogue)
        keep_room(weighed.worked.models)
    return Advice(diagnosis, weighed.decision), about


def robust(case: Case, shop: Shop, whole: bool) -> Robustness:
    """Whether the verdict holds when base rates and estimates are off."""
    weighed = _weighed(case, shop)
    with _advising:
        found = robustness(weighed, costs(shop), whole=whole)
        keep_room(weighed.worked.models)
    return found


def advised_in_turn(case: Case, shop: Shop) -> Advised:
    """What the advice would do on a case practised on, with every tool, worked through in its turn."""
    with _working, _advising:
        found = advised(case, PracticeShop(catalogue(), costs(shop)))
        keep_room()
    return found


def plan(case: Case, shop: Shop) -> Knot | Leaf:
    """The whole tree of what to test and what to do then, from here on."""
    return pocket_plan(worked(case), costs(shop), tools=tuple(sorted(shop.tools)))


def belief(case: Case) -> Belief:
    """How likely it is that each cause was at fault in this case, without the ranking of tests."""
    return belief_of(worked(case))


def present(case: Case) -> Belief:
    """How likely each cause is by now, after the repairs of the case, and that no part is at fault."""
    return at_fault_now(worked(case))


def ranges(car: Car, conditions: Conditions) -> dict[str, Range]:
    """In which range a sound example of this car reads today, for every number test."""
    return sound_ranges(model_for(car, conditions, catalogue(), MAX_FAULTS), catalogue())


def range_with(car: Car, conditions: Conditions, test: str, instrument: str) -> Range | None:
    """The same for one test with one instrument, as that shows it; None for a choice."""
    model = model_for(car, conditions, catalogue(), MAX_FAULTS)
    return sound_range_with(model, catalogue(), catalogue().test(test), catalogue().instrument(instrument))
