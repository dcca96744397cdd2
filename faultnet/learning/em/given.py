"""How likely a visit's readings are given one hypothesis: with every component known, what is left is small.

The engine works a visit out for thousands of hypotheses at once. Where the causes are confirmed only one of them
matters, and then the tables can be cut at its modes first. What is left of the network is summed over by plain
elimination, several times as fast; :func:`faultnet.inference.batch.log_likelihoods` gives the same number.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from faultnet.inference.evidence import Evidence, pooled
from faultnet.model.network import Array, Network

Plans = dict[tuple[str, ...], list[tuple[list[int], list[list[int]], list[int]]]]
TINY = 1e-300


@dataclass(frozen=True, eq=False)
class Given:
    """A visit's network cut at one joint mode of all components and of what acts.

    Parameters
    ----------
    axes : dict of node to tuple of str
        The node itself, then its parents that are not known.
    tables : dict of node to array
    _plans : dict
        In what order the tables are taken together, by what was read; shared by all cuts of networks built alike.
    """

    axes: Mapping[str, tuple[str, ...]]
    tables: Mapping[str, Array] = field(repr=False)
    _plans: Plans = field(repr=False)

    def log_likelihood(self, evidence: Sequence[Evidence]) -> float:
        """Logarithm of the likelihood of some readings [nat]; the same quantity may be read more than once."""
        told, scale = pooled(evidence)
        return scale + float(np.log(max(self._summed(told), TINY)))

    def without_each(self, evidence: Sequence[Evidence]) -> list[float]:
        """Logarithm of the likelihood with each reading left out in turn [nat]."""
        messages = {q: self._message(q, v) for q, v in pooled(evidence)[0].items()}
        found = []
        for k, left_out in enumerate(evidence):
            told, scale = pooled([*evidence[:k], *evidence[k + 1 :]])
            mine = {q: self._message(q, v) if q == left_out.quantity else messages[q] for q, v in told.items()}
            found.append(scale + float(np.log(max(self._joined(mine), TINY))))
        return found

    def _summed(self, told: Mapping[str, Array]) -> float:
        return self._joined({q: self._message(q, v) for q, v in told.items()})

    def _message(self, quantity: str, values: Array) -> Array:
        """What a reading says of the parents of its quantity."""
        return np.asarray(np.tensordot(values, self.tables[quantity], axes=(0, 0)))

    def _joined(self, messages: Mapping[str, Array]) -> float:
        """Sum over everything hidden; a quantity that is read has no children."""
        hidden = self._hidden(messages)
        terms = [(messages[q], self.axes[q][1:]) for q in messages] + [(self.tables[n], self.axes[n]) for n in hidden]
        key = tuple(messages)
        if key not in self._plans:
            self._plans[key] = _plan(terms, hidden)
        left = [table for table, _ in terms]
        for places, axes, after in self._plans[key]:
            operands: list[Any] = []
            for place, mine in zip(places, axes, strict=True):
                operands += [left.pop(place), mine]
            left.append(np.einsum(*operands, after))
        return float(np.prod(left))

    def _hidden(self, messages: Mapping[str, Array]) -> list[str]:
        """What the quantities that were read depend on, in the order of the network."""
        wanted: set[str] = set()
        todo = [a for q in messages for a in self.axes[q][1:]]
        while todo:
            node = todo.pop()
            if node not in wanted:
                wanted.add(node)
                todo += self.axes[node][1:]
        return [n for n in self.axes if n in wanted]


def given(network: Network, columns: Sequence[str], row: Sequence[int], plans: Plans | None = None) -> Given:
    """Cut a network at one row of modes.

    Parameters
    ----------
    network : Network
        Of :func:`faultnet.learning.em.activity.conditioned_on_activity`.
    columns : sequence of str
        Its components, and what acts.
    row : sequence of int
        Mode of each.
    plans : dict, optional
        See :class:`Given`; one that other cuts share.

    Examples
    --------
    >>> from faultnet.model.network import Node
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> seen = Node("seen", "quantity", ("low", "high"), ("part",), np.array([[0.2, 0.7], [0.8, 0.3]]))
    >>> cut = given(Network({"part": part, "seen": seen}), ("part",), (1,))
    >>> round(float(np.exp(cut.log_likelihood([Evidence("seen", np.array([1.0, 0.0]), 0.5)]))), 6)
    0.7
    """
    known = dict(zip(columns, row, strict=True))
    axes, tables = {}, {}
    for node in network.nodes.values():
        if node.name in known:
            continue
        cut = (slice(None), *(known.get(p, slice(None)) for p in node.parents))
        axes[node.name] = (node.name, *(p for p in node.parents if p not in known))
        tables[node.name] = np.ascontiguousarray(node.table[cut])
    return Given(axes, tables, {} if plans is None else plans)


def _plan(terms: Sequence[tuple[Array, tuple[str, ...]]], hidden: Sequence[str]) -> Any:
    """Tables to take together, step by step: their places, their axes, and the axes that are left."""
    names = {n: i for i, n in enumerate(hidden)}
    left = [[names[a] for a in axes] for _, axes in terms]
    operands: list[Any] = [part for (table, _), axes in zip(terms, left, strict=True) for part in (table, axes)]
    steps: list[tuple[int, ...]] = [(0,)] * len(terms)  # one table, or none
    if len(terms) > 1:
        steps = np.einsum_path(*operands, [], optimize="greedy")[0][1:]
    plan = []
    for step in steps:
        places = sorted(step, reverse=True)
        taken = [left.pop(p) for p in places]
        after = sorted({a for axes in taken for a in axes} & {a for axes in left for a in axes})
        plan.append((places, taken, after))
        left.append(after)
    return plan
