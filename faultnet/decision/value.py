"""What a test is worth in money: the expected fall in expected cost of repair, less what the test costs.

One step ahead, every test is judged by the beliefs its outcomes would leave. Where that sees nothing worth doing, pairs
of tests are judged together: after the first, the best second one may be taken or the repair begun. Outcomes of two
tests are taken as independent given the hypothesis there, which overstates a pair of tests that see the same thing.
Where what would be done first is not well founded, giving the car back included, and no pair would found it, many small
steps have to: a test is then worth the share of the doubt that it takes away of what it would be worth to know what has
to be mended.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from faultnet.decision.proving import Unproven
from faultnet.decision.repair import GIVE_BACK, Repairs, chance_in_vain, expected_cost, order_of_repair, starting_over
from faultnet.inference.posterior import TINY
from faultnet.model.network import Array

LEAST_CHANCE = 1e-9
CHEAP = 2


@dataclass(frozen=True, eq=False)
class DecisionState:
    """A belief with the tests that could be done and the repairs that could be made.

    Parameters
    ----------
    belief : array, shape (hypotheses,)
        Sums to one.
    chances : dict of test id to array, shape (hypotheses, outcomes)
        Rows sum to one.
    price : dict of test id to float
        [money].
    repairs : Repairs
    preparing : dict of test id to dict of need to float
        What of a test's price goes into each thing that must be done first [money].
    checks : Unproven, optional
        Checks that are named for a part and open.
    """

    belief: Array
    chances: Mapping[str, Array]
    price: Mapping[str, float]
    repairs: Repairs
    preparing: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    checks: Unproven | None = None

    def cost_now(self) -> float:
        """Expected cost of repair without any further test [money]."""
        return float(expected_cost(self.repairs, self.belief[None])[0])

    def starts_over(self) -> bool:
        """Whether starting over at once is cheaper than any order of repair: none is well founded."""
        return self.cost_now() >= float(starting_over(self.repairs, self.belief[None])[0])

    def after(self, test: str, outcomes: Sequence[int], then: Mapping[str, Array]) -> tuple[float, DecisionState]:
        """Chance that a test comes out in one of some ways, and the state then, with the tests that are left.

        What was done first for this test need not be done again for the next, and a check that it is stands done.
        """
        weight = self.belief * self.chances[test][:, list(outcomes)].sum(axis=1)
        chance = float(weight.sum())
        done = self.preparing.get(test, {})
        price = {t: self.price[t] - self.spared_by(test, t) for t in then}
        left = {t: {n: p for n, p in self.preparing.get(t, {}).items() if n not in done} for t in then}
        checks = None if self.checks is None else self.checks.after(test)
        return chance, replace(
            self, belief=weight / max(chance, 1e-300), chances=then, price=price, preparing=left,
            checks=checks,
        )  # fmt: skip

    def spared_by(self, test: str, other: str) -> float:
        """What of another test's price need not be paid once this one is done [money]."""
        mine, its = self.preparing.get(test, {}), self.preparing.get(other, {})
        return sum(price for need, price in its.items() if need in mine)

    @cached_property
    def trust_kept(self) -> dict[str, float]:
        """What a check is worth beside what it tells: trust that a part bought unproven and in vain would cost [money].

        By the chance that the part is bought in vain if nothing more is tested, or the car given back with a fault,
        which starting over is as well: it is handed on as it is. Of the tests that serve for a check.
        """
        if self.checks is None or not self.checks.open_checks:
            return {}
        (vain,), (over,) = chance_in_vain(self.repairs, self.belief[None])
        if GIVE_BACK in self.repairs.names:
            place = self.repairs.names.index(GIVE_BACK)
            vain[place] += over * float(self.belief @ ~self.repairs.at_fault[:, place])
        stake = dict(zip(self.repairs.names, (vain * self.repairs.at_stake).tolist(), strict=True))
        kept: dict[str, float] = {}
        for component, checks in self.checks.open_checks.items():
            for test in set().union(*checks) & set(self.chances):
                kept[test] = kept.get(test, 0.0) + stake[component] * self.checks.share_of(component, test)
        return kept

    def first_repair(self) -> tuple[str, float]:
        """What would be mended first, and the chance that it is the whole cure [-].

        Where it is cheaper to start over at once than to mend anything, the car is given back.
        """
        if self.starts_over() and GIVE_BACK in self.repairs.names:
            nothing = self.repairs.at_fault[:, self.repairs.names.index(GIVE_BACK)]
            return GIVE_BACK, float(self.belief[nothing].sum())
        first = int(order_of_repair(self.repairs, self.belief[None])[0, 0])
        name = self.repairs.names[first]
        return name, self.chance_of_cure(name)

    def chance_of_cure(self, name: str) -> float:
        """Chance that one repair is all that is needed [-]."""
        at_fault = self.repairs.at_fault
        cure = at_fault[:, self.repairs.names.index(name)] & (at_fault.sum(axis=1) == 1)
        return float(self.belief[cure].sum())

    def chance_needed(self, name: str) -> float:
        """Chance that a repair is needed, be it all or not [-]."""
        return float(self.belief @ self.repairs.at_fault[:, self.repairs.names.index(name)])

    def likeliest_cure(self) -> float:
        """Chance that the part most likely to be all that has to be repaired is so, first in the order or not [-].

        What is cheap may be done before a part that nobody has checked yet.
        """
        return max((self.chance_of_cure(name) for name in self.repairs.names if name != GIVE_BACK), default=0.0)


