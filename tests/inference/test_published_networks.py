"""Published networks: the chest clinic and ALARM, against pgmpy, pyAgrum, counting, and values known from before.

The files are the ones pgmpy's own package carries. Roots become components, all other variables hidden nodes, each
with a quantity below it that shows its state.

References
----------
S. L. Lauritzen, D. J. Spiegelhalter, Local computations with probabilities on graphical structures and their
application to expert systems, Journal of the Royal Statistical Society B 50 (1988) 157-224 (chest clinic).
I. A. Beinlich and others, The ALARM monitoring system, AIME 1989 (37 variables).
"""

from __future__ import annotations

import gzip
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
import pytest

from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import enumerate_hypotheses
from faultnet.inference.posterior import Belief, updated
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.export import with_seen
from faultnet.model.network import Array, Network, Node
from tests.inference.outside import answered, by_pgmpy, by_pyagrum, counted_out, marginals_of


@lru_cache(maxsize=2)
def published(name: str) -> Any:
    from pgmpy.readwrite import BIFReader

    packed = files("pgmpy") / "utils" / "example_models" / f"{name}.bif.gz"
    return BIFReader(string=gzip.decompress(packed.read_bytes()).decode()).get_model()


def as_network(model: Any) -> Network:
    """Roots as components, the others as parameters, and for each of those a quantity that shows it.

    ALARM's file rounds thirds to seven digits, so its columns are made to sum to one.
    """
    import networkx as nx

    nodes: dict[str, Node] = {}
    order = sorted(nx.topological_sort(model), key=lambda n: bool(model.get_parents(n)))
    for name in order:
        table = model.get_cpds(name)
        layer = "parameter" if table.variables[1:] else "component"
        states = tuple(table.state_names[name])
        whole = np.asarray(table.values)
        nodes[name] = Node(name, layer, states, tuple(table.variables[1:]), whole / whole.sum(axis=0))
    for name in [n for n in order if nodes[n].layer == "parameter"]:
        shown = np.eye(nodes[name].card)
        nodes[f"{name}_shown"] = Node(f"{name}_shown", "quantity", nodes[name].states, (name,), shown)
    return Network(nodes)


@lru_cache(maxsize=2)
def ours(name: str) -> tuple[Network, VisitModel]:
    network = as_network(published(name))
    space = enumerate_hypotheses(network, max_faults=len(network.components))
    return network, compile_visit(network, space.components, space.modes)


def hard(network: Network, variable: str, state: str) -> Evidence:
    node = network.nodes[variable]
    return Evidence(f"{variable}_shown", np.eye(node.card)[node.states.index(state)], 1.0)


def soft(variable: str, likelihood: tuple[float, ...]) -> Evidence:
    return Evidence(f"{variable}_shown", np.array(likelihood), 1.0)


def believed(name: str, seen: list[Evidence]) -> Belief:
    network, model = ours(name)
    space = enumerate_hypotheses(network, max_faults=len(network.components))
    weight, scale = model.stage(seen)
    with np.errstate(divide="ignore"):
        belief = updated(space, np.log(weight[:, 0]) + scale)
    assert belief is not None
    return belief


def beliefs(name: str, seen: list[Evidence]) -> dict[str, Array]:
    """Belief in every variable: roots from the hypotheses, the others as what a test of them would show."""
    network, model = ours(name)
    belief = believed(name, seen)
    found = belief.marginals()
    read = {e.quantity for e in seen}
    hidden = [n for n in network.of_layer("parameter") if f"{n.name}_shown" not in read]
    tests = {n.name: (f"{n.name}_shown", np.eye(n.card), np.full(n.card, 1.0 / n.card)) for n in hidden}
    for variable, joint in model.predict(seen, tests).items():
        whole = joint.sum(axis=1, keepdims=True)
        found[variable] = belief.posterior @ np.where(whole > 0, joint / np.where(whole > 0, whole, 1.0), 0.0)
    return found


