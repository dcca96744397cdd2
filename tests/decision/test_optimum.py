"""The exact optimum on small problems bounds every criterion from below, and is itself checked by plain enumeration."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from faultnet.decision.edges import edges_cut
from faultnet.decision.repair import expected_cost
from faultnet.decision.value import DecisionState
from tests.bench import optimum

PROBLEMS = 12


@pytest.fixture(scope="module")
def problems() -> list[tuple[DecisionState, float]]:
    rng = np.random.default_rng(5)
    drawn = [optimum.drawn_problem(rng) for _ in range(PROBLEMS)]
    return [(state, optimum.optimum(state)) for state in drawn]


@pytest.mark.parametrize("criterion", optimum.CRITERIA)
def test_no_criterion_is_cheaper_than_the_optimum(criterion: str, problems: list[tuple[DecisionState, float]]) -> None:
    costs = [(optimum.cost_of(p, optimum.CRITERIA[criterion]), best) for p, best in problems]
    assert all(cost >= best - 1e-9 for cost, best in costs)
    assert sum(cost for cost, _ in costs) < 1.25 * sum(best for _, best in costs)


def test_testing_pays_in_some_of_these_problems(problems: list[tuple[DecisionState, float]]) -> None:
    assert sum(best < optimum.best_repair(p) - 1.0 for p, best in problems) >= PROBLEMS // 2


def test_the_optimum_of_one_test_is_found_by_hand(problems: list[tuple[DecisionState, float]]) -> None:
    """Expectimax with one test: the cheaper of mending now and of testing and then mending, in the best order."""
    for whole, _ in problems:
        test = next(iter(whole.chances))
        state = replace(whole, chances={test: whole.chances[test]})
        orders = np.array(list(permutations(range(len(whole.repairs.names)))))

        def mending(belief: np.ndarray, whole: DecisionState = whole, orders: np.ndarray = orders) -> float:
            return min(float(expected_cost(whole.repairs, belief[None], order[None])[0]) for order in orders)

        weights = whole.belief[:, None] * whole.chances[test]
        tested = whole.price[test] + sum(w.sum() * mending(w / w.sum()) for w in weights.T)
        assert optimum.optimum(state) == pytest.approx(min(mending(whole.belief), tested), rel=1e-9)


def test_edges_are_cut_as_counted_one_by_one() -> None:
    """Golovin, Krause and Ray 2010 (from memory), by summing over pairs of hypotheses."""
    state = optimum.drawn_problem(np.random.default_rng(3))
    needs = [tuple(row) for row in state.repairs.at_fault]
    pairs = [(i, j) for i in range(len(needs)) for j in range(len(needs)) if needs[i] != needs[j]]
    for test, chance in state.chances.items():
        whole = sum(state.belief[i] * state.belief[j] for i, j in pairs)
        left = 0.0
        for outcome in range(chance.shape[1]):
            weight = state.belief * chance[:, outcome]
            left += weight.sum() * sum(weight[i] * weight[j] for i, j in pairs)
        assert edges_cut(state, test) == pytest.approx(whole - left)
