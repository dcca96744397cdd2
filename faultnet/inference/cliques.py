"""Cutting one visit's network into clusters that only meet in the hypothesis and the state of charge.

Given the modes of all components and the battery's state of charge, the hidden nodes of a visit fall apart into
connected groups: the starting circuit, the charging circuit, the drain, and single quantities that depend on modes
alone. A :class:`Cluster` is such a group: a message from it, over the configurations of its components and the state of
charge, is all that the rest needs to know of it.
"""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx

from faultnet.model.network import Network

CHARGE = "charge"


@dataclass(frozen=True, eq=False)
class Cluster:
    """One connected group of hidden nodes with the quantities that depend on it.

    Parameters
    ----------
    network : Network
    hidden : tuple of str
        Hidden nodes, parents before children; empty for a quantity that depends on modes and charge alone.
    quantities : tuple of str
    components : tuple of str
        Components that any of them depends on.
    charged : bool
        Whether any of them depends on the state of charge.
    """

    network: Network
    hidden: tuple[str, ...]
    quantities: tuple[str, ...]
    components: tuple[str, ...]
    charged: bool


def find_clusters(network: Network) -> tuple[Cluster, ...]:
    """All clusters of a network, those with hidden nodes first.

    Parameters
    ----------
    network : Network
        One visit; the node `charge` and its hidden ancestors are handled apart and belong to no cluster.
    """
    skip = history_of(network) | {CHARGE}
    hidden = [n for layer in ("state", "parameter") for n in network.of_layer(layer) if n.name not in skip]
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
    return Cluster(network, hidden, quantities, components, CHARGE in axes)
