"""What must not be done to a car as it was found: nothing proposed may contradict it."""

from __future__ import annotations

from collections.abc import Iterable

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.diagnosis.course import Course
from faultnet.diagnosis.leading import chance_charged
from faultnet.diagnosis.needs import NEEDS_DO
from faultnet.inference.posterior import Belief
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import ActSpec, Forbid, Test

LOOK = "case_condition"  # the test that finds ice
ICE = "frozen"
PASSES = "wait"  # what passes by waiting is over at the next visit


def forbids(case: Case, catalogue: Catalogue) -> tuple[Forbid, ...]:
    """Findings of a case that stand and forbid something.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> seen = Visit((Reading("case_condition", state="swollen"),))
    >>> [found.choice for found in forbids(Case(Car(Battery(600.0)), (seen,)), load_catalogue())]
    ['swollen']
    """
    found: dict[str, Forbid] = {}
    for number, visit in enumerate(case.visits):
        if number:
            found = {test: forbid for test, forbid in found.items() if PASSES not in forbid.until}
        for entry in visit.entries:
            if isinstance(entry, Act):
                found = {t: f for t, f in found.items() if not _ends(entry, f, catalogue)}
            elif entry.state is not None:
                found.pop(entry.test, None)
                for forbid in catalogue.test(entry.test).forbids:
                    if forbid.choice == entry.state:
                        found[entry.test] = forbid
    return tuple(found.values())


def _ends(act: Act, forbid: Forbid, catalogue: Catalogue) -> bool:
    effect = catalogue.act(act.act).effect
    return effect in forbid.until or (effect == "replace" and act.component in forbid.until)


def ice_to_look_for(case: Case, course: Course, belief: Belief, catalogue: Catalogue) -> Forbid | None:
    """What is forbidden until somebody has looked for ice: the battery is nearly flat, and it is cold.

    Parameters
    ----------
    case : Case
    course : Course
    belief : Belief
    catalogue : Catalogue
    """
    visit, number = case.visits[-1], catalogue.number
    here = visit.conditions
    degrees = here.air_temperature if here.electrolyte_temperature is None else here.electrolyte_temperature
    if degrees is None or degrees >= number("frozen_below") or _looked(visit):
        return None
    if 1.0 - chance_charged(course, belief, number("nearly_flat")) < number("nearly_flat_chance"):
        return None
    return next((f for f in catalogue.test(LOOK).forbids if f.choice == ICE), None)


def _looked(visit: Visit) -> bool:
    return any(isinstance(e, Reading) and e.test == LOOK and e.state is not None for e in visit.entries)


def test_does(test: Test, needs: Iterable[str]) -> frozenset[str]:
    """What a test does to the car, with what has to be done for its needs."""
    return frozenset(test.does).union(*(NEEDS_DO.get(need, ()) for need in needs))


test_does.__test__ = False  # type: ignore[attr-defined]  # a name of the trade, no test of ours


def is_forbidden(does: Iterable[str], standing: Iterable[Forbid]) -> bool:
    """Whether some finding forbids what is to be done."""
    done = set(does)
    return any(done.intersection(forbid.does) for forbid in standing)


def named_repair(standing: Iterable[Forbid], catalogue: Catalogue) -> tuple[str, str] | None:
    """Component and act by which a finding ends that does not pass by waiting; None where none stands.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> known = load_catalogue()
    >>> named_repair(known.test("turn_by_hand").forbids, known)
    ('engine_turning', 'repair_engine')
    """
    lasting = (forbid.until[0] for forbid in standing if PASSES not in forbid.until)
    for component in lasting:
        acts = (a.id for a in catalogue.acts if component in a.components and a.effect == "replace")
        return component, next(acts)
    return None


def allowed_act(act: ActSpec, component: str, standing: tuple[Forbid, ...], catalogue: Catalogue) -> ActSpec | None:
    """The act itself, or another one that mends the same component and is not forbidden; None if there is none.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> known = load_catalogue()
    >>> cracked = known.test("case_condition").forbids[1]
    >>> allowed_act(known.act("long_charge"), "battery", (cracked,), known).id
    'replace'
    """
    others = (a for a in catalogue.acts if a.kind == "repair" and component in a.components and a.effect == "replace")
    return next((a for a in (act, *others) if not is_forbidden(a.does, standing)), None)
