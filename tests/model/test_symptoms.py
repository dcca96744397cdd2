"""Elicited tables combined over the causes present: bounds, order, and a hand calculation."""

from __future__ import annotations

from itertools import product

import numpy as np

from faultnet.model.symptoms import all_combined, combined
from faultnet.prior_set.types import SymptomTable
from tests.inference import demo

WORST = SymptomTable(
    "t",
    "worst",
    (8.0, 1.0, 1.0),
    {("a", "x"): (4.0, 4.0, 2.0), ("b", "y"): (5.0, 0.0, 5.0), ("b", "z"): (1.0, 1.0, 8.0)},
    {},
)
AVERAGE = SymptomTable("t", "average", (8.0, 1.0, 1.0), WORST.rows, {})


def test_without_a_listed_cause_the_leak_remains() -> None:
    np.testing.assert_allclose(combined(WORST, [("a", "sound"), ("b", "sound")]), [0.8, 0.1, 0.1])
    np.testing.assert_allclose(combined(AVERAGE, []), [0.8, 0.1, 0.1])


def test_one_cause_alone_gives_its_own_row() -> None:
    np.testing.assert_allclose(combined(WORST, [("a", "x"), ("b", "sound")]), [0.4, 0.4, 0.2])
    np.testing.assert_allclose(combined(AVERAGE, [("a", "x")]), [0.4, 0.4, 0.2])


def test_two_causes_by_hand() -> None:
    """Noisy maximum: F = 0.8 (0.4/0.8)(0.5/0.8) = 0.25 at the first choice, 0.9 (0.8/0.9)(0.5/0.9) = 4/9 then."""
    np.testing.assert_allclose(combined(WORST, [("a", "x"), ("b", "y")]), [0.25, 4 / 9 - 0.25, 5 / 9])
    np.testing.assert_allclose(combined(AVERAGE, [("a", "x"), ("b", "y")]), [0.45, 0.2, 0.35])


def test_the_order_of_the_causes_does_not_matter() -> None:
    one, two = combined(WORST, [("a", "x"), ("b", "z")]), combined(WORST, [("b", "z"), ("a", "x")])
    np.testing.assert_allclose(one, two, rtol=0, atol=1e-15)


def test_a_further_cause_never_makes_the_worst_answer_less_likely() -> None:
    """Every shipped table, every pair of causes: sums to one, nothing negative, the cumulative share never rises."""
    for test, table in demo.catalogue().symptoms.items():
        for cause, other in product(table.rows, repeat=2):
            alone, both = combined(table, [cause]), combined(table, [cause, other])
            assert both.min() >= -1e-12, (test, cause, other)
            np.testing.assert_allclose(both.sum(), 1.0, rtol=0, atol=1e-12, err_msg=test)
            if table.combine == "worst" and other[0] != cause[0]:
                assert (np.cumsum(both) <= np.cumsum(alone) + 1e-12).all(), (test, cause, other)


def test_a_cause_milder_than_the_leak_takes_nothing_away() -> None:
    """A ratio above one is cut: another cause cannot make the answer more normal than what is there anyway."""
    mild = SymptomTable("t", "worst", (8.0, 1.0, 1.0), {("a", "x"): (99.0, 1.0, 0.0), ("b", "y"): (5.0, 0.0, 5.0)}, {})
    np.testing.assert_allclose(combined(mild, [("a", "x")]), [0.8, 0.1, 0.1])
    np.testing.assert_allclose(combined(mild, [("a", "x"), ("b", "y")]), [0.5, 0.0, 0.5], atol=1e-15)


def test_all_combinations_at_once_are_those_one_by_one() -> None:
    catalogue = demo.catalogue()
    for test, table in catalogue.symptoms.items():
        modes = [tuple(m.id for m in catalogue.component(c).modes) for c in table.components()]
        found = all_combined(table, table.components(), modes)
        one_by_one = np.empty_like(found)
        for index in product(*(range(len(m)) for m in modes)):
            present = [(c, m[i]) for c, m, i in zip(table.components(), modes, index, strict=True)]
            one_by_one[(slice(None), *index)] = combined(table, present)
        np.testing.assert_allclose(found, one_by_one, rtol=0, atol=2e-9, err_msg=test)
