"""Parts that were renewed in a case: where one is still at fault it is looked further, and it is not renewed again.

A new part is seldom bad. What stays as it was after one was fitted is mostly something else that reads like it, or how
it was fitted, and nobody in the trade fits the same part twice before looking for that (common practice, no source).
What is not renewed but cleaned, tightened, adjusted or searched for a break may have been done badly once; done twice
it counts as renewed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Act, Case
from faultnet.decision.costs import Costs
from faultnet.decision.repair import Repairs, repairs_for
from faultnet.diagnosis.acts import mending_of
from faultnet.diagnosis.diagnose import Worked
from faultnet.inference.evidence import UNLISTED
from faultnet.prior_set.catalogue import Catalogue

RENEWS = "replace"  # effect of acts
SEARCHED = ("repair_circuit",)  # acts that renew what they find: one break may have been missed
DONE_TWICE = 2


def repairs_by_now(
    worked: Worked, at_fault: NDArray[np.bool_], was_at_fault: NDArray[np.bool_], costs: Costs
) -> Repairs:
    """The repairs of some hypotheses of a case, no part being renewed twice before it was looked further.

    Parameters
    ----------
    worked : Worked
    at_fault, was_at_fault : bool arrays, shape (hypotheses, components)
        By now, and when the car was brought in.
    costs : Costs
    """
    components = worked.space.components
    needed = looked_further_for(at_fault, components, renewed_parts(worked.case, worked.catalogue))
    return repairs_for(components, needed, costs, was_at_fault)


def renewed_parts(case: Case, catalogue: Catalogue) -> frozenset[str]:
    """Components that were renewed, or mended twice alike, in a case since it was last looked further.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> acts = Act("replace", "starter_motor"), Act("clean_joint", "negative_joint"), Act("look_further")
    >>> cases = (Case(Car(Battery(600.0)), (Visit(acts[:k]),)) for k in range(4))
    >>> [sorted(renewed_parts(case, load_catalogue())) for case in cases]
    [[], ['starter_motor'], ['starter_motor'], []]
    >>> wires = Case(Car(Battery(600.0)), (Visit((Act("repair_circuit", "start_control"),)),))
    >>> sorted(renewed_parts(wires, load_catalogue()))
    []
    >>> cleaned = Visit((Act("clean_joint", "positive_joint"),) * 2)
    >>> sorted(renewed_parts(Case(Car(Battery(600.0)), (cleaned,)), load_catalogue()))
    ['positive_joint']
    """
    renewed: set[str] = set()
    mended: Counter[tuple[str, str]] = Counter()
    for act in (e for visit in case.visits for e in visit.entries if isinstance(e, Act)):
        mending = mending_of(catalogue, act)
        if mending is None:
            continue
        if mending.component == UNLISTED:
            renewed.clear()
            mended.clear()
            continue
        mended[act.act, mending.component] += 1
        renews = catalogue.act(act.act).effect == RENEWS and act.act not in SEARCHED
        if renews or mended[act.act, mending.component] >= DONE_TWICE:
            renewed.add(mending.component)
    return frozenset(renewed)


def looked_further_for(
    at_fault: NDArray[np.bool_], components: tuple[str, ...], renewed: Collection[str]
) -> NDArray[np.bool_]:
    """What is to be repaired where some parts are not renewed again, shape (hypotheses, components).

    Parameters
    ----------
    at_fault : bool array, shape (hypotheses, components)
        By now.
    components : tuple of str
    renewed : collection of str

    Examples
    --------
    >>> still = np.array([[True, False, False], [False, True, False]])
    >>> looked_further_for(still, ("starter_motor", "battery", "unlisted"), {"starter_motor"}).astype(int).tolist()
    [[0, 0, 1], [0, 1, 0]]
    """
    if not renewed or UNLISTED not in components:
        return at_fault
    columns = [components.index(c) for c in sorted(renewed)]
    needed = at_fault.copy()
    needed[:, components.index(UNLISTED)] |= at_fault[:, columns].any(axis=1)
    needed[:, columns] = False
    return needed
