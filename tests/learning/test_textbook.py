"""Expectation and maximisation against values worked by hand and against other libraries."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss, log_loss

from faultnet.learning.em import on_rates, rates, symptoms
from faultnet.learning.em.activity import ActivationPatterns
from faultnet.learning.em.changes import beta_interval
from faultnet.learning.em.chunk import Answer, Chunk
from faultnet.learning.em.e_step import Frame, Numbers, expectation
from faultnet.learning.em.offsets import conjugate
from faultnet.learning.em.rates import RateForm
from faultnet.learning.em.scores import score
from faultnet.prior_set.types import SymptomTable

HEADS = (5, 9, 8, 4, 7)
TOSSES = 10
ALMOST_NOTHING = 1e-9


def rate_form(old: tuple[float, ...], counts: float, brought_in_when_sound: float = 1.0) -> RateForm:
    """One component, one group of cars, no links."""
    places = tuple(("battery", f"mode_{i}") for i in range(len(old)))
    whole = np.array(old)
    return RateForm(
        places, np.array([0, len(old)]), whole[None], whole, counts * whole, np.zeros((1, len(old)), dtype=np.intp), (),
        np.zeros((1, len(old))), np.ones((1, len(old))), np.zeros(len(old), dtype=np.intp),
        np.arange(len(old))[:, None], brought_in_when_sound,
    )  # fmt: skip


def two_coins() -> tuple[Chunk, Frame]:
    """Five rounds of ten tosses of one of two coins; which coin is hidden and as likely as not."""
    table = SymptomTable("toss", "average", (1.0, 1.0), {("battery", "mode_1"): (1.0, 1.0)}, {})
    form = symptoms.SymptomForm(
        table, ("heads", "tails"), ("otherwise", "battery:mode_1"), np.full((2, 2), ALMOST_NOTHING), ((0,), (1,)),
        np.array([0, 1]),
    )  # fmt: skip
    none = np.zeros((2, 0), dtype=np.int8)
    patterns = ActivationPatterns((), np.zeros((2, 0), dtype=np.int16), np.arange(3), np.arange(2), (), none)
    frame = Frame(patterns, rate_form((0.5, 0.5), 1.0), {"toss": form}, np.zeros(2, dtype=bool))
    said = [[0] * h + [1] * (TOSSES - h) for h in HEADS]
    n, empty = len(HEADS), np.zeros(0, dtype=np.intp)
    chunk = Chunk(
        np.arange(n), np.zeros(n, dtype=np.intp), np.ones(n), np.full(n, -1), np.ones(n, dtype=bool), np.zeros(n),
        empty, empty,
        np.zeros((0, 2), dtype=np.float32), empty, np.zeros((0, 1)), np.repeat(np.arange(n), TOSSES),
        np.concatenate(said), empty, empty, np.zeros((0, 2), dtype=np.float32), (),
        (Answer("toss", (1.0, 0.0), 0.5), Answer("toss", (0.0, 1.0), 0.5)),
    )  # fmt: skip
    return chunk, frame


def test_two_coins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Do and Batzoglou 2008, What is the expectation maximization algorithm?, Nature Biotechnology 26: 897-899, figure
    1b, from memory: from 0.60 and 0.50 to 0.71 and 0.58 after one step, 0.80 and 0.52 after ten."""
    monkeypatch.setattr(symptoms, "LEAK", 0.0)
    chunk, frame = two_coins()
    rows, seen, heights = np.array([[0.5, 0.5], [0.6, 0.4]]), [], []
    for _ in range(10):
        counts = expectation(chunk, frame, Numbers(frame.rates.start(), {"toss": rows}, {}))
        rows = symptoms.improved(frame.symptoms["toss"], rows, counts.symptoms["toss"])
        seen.append(rows[:, 0])
        heights.append(counts.log_likelihood)
    np.testing.assert_allclose(seen[0], [0.58, 0.71], atol=0.005)
    np.testing.assert_allclose(seen[-1], [0.52, 0.80], atol=0.005)
    assert np.all(np.diff(heights) > 0.0)


def test_two_coins_counts_of_the_first_step(monkeypatch: pytest.MonkeyPatch) -> None:
    """The same figure, from memory: 21.3 heads and 8.6 tails for coin A, 11.7 and 8.4 for coin B."""
    monkeypatch.setattr(symptoms, "LEAK", 0.0)
    chunk, frame = two_coins()
    start = Numbers(frame.rates.start(), {"toss": np.array([[0.5, 0.5], [0.6, 0.4]])}, {})
    counts = expectation(chunk, frame, start).symptoms["toss"]
    np.testing.assert_allclose(counts, [[11.7, 8.4], [21.3, 8.6]], atol=0.06)


