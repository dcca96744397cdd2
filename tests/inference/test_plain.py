"""The plain path and the fast one give the same numbers, on drawn networks and on the car's own."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.inference import plain
from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.inference.posterior import updated
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.network import Array, Network
from tests.inference import demo
from tests.inference.random_networks import random_network, random_reading

EXACT = 1e-9


def fast_log_likelihood(model: VisitModel, seen: list[Evidence]) -> Array:
    weight, scale = model.stage(seen)
    with np.errstate(divide="ignore"):  # a reading may be one that a hypothesis rules out
        return np.asarray(np.log((model.charge_prior * weight).sum(axis=1)) + scale)


def modes_of(space: Hypotheses, row: int) -> dict[str, int]:
    return dict(zip(space.components, space.modes[row].tolist(), strict=True))


@pytest.mark.parametrize("seed", range(12))
def test_drawn_networks(seed: int) -> None:
    """Beliefs and predictions, with readings of one quantity repeated, a history of the charge, and a stranger."""
    rng = np.random.default_rng(seed)
    network = random_network(
        rng, charge=seed % 3 > 0, battery=seed % 2 > 0, unlisted=seed % 4 == 0, parameters=4, quantities=5
    )
    space = enumerate_hypotheses(network, max_faults=len(network.components))
    asked, *read = rng.permutation([n.name for n in network.of_layer("quantity")]).tolist()
    seen = [random_reading(rng, network.nodes[name]) for name in [*read[:3], read[0]]]
    belief, model = plain.posterior(space, network, seen), compile_visit(network, space.components, space.modes)
    found = updated(space, fast_log_likelihood(model, seen))
    assert belief is not None
    assert found is not None
    np.testing.assert_allclose(found.posterior, belief.posterior, rtol=0, atol=EXACT)
    assert found.log_evidence == pytest.approx(belief.log_evidence, abs=EXACT)

    table = rng.dirichlet(np.ones(3), size=network.nodes[asked].card)
    joint = model.predict(seen, {"test": (asked, table, np.full(3, 1.0 / 3.0))})["test"]
    for row in np.flatnonzero(~model.unlisted & (belief.posterior > 0.0)):
        expected = plain.outcomes(network, modes_of(space, row), seen, asked, table)
        np.testing.assert_allclose(joint[row] / joint[row].sum(), expected, rtol=0, atol=EXACT)


@pytest.fixture(scope="module")
def car() -> tuple[Network, Hypotheses, VisitModel]:
    network = demo.network()
    space = enumerate_hypotheses(network, max_faults=2, brought_in_when_sound=demo.brought_in_when_sound())
    return network, space, compile_visit(network, space.components, space.modes)


def test_the_cars_own_network(car: tuple[Network, Hypotheses, VisitModel]) -> None:
    """Drawn hypotheses, sound and with one or two faults, with readings of every circuit."""
    network, space, model = car
    seen = list(demo.evidence(demo.FIRST))
    fast = fast_log_likelihood(model, seen)
    for row in [0, *np.random.default_rng(5).choice(len(space), 12, replace=False)]:
        expected = plain.likelihood(network, modes_of(space, row), seen)
        assert fast[row] == pytest.approx(np.log(expected), abs=EXACT)
