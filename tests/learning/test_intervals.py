"""How sure tuned base rates are: what cases mix up widens an interval, against matrices written out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.learning.em.intervals import certainty, moved
from faultnet.learning.em.rates import RateForm
from faultnet.model.network import Array


def form_of(own: tuple[int, ...], strength: float) -> RateForm:
    """A sound mode and two fault modes; a cell of cars for each number in `own`, the factor of its group."""
    places = (("battery", "sound"), ("battery", "worn"), ("battery", "weak_cell"))
    whole = np.array([0.7, 0.2, 0.1])
    counts = np.zeros((max(own) + 1, 3))
    counts[1:] = strength * whole
    return RateForm(
        places, np.array([0, 3]), np.tile(whole, (len(own), 1)), whole, strength * whole,
        np.repeat(np.array(own)[:, None], 3, axis=1), (), counts, np.ones((1, 3)), np.zeros(3, dtype=np.intp),
        np.arange(3)[:, None], 1.0,
    )  # fmt: skip


def pull(strength: float) -> Array:
    """What the prior says of the two fault modes: of counts a with sum n, diag(a) - a a' / n."""
    mine = strength * np.array([0.2, 0.1])
    return np.diag(mine) - np.outer(mine, mine) / strength


def spread(covariance: Array, *at: int) -> float:
    """Standard deviation of the sum of some parameters."""
    return float(np.sqrt(covariance[np.ix_(at, at)].sum()))


def test_modes_that_cases_mix_up_are_less_sure_than_each_looks_alone() -> None:
    """A case that says `worn` more says `weak_cell` less; the inverse of the whole matrix, prior's share included."""
    scores = np.array([[0.0, 0.5, -0.4], [0.0, -0.3, 0.35], [0.0, 0.2, -0.1]] * 20)
    weight = np.linspace(0.5, 1.5, len(scores))
    found = certainty(form_of((0,), 10.0), scores, weight, np.zeros(len(scores), dtype=np.intp))
    faults = scores[:, 1:]
    information = pull(10.0) + faults.T @ (weight[:, None] * faults)
    expected = np.linalg.inv(information)
    assert found.log_spread(0, 1) == pytest.approx(spread(expected, 0))
    assert found.log_spread(0, 2) == pytest.approx(spread(expected, 1))
    assert found.log_spread(0, 1) > 1.5 / np.sqrt(information[0, 0])
    assert found.effective[0] == pytest.approx((weight[:, None] * scores**2).sum(axis=0))


def test_the_prior_alone_ties_the_modes_of_a_component() -> None:
    no_cases = np.zeros((1, 3)), np.ones(1), np.zeros(1, dtype=np.intp)
    found = certainty(form_of((0,), 10.0), *no_cases)
    assert found.log_spread(0, 1) == pytest.approx(spread(np.linalg.inv(pull(10.0)), 0))


def test_a_group_and_the_whole_share_what_the_groups_cases_say() -> None:
    """A group's weight is whole times own; its cases inform both and their sum best, so the two must go together."""
    rng = np.random.default_rng(7)
    scores = np.hstack([np.zeros((60, 1)), rng.normal(0.0, 0.4, (60, 2))])
    cell = np.repeat([0, 1], 30)
    found = certainty(form_of((0, 1), 4.0), scores, np.ones(60), cell)
    told = [scores[cell == g][:, 1:].T @ scores[cell == g][:, 1:] for g in (0, 1)]
    information = np.block([[pull(4.0) + told[0] + told[1], told[1]], [told[1], pull(4.0) + told[1]]])
    expected = np.linalg.inv(information)
    assert found.log_spread(0, 1) == pytest.approx(spread(expected, 0))
    assert found.log_spread(1, 1) == pytest.approx(spread(expected, 0, 2))
    assert found.log_spread(1, 2) == pytest.approx(spread(expected, 1, 3))


def test_a_case_moves_what_it_speaks_of_and_what_that_is_mixed_up_with() -> None:
    scores = np.array([[0.0, 0.5, -0.4], [0.0, 0.3, 0.2]])
    certain = certainty(form_of((0,), 10.0), scores, np.ones(2), np.zeros(2, dtype=np.intp))
    expected = np.linalg.inv(pull(10.0) + scores[:, 1:].T @ scores[:, 1:])
    found = moved(certain, scores, np.array([1.0, 2.0]))
    np.testing.assert_allclose(found[:, 0], 0.0)
    np.testing.assert_allclose(found[:, 1:], scores[:, 1:] @ expected * np.array([[1.0], [2.0]]))
