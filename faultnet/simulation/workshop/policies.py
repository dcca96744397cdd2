"""Policies: what somebody who may look at the case, the tools and the prices, but not into the car, does next.

A policy is a function of the case so far, the shop and a random generator; it returns one step. The expected-cost
policy follows :mod:`faultnet.decision` to the letter. Its variants stop as it does and choose tests by another
criterion.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from faultnet.case.types import Act, Case
from faultnet.decision.advice import Weighed, act_for, decision_state, weigh
from faultnet.decision.choosing import CHOSEN, CRITERIA
from faultnet.decision.edges import edges_cut
from faultnet.decision.repair import GIVE_BACK, order_of_repair
from faultnet.decision.value import one_step
from faultnet.diagnosis.diagnose import Worked, all_ranked, ranked, still_there, work_through
from faultnet.diagnosis.leading import Leading, is_surely_charged
from faultnet.diagnosis.needs import is_open
from faultnet.diagnosis.tools import has_tools
from faultnet.errors import CarError
from faultnet.simulation.workshop.flow_chart import flow_chart
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step

Policy = Callable[[Case, Shop, np.random.Generator], Step]

SURE = 0.8
WORTH_REPLACING = 0.02


def expected_cost(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """Follow the advice: the test it puts first, or the repair it names, or give the car back."""
    return _by(case, shop, CHOSEN)


def advised_by(criterion: str) -> Policy:
    """Follow the advice with its tests put in order by one of the criteria of :mod:`faultnet.decision.choosing`."""
    return lambda case, shop, rng: _by(case, shop, criterion)


def _by(case: Case, shop: Shop, criterion: str) -> Step:
    weighed = weigh(work_through(case, shop.catalogue), shop.costs, tools=shop.tools, criterion=criterion)
    return as_advised(weighed, weighed.tests[0].test if weighed.tests else "")


def class_edges(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """Stop as advised; until then the test that cuts most between hypotheses with different repairs for its price."""
    weighed = _weighed(case, shop)
    state = weighed.state
    cut = {t: edges_cut(state, t) / state.price[t] for t in state.chances}
    return as_advised(weighed, max(cut, key=lambda t: (cut[t], t), default=""))


def single_fault(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """One fault at most, as textbooks have it: the test that saves most, one step ahead; then probability over cost.

    The order of repair is that of :func:`faultnet.decision.repair.order_of_repair`, which for single faults is optimal
    among orders of repair; nothing looks further ahead than one test, and no cause beside the first is thought of.
    """
    if _cured(case):
        return GiveBack()
    worked = work_through(case, shop.catalogue, max_faults=1)
    found = all_ranked(worked, shop.tools)
    state = decision_state(worked, shop.costs, found.tests, found.leading)
    worth = one_step(state)
    best = max(worth, key=lambda t: (worth[t].saving, t), default=None)
    if best is not None and worth[best].saving > 0.0:
        return Look(best, charged=_charged(worked))
    mended = {e.component for e in case.visits[-1].entries if isinstance(e, Act)}
    names = [state.repairs.names[i] for i in order_of_repair(state.repairs, state.belief[None])[0]]
    first = next((name for name in names if name not in mended), GIVE_BACK)
    return GiveBack() if first == GIVE_BACK else Mend(first, act_for(worked, found.leading, first, shop.costs))


def most_likely_first(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """Replace the likeliest cause from the complaint on; only whether it is cured counts."""
    if _cured(case):
        return GiveBack()
    return _likeliest(work_through(case, shop.catalogue), case, shop)


def random_order(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """Tests in random order until one cause is above 0.8 or none is left, then the repair."""
    if _cured(case):
        return GiveBack()
    worked = work_through(case, shop.catalogue)
    left = still_there(worked)
    open_tests = [
        t.id
        for t in shop.catalogue.tests
        if is_open(t, case, shop.catalogue) and (shop.tools is None or has_tools(t.tools, shop.tools))
    ]
    if not open_tests or max(float(p[1:].max()) for p in left.values()) > SURE:
        return _likeliest(worked, case, shop)
    return Look(str(rng.choice(open_tests)), charged=_charged(worked))


POLICIES: dict[str, Policy] = {
    "expected_cost": expected_cost,
    "flow_chart": flow_chart,
    "single_fault": single_fault,
    "most_likely_first": most_likely_first,
    "random": random_order,
    **{f"by_{name}": advised_by(name) for name in CRITERIA},
    "class_edges": class_edges,
}
SHOWN = ("expected_cost", "flow_chart", "most_likely_first", "random")


def policy_named(name: str) -> Policy:
    """Return a policy.

    Raises
    ------
    CarError
        If there is none of that name.

    Examples
    --------
    >>> policy_named("class_edges") is class_edges
    True
    """
    if name not in POLICIES:
        raise CarError("unknown policy", got=repr(name), expected=", ".join(POLICIES), to_do="name one of them")
    return POLICIES[name]


def _weighed(case: Case, shop: Shop) -> Weighed:
    return weigh(work_through(case, shop.catalogue), shop.costs, tools=shop.tools)


def as_advised(weighed: Weighed, test: str) -> Step:
    """The step that a decision comes to: a test while it goes on, else the repair it names, or giving the car back."""
    decision = weighed.decision
    if not decision.stop:
        return Look(test, charged=_charged(weighed.worked))
    if decision.repair is None:
        return GiveBack()
    if decision.act is None:
        return Prepare("wait")  # what forbids every repair of it passes by waiting
    return Mend(decision.repair, decision.act)


def _charged(worked: Worked) -> bool:
    return is_surely_charged(worked.course, worked.belief, worked.catalogue)


def _cured(case: Case) -> bool:
    """Whether the last repair of this visit is said to have cured it."""
    repairs = [e for e in case.visits[-1].entries if isinstance(e, Act) and e.component is not None]
    return bool(repairs) and repairs[-1].outcome == "cured"


def _likeliest(worked: Worked, case: Case, shop: Shop) -> Step:
    """Mend what is likeliest by now, each component once a visit; nothing that is hardly likely."""
    mended = {e.component for e in case.visits[-1].entries if isinstance(e, Act)}
    chance = {c: float(p[1:].sum()) for c, p in still_there(worked).items() if c not in mended}
    best = max(chance, key=lambda c: chance[c], default="")
    if not best or chance[best] < WORTH_REPLACING:
        return GiveBack()
    leading: Leading = ranked(worked, ())[1]
    return Mend(best, act_for(worked, leading, best, shop.costs))
