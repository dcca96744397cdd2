"""Expected cost of repair against brute force over all orders and the result of Heckerman, Breese and Rommelse 1995."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from faultnet.decision.costs import load_costs
from faultnet.decision.repair import Repairs, expected_cost, order_of_repair, repairs_for


def plain(cost, at_fault, access=None, access_cost=(), call_back=0.0, start_over=float("inf"), in_vain=0.0):
    names = tuple(f"r{i}" for i in range(len(cost)))
    access = [-1] * len(cost) if access is None else access
    return Repairs(
        names, np.array(cost, float), np.array(access_cost, float), np.array(access, dtype=np.intp),
        np.array(at_fault, bool), call_back, start_over, in_vain,
    )  # fmt: skip


def some_faults(rng, hypotheses, size):
    """Faults drawn at random, at least one in each hypothesis."""
    at_fault = rng.random((hypotheses, size)) < 0.35
    at_fault[~at_fault.any(axis=1), 0] = True
    return at_fault


def by_hand(repairs, belief, order, stop=None):
    """Replay one order on every hypothesis, in the plainest possible way; start over after `stop` repairs."""
    total = 0.0
    in_vain = np.broadcast_to(repairs.in_vain, len(repairs.cost))
    for faults, share in zip(repairs.at_fault, belief, strict=True):
        left, bill, opened = set(np.flatnonzero(faults)), 0.0, set()
        for done, step in enumerate(order):
            if not left and step != order[0]:
                break
            if done == stop:
                bill += repairs.start_over + sum(repairs.cost[k] for k in left)
                break
            access = repairs.access[step]
            bill += repairs.cost[step]
            if access >= 0 and access not in opened:
                bill += repairs.access_cost[access]
                opened.add(access)
            bill += 0.0 if step in left else in_vain[step]
            left.discard(step)
        total += share * bill
    return total


def test_a_part_fitted_in_vain_costs_more_and_the_best_order_counts_it():
    """Single faults: brute force over all orders agrees with probability over cost and price of a part in vain."""
    for seed in range(25):
        rng = np.random.default_rng(300 + seed)
        size = 5
        repairs = plain(rng.uniform(5, 200, size), np.eye(size), in_vain=rng.uniform(0, 300, size))
        belief = rng.dirichlet(np.ones(size))
        best = min(by_hand(repairs, belief, order) for order in permutations(range(size)))
        assert float(expected_cost(repairs, belief[None])[0]) == pytest.approx(best, rel=1e-12)


def test_starting_over_counts_the_parts_fitted_in_vain_until_then():
    for seed in range(20):
        rng = np.random.default_rng(400 + seed)
        size, hypotheses = 5, 12
        at_fault = some_faults(rng, hypotheses, size)
        vain = rng.uniform(0, 100, size)
        repairs = plain(rng.uniform(5, 60, size), at_fault, [0, 0, 1, -1, 1], [30.0, 12.0], 0.0, 120.0, vain)
        belief = rng.dirichlet(np.ones(hypotheses))
        order = rng.permutation(size)
        best = min(by_hand(repairs, belief, order, stop) for stop in (*range(size), None))
        assert float(expected_cost(repairs, belief[None], order[None])[0]) == pytest.approx(best)


def test_a_single_fault_with_independent_costs_is_mended_best_by_probability_over_cost():
    """Heckerman, Breese and Rommelse, Commun. ACM 38(3), 1995 (from memory): p/c order is optimal."""
    for seed in range(25):
        rng = np.random.default_rng(seed)
        size = 5
        repairs = plain(rng.uniform(5, 200, size), np.eye(size))
        belief = rng.dirichlet(np.ones(size))
        best = min(by_hand(repairs, belief, order) for order in permutations(range(size)))
        ours = float(expected_cost(repairs, belief[None])[0])
        assert ours == pytest.approx(best, rel=1e-12)
        quotient = belief / repairs.cost
        assert list(order_of_repair(repairs, belief[None])[0]) == list(np.argsort(-quotient))


def test_an_order_costs_what_doing_it_by_hand_costs():
    for seed in range(20):
        rng = np.random.default_rng(100 + seed)
        size, hypotheses = 5, 12
        at_fault = some_faults(rng, hypotheses, size)
        repairs = plain(rng.uniform(5, 100, size), at_fault, [0, 0, 1, -1, 1], [30.0, 12.0])
        belief = rng.dirichlet(np.ones(hypotheses))
        order = rng.permutation(size)
        assert float(expected_cost(repairs, belief[None], order[None])[0]) == pytest.approx(
            by_hand(repairs, belief, order)
        )


def test_several_faults_and_shared_covers_stay_close_to_the_best_of_all_orders():
    """Probability over cost is a rule of thumb there; brute force over all 120 orders tells what it loses."""
    for seed in range(10):
        rng = np.random.default_rng(200 + seed)
        size, hypotheses = 5, 10
        at_fault = np.zeros((hypotheses, size), bool)
        for row in at_fault:
            row[rng.choice(size, rng.choice([1, 1, 1, 2]), replace=False)] = True
        repairs = plain(rng.uniform(10, 100, size), at_fault, [0, 0, 0, 1, 1], [25.0, 15.0])
        belief = rng.dirichlet(np.ones(hypotheses))
        best = min(by_hand(repairs, belief, order) for order in permutations(range(size)))
        ours = float(expected_cost(repairs, belief[None])[0])
        assert best - 1e-9 <= ours <= 1.25 * best


def test_a_cover_taken_off_is_paid_once():
    repairs = plain([10.0, 10.0], [[True, True]], [0, 0], [100.0])
    assert float(expected_cost(repairs, np.ones((1, 1)))[0]) == 120.0


def test_starting_over_bounds_the_cost_of_blind_repairs():
    repairs = plain([100.0] * 6, np.eye(6), start_over=150.0)
    cost = float(expected_cost(repairs, np.full((1, 6), 1 / 6))[0])
    assert cost == pytest.approx(150.0 + 100.0)
    sure = float(expected_cost(repairs, np.array([[1.0, 0, 0, 0, 0, 0]]))[0])
    assert sure == pytest.approx(100.0)


def test_giving_back_a_car_with_a_fault_costs_a_call_back():
    costs = replace(load_costs(), start_over=float("inf"))
    at_fault = np.array([[False], [True]])
    repairs = repairs_for(("belt",), at_fault, costs)
    sound, belt = repairs.at_fault
    assert list(sound) == [False, True]
    assert list(belt) == [True, False]
    order = np.array([[1, 0]])
    bill = [float(expected_cost(repairs, belief[None], order)[0]) for belief in np.eye(2)]
    give_back = costs.money(costs.overhead_minutes)
    assert bill[0] == pytest.approx(give_back)
    opened = costs.money(costs.access[costs.behind["belt"]])
    assert bill[1] == pytest.approx(give_back + costs.repair("belt") + opened + costs.call_back)


def test_the_use_of_the_car_is_mended_only_where_no_part_is_at_fault():
    repairs = repairs_for(("battery", "use"), np.array([[True, True], [False, True]]), load_costs())
    assert repairs.at_fault.tolist() == [[True, False, False], [False, True, False]]


def test_a_cover_that_is_off_is_not_paid_for_again() -> None:
    """By hand: "b" alone would come last, at 0.3 / 110; once "a" took the cover off it is at 0.3 / 10, before "d"."""
    costs, access = np.array([10.0, 10.0, 50.0, 60.0]), np.array([0, 0, -1, -1])
    repairs = Repairs(("a", "b", "c", "d"), costs, np.array([100.0]), access, np.eye(4, dtype=bool), 0.0)
    belief = np.array([[0.5, 0.3, 0.3, 0.2]])
    assert order_of_repair(repairs, belief)[0].tolist() == [2, 0, 1, 3]
    apart = Repairs(
        ("a", "b", "c", "d"), costs, np.array([100.0, 100.0]), np.array([0, 1, -1, -1]), np.eye(4, dtype=bool), 0.0
    )
    assert order_of_repair(apart, belief)[0].tolist() == [2, 0, 3, 1]
