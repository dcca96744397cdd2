"""The plan to take along: what to test, and what to do after each outcome, down to a repair with its proof.

The tree grows from the present belief, always at the branch where the car is most likely to be, until as many tests
stand in it as fit on the paper. At each knot the test is taken that the screen would propose there, if its outcomes can
change what is done next; outcomes after which the same would be done share a branch. A branch that is not followed
further ends in the repair that would come first, or names the test to do next there. Outcomes of several tests are
taken as independent given the hypothesis.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from heapq import heappop, heappush
from html import escape

from faultnet.decision.advice import GIVE_BACK_WORDS, decision_state, proof_of
from faultnet.decision.choosing import least_saving, proposed, worth_of_tests
from faultnet.decision.costs import Costs
from faultnet.decision.proving import unproven
from faultnet.decision.repair import GIVE_BACK, order_of_repair
from faultnet.decision.value import DecisionState
from faultnet.diagnosis.diagnose import Worked, ranked

NEXT = "next"
MOST_TESTS = 14
"""Tests in a plan, by which a fresh case fits on two pages of A4."""


@dataclass(frozen=True)
class Leaf:
    """The end of a branch.

    Parameters
    ----------
    chance : float
        Of getting here [-].
    repair : str
        Component to mend, or "give_back"; empty where a test comes next.
    words : str
    proof : str
    chance_of_cure : float
        That the repair is the whole cure [-].
    next_test : str
        Id of the test that comes next, with which one goes on at the screen; empty where a repair is named.
    """

    chance: float
    repair: str
    words: str
    proof: str
    chance_of_cure: float
    next_test: str = ""

    def _repr_html_(self) -> str:
        return f"<pre>{escape(plan_text(self))}</pre>"


@dataclass(frozen=True)
class Knot:
    """A test with its branches.

    Parameters
    ----------
    chance : float
        Of getting here [-].
    test, words : str
        Id and label of the test.
    branches : tuple of (str, Knot or Leaf)
        Outcome in words, and what to do then.
    """

    chance: float
    test: str
    words: str
    branches: tuple[tuple[str, Knot | Leaf], ...]

    def _repr_html_(self) -> str:
        return f"<pre>{escape(plan_text(self))}</pre>"


def pocket_plan(
    worked: Worked,
    costs: Costs,
    *,
    tools: Collection[str] | None = None,
    depth: int = 6,
    least: float = 0.02,
    most: int = MOST_TESTS,
) -> Knot | Leaf:
    """Contingency tree from the present belief.

    Parameters
    ----------
    worked : Worked
    costs : Costs
    tools : collection of str, optional
        Tools at hand.
    depth : int
        Most tests in a row.
    least : float
        Branches less likely than this are not followed further [-].
    most : int
        Most tests in the whole tree; they go where the car is most likely to be.

    Returns
    -------
    Knot or Leaf
        Every branch ends in a repair with its proof, or in the test to do next there.
    """
    tests, leading = ranked(worked, tools)
    checks = unproven(worked.case, costs, [t.test for t in tests])
    state = decision_state(worked, costs, tests, leading, checks)
    words = {t.test: tuple(o.label for o in t.outcomes) for t in tests}
    return _Growing(worked, costs, words, least, depth).grown(state, most)


@dataclass(eq=False)
class _Bud:
    """A branch that may still grow; the only mutable thing here, and it never leaves this module."""

    state: DecisionState
    chance: float
    depth: int
    test: str | None
    groups: list[list[int]]
    branches: list[tuple[list[int], _Bud]] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class _Growing:
    worked: Worked
    costs: Costs
    words: dict[str, tuple[str, ...]]
    least: float
    depth: int

    def grown(self, state: DecisionState, most: int) -> Knot | Leaf:
        root = self._bud(state, 1.0, 0)
        open_buds, count = [(-1.0, 0, root)], 1
        for _ in range(most):
            if not open_buds:
                break
            for outcomes, bud in self._opened(heappop(open_buds)[2]):
                if bud.test is not None and bud.chance >= self.least and bud.depth < self.depth:
                    heappush(open_buds, (-bud.chance, count, bud))
                    count += len(outcomes)
        return self._finished(root)

    def _bud(self, state: DecisionState, chance: float, depth: int) -> _Bud:
        test, groups = self._best(state)
        return _Bud(state, chance, depth, test, groups)

    def _opened(self, bud: _Bud) -> list[tuple[list[int], _Bud]]:
        """The branches of a bud, which becomes a knot by it."""
        if bud.test is not None:
            rest = {t: c for t, c in bud.state.chances.items() if t != bud.test}
            for outcomes in bud.groups:
                share, after = bud.state.after(bud.test, outcomes, rest)
                bud.branches.append((outcomes, self._bud(after, bud.chance * share, bud.depth + 1)))
        return bud.branches

    def _finished(self, bud: _Bud) -> Knot | Leaf:
        if bud.test is None:
            return self.repair(bud.state, bud.chance)
        label = self.worked.catalogue.test(bud.test).label
        if not bud.branches:
            return Leaf(bud.chance, "", f"{NEXT}: {label}", "", 0.0, bud.test)
        joined: list[tuple[list[int], Knot | Leaf]] = []
        for outcomes, branch in bud.branches:
            then = self._finished(branch)
            twin = next(
                (k for k, (some, other) in enumerate(joined) if self._joins(bud.test, some, other, outcomes, then)),
                None,
            )
            if twin is None:
                joined.append((outcomes, then))
            else:
                joined[twin] = (joined[twin][0] + outcomes, _both(joined[twin][1], then))
        return Knot(bud.chance, bud.test, label, tuple((self._label(bud.test, o), then) for o, then in joined))

    def _joins(self, test: str, some: list[int], one: Knot | Leaf, more: list[int], other: Knot | Leaf) -> bool:
        """Whether two branches lead to the same step, and can be said in one line."""
        if not isinstance(one, Leaf) or not isinstance(other, Leaf):
            return False
        same = (one.repair, one.next_test) == (other.repair, other.next_test)
        return same and (not self._ordered(test) or some[-1] + 1 == more[0])

    def _best(self, state: DecisionState) -> tuple[str | None, list[list[int]]]:
        """The test that saves most among those whose outcomes can change what is done next, with its branches."""
        for test in _worth_doing(state, self.costs):
            groups = self._grouped(state, test)
            if len(groups) == 1:
                groups = self._grouped(state, test, self._next_tests(state, test))
            if len(groups) > 1:
                return test, self._merged(state, test, groups)
        return None, []

    def _next_tests(self, state: DecisionState, test: str) -> list[str]:
        """The test that would come after each outcome of a test; empty where it would be time to mend."""
        rest = {t: c for t, c in state.chances.items() if t != test}
        outcomes = range(state.chances[test].shape[1])
        return [next(iter(_worth_doing(state.after(test, [o], rest)[1], self.costs)), "") for o in outcomes]

    def _merged(self, state: DecisionState, test: str, groups: list[list[int]]) -> list[list[int]]:
        """Neighbouring branches too unlikely to follow are put together."""
        if not self._ordered(test):
            return groups
        share = state.belief @ state.chances[test]
        merged: list[list[int]] = []
        for group in groups:
            small = share[group].sum() < self.least
            if merged and small and share[merged[-1]].sum() < self.least:
                merged[-1] = merged[-1] + group
            else:
                merged.append(group)
        return merged

    def _grouped(self, state: DecisionState, test: str, then: Sequence[str] = ()) -> list[list[int]]:
        """Neighbouring outcomes after which the same is done: repair that comes first, likeliest part, next test."""
        weights = (state.belief[:, None] * state.chances[test]).T
        likeliest = (weights @ state.repairs.at_fault).argmax(axis=1)
        first = order_of_repair(state.repairs, weights)[:, 0]
        what = list(zip(first.tolist(), likeliest.tolist(), then or [""] * len(first), strict=True))
        groups: list[list[int]] = []
        for outcome, here in enumerate(what):
            if groups and what[groups[-1][-1]] == here and self._ordered(test):
                groups[-1].append(outcome)
            else:
                groups.append([outcome])
        return groups

    def _ordered(self, test: str) -> bool:
        return self.worked.catalogue.test(test).kind == "number"

    def _label(self, test: str, outcomes: list[int]) -> str:
        words = self.words[test]
        if len(outcomes) == len(words):
            return "whatever comes out"
        if len(outcomes) == 1:
            return words[outcomes[0]]
        if not self._ordered(test):
            return " / ".join(words[o] for o in outcomes)
        first, last = words[outcomes[0]], words[outcomes[-1]]
        if outcomes[0] == 0:
            return f"up to {last.split(' to ')[-1]}"
        if outcomes[-1] == len(words) - 1:
            return f"{first.split(' to ')[0]} and more"
        return f"{first.split(' to ')[0]} to {last.split(' to ')[-1]}"

    def repair(self, state: DecisionState, chance: float) -> Leaf:
        name, cure = state.first_repair()
        if name == GIVE_BACK:
            return Leaf(chance, name, GIVE_BACK_WORDS, "", cure)
        label = self.worked.catalogue.component(name).label
        proofs = proof_of(self.worked, self.costs, name)
        proof = "; ".join(f"{test.label}: {reads}" if reads else test.label for test, reads in proofs)
        return Leaf(chance, name, f"repair: {label}", proof, cure)


def _both(one: Knot | Leaf, other: Knot | Leaf) -> Leaf:
    """Two ends that name the same step as one; its chance of cure is their mean."""
    assert isinstance(one, Leaf)
    assert isinstance(other, Leaf)
    whole = max(one.chance + other.chance, 1e-300)
    cure = (one.chance * one.chance_of_cure + other.chance * other.chance_of_cure) / whole
    return replace(one, chance=one.chance + other.chance, chance_of_cure=cure)


def _worth_doing(state: DecisionState, costs: Costs) -> list[str]:
    """Tests in the order of the screen; none where none is worth its cost."""
    least = least_saving(state, costs)
    worth = worth_of_tests(state, costs, least)
    if max((w.saving for w in worth.values()), default=least) <= least:
        return []
    return proposed(state, worth, costs, least)


def plan_text(plan: Knot | Leaf, indent: int = 0) -> str:
    """The plan as indented text, one line a step.

    Examples
    --------
    >>> print(plan_text(Leaf(1.0, "belt", "repair: Belt", "Charging volts: 13.7 V to 14.5 V", 0.9)))
    -> repair: Belt (whole cure 90%). Proof: Charging volts: 13.7 V to 14.5 V
    """
    pad = "  " * indent
    if isinstance(plan, Leaf):
        if not plan.repair:
            return f"{pad}-> {plan.words}"
        proof = f" Proof: {plan.proof}" if plan.proof else ""
        return f"{pad}-> {plan.words} (whole cure {plan.chance_of_cure:.0%}).{proof}"
    lines = [f"{pad}{plan.words}"]
    for outcome, then in plan.branches:
        share = f"{then.chance / max(plan.chance, 1e-12):.0%}"
        lines += [f"{pad}- {outcome} ({share}):", plan_text(then, indent + 2)]
    return "\n".join(lines)


def plan_tree(plan: Knot | Leaf) -> dict[str, object]:
    """The plan as plain data for JSON."""
    if isinstance(plan, Leaf):
        return {"chance": plan.chance, "repair": plan.repair or None, "words": plan.words, "proof": plan.proof,
                "chance_of_cure": plan.chance_of_cure, "next_test": plan.next_test or None}  # fmt: skip
    branches = [{"outcome": outcome, "then": plan_tree(then)} for outcome, then in plan.branches]
    return {"chance": plan.chance, "test": plan.test, "words": plan.words, "branches": branches}
