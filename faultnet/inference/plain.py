"""Exact inference as a textbook has it: one hypothesis after the other, nothing kept and nothing left out.

A hypothesis fixes the mode of every component. What is left of the network hides the charge and the parameters of the
circuits: the likelihood of the readings is the product of the conditional tables of all ancestors of what was read and
of one likelihood factor for each quantity, summed over everything hidden. Bayes' rule over the hypotheses is then one
line. :mod:`faultnet.inference.visit` and :mod:`faultnet.inference.fast` give the same numbers some thousand times
faster, by what hypotheses share; ``tests/inference/test_plain.py`` holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

import numpy as np
import opt_einsum

from faultnet.inference.evidence import UNLISTED, Evidence, log_background, pooled
from faultnet.inference.hypotheses import Hypotheses
from faultnet.inference.posterior import Belief, updated
from faultnet.model.network import Array, Network, Node

Factor = tuple[Array, tuple[str, ...]]


def likelihood(network: Network, modes: Mapping[str, int], evidence: Sequence[Evidence]) -> float:
    """Likelihood of a visit's readings under one hypothesis [-].

    Parameters
    ----------
    network : Network
    modes : mapping of component to int
        Index of the mode of every component that the readings depend on.
    evidence : sequence of Evidence
        Readings of one quantity are readings of one true value.

    Examples
    --------
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> volts = Node("volts", "quantity", ("low", "high"), ("part",), np.array([[0.2, 0.7], [0.8, 0.3]]))
    >>> low = Evidence("volts", np.array([1.0, 0.0]), 0.5)
    >>> likelihood(Network({"part": part, "volts": volts}), {"part": 1}, [low])
    0.7
    """
    if modes.get(UNLISTED):
        return float(np.exp(log_background(evidence)))
    read, log_scale = pooled(evidence)
    factors = [*conditioned(network, modes, read), *((values, (quantity,)) for quantity, values in read.items())]
    return float(summed(factors, ()) * np.exp(log_scale))


def outcomes(
    network: Network, modes: Mapping[str, int], evidence: Sequence[Evidence], quantity: str, table: Array
) -> Array:
    """Chance of each outcome of a test under one hypothesis and what was read before, shape (outcomes,) [-].

    Parameters
    ----------
    network : Network
    modes : mapping of component to int
        None of them a fault that the model does not know.
    evidence : sequence of Evidence
    quantity : str
        That the test measures.
    table : array, shape (states, outcomes)
        Chance of each outcome given the quantity's state [-].

    Raises
    ------
    ValueError
        If the hypothesis rules out what was read.
    """
    read, _ = pooled(evidence)
    factors = [*conditioned(network, modes, {*read, quantity}), *((values, (q,)) for q, values in read.items())]
    joint = summed([*factors, (table, (quantity, "outcome"))], ("outcome",))
    if not joint.any():
        raise ValueError("the hypothesis rules out what was read")
    return np.asarray(joint / joint.sum())


def posterior(space: Hypotheses, network: Network, evidence: Sequence[Evidence]) -> Belief | None:
    """Belief over hypotheses after the readings of one visit; None when no hypothesis explains them at all."""
    rows = (dict(zip(space.components, row, strict=True)) for row in space.modes.tolist())
    with np.errstate(divide="ignore"):
        return updated(space, np.log([likelihood(network, modes, evidence) for modes in rows]))


def conditioned(network: Network, modes: Mapping[str, int], quantities: Iterable[str]) -> list[Factor]:
    """Conditional tables of quantities and of their hidden ancestors, at the modes of the components."""
    wanted, pending = set(), list(quantities)
    while pending:
        name = pending.pop()
        if name not in wanted and network.nodes[name].layer != "component":
            wanted.add(name)
            pending += network.nodes[name].parents
    return [_at(node, modes) for name, node in network.nodes.items() if name in wanted]


def _at(node: Node, modes: Mapping[str, int]) -> Factor:
    index = tuple(modes.get(axis, slice(None)) for axis in node.axes)
    return node.table[index], tuple(axis for axis in node.axes if axis not in modes)


def summed(factors: Sequence[Factor], keep: tuple[str, ...]) -> Array:
    """Product of factors, summed over every axis that is not kept."""
    operands = [part for factor in factors for part in factor]
    return np.asarray(opt_einsum.contract(*operands, keep, optimize="greedy"))
