"""What tests share is worked out once for all of them, and held no longer than until the last that fetches it."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from faultnet.inference.configurations import RowSets
from faultnet.inference.contraction import Tensor, product
from faultnet.inference.fast import products as products_module
from faultnet.inference.fast.prepare import schedule_for
from faultnet.inference.fast.products import Products, fetches
from faultnet.inference.fast.schedule import Named, Schedule, Step
from tests.inference.test_query import SEEN, fresh, questions


def step(left: int, right: int, number: int, common: bool = False) -> Step:
    return Step(left, right, frozenset(), number, common)


def test_fetches_of_two_tests_that_share_a_product() -> None:
    """Worked by hand: both begin with product 10; it is made once, and what it is made of is fetched for that only."""
    shared, own, other = step(0, 1, 10), step(2, 1, 11), step(2, 0, 12)
    constants = ((0, None), (1, None))
    first, second = (Schedule(constants, (), (shared, last)) for last in (own, other))  # type: ignore[arg-type]
    assert fetches([first, second], ()) == Counter({(10, 0): 2, (11, 0): 1, (12, 0): 1, (0, 0): 2, (1, 0): 2})
    assert fetches([first], [(10, 0)]) == Counter({(10, 0): 1, (11, 0): 1, (1, 0): 1})


def of_the_starting_circuit() -> tuple[Products, list[Tensor], list[Named]]:
    """Products for a third of its configurations, the factors of its readings, and two tests of it."""
    placements = fresh().view.placements
    asked = [questions()[name] for name in ("positive_side_drop", "how_it_turns_over", "crank_minimum")]
    k = placements.owner[asked[0][0]]
    asked = [question for question in asked if placements.owner[question[0]] == k]
    bound = placements[k].bound
    factors = placements[k].factors(placements.by_cluster(SEEN)[k])[0]
    sites = [bound.outcomes(((quantity, table, None),)) for quantity, table, _ in asked]
    return Products(bound, bound.rows.restricted(np.arange(0, len(bound.rows.table), 3))), factors, sites


def test_nothing_is_made_twice_and_nothing_held_that_no_test_fetches(monkeypatch: pytest.MonkeyPatch) -> None:
    products, factors, sites = of_the_starting_circuit()
    schedules = [schedule_for(products.bound, factors, site, leading=True, cut=False) for site in sites]
    steps = {step.key for schedule in schedules for step in schedule.steps}
    assert len(steps) < sum(len(schedule.steps) for schedule in schedules), "they share nothing"
    alone = [Products(products.bound, products.rows).contract(factors, site) for site in sites]
    made = 0

    def counted(left: Tensor, right: Tensor, needed: frozenset[str], rows: RowSets) -> Tensor:
        nonlocal made
        made += 1
        return product(left, right, needed, rows)

    monkeypatch.setattr(products_module, "product", counted)
    for message, expected in zip(products.contract_each(factors, sites), alone, strict=True):
        np.testing.assert_array_equal(message.values, expected.values)
    assert made == len(steps)
    assert not products.own
    assert products.common.tables.keys() <= products.common.lasting


def test_what_further_configurations_begin_with_stays_unless_it_is_large(monkeypatch: pytest.MonkeyPatch) -> None:
    kept = {}
    for largest in (1 << 30, 0):
        monkeypatch.setattr(products_module, "LARGEST_LASTING", largest)
        products, factors, sites = of_the_starting_circuit()
        list(products.contract_each(factors, sites))
        kept[largest] = sum(key in products.common.tables for key in products.common.lasting)
    assert kept[1 << 30] > kept[0] == 0
