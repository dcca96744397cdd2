"""What a test may spare: the expected waste against a replay by hand, and which part of it a test makes smaller."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.api import advise
from faultnet.case.types import Battery, Car, Case, Reading, Visit
from faultnet.decision.repair import GIVE_BACK, Repairs, expected_cost, order_of_repair
from faultnet.decision.spared import START_OVER, expected_waste, spared
from faultnet.decision.value import DecisionState


def some_repairs(rng: np.random.Generator, start_over: float) -> tuple[Repairs, np.ndarray]:
    """Three parts, single and double faults and a sound car, with a belief over them."""
    faults = np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [1, 1, 0], [0, 1, 1], [0, 0, 0]], dtype=bool)
    at_fault = np.hstack([faults, ~faults.any(axis=1, keepdims=True)])
    cost, vain = rng.uniform(5, 60, 4), np.append(rng.uniform(0, 80, 3), 0.0)
    repairs = Repairs(("a", "b", "c", GIVE_BACK), cost, np.array([]), np.full(4, -1), at_fault, 70.0, start_over, vain)
    return repairs, rng.dirichlet(np.ones(6))


def by_hand(repairs: Repairs, belief: np.ndarray, stop: int | None) -> tuple[np.ndarray, float]:
    """Waste and whole cost of going through the order, broken off before its step `stop`; in the plainest way."""
    order = order_of_repair(repairs, belief[None])[0]
    vain, whole = np.zeros(len(order) + 1), 0.0
    prices = np.append((repairs.cost + repairs.in_vain)[:-1], repairs.call_back)
    for faults, share in zip(repairs.at_fault, belief, strict=True):
        left, came_back = set(np.flatnonzero(faults)), 0.0
        for done, step in enumerate(order):
            if done == stop:
                vain[-1] += share * repairs.start_over
                whole += share * (repairs.start_over + sum(repairs.cost[k] for k in left))
                break
            whole += share * repairs.cost[step]
            if step not in left:
                vain[step] += share * prices[step]
                whole += share * repairs.in_vain[step]
                came_back += repairs.call_back * (step == len(order) - 1)
            left.discard(step)
            if not left:
                whole += share * came_back  # the expected cost leaves it out where one starts over
                break
    return vain, whole


@pytest.mark.parametrize("start_over", [float("inf"), 15.0, 60.0])
def test_expected_waste_is_that_of_a_replay_by_hand(start_over: float) -> None:
    rng = np.random.default_rng(11)
    stops: set[int | None] = set()
    for _ in range(60):
        repairs, belief = some_repairs(rng, start_over)
        ways = [None] if np.isinf(start_over) else [None, *range(4)]
        replayed = {stop: by_hand(repairs, belief, stop) for stop in ways}
        best = min(replayed, key=lambda stop: replayed[stop][1])
        stops.add(best)
        assert float(expected_cost(repairs, belief[None])[0]) == pytest.approx(replayed[best][1])
        assert expected_waste(repairs, 3.0 * belief[None])[0] == pytest.approx(replayed[best][0])
    assert len(stops) > 1 or np.isinf(start_over)


def test_a_test_spares_the_part_that_it_clears() -> None:
    """Invented: two parts as likely as each other; a sure test of which it is spares the cheap one, done first."""
    two = Repairs(("a", "b"), np.array([10.0, 50.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    tells = DecisionState(np.array([0.5, 0.5]), {"sure": np.eye(2), "blind": np.full((2, 2), 0.5)}, {}, two)
    assert spared(tells, ["sure", "blind"], 0.01) == {"sure": "a"}
    assert spared(tells, ["sure"], 5.1) == {}, "what is not worth a word is left out"
    assert spared(tells, [], 0.0) == {}
    assert START_OVER not in spared(tells, ["sure"], 0.0).values()


def test_a_battery_that_may_be_sound_is_spared_by_the_test_of_it() -> None:
    """Slow, charged, and low while cranking: a battery would be bought first, and is what the tests may spare."""
    slow = Reading("how_it_turns_over", state="slow")
    seen = (slow, Reading("rest_voltage", value=12.65), Reading("crank_minimum", value=8.4))
    found = advise(Case(Car(Battery(540.0)), (Visit(seen),)), tools=("voltmeter", "battery charger", "clamp meter"))
    assert found.decision.repair == "battery"
    assert {t.spares for t in found.diagnosis.next_tests[:5]} == {"a battery bought in vain"}
    assert found.diagnosis.next_tests[-1].spares == "", "only tests that are shown say so"
