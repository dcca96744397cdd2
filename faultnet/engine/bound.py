"""A cluster with its tables laid out for the joint modes that occur among the hypotheses.

Three layers of work are told apart. What no reading bears on is worked out once for a cluster and kept
(:attr:`Bound.constants`). What the readings bear on is worked out for each set of readings. What tests would show is
worked out for the leading hypotheses only (:class:`Sheet` with fewer rows), and all tests asked together share every
product that does not hang on the test itself.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from math import log2, prod

import numpy as np

from faultnet.engine.clusters import CHARGE, Cluster
from faultnet.engine.contraction import COMBINATION, Tensor, finished, product
from faultnet.engine.memo import Memo
from faultnet.engine.planning import RowCounts, plan
from faultnet.engine.rows import Index, RowSets
from faultnet.network.structure import Array, Node

OUTCOME = "outcome"
KEEP = (COMBINATION, CHARGE, OUTCOME)
LARGEST_CONSTANT = 1 << 16
KEPT_CONSTANTS = 96
KEPT_TABLES = 48
LEADING_SHARE = 0.65
NOMINAL_CHARGE = 5


@dataclass(frozen=True, eq=False)
class Named:
    """A table with what it is known by.

    Parameters
    ----------
    key : hashable
    tensor : Tensor
    free : bool
        Whether it is the same whatever is read.
    local : bool
        Whether it is already cut to the joint modes of the sheet it was worked out on.
    """

    key: Hashable
    tensor: Tensor
    free: bool
    local: bool = False

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Axes and components, for planning."""
        return (*(a for a in self.tensor.axes if a != COMBINATION), *sorted(self.tensor.components))


@dataclass(frozen=True, eq=False)
class Bound:
    """A cluster and the joint modes of its components.

    Parameters
    ----------
    cluster : Cluster
    rows : RowSets
        All joint modes that occur.
    """

    cluster: Cluster
    rows: RowSets
    constants: Memo[Tensor] = field(default_factory=lambda: Memo(KEPT_CONSTANTS), repr=False)
    columns: Memo[Tensor] = field(default_factory=lambda: Memo(KEPT_TABLES), repr=False)

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
        """A table with its component axes turned into joint modes."""
        mine = sorted(a for a in axes if a in self.cluster.components)
        if not mine:
            return Tensor(values, axes)
        part = self.rows.part(frozenset(mine))
        rest = tuple(a for a in axes if a not in mine)
        first = values.transpose([axes.index(a) for a in (*mine, *rest)])
        index = tuple(part.table[:, i] for i in range(len(mine)))
        return Tensor(np.ascontiguousarray(first[index]), (COMBINATION, *rest), frozenset(mine))

    def weight(self, quantity: str, likelihood: Array) -> Tensor:
        """Weight that a likelihood over a quantity's states puts on its parents.

        Parameters
        ----------
        quantity : str
        likelihood : array, shape (states,)
        """
        node = self.cluster.network.nodes[quantity]
        return self._laid_out(_pulled(node, likelihood), node.axes[1:])

    def outcomes(self, questions: tuple[tuple[str, Array], ...]) -> Tensor:
        """Chance of each outcome of some tests given the parents of their quantities, which are the same for all.

        Parameters
        ----------
        questions : tuple of (quantity, array of shape (states, outcomes))

        Returns
        -------
        Tensor
            The outcomes of all tests one after the other along the axis `outcome`.
        """
        key = tuple((quantity, table.shape, table.tobytes()) for quantity, table in questions)
        return self.columns.get(key, lambda: self._side_by_side(questions))

    def _side_by_side(self, questions: tuple[tuple[str, Array], ...]) -> Tensor:
        nodes = [(self.cluster.network.nodes[quantity], table) for quantity, table in questions]
        values = np.concatenate([_pulled(node, table.T) for node, table in nodes])
        return self._laid_out(values, (OUTCOME, *nodes[0][0].axes[1:]))

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

    def message(self, weights: Sequence[Tensor]) -> Tensor:
        """Sum the hidden nodes out under the weights of the readings, for all joint modes.

        Returns
        -------
        Tensor
            Axes `combination` and `charge`, where they matter.
        """
        return Sheet(self, self.rows).worked_out(weights)

    @cached_property
    def counts(self) -> dict[float, RowCounts]:
        """Numbers of joint modes for planning: all of them, or as many as lead."""
        names = tuple(sorted(self.cluster.components))
        whole = round(log2(max(len(self.rows.table), 1)))
        signature = (whole, *(self.rows.count([c]) for c in names))
        return {share: RowCounts(names, signature, self.rows, share) for share in (1.0, LEADING_SHARE)}


def _pulled(node: Node, weights: Array) -> Array:
    """Weights of a node's states, shape (states,) or (outcomes, states), carried over to its parents."""
    flat = weights @ node.table.reshape(node.card, -1)
    return np.asarray(flat.reshape(weights.shape[:-1] + node.table.shape[1:]))


