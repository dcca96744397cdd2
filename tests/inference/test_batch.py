"""The batch form against the engine for one case at a time, on one car's network: the same to 1e-9."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from faultnet.inference.batch import log_likelihoods
from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import enumerate_hypotheses
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.network import Array
from tests.inference import demo

EXACT = 1e-9
PATTERNS = (
    ("rest_voltage",),
    ("rest_voltage", "crank_minimum_w100", "crank_current"),
    ("charge_idle", "charge_loaded", "ripple", "answer_when_it_fails"),
    ("crank_behaviour", "negative_path_drop", "key_off_current", "rest_voltage", "rest_voltage"),
    (),
)


@lru_cache(maxsize=1)
def model() -> VisitModel:
    space = enumerate_hypotheses(demo.network(), max_faults=2, uncounted=("use",))
    return compile_visit(demo.network(), space.components, space.modes)


def drawn(rng: np.random.Generator, names: tuple[str, ...]) -> list[Evidence]:
    nodes = demo.network().nodes
    known = [n for n in names if n in nodes]
    return [Evidence(n, rng.random(nodes[n].card) ** 4 + 1e-4, float(rng.uniform(0.05, 0.5))) for n in known]


def one_by_one(case: list[Evidence]) -> Array:
    weight, scale = model().stage(case)
    return np.asarray(np.log((model().charge_prior * weight).sum(axis=1)) + scale)


@pytest.mark.parametrize("together", [1, 4, 64])
def test_batch_equals_one_case_at_a_time(together: int) -> None:
    rng = np.random.default_rng(3)
    cases = [drawn(rng, PATTERNS[i % len(PATTERNS)]) for i in range(40)]
    assert {len(c) for c in cases} >= {0, 1, 3, 4}
    found = log_likelihoods(model(), cases, together=together)
    for case, row in zip(cases, found, strict=True):
        np.testing.assert_allclose(row, one_by_one(case), rtol=0, atol=EXACT)


def test_a_case_does_not_hang_on_its_neighbours() -> None:
    """One reading of next to no likelihood must not push another case's out of range."""
    rng = np.random.default_rng(4)
    odd = [Evidence(e.quantity, e.likelihood * 1e-200, e.background) for e in drawn(rng, PATTERNS[1])]
    plain = drawn(rng, PATTERNS[1])
    together = log_likelihoods(model(), [odd, plain])
    np.testing.assert_allclose(together[1], one_by_one(plain), rtol=0, atol=EXACT)
