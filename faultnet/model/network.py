"""Nodes, tables and the network as plain frozen data, independent of any inference library.

Vocabulary: a *component* node holds the mode a component is in and persists over visits; *state* and *parameter*
nodes are hidden and belong to one visit; a *quantity* is the true value behind a test; a *reading* node is what an
ordinary instrument would show of it, in a few outcome classes, and is what next tests are ranked by.
"""

from __future__ import annotations

import mmap
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Mapped = np.memmap[tuple[int], np.dtype[np.float64]]
Layer = Literal["component", "state", "parameter", "quantity", "reading"]


@dataclass(frozen=True)
class Node:
    """One variable with its conditional probability table.

    Parameters
    ----------
    name : str
        Slug, ``^[a-z][a-z0-9_]*$``.
    layer : str
        Where it stands in the flow from modes to readings.
    states : tuple of str
    parents : tuple of str
    table : array, shape (len(states), *cards of parents)
        Each column over the first axis sums to one.
    edges : tuple of float
        Bin edges [unit of the node] where the states are bins; empty otherwise.
    scatter : float
        Standard deviation by which two readings of a quantity differ beyond their instruments' errors [unit of the
        node]; it is in the table already.
    """

    name: str
    layer: Layer
    states: tuple[str, ...]
    parents: tuple[str, ...]
    table: Array = field(repr=False, compare=False)
    edges: tuple[float, ...] = ()
    scatter: float = 0.0

    @property
    def card(self) -> int:
        """Number of states."""
        return len(self.states)

    @property
    def axes(self) -> tuple[str, ...]:
        """Names of the table's axes: the node first, then its parents."""
        return (self.name, *self.parents)


@dataclass(frozen=True)
class Network:
    """All nodes of one car under one visit's conditions, parents before children.

    Parameters
    ----------
    nodes : mapping of name to Node
    sound : mapping of quantity to array, shape (states,)
        What each quantity is on a sound car [-]; empty where that is not known.
    mapped : memmap, optional
        The file that the tables are read from, where they are.

    Examples
    --------
    >>> import numpy as np
    >>> coin = Node("coin", "component", ("heads", "tails"), (), np.array([0.5, 0.5]))
    >>> Network({"coin": coin}).check()
    """

    nodes: Mapping[str, Node]
    sound: Mapping[str, Array] = field(default_factory=dict, repr=False, compare=False)
    mapped: Mapped | None = field(default=None, repr=False, compare=False)

    def let_go(self) -> None:
        """Give the pages of the file back that were read; what is used later comes in again by itself."""
        if self.mapped is not None:
            with suppress(AttributeError, OSError, ValueError):  # a system without such advice keeps them
                self.mapped._mmap.madvise(mmap.MADV_DONTNEED)  # type: ignore[attr-defined]  # numpy has no other way

    def of_layer(self, layer: Layer) -> tuple[Node, ...]:
        """Nodes of one layer, in order."""
        return tuple(n for n in self.nodes.values() if n.layer == layer)

    @property
    def components(self) -> tuple[str, ...]:
        """Names of the component nodes, in order."""
        return tuple(n.name for n in self.of_layer("component"))

    def check(self) -> None:
        """Hold every table to its shape, its sums and the absence of zeros.

        Raises
        ------
        ValueError
            If a parent stands after its child, a table has the wrong shape, does not sum to one or has an entry
            that is not positive. All of these are bugs, not bad input.
        """
        seen: set[str] = set()
        for node in self.nodes.values():
            if missing := set(node.parents) - seen:
                raise ValueError(f"{node.name}: parents {sorted(missing)} are not defined before it")
            seen.add(node.name)
            shape = (node.card, *(self.nodes[p].card for p in node.parents))
            if node.table.shape != shape:
                raise ValueError(f"{node.name}: table has shape {node.table.shape}, expected {shape}")
            if not np.allclose(node.table.sum(axis=0), 1.0, rtol=0, atol=1e-9):
                raise ValueError(f"{node.name}: columns do not sum to one")
            if not (node.table > 0).all():
                raise ValueError(f"{node.name}: table has entries that are not positive")


def normalised(counts: Array, leak: float = 1e-6) -> Array:
    """Turn counts over the first axis into probabilities that are never zero.

    Parameters
    ----------
    counts : array, shape (states, ...)
        Non-negative weights; a column of zeros becomes uniform.
    leak : float
        Share spread evenly over all states [-], so that no state is ruled out for ever.

    Examples
    --------
    >>> normalised(np.array([3.0, 1.0]), leak=0.0)
    array([0.75, 0.25])
    """
    total = counts.sum(axis=0, keepdims=True)
    share = np.where(total > 0, counts / np.where(total > 0, total, 1.0), 1.0 / counts.shape[0])
    mixed: Array = (1.0 - leak) * share + leak / counts.shape[0]
    return np.asarray(mixed / mixed.sum(axis=0, keepdims=True))