CASES = {
    "asia": [
        [],
        [("xray", "yes")],
        [("dysp", "yes"), ("xray", "no")],
        [("dysp", "no"), ("xray", "yes"), ("bronc", "yes")],
    ],
    "alarm": [
        [],
        [("BP", "LOW"), ("HRBP", "HIGH"), ("SAO2", "LOW")],
        [("EXPCO2", "LOW"), ("PRESS", "HIGH"), ("MINVOL", "ZERO"), ("HISTORY", "FALSE"), ("PCWP", "HIGH")],
    ],
}
QUESTIONS = [(name, i) for name, cases in CASES.items() for i in range(len(cases))]


@pytest.mark.parametrize("name, case", QUESTIONS)
def test_every_variable_agrees_with_pgmpy_and_pyagrum(name: str, case: int) -> None:
    network, _ = ours(name)
    seen = [hard(network, v, s) for v, s in CASES[name][case]]
    found = beliefs(name, seen)
    evidence = dict(CASES[name][case])
    original = Network({n: node for n, node in network.nodes.items() if node.layer != "quantity"})
    by_other, _ = by_pyagrum(original, found, evidence)
    by_third = by_pgmpy(original, sorted(found)[:: 1 if name == "asia" else 6], evidence)
    for variable, chances in found.items():
        np.testing.assert_allclose(chances, by_other[variable], rtol=0, atol=1e-9, err_msg=variable)
    for variable, chances in by_third.items():
        np.testing.assert_allclose(found[variable], chances, rtol=0, atol=1e-9, err_msg=variable)


@pytest.mark.parametrize("name, variable", [("asia", "xray"), ("asia", "dysp"), ("alarm", "HRBP"), ("alarm", "CO")])
def test_soft_readings_agree_with_pgmpy_and_pyagrum(name: str, variable: str) -> None:
    network, _ = ours(name)
    rng = np.random.default_rng(len(variable))
    seen = [soft(variable, tuple(rng.random(network.nodes[variable].card)))]
    asked = with_seen(network, seen)
    by_other, _ = by_pyagrum(asked, network.components)
    by_third = by_pgmpy(asked, network.components[:3])
    for component, chances in believed(name, seen).marginals().items():
        np.testing.assert_allclose(chances, by_other[component], rtol=0, atol=1e-9)
        if component in by_third:
            np.testing.assert_allclose(chances, by_third[component], rtol=0, atol=1e-9)


def test_chest_clinic_probability_of_a_positive_picture() -> None:
    """P(xray=yes) = 0.1103, by hand: 0.0648 x 0.98 + 0.9352 x 0.05 with P(either) = 0.0648."""
    network, _ = ours("asia")
    either = 1.0 - (1.0 - 0.0104) * (1.0 - 0.055)
    belief = believed("asia", [hard(network, "xray", "yes")])
    np.testing.assert_allclose(np.exp(belief.log_evidence), either * 0.98 + (1.0 - either) * 0.05, rtol=0, atol=1e-12)


@pytest.mark.parametrize("likelihood, expected", [((1.0, 0.0), 0.48871), ((0.8, 0.2), 0.16283)])
def test_chest_clinic_known_values(likelihood: tuple[float, ...], expected: float) -> None:
    """P(lung=yes | xray=yes) = 0.48871, and 0.16283 after a soft reading of 0.8 to 0.2, found by three roads before."""
    found = beliefs("asia", [soft("xray", likelihood)])["lung"][0]
    np.testing.assert_allclose(found, expected, rtol=0, atol=5e-6)


def test_chest_clinic_by_counting_all_its_states() -> None:
    network, _ = ours("asia")
    seen = [soft("xray", (0.7, 0.1)), hard(network, "dysp", "yes")]
    expected = marginals_of(counted_out(network, seen), network.components)
    for component, chances in believed("asia", seen).marginals().items():
        np.testing.assert_allclose(chances, expected[component], rtol=0, atol=1e-12)


def test_nothing_but_the_readings_is_taken_as_answered() -> None:
    network, _ = ours("asia")
    assert answered(with_seen(network, [soft("xray", (0.8, 0.2))])) == {"seen_1": "yes"}
