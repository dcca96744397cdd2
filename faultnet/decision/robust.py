"""Whether what is advised holds when base rates and estimated symptom tables are off, and what would settle it.

What is repaired first is the largest of chance over cost, so that one repair before another is again a ratio of sums
that are linear in every base rate; whatever a search finds is put to the rule of :mod:`faultnet.decision.value` itself,
starting over and giving the car back included. What to do next is asked again at those rates and with each likely
cause's rate at either end of its range.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from faultnet.decision.choosing import choose
from faultnet.decision.costs import Costs
from faultnet.decision.renewed import repairs_by_now
from faultnet.decision.repair import GIVE_BACK, Repairs
from faultnet.decision.value import DecisionState
from faultnet.diagnosis.diagnose import Worked, is_looked_at, nothing_wrong, weights_by_now
from faultnet.diagnosis.robust import NOTHING, Claim, Doubt, Turn, cause_claim, doubt_of, name_of, sides, turns_of
from faultnet.inference.corners import Doubtful, cannot_turn, least_odds, towards
from faultnet.model.network import Array

if TYPE_CHECKING:
    from faultnet.decision.advice import Weighed

LOOKED_AT = 12  # tests asked whether they would settle it, best first
LEAST_CHANCE = 1e-3  # outcomes less likely than this settle nothing [-]
LIKELY = 0.02  # causes whose rate alone is tried for what to do next [-]
MOST_TRIED = 6


@dataclass(frozen=True)
class Settling:
    """The cheapest test that would leave a robust verdict.

    Parameters
    ----------
    test, label : str
    minutes, price : float
        [min], [money].
    chance : float
        That its outcome leaves a first repair which holds whatever the base rates within their ranges [-].
    """

    test: str
    label: str
    minutes: float
    price: float
    chance: float


@dataclass(frozen=True)
class Robustness:
    """Whether the verdict and the advice hold when numbers behind them are off.

    Parameters
    ----------
    cause : Claim or None
        The leading cause.
    repair : Claim or None
        The first repair, where it is well founded.
    next : Claim or None
        What to do next.
    cure : (float, float) or None
        Least and most that the chance of the first repair being the whole cure can become [-].
    settles : Settling or None
        Set where the verdict is fragile and a test would often settle it.
    off_by, symptom_off_by : float
        How far base rates and numbers of symptom tables were taken to be off at most [-].
    probable : bool
        Whether the leading cause is likely enough to be the verdict where no repair is well founded.
    """

    cause: Claim | None
    repair: Claim | None
    next: Claim | None
    cure: tuple[float, float] | None
    settles: Settling | None
    off_by: float
    symptom_off_by: float
    probable: bool = False

    @property
    def verdict(self) -> Claim | None:
        """The first repair, or a probable leading cause where none is well founded; else None."""
        if self.repair is not None:
            return self.repair
        return self.cause if self.probable else None


def robustness(weighed: Weighed, costs: Costs, *, whole: bool = True) -> Robustness:
    """Find out whether a verdict holds, and what would settle it if not.

    Parameters
    ----------
    weighed : Weighed
        Of :func:`faultnet.decision.advice.weigh`.
    costs : Costs
    whole : bool
        Whether cause, next step and chance of a cure are looked at beside the verdict itself, which takes ten times as
        long.
    """
    worked, founded = weighed.worked, weighed.decision.founded
    table = _Table.of(weighed, costs) if whole or founded else None
    repair = table.claim() if table is not None and founded else None
    cause = cause_claim(worked) if whole or (repair is None and _has_leader(worked)) else None
    claims = [claim for claim in (cause, repair) if claim is not None]
    found = Robustness(
        cause,
        repair,
        _next_claim(weighed, costs, claims) if whole else None,
        table.cure() if whole and table is not None else None,
        None,
        worked.catalogue.number("base_rate_off_by"),
        worked.catalogue.number("symptom_off_by"),
        cause is not None and cause.chance >= worked.catalogue.number("probable_from") and _is_verdict(cause, worked),
    )
    fragile = found.verdict is not None and not found.verdict.holds
    return replace(found, settles=settling(weighed)) if fragile else found


def _is_verdict(cause: Claim, worked: Worked) -> bool:
    """Whether it says more than that this is a check-up: that nothing is wrong takes a look at the car."""
    return cause.said != name_of(NOTHING) or is_looked_at(worked.case, worked.catalogue)


def _has_leader(worked: Worked) -> bool:
    """Whether some cause, or that nothing is wrong, is probable."""
    likeliest = max(float(chances[1:].max()) for chances in worked.belief.marginals().values())
    return max(likeliest, nothing_wrong(worked)) >= worked.catalogue.number("probable_from")


@dataclass(frozen=True, eq=False)
class _Table:
    """The rows of a case with the repairs that each needs by now."""

    weighed: Weighed
    doubt: Doubt
    repairs: Repairs
    classes: NDArray[np.intp]
    by_class: Repairs
    name: str

    @classmethod
    def of(cls, weighed: Weighed, costs: Costs) -> _Table:
        worked = weighed.worked
        weights, modes = weights_by_now(worked)
        doubt = doubt_of(worked, weights, worked.course.present.rows.origin)
        was = worked.space.modes[doubt.origin] > 0
        repairs = repairs_by_now(worked, modes[doubt.chosen] > 0, was, costs)
        name = weighed.decision.repair or GIVE_BACK
        return cls(weighed, doubt, repairs, repairs.classes, repairs.by_class, name)

    def first(self, weights: Array) -> str:
        """What is repaired first with these weights of the rows."""
        held = np.bincount(self.classes, weights, len(self.by_class.at_fault))
        return DecisionState(held / held.sum(), {}, {}, self.by_class).first_repair()[0]

    def claim(self) -> Claim | None:
        """Whether the first repair stays the first; None where it does not follow from chance and cost alone."""
        weights = self.doubt.doubtful.weights
        if self.first(weights) != self.name:
            return None
        value = values_of(self.repairs, weights / weights.sum())
        mine = self.repairs.names.index(self.name)
        worth = value @ weights
        if worth[mine] < worth.max():
            return None  # given back because no repair is worth beginning
        others = [k for k in range(len(value)) if k != mine]
        ahead, behind = sides(value[[mine] * len(others)], value[others])
        causes = [(rate.component, rate.mode) for rate in self.doubt.rates if (rate.component, rate.mode) != NOTHING]

        def arbiter(moved: Array, _: int) -> str | None:
            name = self.first(moved)
            return None if name == self.name else name

        names = [self.repairs.names[k] for k in others]
        turns = turns_of(self.weighed.worked, self.doubt, names, ahead, behind, causes, arbiter)
        return Claim("repair", self.name, turns, self.weighed.decision.chance_of_cure)

    def cure(self) -> tuple[float, float]:
        """Least and most that the chance of a whole cure can become [-]."""
        at_fault = self.repairs.at_fault
        cures = (at_fault[:, self.repairs.names.index(self.name)] & (at_fault.sum(axis=1) == 1)).astype(np.float64)
        both = least_odds(self.doubt.doubtful, np.stack([cures, 1.0 - cures]), np.stack([1.0 - cures, cures])).odds
        least, most = float(both[0] / (1.0 + both[0])), float(1.0 / (1.0 + both[1]))
        return least, most


def values_of(repairs: Repairs, belief: Array) -> Array:
    """Worth of each row to each repair's place in the order, shape (repairs, rows): one over what the repair costs.

    Giving the car back is taken at what it costs by a belief, as its call-back depends on it.
    """
    access = np.append(repairs.access_cost, 0.0)[repairs.access]
    cost = repairs.cost + repairs.in_vain + access
    if repairs.names[-1] == GIVE_BACK:
        cost[-1] += repairs.call_back * (1.0 - float(belief @ repairs.at_fault[:, -1]))
    return np.asarray(repairs.at_fault.T / np.maximum(cost, 1e-9)[:, None])


def _next_claim(weighed: Weighed, costs: Costs, claims: list[Claim]) -> Claim:
    """Whether the next test, or stopping for a repair, stays what is advised."""
    worked, leading = weighed.worked, weighed.found.leading
    doubt = doubt_of(worked, leading.posterior, leading.chosen, sliver=0.0)
    said = next_step(weighed.state, costs, weighed.found.urgent)
    turns: dict[str, Turn] = {}
    for ends in ends_tried(doubt, claims):
        wide = doubt.doubtful.off_by
        factors = np.array([wide[k] ** (ends[k] * 2 - 1) if k in ends else 1.0 for k in range(len(wide))])
        weights = doubt.doubtful.at(factors)
        then = next_step(replace(weighed.state, belief=weights / weights.sum()), costs, weighed.found.urgent)
        if then != said:
            turns.setdefault(then, Turn(tuple(doubt.off(k, float(factors[k])) for k in sorted(ends)), then))
    return Claim("next", said, tuple(sorted(turns.values(), key=lambda turn: len(turn.off))))


def ends_tried(doubt: Doubt, claims: Sequence[Claim]) -> list[dict[int, bool]]:
    """Rates at which the next step is asked again: which of them are off, and whether each is larger.

    Parameters
    ----------
    doubt : Doubt
        Each likely cause's rate is tried alone, at both ends of its range.
    claims : sequence of Claim
        The rates that turn one of them are tried together.
    """
    place = {(rate.component, rate.mode): k for k, rate in enumerate(doubt.rates)}
    held = doubt.doubtful.weights @ doubt.doubtful.has
    likely = [k for k in np.argsort(-held)[:MOST_TRIED].tolist() if held[k] >= LIKELY]
    turns = [turn for claim in claims for turn in claim.turns if not turn.off[0].test]
    return [{k: larger} for k in likely for larger in (True, False)] + [
        {place[off.component, off.mode]: off.factor > 1.0 for off in turn.off} for turn in turns
    ]


def next_step(state: DecisionState, costs: Costs, urgent: str = "") -> str:
    """What is advised by a belief: "test:..." or "repair:..."."""
    choice = choose(state, costs, urgent)
    if choice.order and (choice.order[0] == urgent or not choice.stop):
        return f"test:{choice.order[0]}"
    return f"repair:{state.first_repair()[0]}"


def settling(weighed: Weighed) -> Settling | None:
    """The test whose outcomes, weighted, most often leave a robust first repair for its price.

    Parameters
    ----------
    weighed : Weighed
    """
    leading, state = weighed.found.leading, weighed.state
    doubt = doubt_of(weighed.worked, leading.posterior, leading.chosen, sliver=0.0)
    tests, often = weighed.tests[:LOOKED_AT], weighed.worked.catalogue.number("settling_chance")
    chances = chances_settled(doubt.doubtful, state, [state.chances[t.test] for t in tests])
    found = [
        (chance / max(state.price[t.test], 1e-9), Settling(t.test, t.label, t.minutes, t.price, chance))
        for t, chance in zip(tests, chances, strict=True)
        if chance >= often
    ]
    return max(found, key=lambda pair: pair[0])[1] if found else None


def chances_settled(doubtful: Doubtful, state: DecisionState, tests: Sequence[Array]) -> list[float]:
    """Chance that each test leaves a first repair which holds whatever the base rates within their ranges [-].

    Parameters
    ----------
    doubtful : Doubtful
        The rows of the state.
    state : DecisionState
    tests : sequence of array, shape (rows, outcomes)
        Chance of each outcome.
    """
    outcomes = np.concatenate(tests, axis=1).T if tests else np.empty((0, len(state.belief)))
    held = outcomes @ state.belief
    robust = held >= LEAST_CHANCE
    asked, left, right = [], [], []
    for k in np.flatnonzero(robust).tolist():
        ahead, behind = _beside_others(state, outcomes[k])
        known = cannot_turn(doubtful, ahead, behind)
        robust[k] = not len(known) or not bool((_odds(doubtful, ahead[~known], behind[~known]) < 1.0).any())
        if robust[k] and not known.all():
            asked += [k] * int((~known).sum())
            left.append(ahead[~known])
            right.append(behind[~known])
    if asked:
        found = least_odds(doubtful, np.concatenate(left), np.concatenate(right), starts=1)
        robust[np.array(asked)[found.odds < 1.0]] = False
    ends = np.cumsum([0, *(chances.shape[1] for chances in tests)]).tolist()
    return [min(1.0, float(held[a:b][robust[a:b]].sum())) for a, b in pairwise(ends)]


def _beside_others(state: DecisionState, likelihood: Array) -> tuple[Array, Array]:
    """The first repair after an outcome, beside each other one, shape (others, rows)."""
    weights = state.belief * likelihood
    value = values_of(state.repairs, weights / weights.sum())
    mine = int((value @ weights).argmax())
    others = [k for k in range(len(value)) if k != mine]
    ahead, behind = sides(value[[mine] * len(others)], value[others])
    return ahead * likelihood, behind * likelihood


def _odds(doubtful: Doubtful, ahead: Array, behind: Array) -> Array:
    """Odds at the corner to which each rate alone would go: many turn there, and need no search."""
    weights = doubtful.weights * np.exp(np.log(towards(doubtful, ahead, behind)) @ doubtful.has.T)
    return np.asarray((ahead * weights).sum(axis=1) / np.maximum((behind * weights).sum(axis=1), 1e-300))
