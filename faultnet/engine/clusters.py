"""Cutting one visit's network into clusters that only meet in the hypothesis and the state of charge.

Given the modes of all components and the battery's state of charge, the hidden nodes of a visit fall apart into
connected groups: the starting circuit, the charging circuit, the drain, and single quantities that hang on modes
alone. A :class:`Cluster` is such a group, with its tables gathered for the distinct joint modes of its components,
so that one contraction answers for every hypothesis at once. The battery's mode is kept as an axis of its own where
charge matters, since almost everything meets in those two.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import networkx as nx
import numpy as np
from numpy.typing import NDArray

from faultnet.engine.contraction import Tensor, contract
from faultnet.engine.hypotheses import IndexArray, combinations_of
from faultnet.engine.sides import of_mode_side, parted, split
from faultnet.network.structure import Array, Network, Node

CHARGE = "charge"
BATTERY = "battery"
COMBINATION = "combination"
OUTCOME = "outcome"


@dataclass(frozen=True, eq=False)
class Cluster:
    """One connected group of hidden nodes with the quantities that hang on it.

    Parameters
    ----------
    network : Network
    hidden : tuple of str
        Hidden nodes, parents before children; empty for a quantity that hangs on modes and charge alone.
    quantities : tuple of str
    components : tuple of str
        Components whose joint modes make the combination axis; the battery is not among them where `kept` has it.
    kept : tuple of str
        Which of battery and charge are axes of the cluster's messages.
    """

    network: Network
    hidden: tuple[str, ...]
    quantities: tuple[str, ...]
    components: tuple[str, ...]
    kept: tuple[str, ...]

    def bound(self, distinct: IndexArray) -> BoundCluster:
        """The cluster with its tables gathered for these joint modes, shape (combinations, components)."""
        tensors = {name: self._gathered(self.network.nodes[name], distinct) for name in self.hidden}
        self._absorb(tensors)
        return BoundCluster(self, distinct, tensors)

    def _absorb(self, tensors: dict[str, Tensor]) -> None:
        """Sum out beforehand every state node that only serves one other node and that no quantity hangs on."""
        watched = {p for q in self.quantities for p in self.network.nodes[q].parents}
        for name in self.hidden:
            users = [h for h, t in tensors.items() if name in t.axes and h != name]
            state = self.network.nodes[name].layer == "state"
            if state and name not in watched and len(users) == 1:
                pair = [tensors[users[0]], tensors.pop(name)]
                rest = [a for t in pair for a in t.axes if a not in (COMBINATION, users[0], name)]
                tensors[users[0]] = contract(pair, (COMBINATION, users[0], *dict.fromkeys(rest)))

    def _gathered(self, node: Node, distinct: IndexArray) -> Tensor:
        return gathered(Tensor(node.table, node.axes), self.components, distinct)


def gathered(tensor: Tensor, components: Sequence[str], distinct: IndexArray) -> Tensor:
    """Replace the component axes of a tensor by the one axis of joint modes."""
    mine = [c for c in components if c in tensor.axes]
    if not mine:
        return tensor
    rest = tuple(a for a in tensor.axes if a not in mine)
    values = tensor.arranged((*mine, *rest))
    index = tuple(distinct[:, list(components).index(c)] for c in mine)
    return Tensor(np.ascontiguousarray(values[index]), (COMBINATION, *rest))


@dataclass(frozen=True, eq=False)
class BoundCluster:
    """A cluster ready to answer for a list of joint modes."""

    cluster: Cluster
    distinct: IndexArray
    tensors: dict[str, Tensor]

    def site(self, quantity: str, likelihood: Array) -> Tensor:
        """Weight that a likelihood over a quantity's states, or outcome columns of it, puts on its parents.

        Parameters
        ----------
        quantity : str
        likelihood : array, shape (states,) or (states, outcomes)
        """
        node = self.cluster.network.nodes[quantity]
        axes = node.axes[1:] + ((OUTCOME,) if likelihood.ndim == 2 else ())
        values = np.tensordot(node.table, likelihood, axes=(0, 0))
        return gathered(Tensor(values, axes), self.cluster.components, self.distinct)

    def message(self, sites: Sequence[Tensor]) -> Tensor:
        """Sum the hidden nodes out under the given weights.

        Parameters
        ----------
        sites : sequence of Tensor
            Evidence, as made by :meth:`site`.

        Returns
        -------
        Tensor
            Axes combination, then battery and charge where the cluster has them.
        """
        factors = [self.tensors[h] for h in self.relevant({a for t in sites for a in t.axes})]
        return contract([*factors, *sites], (COMBINATION, *self.cluster.kept))

    def outcomes(self, sites: Sequence[Tensor], outcomes: Tensor, shared: dict[object, Tensor]) -> Tensor:
        """As :meth:`message` with outcome columns, sharing halves of the work between tests.

        Parameters
        ----------
        sites : sequence of Tensor
        outcomes : Tensor
        shared : dict
            Half messages already worked out under the same evidence; filled here.
        """
        weights = [*sites, outcomes]
        factors = [self.tensors[h] for h in self.relevant({a for t in weights for a in t.axes})] + list(sites)
        keep = (COMBINATION, *self.cluster.kept, OUTCOME)
        sides = split(tuple(t.axes for t in [*factors, outcomes]), COMBINATION, self.cluster.kept, OUTCOME)
        if sides is None:
            return contract([*factors, outcomes], keep)
        mode, source = parted(factors, sides, COMBINATION)
        here, there = (mode, source) if of_mode_side(outcomes, sides, COMBINATION) else (source, mode)
        key = (sides.between, there is mode, tuple(t.axes for t in there))
        if key not in shared:
            shared[key] = contract(there, (*keep[:-1], *sides.between))
        return contract([*here, shared[key], outcomes], keep)

    def relevant(self, sites: Iterable[str]) -> tuple[str, ...]:
        """Hidden nodes that are ancestors of the given ones, or are among them; the others sum to one."""
        wanted: set[str] = set()
        pending = [s for s in sites if s in self.tensors]
        while pending:
            name = pending.pop()
            if name not in wanted:
                wanted.add(name)
                pending += [a for a in self.tensors[name].axes if a in self.tensors]
        return tuple(h for h in self.tensors if h in wanted)


def merged(tensors: Sequence[Tensor]) -> tuple[list[Tensor], float]:
    """Multiply tensors that have the same axes, keeping each product's largest entry at one.

    Returns
    -------
    tensors : list of Tensor
        One for each set of axes.
    log_scale : float
        Natural logarithm of what was divided out.
    """
    groups: dict[tuple[str, ...], Array] = {}
    log_scale = 0.0
    for t in tensors:
        values = groups[t.axes] * t.values if t.axes in groups else t.values
        top = float(values.max())
        if top > 0.0:
            values = values / top
            log_scale += float(np.log(top))
        groups[t.axes] = values
    return [Tensor(values, axes) for axes, values in groups.items()], log_scale


def find_clusters(network: Network) -> tuple[Cluster, ...]:
    """All clusters of a network, those with hidden nodes first.

    Parameters
    ----------
    network : Network
        One visit; the node `charge` and its hidden ancestors are handled apart and belong to no cluster.
    """
    skip = history_of(network) | {CHARGE}
    hidden = [n for layer in ("state", "parameter") for n in network.of_layer(layer) if n.name not in skip]  # type: ignore[arg-type]
    names = {n.name for n in hidden}
    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(names)
    graph.add_edges_from((n.name, p) for n in hidden for p in n.parents if p in names)
    for quantity in network.of_layer("quantity"):
        own = [p for p in quantity.parents if p in names]
        graph.add_edges_from((own[0], p) for p in own[1:])
    label = {name: i for i, group in enumerate(nx.connected_components(graph)) for name in group}
    groups: dict[object, tuple[list[str], list[str]]] = {}
    order = list(network.nodes)
    for name in sorted(names, key=order.index):
        groups.setdefault(label[name], ([], []))[0].append(name)
    for quantity in network.of_layer("quantity"):
        own = [p for p in quantity.parents if p in names]
        key: object = label[own[0]] if own else quantity.name
        groups.setdefault(key, ([], []))[1].append(quantity.name)
    return tuple(_cluster(network, tuple(h), tuple(q)) for h, q in groups.values())


def history_of(network: Network) -> set[str]:
    """Hidden ancestors of the state of charge."""
    found: set[str] = set()
    pending = [CHARGE] if CHARGE in network.nodes else []
    while pending:
        for parent in network.nodes[pending.pop()].parents:
            if network.nodes[parent].layer != "component" and parent not in found:
                found.add(parent)
                pending.append(parent)
    return found


def _cluster(network: Network, hidden: tuple[str, ...], quantities: tuple[str, ...]) -> Cluster:
    axes = {a for name in (*hidden, *quantities) for a in network.nodes[name].axes}
    components = tuple(c for c in network.components if c in axes)
    kept: tuple[str, ...] = ()
    if CHARGE in axes:
        kept = (BATTERY, CHARGE) if BATTERY in components else (CHARGE,)
        components = tuple(c for c in components if c != BATTERY)
    return Cluster(network, hidden, quantities, components, kept)


@dataclass(frozen=True, eq=False)
class Gather:
    """How the messages of a cluster are looked up for each hypothesis."""

    bound: BoundCluster
    which: NDArray[np.intp]
    battery: IndexArray

    def rows(self, message: Tensor) -> Array:
        """Message per hypothesis: shape (hypotheses,) or (hypotheses, charge), then outcomes if there are any."""
        values = message.values
        has_combination = message.axes[:1] == (COMBINATION,)
        index = self.which if has_combination else None
        if BATTERY in message.axes:
            return values[index, self.battery] if has_combination else values[self.battery]  # type: ignore[index]
        return values[index] if has_combination else np.broadcast_to(values, (len(self.battery), *values.shape))


def gather_for(cluster: Cluster, components: Sequence[str], modes: IndexArray) -> Gather:
    """Bind a cluster to the joint modes that occur among hypotheses."""
    columns = [list(components).index(c) for c in cluster.components]
    distinct, which = combinations_of(modes, columns)
    battery = modes[:, list(components).index(BATTERY)] if BATTERY in components else np.zeros(len(modes), np.int16)
    return Gather(cluster.bound(distinct), which, battery)
