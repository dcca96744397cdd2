"""By what the next test is chosen, worked by hand on two parts and tests whose outcomes can be counted on fingers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import pytest

from faultnet.decision import load_costs
from faultnet.decision.choosing import (
    CRITERIA,
    companions,
    in_order,
    is_founded,
    least_saving,
    proposed,
    shared_price,
    worth_while_first,
)
from faultnet.decision.repair import Repairs
from faultnet.decision.value import DecisionState, Worth, one_step, two_steps

TELLS, HALF = np.array([[1.0, 0.0], [0.0, 1.0]]), np.array([[0.75, 0.25], [0.25, 0.75]])
NOTHING = np.full((2, 2), 0.5)


def decision_state(
    prices: Mapping[str, float],
    chances: Mapping[str, np.ndarray],
    belief: tuple[float, float] = (0.5, 0.5),
    preparing: Mapping[str, Mapping[str, float]] | None = None,
) -> DecisionState:
    """One of two parts for 100 is at fault."""
    repairs = Repairs(
        ("a", "b"), np.array([100.0, 100.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0
    )
    return DecisionState(np.array(belief), dict(chances), dict(prices), repairs, preparing or {})


CHEAP_AND_DEAR = {"dear": 30.0, "cheap": 2.0, "idle": 1.0}
OUTCOMES = {"dear": TELLS, "cheap": HALF, "idle": NOTHING}


@pytest.mark.parametrize(
    ("criterion", "first"),
    [("saving", "cheap"), ("saving_for_price", "cheap"), ("information", "cheap")],
)
def test_a_cheap_test_stands_before_a_dear_one_that_tells_no_more_for_its_price(criterion: str, first: str) -> None:
    """A part in vain costs 100 with chance 1/2: certain 50 - 30 = 20; three of four right 25 - 2 = 23."""
    at = decision_state(CHEAP_AND_DEAR, OUTCOMES)
    worth = one_step(at)
    assert {t: w.saving for t, w in worth.items()} == pytest.approx({"dear": 20.0, "cheap": 23.0, "idle": -1.0})
    assert in_order(at, worth, criterion)[0] == first
    assert in_order(at, worth, criterion)[-1] == "idle"


def test_what_tells_modes_of_one_part_apart_takes_no_doubt_about_the_repair() -> None:
    """Two modes of a and one of b: one test tells the modes for 1, the other the parts for 2."""
    modes, parts = np.array([[1.0, 0], [0, 1.0], [0.5, 0.5]]), np.array([[1.0, 0], [1.0, 0], [0, 1.0]])
    at_fault = np.array([[True, False], [True, False], [False, True]])
    repairs = Repairs(("a", "b"), np.array([100.0, 100.0]), np.array([]), np.array([-1, -1]), at_fault, 0.0)
    at = DecisionState(
        np.array([0.4, 0.4, 0.2]), {"modes": modes, "parts": parts}, {"modes": 1.0, "parts": 2.0}, repairs
    )
    worth = one_step(at)
    assert in_order(at, worth, "information") == ["modes", "parts"]
    assert in_order(at, worth, "doubt") == ["parts", "modes"]


def test_the_criteria_differ_where_a_dear_test_tells_all() -> None:
    """For 10 the certain test saves 40, the other for 2 saves 23; 50 / 10 against 25 / 2; 0.1 bit against 0.09."""
    at = decision_state({"dear": 10.0, "cheap": 2.0}, {"dear": TELLS, "cheap": HALF})
    worth = one_step(at)
    assert in_order(at, worth, "saving") == ["dear", "cheap"]
    assert in_order(at, worth, "saving_for_price") == ["cheap", "dear"]
    bits = 1.0 + 0.75 * np.log2(0.75) + 0.25 * np.log2(0.25)
    scores = CRITERIA["information"](at, worth)  # type: ignore[operator]
    assert scores == pytest.approx({"dear": 1.0 / 10.0, "cheap": bits / 2.0})
    assert in_order(at, worth, "information") == ["dear", "cheap"]


def test_what_one_preparation_serves_is_paid_for_once_among_the_tests_it_serves() -> None:
    """Running the engine costs 9 of each price of 11 and 12: in one go each bears half of it."""
    needs = {"one": {"engine_runs": 9.0}, "two": {"engine_runs": 9.0}, "alone": {}}
    at = decision_state({"one": 11.0, "two": 12.0, "alone": 11.0}, dict.fromkeys(needs, HALF), preparing=needs)
    worth = one_step(at)
    assert shared_price(at, worth) == pytest.approx({"one": 6.5, "two": 7.5, "alone": 11.0})
    assert companions(at, worth, "one") == ["two"]
    assert companions(at, worth, "alone") == []


def test_a_test_that_would_not_pay_even_prepared_shares_nothing() -> None:
    needs = {"one": {"engine_runs": 9.0}, "idle": {"engine_runs": 9.0}}
    at = decision_state({"one": 11.0, "idle": 12.0}, {"one": HALF, "idle": NOTHING}, preparing=needs)
    worth = one_step(at)
    assert shared_price(at, worth)["one"] == pytest.approx(11.0)
    assert companions(at, worth, "one") == []


def test_a_night_on_the_charger_is_no_part_of_one_go() -> None:
    needs = {"one": {"charged_overnight": 9.0}, "two": {"charged_overnight": 9.0}}
    at = decision_state({"one": 11.0, "two": 12.0}, dict.fromkeys(needs, HALF), preparing=needs)
    assert shared_price(at, one_step(at)) == pytest.approx({"one": 11.0, "two": 12.0})


def test_a_test_must_save_more_than_a_share_of_the_cost_and_some_minutes_once_a_repair_is_founded() -> None:
    """60 to 40: a first costs 100 + 0.4 * 100 = 140, knowing would save 40 of it; five minutes at 100 an hour 8.33."""
    costs = replace(load_costs(), hourly_rate=100.0, worth_share=0.05, worth_minutes=5.0)
    founded = decision_state({}, {}, belief=(0.6, 0.4))
    assert founded.cost_now() == pytest.approx(140.0)
    assert least_saving(founded, costs) == pytest.approx(100.0 * 5.0 / 60.0)
    assert least_saving(founded, replace(costs, worth_share=0.5)) == pytest.approx(20.0)
    assert least_saving(founded, replace(costs, well_founded=0.61)) == 0.0


def test_a_dearer_part_asks_for_no_better_reason_to_test() -> None:
    """All of a bill grows with the part, and with it a share of the bill; what can be saved is the part in vain."""
    costs = replace(load_costs(), worth_share=0.05, worth_minutes=0.0)
    cheap = decision_state({}, {}, belief=(0.95, 0.05))
    dear = replace(cheap, repairs=replace(cheap.repairs, cost=np.array([1000.0, 100.0])))
    dear = replace(dear, belief=np.array([1.0, 0.0]))
    assert dear.cost_now() > cheap.cost_now()
    assert least_saving(dear, costs) == pytest.approx(0.0)
    assert least_saving(cheap, costs) == pytest.approx(0.05 * 5.0)


def test_what_a_first_test_prepared_is_not_paid_for_again_by_a_second() -> None:
    """Each tells half a bit that the other completes; a charge costs 9 of 10 for either, so a pair costs 11, not 20."""
    bit = np.array([[1, 0], [0, 1], [1, 0], [0, 1]], dtype=float)
    mask = np.array([[1, 0], [0, 1], [0, 1], [1, 0]], dtype=float)
    at_fault = np.array([[True, False], [True, False], [False, True], [False, True]])
    repairs = Repairs(("a", "b"), np.array([100.0, 100.0]), np.array([]), np.array([-1, -1]), at_fault, 0.0)
    both = DecisionState(np.full(4, 0.25), {"bit": bit, "mask": mask}, dict.fromkeys(("bit", "mask"), 10.0), repairs)
    shared = replace(both, preparing={name: {"battery_charged": 9.0} for name in ("bit", "mask")})
    worth = {name: two_steps(at, one_step(at))["bit"] for name, at in (("apart", both), ("shared", shared))}
    assert worth["apart"].saving == pytest.approx(50.0 - 20.0)
    assert worth["shared"].saving == pytest.approx(50.0 - 11.0)
    _, after = shared.after("bit", [0], {"mask": mask})
    assert after.price == {"mask": pytest.approx(1.0)}
    assert after.preparing == {"mask": {}}


def test_nothing_is_asked_of_a_test_before_anything_is_founded_or_where_the_car_is_given_back() -> None:
    costs = load_costs()
    three = np.eye(3, dtype=bool)
    open_still = Repairs(("a", "b", "c"), np.full(3, 100.0), np.array([]), np.full(3, -1), three, 0.0)
    belief = np.array([0.4, 0.3, 0.3])
    assert least_saving(DecisionState(belief, {}, {}, open_still), costs) == 0.0
    sound = Repairs(
        ("a", "b", "give_back"), np.array([100.0, 100.0, 0.0]), np.array([]), np.full(3, -1), three, 180.0, 60.0,
        np.array([180.0, 180.0, 0.0]),
    )  # fmt: skip
    back = DecisionState(np.array([0.1, 0.1, 0.8]), {}, {}, sound)
    assert back.first_repair()[0] == "give_back"
    assert costs.founded(back.first_repair()[1])
    assert least_saving(back, costs) == 0.0


BOTH = np.array([[True, False], [True, True], [False, True]])  # a alone, a and b, b alone


@pytest.mark.parametrize(
    ("belief", "price", "trust", "founded"),
    [
        ((0.60, 0.20, 0.20), 100.0, 400.0, True),  # the whole cure
        ((0.40, 0.55, 0.05), 100.0, 400.0, True),  # needed with 0.95, whatever b is like
        ((0.40, 0.45, 0.15), 100.0, 400.0, False),  # needed with 0.85: a dear part, and six times in forty in vain
        ((0.40, 0.15, 0.45), 35.0, 0.0, True),  # needed with 0.55: cheap, and nothing is bought
        ((0.40, 0.15, 0.45), 35.0, 400.0, False),  # cheap, but a part fitted in vain
        ((0.40, 0.15, 0.45), 100.0, 0.0, False),  # dear work
        ((0.30, 0.15, 0.55), 35.0, 0.0, False),  # cheap, and needed with 0.45
    ],
)
def test_what_is_surely_needed_is_founded_and_what_is_cheap_is_tried(
    belief: tuple[float, ...], price: float, trust: float, founded: bool
) -> None:
    """A repair that has to be done in any case is done; a terminal is tightened once it is as likely as not loose."""
    costs = load_costs()
    assert (costs.well_founded, costs.surely_needed, costs.money(costs.tried_minutes)) == (0.5, 0.9, 50.0)
    repairs = Repairs(
        ("a", "b"), np.array([price, 100.0]), np.array([]), np.full(2, -1), BOTH, 0.0, in_vain=np.array([trust, 0.0])
    )
    state = DecisionState(np.array(belief), {}, {}, repairs)
    assert is_founded(state, costs, "a", state.chance_of_cure("a")) is founded
    older = replace(costs, surely_needed=2.0, tried_minutes=0.0)  # a set of prices without these rows
    assert is_founded(state, older, "a", state.chance_of_cure("a")) is (belief[0] >= 0.5)


def test_what_is_in_vain_counts_getting_at_it_and_the_trust() -> None:
    repairs = Repairs(
        ("a", "b"), np.array([20.0, 30.0]), np.array([7.0]), np.array([0, -1]), np.eye(2, dtype=bool), 0.0,
        in_vain=np.array([0.0, 400.0]),
    )  # fmt: skip
    assert (repairs.price_in_vain("a"), repairs.price_in_vain("b")) == (27.0, 430.0)


def test_tests_worth_a_shops_while_stand_first_in_their_order() -> None:
    worth = one_step(decision_state(CHEAP_AND_DEAR, OUTCOMES))  # dear saves 20, cheap 23, idle costs 1
    assert worth_while_first(["idle", "dear", "cheap"], worth, 22.0) == ["cheap", "idle", "dear"]
    assert worth_while_first(["idle", "dear", "cheap"], worth, 0.0) == ["idle", "dear", "cheap"]


def test_what_saves_nothing_stands_behind_once_a_part_is_likely_though_something_cheaper_is_done_before_it() -> None:
    """A joint for 1 comes before a part for 1000 that is likely the whole cure, so nothing is founded at first."""
    worth = {"idle": Worth(-1.0, ()), "pays": Worth(5.0, ())}
    likely = decision_state({"idle": 1.0, "pays": 2.0}, {"idle": TELLS, "pays": HALF}, belief=(0.6, 0.4))
    likely = replace(likely, repairs=replace(likely.repairs, cost=np.array([1000.0, 1.0])))
    assert likely.first_repair() == ("b", pytest.approx(0.4))
    assert likely.likeliest_cure() == pytest.approx(0.6)
    assert in_order(likely, worth) == ["idle", "pays"]
    assert proposed(likely, worth, load_costs(), 0.0) == ["pays", "idle"]
    open_still = replace(likely, belief=np.array([0.5 - 1e-6, 0.5 - 1e-6]))
    assert proposed(open_still, worth, load_costs(), 0.0) == ["idle", "pays"]
