"""Which faults were on: the likelihood of a visit's readings without any chance of being on in it.

A fault that comes and goes is on at a visit or off, by a chance that tuning changes. So the readings' likelihood is
worked out for *which faults act*, and the chances are multiplied in afterwards: the hidden node of what a component
does now gets a root of its own, and every hypothesis has one *pattern* for each choice of which of its faults are on.
A fault that is off mostly acts as a sound part does, so most patterns share a row of likelihoods with another
hypothesis.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.configurations import Index, IndexArray, distinct_rows
from faultnet.model.modes import LINK, LINK_NODE, NOW_LEAK, intermittent_components
from faultnet.model.network import Array, Network, Node, normalised
from faultnet.prior_set.catalogue import Catalogue

Fault = tuple[str, str]
ANSWER = "answer_"


def conditioned_on_activity(network: Network) -> Network:
    """A visit's network in which what acts now is given, without readings and lasting symptoms.

    Notes
    -----
    Averaged over the chances of being on, it is the network it was made from; the leak of the nodes is kept. Symptoms
    of today depend on what acts and stay; their tables are not tuned.
    """
    nodes: dict[str, Node] = {}
    for node in network.nodes.values():
        today = any(p.endswith("_now") for p in node.parents)
        if node.layer == "reading" or (node.name.startswith(ANSWER) and not today):
            continue
        if node.name.endswith("_now"):
            root = node.name.removesuffix("_now") + "_active"
            nodes[root] = Node(root, "component", node.states, (), np.full(node.card, 1.0 / node.card))
            table = normalised(np.eye(node.card), NOW_LEAK)
            node = Node(node.name, node.layer, node.states, (root,), table)
        nodes[node.name] = node
    return replace(network, nodes=nodes)


@dataclass(frozen=True, eq=False)
class ActivationPatterns:
    """Every hypothesis with every choice of which of its faults are on.

    Parameters
    ----------
    columns : tuple of str
        Components, then what acts now.
    rows : int array, shape (rows, columns)
        Distinct configurations that likelihoods are worked out for.
    starts : int array, shape (hypotheses + 1,)
        Where the patterns of each hypothesis begin.
    row : int array, shape (patterns,)
        Row of each pattern.
    faults : tuple of (component, mode)
        Those that come and go.
    on : int array, shape (patterns, faults)
        1 where the fault is there and on, -1 where it is there and off, else 0.
    """

    columns: tuple[str, ...]
    rows: IndexArray = field(repr=False)
    starts: Index = field(repr=False)
    row: Index = field(repr=False)
    faults: tuple[Fault, ...]
    on: NDArray[np.int8] = field(repr=False)

    def chance(self, rates: Array) -> Array:
        """Chance of each pattern given its hypothesis, shape (patterns,), from the chance of each fault to be on."""
        chance = np.where(self.on > 0, rates, np.where(self.on < 0, 1.0 - rates, 1.0))
        return np.asarray(chance.prod(axis=1))


def patterns_of(
    catalogue: Catalogue, network: Network, components: tuple[str, ...], modes: IndexArray
) -> ActivationPatterns:
    """Lay out the patterns of all hypotheses.

    Parameters
    ----------
    catalogue : Catalogue
    network : Network
        Of :func:`conditioned_on_activity`; its tables do not matter, its parents do.
    components : tuple of str
        Order of the columns of `modes`.
    modes : int array, shape (hypotheses, components)
    """
    states = {c: [m.id for m in catalogue.component(c).modes] for c in components}
    owners = intermittent_components(catalogue)
    faults = tuple(catalogue.on_rates)
    place = [(components.index(c), states[c].index(m)) for c, m in faults]
    there = np.stack([modes[:, column] == mode for column, mode in place], axis=1)
    hypothesis, on = _choices(there)
    columns = (*components, *(f"{c}_active" for c in owners), f"{LINK_NODE}_active")
    table = np.concatenate([modes[hypothesis], np.zeros((len(on), len(columns) - len(components)), np.int16)], axis=1)
    _fill(table, columns, owners, faults, place, on)
    for column, component in enumerate(components):
        if component in owners and not _felt(network, component):
            table[:, column] = table[:, columns.index(f"{component}_active")]
    first, which = distinct_rows(table)
    starts = np.searchsorted(hypothesis, np.arange(len(modes) + 1))
    return ActivationPatterns(columns, table[first], starts, which, faults, on)


def _choices(there: NDArray[np.bool_]) -> tuple[Index, NDArray[np.int8]]:
    """For each hypothesis every choice of on (1) and off (-1) for the faults it has, all on first."""
    hypotheses, choices = [], []
    for h, faults in enumerate(there):
        mine = np.flatnonzero(faults)
        for choice in product((1, -1), repeat=len(mine)):
            row = np.zeros(there.shape[1], dtype=np.int8)
            row[mine] = choice
            hypotheses.append(h)
            choices.append(row)
    return np.array(hypotheses, dtype=np.intp), np.array(choices, dtype=np.int8)


def _fill(
    table: IndexArray, columns: tuple[str, ...], owners: tuple[str, ...], faults: Collection[Fault],
    place: list[tuple[int, int]], on: NDArray[np.int8],
) -> None:  # fmt: skip
    """Write what acts now into its columns."""
    for component in owners:
        table[:, columns.index(f"{component}_active")] = table[:, columns.index(component)]
    for k, (fault, (_, mode)) in enumerate(zip(faults, place, strict=True)):
        if fault == LINK:
            table[:, columns.index(f"{LINK_NODE}_active")] = on[:, k] > 0
        else:
            column = table[:, columns.index(f"{fault[0]}_active")]
            column[(column == mode) & (on[:, k] < 0)] = 0


def _felt(network: Network, component: str) -> bool:
    """Whether a component is felt at a visit even while its fault is off."""
    return any(component in n.parents for n in network.nodes.values() if n.layer != "component")
