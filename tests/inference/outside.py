"""Other roads to the same numbers: every state counted, pgmpy's variable elimination, pyAgrum's lazy propagation."""

from __future__ import annotations

import warnings
from collections.abc import Collection, Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np

from faultnet.inference.evidence import Evidence
from faultnet.model.export import YES, to_pgmpy
from faultnet.model.network import Array, Network


def counted_out(network: Network, seen: Sequence[Evidence] = ()) -> Array:
    """Weight of every joint state of the components, by summing the full joint table; axes in their order.

    A fault the model does not know weighs every reading by its background likelihood, whatever the quantity.
    """
    hidden = {n.name for layer in ("component", "state", "parameter") for n in network.of_layer(layer)}  # type: ignore[arg-type]
    names = [n for n in network.nodes if n in hidden or n in {e.quantity for e in seen}]
    total = np.ones([network.nodes[n].card for n in names])
    for name in names:
        total = total * spread(network.nodes[name].table, network.nodes[name].axes, names)
    for e in seen:
        table, axes = weight_of(network, e)
        total = total * spread(table, axes, names)
    return total.sum(axis=tuple(i for i, n in enumerate(names) if n not in network.components))


def weight_of(network: Network, e: Evidence) -> tuple[Array, tuple[str, ...]]:
    """A reading's weight over its quantity and, where there is one, the component `unlisted`."""
    if "unlisted" not in network.nodes:
        return e.likelihood, (e.quantity,)
    others = network.nodes["unlisted"].card - 1
    return np.column_stack([e.likelihood, *[np.full(len(e.likelihood), e.background)] * others]), (
        e.quantity,
        "unlisted",
    )


def spread(table: Array, axes: Sequence[str], names: Sequence[str]) -> Array:
    """A table with its axes put where they stand among all names."""
    order = sorted(range(len(axes)), key=lambda i: names.index(axes[i]))
    shape = [1] * len(names)
    for axis, size in zip(axes, table.shape, strict=True):
        shape[names.index(axis)] = size
    return table.transpose(order).reshape(shape)


def by_hypothesis(weights: Array, modes: Array) -> Array:
    """Weight of each hypothesis out of the table of all configurations."""
    return weights[tuple(modes.T)]


def marginals_of(weights: Array, components: Sequence[str]) -> dict[str, Array]:
    """Probability of each mode of each component out of the table of all configurations."""
    whole = weights.sum()
    return {
        name: weights.sum(axis=tuple(k for k in range(weights.ndim) if k != i)) / whole
        for i, name in enumerate(components)
    }


def by_pgmpy(network: Network, targets: Collection[str], evidence: Mapping[str, str] | None = None) -> dict[str, Array]:
    """Beliefs by variable elimination; every reading and the complaint answered yes, unless other evidence is given."""
    from pgmpy.inference import VariableElimination

    model, given = to_pgmpy(network), dict(answered(network) if evidence is None else evidence)
    found = {}
    for target in targets:
        factor = VariableElimination(model).query([target], evidence=given, show_progress=False)
        order = [factor.state_names[target].index(s) for s in network.nodes[target].states]
        found[target] = factor.values[order]
    return found


def chance_by_pgmpy(network: Network) -> float:
    """Probability that every reading and the complaint are answered yes: one after the other, given those before."""
    from pgmpy.inference import VariableElimination

    model, given, chance = to_pgmpy(network), {}, 1.0
    for name, state in answered(network).items():
        factor = VariableElimination(model).query([name], evidence=given, show_progress=False)
        chance *= float(factor.values[factor.state_names[name].index(state)])
        given[name] = state
    return chance


def answered(network: Network) -> dict[str, str]:
    """The nodes of readings and of the complaint, with the answer yes."""
    return {n: YES for n in network.nodes if n == "brought_in" or n.startswith("seen_")}


def pyagrum() -> Any:
    """The library, imported with warnings off: version 3.3 dies of a segmentation fault if they are errors."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import pyagrum
    return pyagrum


def pyagrum_network(network: Network) -> Any:
    """The network in pyAgrum's form, table by table, without any file between."""
    result = pyagrum().BayesNet("network")
    for node in network.nodes.values():
        result.add(pyagrum().LabelizedVariable(node.name, node.name, list(node.states)))
    for node in network.nodes.values():
        for parent in node.parents:
            result.addArc(parent, node.name)
        table = result.cpt(node.name)
        names = list(reversed(table.names))
        table[:] = np.ascontiguousarray(node.table.transpose([node.axes.index(n) for n in names]))
    return result


def by_pyagrum(
    network: Network, targets: Collection[str], evidence: Mapping[str, Any] | None = None
) -> tuple[dict[str, Array], float]:
    """Beliefs by lazy propagation, and the probability of the evidence; evidence as for pgmpy."""
    engine = pyagrum().LazyPropagation(pyagrum_network(network))
    engine.setEvidence(dict(answered(network) if evidence is None else evidence))
    engine.setTargets(set(targets))
    engine.makeInference()
    return {t: np.array(engine.posterior(t).tolist()) for t in targets}, float(engine.evidenceProbability())


def every_mode(network: Network) -> Array:
    """All configurations of the components, one row each."""
    return np.array(list(product(*(range(network.nodes[c].card) for c in network.components))))
