"""A cluster with its tables laid out for the configurations that occur among the hypotheses."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from functools import cached_property
from math import log2

import numpy as np

from faultnet.inference.cliques import Cluster
from faultnet.inference.configurations import RowSets
from faultnet.inference.contraction import COMBINATION, Tensor, product
from faultnet.inference.contraction_order import RowCounts
from faultnet.inference.fast.query_cache import QueryCache
from faultnet.inference.fast.schedule import OUTCOME, Named
from faultnet.model.network import Array, Node

LEADING_SHARE = 0.65
SAME = 1e-12
TINY = 1e-300
Asked = tuple[str, Array, Array | None]


@dataclass(frozen=True, eq=False)
class Bound:
    """A cluster and the configurations of its components.

    Parameters
    ----------
    cluster : Cluster
    rows : RowSets
        All configurations that occur.
    cache : QueryCache
        What is kept of the questions about it.
    """

    cluster: Cluster
    rows: RowSets
    cache: QueryCache = field(default_factory=QueryCache, repr=False)

    def trim(self) -> None:
        """Drop what is large and soon worked out again, once a question is answered; answers stay the same."""
        self.cache.trim()
        self.rows.rest()

    def rest(self) -> None:
        """Drop all that takes room, as for a cluster that is not asked about for a while; answers stay the same."""
        self.cache.rest()
        self.rows.rest()

    @cached_property
    def tables(self) -> dict[str, Named]:
        """Tables of the hidden nodes; a state that only serves one other node is summed out of it beforehand."""
        nodes = self.cluster.network.nodes
        found = {n: self._laid_out(nodes[n].table, nodes[n].axes) for n in self.cluster.hidden}
        watched = {p for q in self.cluster.quantities for p in nodes[q].parents}
        for name in self.cluster.hidden:
            users = [n for n, t in found.items() if name in t.axes and n != name]
            if nodes[name].layer == "state" and name not in watched and len(users) == 1:
                user, own = found[users[0]], found.pop(name)
                needed = frozenset((COMBINATION, *user.axes, *own.axes)) - {name}
                found[users[0]] = product(user, own, needed, self.rows)
        return {n: Named(n, t, True) for n, t in found.items()}

    def _laid_out(self, values: Array, axes: tuple[str, ...]) -> Tensor:
        """A table with its component axes turned into configurations."""
        mine = sorted(a for a in axes if a in self.cluster.components)
        if not mine:
            return Tensor(values, axes)
        part = self.rows.part(frozenset(mine))
        rest = tuple(a for a in axes if a not in mine)
        first = values.transpose([axes.index(a) for a in (*mine, *rest)])
        index = tuple(part.table[:, i] for i in range(len(mine)))
        return Tensor(np.ascontiguousarray(first[index]), (COMBINATION, *rest), frozenset(mine))

    def factor(self, quantity: str, likelihood: Array) -> Tensor:
        """The factor over a quantity's parents that a likelihood over its states comes to.

        Parameters
        ----------
        quantity : str
        likelihood : array, shape (states,), or (cases, states) for many cases at once
            With cases the factor has the axis `outcome` for them.
        """
        node = self.cluster.network.nodes[quantity]
        cases = (OUTCOME,) if likelihood.ndim == 2 else ()
        return self._laid_out(*_that_matter(_pulled(node, likelihood), (*cases, *node.axes[1:])))

    def outcomes(self, questions: tuple[Asked, ...]) -> Named:
        """Chance of each outcome of some tests given the parents of their quantities, which are the same for all.

        Parameters
        ----------
        questions : tuple of (quantity, array of shape (states, outcomes), array of shape (states,) or None)
            The last is the likelihood of what was read of the quantity in this stage.

        Returns
        -------
        Named
            The outcomes of all tests one after the other along the axis `outcome`; the same question has the same name.
        """
        free = all(read is None for _, _, read in questions)
        key = asked_key(questions)

        def make() -> Named:
            nodes = self.cluster.network.nodes
            values = np.concatenate([_outcomes(nodes[quantity], table, read) for quantity, table, read in questions])
            tensor = self._laid_out(values, (OUTCOME, *nodes[questions[0][0]].axes[1:]))
            return Named(("outcomes", self.cache.number(key)), tensor, free)

        return self.cache.outcomes.get(key, make)

    def states(self, axis: str) -> Named:
        """The states of a hidden axis, as if they were the outcomes of a test."""
        card = self.cluster.network.nodes[axis].card
        return self.cache.outcomes.get(
            ("states", axis), lambda: Named(("states", axis), Tensor(np.eye(card), (OUTCOME, axis)), False)
        )

    def relevant(self, axes: Iterable[str]) -> tuple[Named, ...]:
        """Tables of hidden nodes that are ancestors of the given ones, or are among them; the others sum to one."""
        wanted: set[str] = set()
        pending = [a for a in axes if a in self.tables]
        while pending:
            name = pending.pop()
            if name not in wanted:
                wanted.add(name)
                pending += [a for a in self.tables[name].tensor.axes if a in self.tables]
        return tuple(t for n, t in self.tables.items() if n in wanted)

    @cached_property
    def counts(self) -> dict[float, RowCounts]:
        """Numbers of configurations for planning: all of them, or as many as lead."""
        names = tuple(sorted(self.cluster.components))
        whole = round(log2(max(len(self.rows.table), 1)))
        signature = (whole, *(self.rows.count([c]) for c in names))
        return {share: RowCounts(names, signature, self.rows, share) for share in (1.0, LEADING_SHARE)}


def _that_matter(values: Array, axes: tuple[str, ...]) -> tuple[Array, tuple[str, ...]]:
    """A table without the axes along which all its entries are the same to the last places.

    An engine that turns tells nothing of where the loop's resistance lies, one that clicks does.
    """
    same = tuple(k for k in range(values.ndim) if axes[k] != OUTCOME and _constant(values, k))
    first = tuple(0 if k in same else slice(None) for k in range(values.ndim))
    return values[first], tuple(a for k, a in enumerate(axes) if k not in same)


def _constant(values: Array, axis: int) -> bool:
    spread = values.max(axis=axis) - values.min(axis=axis)
    return bool((spread <= SAME * values.max(axis=axis)).all())


def asked_key(questions: tuple[Asked, ...]) -> Hashable:
    """What questions are known by among the tables kept."""
    return tuple((q, table.shape, table.tobytes(), None if r is None else r.tobytes()) for q, table, r in questions)


def _outcomes(node: Node, table: Array, read: Array | None) -> Array:
    """Chance of each outcome given the parents of a quantity.

    Notes
    -----
    Where the quantity was read in this stage, the value behind both readings is one and the same, and its parents have
    the factor of the first reading already: P(o | parents, r) is the sum over the quantity's states of
    P(state | parents) P(r | state) P(o | state), divided by P(r | parents).
    """
    if read is None:
        return _pulled(node, table.T)
    return np.asarray(_pulled(node, read * table.T) / np.maximum(_pulled(node, read), TINY))


def _pulled(node: Node, weights: Array) -> Array:
    """Weights of a node's states, shape (states,) or (outcomes, states), carried over to its parents."""
    flat = weights @ node.table.reshape(node.card, -1)
    return np.asarray(flat.reshape(weights.shape[:-1] + node.table.shape[1:]))