@dataclass(frozen=True)
class Worth:
    """What a test is worth.

    Parameters
    ----------
    saving : float
        Net expected value of information [money]: less what the test costs; negative when it is not worth doing.
    outcomes : tuple of (float, float)
        Chance of each outcome and expected cost of repair after it.
    follow_up : str or None
        The test that makes this one worth doing, when it is not alone.
    """

    saving: float
    outcomes: tuple[tuple[float, float], ...]
    follow_up: str | None = None


def one_step(state: DecisionState) -> dict[str, Worth]:
    """Worth of every test taken alone: the myopic view."""
    now, kept = state.cost_now(), state.trust_kept
    names = list(state.chances)
    weights = [state.belief[:, None] * state.chances[t] for t in names]
    stacked = np.concatenate([w.T for w in weights]) if weights else np.empty((0, len(state.belief)))
    total = stacked.sum(axis=1)
    after = np.where(total > LEAST_CHANCE, expected_cost(state.repairs, stacked), 0.0)
    result, stop = {}, 0
    for name, weight in zip(names, weights, strict=True):
        start, stop = stop, stop + weight.shape[1]
        chance, cost = total[start:stop], after[start:stop]
        saving = now - float(chance @ cost) - state.price[name] + kept.get(name, 0.0)
        result[name] = Worth(saving, tuple(zip(chance.tolist(), cost.tolist(), strict=True)))
    return result


def two_steps(state: DecisionState, alone: Mapping[str, Worth], first: int = 6, second: int = 10) -> dict[str, Worth]:
    """Worth of the most promising tests when one more may follow.

    Parameters
    ----------
    state : DecisionState
    alone : dict of test id to Worth
        Of :func:`one_step`.
    first, second : int
        How many tests are tried at each step: those that save most alone before their price, and of equals those that
        tell most; as a first one also the few that save most after it, as a cheap look may open the way to a dear test.
    """
    tells = doubt_taken(state)
    promising = sorted(alone, key=lambda t: (-round(alone[t].saving + state.price[t], 2), -tells[t], t))
    now, kept = state.cost_now(), state.trust_kept
    result = {}
    cheap = sorted(alone, key=lambda t: (-alone[t].saving, t))[:CHEAP]
    for test in dict.fromkeys((*promising[:first], *cheap)):
        followers = [t for t in promising[: second + 1] if t != test][:second]
        result[test] = _with_one_more(state, test, alone[test], followers, now, kept.get(test, 0.0))
    return result