def test_base_rates_are_the_dirichlet_update() -> None:
    """Textbook: (prior count + count) / (all prior counts + all counts)."""
    form = rate_form((0.7, 0.2, 0.1), 50.0)
    seen = np.array([[10.0, 60.0, 30.0]])
    new = rates.weights(form, rates.improved(form, form.start(), seen, 400))[0]
    np.testing.assert_allclose(new / new.sum(), (form.whole_counts + seen[0]) / 150.0, rtol=1e-6)


def test_base_rates_agree_with_pgmpy() -> None:
    import pandas as pd
    from pgmpy.models import DiscreteBayesianNetwork
    from pgmpy.parameter_estimator import DiscreteBayesianEstimator

    form = rate_form((0.7, 0.2, 0.1), 50.0)
    seen = (10, 60, 30)
    network = DiscreteBayesianNetwork()
    network.add_node("battery")
    data = pd.DataFrame({"battery": [f"mode_{i}" for i, n in enumerate(seen) for _ in range(n)]}, dtype="category")
    pseudo = {"battery": form.whole_counts[:, None]}
    estimator = DiscreteBayesianEstimator(prior_type="dirichlet", pseudo_counts=pseudo)
    table = estimator.fit(network, data).parameters_[0]
    new = rates.weights(form, rates.improved(form, form.start(), np.array([seen], dtype=float), 400))[0]
    np.testing.assert_allclose(new / new.sum(), table.get_values().ravel(), rtol=1e-6)


def test_an_answer_is_shared_out_by_how_likely_each_cause_makes_it() -> None:
    """Two causes are there and either may have spoken: worked by hand, 10 answers go 8 to 2, and 6 go 1 to 5."""
    table = SymptomTable("t", "average", (1.0, 1.0), {("a", "x"): (8.0, 2.0), ("b", "y"): (2.0, 10.0)}, {})
    rows = np.array([[0.5, 0.5], [0.8, 0.2], [0.2, 1.0]])
    form = symptoms.SymptomForm(
        table, ("no", "yes"), ("otherwise", "a:x", "b:y"), np.ones((3, 2)), ((1, 2),), np.zeros(1, dtype=np.intp)
    )
    shared = symptoms.row_counts(form, rows, np.array([[10.0, 6.0]]))
    np.testing.assert_allclose(shared, [[0.0, 0.0], [8.0, 1.0], [2.0, 5.0]])


def test_cars_that_stayed_away_are_made_good() -> None:
    """Closed form: with b = 0 all cars seen are faulty, and the share that is sound is what the prior says it is."""
    old, b = (0.8, 0.2), 0.25
    form = rate_form(old, ALMOST_NOTHING, b)
    true = 0.4
    seen = np.array([[(1.0 - true) * b, true]]) * 1000.0
    now = form.start()
    for _ in range(200):
        now = rates.improved(form, now, seen, 20)
    weight = rates.weights(form, now)[0]
    assert weight[1] / weight.sum() == pytest.approx(true, rel=1e-4)


def test_on_rates_are_the_beta_update() -> None:
    old = {("drain", "stays_awake", "any"): 0.3}
    counts = {(("drain", "stays_awake"), frozenset({"damp"})): np.array([12.0, 3.0])}
    new = on_rates.improved(old, old, counts, 0.5)
    assert new["drain", "stays_awake", "any"] == pytest.approx((10.0 * 0.3 + 12.0) / 25.0)


def test_offset_is_the_normal_update() -> None:
    """Textbook: precisions add, means are weighed by them."""
    mean, variance = conjugate(-0.15, 0.01, [(-0.05, 200.0), (-0.1, 100.0)])
    assert variance == pytest.approx(1.0 / 400.0)
    assert mean == pytest.approx((100.0 * -0.15 + 200.0 * -0.05 + 100.0 * -0.1) / 400.0)


def test_interval_of_the_rule_of_succession() -> None:
    """Beta(1, 1) is flat: its 95 % interval is 0.025 to 0.975."""
    assert beta_interval(0.5, 2.0) == pytest.approx((0.025, 0.975))


def test_scores_agree_with_scikit_learn() -> None:
    rng = np.random.default_rng(2)
    first = np.array([0, 3, 5])
    said = np.hstack([rng.dirichlet((4, 1, 1), 300), rng.dirichlet((5, 1), 300)])
    was = np.zeros_like(said)
    for a, b in pairwise(first):
        was[np.arange(300), a + rng.integers(b - a, size=300)] = 1.0
    found = score(said, was, first)
    losses = [log_loss(was[:, a:b], said[:, a:b]) for a, b in pairwise(first)]
    faults = [1, 2, 4]
    assert found.log_loss == pytest.approx(np.mean(losses))
    assert found.brier == pytest.approx(brier_score_loss(was[:, faults].ravel(), said[:, faults].ravel()))
    inside = (said[:, faults] >= 0.2) & (said[:, faults] < 0.35)
    row = next(r for r in found.calibration if 0.2 <= r[0] < 0.35)
    assert row == pytest.approx((said[:, faults][inside].mean(), was[:, faults][inside].mean(), inside.sum()))