@dataclass(frozen=True, eq=False)
class Sheet:
    """Products worked out for some of the joint modes under one set of readings.

    Parameters
    ----------
    bound : Bound
    rows : RowSets
        The cluster's own, or some of them.
    charge_states : int array, optional
        Some states of charge; all when left out.
    """

    bound: Bound
    rows: RowSets
    charge_states: Index | None = None
    done: dict[Hashable, Tensor] = field(default_factory=dict, repr=False)

    def worked_out(self, weights: Sequence[Tensor], outcomes: Tensor | None = None, name: Hashable = None) -> Tensor:
        """Sum the hidden nodes out.

        Parameters
        ----------
        weights : sequence of Tensor
            Of the readings; the same ones whenever this sheet is used.
        outcomes : Tensor, optional
            Of a test.
        name : hashable
            Of the test.

        Returns
        -------
        Tensor
            Axes `combination`, `charge` and `outcome`, where they matter.
        """
        given = [Named(("weight", i), t, False) for i, t in enumerate(weights)]
        if outcomes is not None:
            given.append(Named(("outcomes", name), outcomes, False))
        named = [*self.bound.relevant({a for g in given for a in g.tensor.axes}), *given]
        return finished(self._reduced(named), KEEP)

    def joint(self, axes: Sequence[str]) -> Tensor:
        """Chances of some axes that are kept, before any reading."""
        return finished(self._reduced(self.bound.relevant(axes)), KEEP)

    def _reduced(self, named: Sequence[Named]) -> Tensor:
        work = list(named)
        axes = tuple(n.tensor.axes for n in named)
        for first, second, needed in steps(axes, self._order(named)):
            work.append(self._product(work[first], work[second], needed))
        return self._here(work[-1])

    def _order(self, named: Sequence[Named]) -> tuple[tuple[int, ...], ...]:
        sizes = {a: s for n in named for a, s in n.tensor.sizes().items() if a != COMBINATION}
        if self.charge_states is not None and CHARGE in sizes:
            sizes[CHARGE] = min(sizes[CHARGE], NOMINAL_CHARGE)
        rounded = tuple(sorted((a, float(round(log2(max(s, 1))))) for a, s in sizes.items()))
        counts = self.bound.counts[LEADING_SHARE if self.rows is not self.bound.rows else 1.0]
        return plan(tuple(n.names for n in named), rounded, KEEP, counts, tuple(n.free for n in named))

    def _product(self, left: Named, right: Named, needed: frozenset[str]) -> Named:
        axes = needed.intersection((*left.tensor.axes, *right.tensor.axes))
        key = (left.key, right.key, axes)
        if left.free and right.free and self._size(left, right, axes) <= LARGEST_CONSTANT:
            made = self.bound.constants.get(key, lambda: product(left.tensor, right.tensor, needed, self.bound.rows))
            return Named(key, made, True)
        found = self.done.get(key)
        if found is None:
            found = self.done[key] = product(self._here(left), self._here(right), needed, self.rows)
        return Named(key, found, False, local=True)

    def _size(self, left: Named, right: Named, axes: frozenset[str]) -> int:
        """Entries of a product for all joint modes."""
        sizes = left.tensor.sizes() | right.tensor.sizes()
        components = left.tensor.components | right.tensor.components
        rows = self.bound.rows.count(components) if components else 1
        return prod(sizes[a] for a in axes if a != COMBINATION) * rows

    def _here(self, table: Named) -> Tensor:
        """A table cut to the joint modes and states of charge of this sheet."""
        if table.local or (self.rows is self.bound.rows and self.charge_states is None):
            return table.tensor
        found = self.done.get(table.key)
        if found is None:
            found = self.done[table.key] = self._cut(table.tensor)
        return found

    def _cut(self, tensor: Tensor) -> Tensor:
        if tensor.components and self.rows is not self.bound.rows:
            tensor = tensor.taken(self.rows.up(tensor.components))
        if self.charge_states is not None and CHARGE in tensor.axes:
            values = tensor.values.take(self.charge_states, axis=tensor.axes.index(CHARGE))
            tensor = Tensor(values, tensor.axes, tensor.components)
        return tensor


@lru_cache(maxsize=8192)
def steps(
    axes: tuple[tuple[str, ...], ...], order: tuple[tuple[int, ...], ...]
) -> tuple[tuple[int, int, frozenset[str]], ...]:
    """Products in the order of a plan: places of both tables in a list that every product is put at the end of, and
    the axes still needed after it."""
    places = list(range(len(axes)))
    held = [frozenset(a) for a in axes]
    found = []
    for first, second in order:
        one, two = places[first], places[second]
        places = [p for i, p in enumerate(places) if i not in (first, second)]
        needed = frozenset(KEEP).union(*(held[p] for p in places))
        found.append((one, two, needed))
        places.append(len(held))
        held.append((held[one] | held[two]) & needed)
    return tuple(found)
