"""Scores and intervals against scikit-learn, scipy, a textbook value, and sampling."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss
from sklearn.metrics import log_loss as their_log_loss

from faultnet.simulation.scoring.scores import (
    brier_parts,
    brier_score,
    calibration_error,
    calibration_interval,
    class_sums,
    corrected_calibration,
    log_loss,
    mean_interval,
    ratio_interval,
    wilson,
)


@pytest.fixture
def beliefs() -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(2)
    said = rng.uniform(0.0, 1.0, 400)
    return said, (rng.random(400) < said**1.4).astype(float)


def test_brier_score_and_log_loss_are_those_of_scikit_learn(beliefs: tuple[np.ndarray, np.ndarray]) -> None:
    said, true = beliefs
    assert brier_score(said, true) == pytest.approx(brier_score_loss(true, said), rel=1e-9)
    assert log_loss(said, true) == pytest.approx(their_log_loss(true, said), rel=1e-9)


def test_reliability_is_that_of_scikit_learn(beliefs: tuple[np.ndarray, np.ndarray]) -> None:
    said, true = beliefs
    frequency, mean = calibration_curve(true, said, n_bins=10)
    sums = class_sums(said, true)
    assert sums[0] / sums[2] == pytest.approx(mean)
    assert sums[1] / sums[2] == pytest.approx(frequency)
    by_hand = np.sum(np.abs(mean - frequency) * sums[2]) / len(said)
    assert float(calibration_error(sums)) == pytest.approx(by_hand)


def test_a_belief_of_one_falls_into_the_last_class_and_is_not_lost() -> None:
    assert class_sums(np.array([0.0, 1.0]), np.array([0.0, 1.0]))[2].tolist() == [1.0] + [0.0] * 8 + [1.0]


@pytest.mark.parametrize(("hits", "tries"), [(0, 10), (3, 20), (95, 100), (10, 10)])
def test_wilson_interval_is_that_of_scipy(hits: int, tries: int) -> None:
    from scipy.stats import binomtest

    ours = wilson(hits, tries)
    theirs = binomtest(hits, tries).proportion_ci(0.95, method="wilson")
    assert (ours.low, ours.high) == pytest.approx((theirs.low, theirs.high), abs=1e-7)


def test_a_bootstrap_interval_is_near_the_normal_one_and_the_same_each_time() -> None:
    values = np.random.default_rng(3).normal(50.0, 10.0, 400)
    found = mean_interval(values, np.random.default_rng(1))
    assert found == mean_interval(values, np.random.default_rng(1))
    half = 1.96 * values.std() / 20.0
    assert found.low == pytest.approx(values.mean() - half, abs=0.35 * half)
    assert found.high == pytest.approx(values.mean() + half, abs=0.35 * half)


def test_a_ratio_over_the_same_cars_is_tighter_than_over_others() -> None:
    rng = np.random.default_rng(4)
    below = rng.uniform(50.0, 150.0, 300)
    above = 0.5 * below + rng.normal(0.0, 1.0, 300)
    same = ratio_interval(above, below, np.random.default_rng(1))
    others = ratio_interval(rng.permutation(above), below, np.random.default_rng(1))
    assert same.low <= 0.5 <= same.high
    assert same.high - same.low < 0.3 * (others.high - others.low)


def test_the_calibration_interval_holds_the_error_of_true_beliefs_that_are_off_by_a_tenth() -> None:
    rng = np.random.default_rng(6)
    said = rng.uniform(0.2, 0.9, (2000, 1))
    true = (rng.random(said.shape) < said - 0.1).astype(float)
    found = calibration_interval(np.stack([class_sums(s, t) for s, t in zip(said, true, strict=True)]), rng)
    assert found.low < 0.1 < found.high
    assert found.high - found.low < 0.1


def test_reliability_is_nought_on_the_mean_where_beliefs_are_right_and_what_they_are_off_where_not() -> None:
    """Three cars to a class: what is not corrected says 0.05 of beliefs that are right; the correction takes it out."""
    rng, said = np.random.default_rng(7), np.repeat([0.65, 0.75, 0.85, 0.95], 3)
    for off in (0.0, 0.2):
        plain, corrected = [], []
        for _ in range(3000):
            sums = class_sums(said, (rng.random(12) < said - off).astype(float))
            present = sums[:, sums[2] > 0.0]
            plain.append(float(np.sum((present[0] - present[1]) ** 2 / present[2]) / 12.0))
            corrected.append(brier_parts(sums).reliability)
        error = 3.0 * np.std(corrected) / np.sqrt(len(corrected))
        assert abs(np.mean(corrected) - off**2) < error < 0.006
        assert np.mean(plain) > off**2 + 0.04


def test_the_parts_make_up_the_score_where_the_beliefs_of_a_class_are_alike() -> None:
    """The corrections cancel (Ferro and Fricker): reliability less resolution plus uncertainty is the score itself."""
    rng = np.random.default_rng(8)
    said = rng.choice([0.15, 0.35, 0.55, 0.95], 200)
    true = (rng.random(200) < said).astype(float)
    parts = brier_parts(class_sums(said, true))
    assert parts.reliability - parts.resolution + parts.uncertainty == pytest.approx(brier_score_loss(true, said))


def test_the_corrected_error_is_nought_where_scatter_explains_it_and_its_interval_holds_what_is_so() -> None:
    rng = np.random.default_rng(9)
    held = {0.0: 0, 0.25: 0}
    for off in held:
        for _ in range(60):
            said = rng.choice([0.65, 0.75, 0.85, 0.95], 80)
            true = (rng.random(80) < said - off).astype(float)
            sums = np.stack([class_sums(s, t) for s, t in zip(said[:, None], true[:, None], strict=True)])
            found = corrected_calibration(sums, rng)
            held[off] += found.low <= off <= found.high
    assert held[0.0] >= 54
    assert held[0.25] >= 52