def _with_one_more(
    state: DecisionState, test: str, alone: Worth, followers: Sequence[str], now: float, kept: float
) -> Worth:
    """Worth of a test when the best of some others may follow; `now` without a test, `kept` of trust [money]."""
    if not followers:
        return alone
    weight = (state.belief[:, None] * state.chances[test]).T
    chance = weight.sum(axis=1)
    mended = chance * expected_cost(state.repairs, weight)
    then = np.concatenate([state.chances[t] for t in followers], axis=1).T
    both = (weight[:, None] * then).reshape(-1, weight.shape[1])
    cost = (both.sum(axis=1) * expected_cost(state.repairs, both)).reshape(len(chance), -1)
    first = np.cumsum([0, *(state.chances[t].shape[1] for t in followers[:-1])])
    price = np.array([state.price[t] - state.spared_by(test, t) for t in followers])
    tested = np.add.reduceat(cost, first, axis=1) + chance[:, None] * price
    saves = np.where(chance[:, None] > LEAST_CHANCE, mended[:, None] - tested, 0.0).max(axis=1)
    best = followers[int((mended[:, None] - tested)[int(saves.argmax())].argmax())] if saves.max() > 0.0 else None
    expected = float((mended - np.maximum(saves, 0.0)).sum())
    saving = now - expected - state.price[test] + kept
    return Worth(saving, alone.outcomes, best)


def many_steps(state: DecisionState, alone: Mapping[str, Worth]) -> dict[str, Worth]:
    """Worth of every test as one of many: its share of the doubt, of what it is worth to know what has to be mended.

    Parameters
    ----------
    state : DecisionState
    alone : dict of test id to Worth
        Of :func:`one_step`.
    """
    knowing, kept = value_of_perfect_information(state), state.trust_kept
    return {
        t: Worth(knowing * share - state.price[t] + kept.get(t, 0.0), alone[t].outcomes)
        for t, share in doubt_taken(state).items()
    }


def value_of_perfect_information(state: DecisionState) -> float:
    """Expected value of perfect information: what it would save to be told which repairs are needed [money].

    Examples
    --------
    >>> two = Repairs(("a", "b"), np.array([10.0, 50.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    >>> value_of_perfect_information(DecisionState(np.array([0.5, 0.5]), {}, {}, two))
    5.0
    """
    repairs = state.repairs
    told = expected_cost(repairs.by_class, np.eye(len(repairs.by_class.at_fault)))
    return state.cost_now() - float(state.belief @ repairs.member @ told)


def doubt_taken(state: DecisionState) -> dict[str, float]:
    """Share of the doubt about what has to be mended that each test takes away on average [-], by entropy."""
    member = state.repairs.member
    before = float(_doubt((state.belief @ member)[None])[0])
    result = {}
    for test, chances in state.chances.items():
        weight = (state.belief[:, None] * chances).T @ member
        result[test] = 1.0 - float(_doubt(weight).sum()) / before if before > 0.0 else 0.0
    return result


def _doubt(weight: Array) -> Array:
    """Entropy of the classes in each row, times the weight of the row [bit]."""
    total = weight.sum(axis=1, keepdims=True)
    share = np.maximum(weight / np.maximum(total, TINY), TINY)
    return np.asarray(-(weight * np.log2(share)).sum(axis=1))


def cost_to_go(state: DecisionState, depth: int = 3, least: float = 0.02) -> float:
    """Expected cost of testing myopically, up to so many tests in a row, and then mending [money].

    Parameters
    ----------
    state : DecisionState
    depth : int
        Tests in a row.
    least : float
        Branches less likely than this are mended without further tests [-].
    """
    worth = one_step(state) if depth > 0 else {}
    best = max(worth, key=lambda t: worth[t].saving, default=None)
    if best is None or worth[best].saving <= 0.0:
        return state.cost_now()
    rest = {t: c for t, c in state.chances.items() if t != best}
    total = state.price[best]
    for outcome, (chance, cost) in enumerate(worth[best].outcomes):
        if chance < least:
            total += chance * cost
            continue
        _, after = state.after(best, [outcome], rest)
        total += chance * cost_to_go(after, depth - 1, least / chance)
    return total
