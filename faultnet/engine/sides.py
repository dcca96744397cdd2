"""Splitting a cluster's tables in two sides that meet in few axes, so that many tests can share one half of the work.

The *mode side* holds what depends on the joint modes of the cluster's components, the *source side* what depends on
the battery and its charge. A test on one side needs the other side only as one message over the axes in between.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import networkx as nx

from faultnet.engine.contraction import Tensor

Axes = tuple[str, ...]


@dataclass(frozen=True)
class Sides:
    """Axes in between, and the axes that belong to the mode side alone."""

    between: Axes
    mode_side: frozenset[str]


@lru_cache(maxsize=4096)
def split(axes: tuple[Axes, ...], combination: str, kept: Axes, outcome: str) -> Sides | None:
    """Find the fewest axes that part the combination axis from the kept ones.

    Parameters
    ----------
    axes : tuple of tuple of str
        Axes of every table, evidence and outcome columns among them.
    combination : str
    kept : tuple of str
        Battery and charge.
    outcome : str

    Returns
    -------
    Sides or None
        None where there is nothing to part.

    Examples
    --------
    >>> split((("c", "r"), ("r", "loop"), ("loop", "emf"), ("emf", "charge")), "c", ("charge",), "o").between
    ('loop',)
    """
    special = {combination, outcome, *kept}
    graph: nx.Graph = nx.Graph()
    graph.add_nodes_from(["modes", "source"])
    for group in axes:
        inner = [a for a in group if a not in special]
        graph.add_edges_from((inner[0], a) for a in inner[1:])
        graph.add_edges_from((a, b) for i, a in enumerate(inner) for b in inner[i + 1 :])
        if combination in group:
            graph.add_edges_from(("modes", a) for a in inner)
        if any(a in kept for a in group):
            graph.add_edges_from(("source", a) for a in inner)
    if graph.degree("modes") == 0 or graph.degree("source") == 0 or not nx.has_path(graph, "modes", "source"):
        return None
    between = nx.minimum_node_cut(graph, "modes", "source")
    graph.remove_nodes_from(between)
    mode_side = frozenset(nx.node_connected_component(graph, "modes")) - {"modes"}
    return Sides(tuple(sorted(between)), mode_side)


def of_mode_side(tensor: Tensor, sides: Sides, combination: str) -> bool:
    """Whether a table belongs to the mode side."""
    return combination in tensor.axes or any(a in sides.mode_side for a in tensor.axes)


def parted(tensors: Sequence[Tensor], sides: Sides, combination: str) -> tuple[list[Tensor], list[Tensor]]:
    """Tables of the mode side and of the source side."""
    mode = [t for t in tensors if of_mode_side(t, sides, combination)]
    source = [t for t in tensors if not of_mode_side(t, sides, combination)]
    return mode, source
