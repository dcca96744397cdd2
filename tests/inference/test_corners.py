"""The least odds over a box of factors, against every corner counted out, and by hand."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import product

import numpy as np
import pytest

from faultnet.inference.corners import Doubtful, cannot_turn, least_odds, level_at, needed
from tests.inference.outside import pyagrum


def reduced(seed: int, faults: int = 8, rows: int = 60) -> tuple[Doubtful, np.ndarray, np.ndarray]:
    """Hypotheses of up to three faults with rates and likelihoods at random; the verdicts are two of the faults."""
    rng = np.random.default_rng(seed)
    has = np.zeros((rows, faults), dtype=bool)
    for row in has[1:]:
        row[rng.choice(faults, rng.integers(1, 4), replace=False)] = True
    weights = np.exp(rng.normal(0.0, 2.0, rows)) * np.prod(np.where(has, rng.uniform(0.005, 0.2, faults), 1.0), axis=1)
    off_by = rng.choice([1.0, 1.5, 3.0], faults, p=[0.1, 0.3, 0.6])
    doubtful = Doubtful(weights, tuple(np.flatnonzero(column) for column in has.T), off_by)
    first, others = has[:, 0].astype(float), has[:, 1:4].astype(float).T
    return doubtful, np.maximum(first - others, 0.0), np.maximum(others - first, 0.0)


def at_every_corner(doubtful: Doubtful, ahead: np.ndarray, behind: np.ndarray) -> float:
    """The least odds among all corners, each weighed anew from its factors."""
    least = np.inf
    for ends in product((-1.0, 1.0), repeat=len(doubtful.off_by)):
        factors = doubtful.off_by ** np.array(ends)
        weights = doubtful.weights * np.prod(np.where(doubtful.has > 0, factors, 1.0), axis=1)
        least = min(least, float(ahead @ weights) / float(behind @ weights))
    return least


@pytest.mark.parametrize("seed", range(12))
def test_the_search_finds_the_least_of_all_corners(seed: int) -> None:
    doubtful, ahead, behind = reduced(seed)
    found = least_odds(doubtful, ahead, behind)
    counted = [at_every_corner(doubtful, a, b) for a, b in zip(ahead, behind, strict=True)]
    assert found.odds == pytest.approx(counted, rel=1e-9)
    for odds, factors, a, b in zip(found.odds, found.factors, ahead, behind, strict=True):
        weights = doubtful.at(factors)
        assert float(a @ weights) / float(b @ weights) == pytest.approx(float(odds), rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_nowhere_inside_the_box_are_odds_lower_than_at_a_corner(seed: int) -> None:
    doubtful, ahead, behind = reduced(seed)
    least = least_odds(doubtful, ahead, behind).odds
    rng = np.random.default_rng(seed)
    for _ in range(300):
        weights = doubtful.at(doubtful.off_by ** rng.uniform(-1.0, 1.0, len(doubtful.off_by)))
        assert ((ahead @ weights) / (behind @ weights) >= least * (1.0 - 1e-9)).all()


@pytest.mark.parametrize("seed", range(4))
def test_at_the_level_of_one_factor_both_sides_are_level(seed: int) -> None:
    doubtful, ahead, behind = reduced(seed)
    level = level_at(doubtful, ahead, behind)
    assert np.isfinite(level).sum() > 5
    for s, k in np.argwhere(np.isfinite(level)).tolist():
        factors = np.ones(len(doubtful.off_by))
        factors[k] = level[s, k]
        weights = doubtful.at(factors)
        assert float(ahead[s] @ weights) == pytest.approx(float(behind[s] @ weights), rel=1e-9)


def test_what_cannot_turn_does_not_turn_at_any_corner() -> None:
    told = 0
    for seed in range(12):
        doubtful, ahead, behind = reduced(seed)
        ahead = ahead * 300.0
        for safe, a, b in zip(cannot_turn(doubtful, ahead, behind), ahead, behind, strict=True):
            if safe:
                told += 1
                assert at_every_corner(doubtful, a, b) > 1.0
    assert told > 3


def test_two_exclusive_causes_by_hand() -> None:
    """Odds of 5 with both rates off by 2 come to 5/4; by 3, to 5/9, and either rate alone does not turn them."""
    rows, one, other = (np.array([0]), np.array([1])), np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]])
    two = Doubtful(np.array([0.5, 0.1]), rows, np.array([2.0, 2.0]))
    three = Doubtful(np.array([0.5, 0.1]), rows, np.array([3.0, 3.0]))
    assert least_odds(two, one, other).odds.tolist() == pytest.approx([1.25], rel=1e-12)
    assert least_odds(three, one, other).odds.tolist() == pytest.approx([5.0 / 9.0], rel=1e-12)
    assert level_at(three, one, other).tolist() == [pytest.approx([0.2, 5.0], rel=1e-12)]
    assert needed(three, one[0], other[0], np.array([1.0 / 3.0, 3.0])).tolist() == pytest.approx([1.0 / 3.0, 3.0])


def test_a_factor_that_is_known_stays() -> None:
    two = Doubtful(np.array([0.5, 0.1]), (np.array([0]), np.array([1])), np.array([1.0, 3.0]))
    found = least_odds(two, np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]]))
    assert found.odds.tolist() == pytest.approx([5.0 / 3.0], rel=1e-12)
    assert found.factors.tolist() == [[1.0, 3.0]]


def credal_bounds(chances: dict[str, float], off_by: float) -> dict[str, tuple[float, float]]:
    """Bounds of a credal network by pyAgrum: lazy propagation at each corner of the intervals of three parts.

    A chance after readings is a ratio of two functions that are linear in each part's chance, so that the least and
    the greatest lie at corners; its own sampling of them ends at times before it found any.
    """
    gum = pyagrum()

    def at(factors: Iterable[float]) -> dict[str, float]:
        net = gum.BayesNet()
        for name in (*chances, "together", "alone"):
            net.add(gum.LabelizedVariable(name, name, 2))
        for (name, p), f in zip(chances.items(), factors, strict=True):
            net.addArc(name, "together")
            net.cpt(name).fillWith([(1.0 - p) / (1.0 - p + p * f), p * f / (1.0 - p + p * f)])
        net.addArc("b", "alone")
        net.cpt("alone").fillWith([1.0 - SEEN_ALONE[0], SEEN_ALONE[0], 1.0 - SEEN_ALONE[1], SEEN_ALONE[1]])
        for modes in product((0, 1), repeat=3):
            p = together(np.array(modes))
            net.cpt("together")[dict(zip(chances, modes, strict=True))] = [1.0 - p, p]
        engine = gum.LazyPropagation(net)
        engine.setEvidence({"together": 1, "alone": 1})
        engine.makeInference()
        return {name: float(engine.posterior(name)[1]) for name in chances}

    corners = [at(factors) for factors in product((1.0 / off_by, off_by), repeat=3)]
    return {name: (min(c[name] for c in corners), max(c[name] for c in corners)) for name in chances}


SEEN_ALONE = (0.2, 0.6)  # chance of the reading of b alone where b is sound, and where it is at fault


def together(modes: np.ndarray) -> float:
    """Chance of the reading of all three parts: a noisy or."""
    return 1.0 - 0.95 * float(np.prod(np.where(modes > 0, (0.2, 0.4, 0.5), 1.0)))


def test_bounds_are_those_of_credal_inference() -> None:
    chances, off_by = {"a": 0.1, "b": 0.2, "d": 0.15}, 3.0
    modes = np.array(list(product((0, 1), repeat=3)))
    prior = np.prod(np.where(modes > 0, list(chances.values()), 1.0 - np.array(list(chances.values()))), axis=1)
    weights = prior * [together(m) for m in modes] * np.where(modes[:, 1] > 0, SEEN_ALONE[1], SEEN_ALONE[0])
    doubtful = Doubtful(weights, tuple(np.flatnonzero(column) for column in modes.T), np.full(3, off_by))
    faults = modes.T.astype(float)
    low = least_odds(doubtful, faults, 1.0 - faults).odds
    high = 1.0 / least_odds(doubtful, 1.0 - faults, faults).odds
    bounds = credal_bounds(chances, off_by)
    for k, name in enumerate(bounds):
        assert bounds[name] == pytest.approx((low[k] / (1.0 + low[k]), high[k] / (1.0 + high[k])), abs=1e-9)
