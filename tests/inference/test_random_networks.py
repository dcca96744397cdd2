"""The engine against the full joint table of small random networks, every hypothesis kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.inference.posterior import Belief, grouped_information, information, updated
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.network import Array, Network
from tests.inference.outside import by_hypothesis, counted_out, marginals_of
from tests.inference.random_networks import random_network, random_outcomes, random_reading

WHEN_SOUND = 0.3


@dataclass(frozen=True)
class Shape:
    """What a random network is made of."""

    seed: int
    charge: bool
    battery: bool
    unlisted: bool
    parameters: int
    quantities: int

    def network(self) -> tuple[Network, np.random.Generator]:
        rng = np.random.default_rng(self.seed)
        made = random_network(
            rng, charge=self.charge, battery=self.battery, unlisted=self.unlisted,
            parameters=self.parameters, quantities=self.quantities,
        )  # fmt: skip
        made.check()
        return made, rng


SHAPES = st.builds(
    Shape, st.integers(0, 2**32 - 1), st.booleans(), st.booleans(), st.booleans(), st.integers(0, 4), st.integers(1, 4)
)
few = settings(max_examples=40, deadline=None, derandomize=True, database=None)


def compiled(network: Network, max_faults: int = 9) -> tuple[Hypotheses, VisitModel]:
    space = enumerate_hypotheses(network, max_faults=max_faults, brought_in_when_sound=WHEN_SOUND)
    return space, compile_visit(network, space.components, space.modes)


def likelihood(model: VisitModel, seen: Sequence[Evidence]) -> tuple[Array, float]:
    weight, scale = model.stage(seen)
    return (model.charge_prior * weight).sum(axis=1), scale


def belief_of(space: Hypotheses, model: VisitModel, seen: Sequence[Evidence]) -> Belief | None:
    total, scale = likelihood(model, seen)
    with np.errstate(divide="ignore"):
        return updated(space, np.log(total) + scale)


def brought_in(weights: Array) -> Array:
    """Joint weights given the complaint: the all-sound corner counts for less."""
    weights = weights.copy()
    weights[(0,) * weights.ndim] *= WHEN_SOUND
    return weights


def assert_agrees(network: Network, seen: Sequence[Evidence]) -> None:
    space, model = compiled(network)
    belief = belief_of(space, model, seen)
    expected = brought_in(counted_out(network, seen))
    if expected.sum() == 0.0:
        assert belief is None
        return
    assert belief is not None
    rows = by_hypothesis(expected, space.modes)
    np.testing.assert_allclose(belief.posterior, rows / rows.sum(), rtol=0, atol=1e-10)
    before = brought_in(counted_out(network)).sum()
    np.testing.assert_allclose(belief.log_evidence, np.log(expected.sum() / before), rtol=0, atol=1e-10)
    for name, chances in marginals_of(expected, network.components).items():
        np.testing.assert_allclose(belief.marginals()[name], chances, rtol=0, atol=1e-10)


@few
@given(SHAPES)
def test_prior_is_the_joint_table_of_the_components(shape: Shape) -> None:
    network, _ = shape.network()
    space, _ = compiled(network)
    expected = brought_in(counted_out(network))
    np.testing.assert_allclose(space.prior, by_hypothesis(expected, space.modes) / expected.sum(), rtol=0, atol=1e-12)
    assert abs(space.dropped) < 1e-12


@few
@given(SHAPES)
def test_posterior_after_readings_of_different_quantities(shape: Shape) -> None:
    network, rng = shape.network()
    quantities = network.of_layer("quantity")
    assert_agrees(network, [random_reading(rng, q) for q in quantities if rng.random() < 0.8])


@few
@given(SHAPES)
def test_posterior_after_repeated_readings_of_one_quantity(shape: Shape) -> None:
    """Two readings look at one true value: their likelihoods multiply there, not further up."""
    network, rng = shape.network()
    quantities = network.of_layer("quantity")
    assert_agrees(network, [random_reading(rng, quantities[i]) for i in rng.integers(len(quantities), size=5)])


@few
@given(SHAPES, st.integers(0, 2))
def test_fewer_hypotheses_are_the_same_ones_renormalised(shape: Shape, max_faults: int) -> None:
    network, rng = shape.network()
    seen = [random_reading(rng, q) for q in network.of_layer("quantity")]
    space, model = compiled(network, max_faults)
    belief = belief_of(space, model, seen)
    rows = by_hypothesis(brought_in(counted_out(network, seen)), space.modes)
    assert (belief is None) == (rows.sum() == 0.0)
    if belief is not None:
        np.testing.assert_allclose(belief.posterior, rows / rows.sum(), rtol=0, atol=1e-10)


def predicted_by_counting(
    network: Network, space: Hypotheses, seen: Sequence[Evidence], test: tuple[str, Array, Array]
) -> Array:
    quantity, table, background = test
    columns = [
        counted_out(network, [*seen, Evidence(quantity, t, float(b))]) for t, b in zip(table.T, background, strict=True)
    ]
    return np.stack([by_hypothesis(c, space.modes) for c in columns], axis=1)


def entropy(chances: Array) -> Array:
    """Entropy over the last axis [bit]."""
    safe = np.where(chances > 0, chances, 1.0)
    return -(chances * np.log2(safe)).sum(axis=-1)


def assert_predicts(network: Network, rng: np.random.Generator, seen: Sequence[Evidence], asked: Sequence[str]) -> None:
    """Outcome chances row by row, and information by entropies: H(outcome) - H(outcome | hypothesis)."""
    space, model = compiled(network)
    tests = {f"test_{q}": random_outcomes(rng, network.nodes[q]) for q in asked}
    found = model.predict(seen, tests)
    weight = by_hypothesis(brought_in(counted_out(network, seen)), space.modes)
    possible = weight > 0
    posterior = weight / weight.sum() if possible.any() else weight
    for name, test in tests.items():
        expected = predicted_by_counting(network, space, seen, test)[possible]
        expected = expected / expected.sum(axis=1, keepdims=True)
        got = found[name][possible]
        np.testing.assert_allclose(got / got.sum(axis=1, keepdims=True), expected, rtol=0, atol=1e-10)
        if possible.any():
            p = posterior[possible]
            bits = entropy(p @ expected) - p @ entropy(expected)
            np.testing.assert_allclose(information(p, got), max(bits, 0.0), rtol=0, atol=1e-10)


@few
@given(SHAPES)
def test_prediction_of_quantities_not_yet_read(shape: Shape) -> None:
    network, rng = shape.network()
    names = [q.name for q in network.of_layer("quantity")]
    read = [n for n in names if rng.random() < 0.5]
    seen = [random_reading(rng, network.nodes[n]) for n in read]
    assert_predicts(network, rng, seen, [n for n in names if n not in read])


@few
@given(SHAPES)
def test_prediction_of_quantities_already_read(shape: Shape) -> None:
    """A reading of a quantity tells what the next reading of the same quantity will show."""
    network, rng = shape.network()
    names = [q.name for q in network.of_layer("quantity")]
    assert_predicts(network, rng, [random_reading(rng, network.nodes[n]) for n in names], names)


@few
@given(SHAPES)
def test_some_hypotheses_alone_predict_as_among_all(shape: Shape) -> None:
    network, rng = shape.network()
    seen = [random_reading(rng, q) for q in network.of_layer("quantity")[1:]]
    space, model = compiled(network)
    tests = {"t": random_outcomes(rng, network.of_layer("quantity")[0])}
    chosen = np.flatnonzero(rng.random(len(space)) < 0.4)
    if not len(chosen):
        return
    whole = model.predict(seen, tests)["t"][chosen]
    kept = whole.sum(axis=1) > 0
    whole = whole[kept] / whole[kept].sum(axis=1, keepdims=True)
    every_charge = np.arange(model.charge_prior.shape[1])
    for part in (model.subset(chosen), model.focused(chosen, every_charge)):
        alone = part.predict(seen, tests)["t"][kept]
        np.testing.assert_allclose(alone / alone.sum(axis=1, keepdims=True), whole, rtol=0, atol=1e-10)


@few
@given(SHAPES)
def test_other_modes_behind_the_hypotheses(shape: Shape) -> None:
    """After a repair the readings depend on the sound mode; the charge is carried over, not worked out anew."""
    network, rng = shape.network()
    seen = [random_reading(rng, q) for q in network.of_layer("quantity")]
    space, model = compiled(network)
    modes = space.modes.copy()
    modes[:, 0] = 0
    anew, scale = compile_visit(network, space.components, modes).stage(seen)
    turned, turned_scale = model.for_modes(modes).stage(seen)
    np.testing.assert_allclose(turned * np.exp(turned_scale - scale), anew, rtol=1e-10, atol=1e-14)


@few
@given(SHAPES)
def test_a_replaced_table_is_the_network_with_that_table(shape: Shape) -> None:
    network, rng = shape.network()
    hidden = [
        n for n in network.of_layer("parameter") + network.of_layer("state") if n.name not in ("charge", "supply")
    ]
    seen = [random_reading(rng, q) for q in network.of_layer("quantity")]
    space, model = compiled(network)
    for node in hidden:
        other = type(node)(node.name, node.layer, node.states, node.parents, node.table[::-1].copy())
        anew, scale = compile_visit(Network({**network.nodes, node.name: other}), space.components, space.modes).stage(
            seen
        )
        turned, turned_scale = model.with_node(other).stage(seen)
        np.testing.assert_allclose(turned * np.exp(turned_scale - scale), anew, rtol=1e-10, atol=1e-14)


@few
@given(st.integers(0, 2**32 - 1), st.integers(1, 30), st.integers(2, 6))
def test_information_about_groups_is_that_of_the_summed_hypotheses(seed: int, size: int, outcomes: int) -> None:
    """I(outcome; group) by entropies; never more than I(outcome; hypothesis), by the data processing inequality."""
    rng = np.random.default_rng(seed)
    posterior, chances = rng.dirichlet(np.ones(size)), rng.dirichlet(np.ones(outcomes), size=size)
    groups = rng.integers(0, 4, size=size)
    mass = np.bincount(groups, weights=posterior, minlength=4)
    joint = np.stack([np.bincount(groups, weights=posterior * c, minlength=4) for c in chances.T], axis=1)
    within = joint[mass > 0] / mass[mass > 0, None]
    expected = entropy(posterior @ chances) - mass[mass > 0] @ entropy(within)
    found = grouped_information(posterior, chances, groups)
    np.testing.assert_allclose(found, max(float(expected), 0.0), rtol=0, atol=1e-10)
    assert found <= information(posterior, chances) + 1e-12


def test_a_test_that_shows_the_same_for_every_hypothesis_tells_nothing() -> None:
    np.testing.assert_allclose(information(np.array([0.3, 0.7]), np.array([[0.2, 0.8], [0.2, 0.8]])), 0.0, atol=1e-12)


def test_a_test_that_parts_four_equal_hypotheses_tells_two_bits() -> None:
    np.testing.assert_allclose(information(np.full(4, 0.25), np.eye(4)), 2.0, rtol=0, atol=1e-12)


def test_readings_no_hypothesis_allows_give_no_belief() -> None:
    """Where no fault is unlisted, a reading that is impossible in every mode leaves nothing to believe."""
    rng = np.random.default_rng(4)
    network = random_network(rng, charge=True, battery=True, unlisted=False, parameters=2, quantities=1)
    space, model = compiled(network)
    card = network.nodes["quantity_0"].card
    assert belief_of(space, model, [Evidence("quantity_0", np.zeros(card), 0.5)]) is None
