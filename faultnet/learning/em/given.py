"""How likely a visit's readings are given one hypothesis: with every component known, what is left is small.

The engine works a visit out for thousands of hypotheses at once. Where the causes are confirmed only one of them
matters, and then the tables can be cut at its modes first. What is left of the network is summed over by plain
elimination, several times as fast; :func:`faultnet.inference.batch.log_likelihoods` gives the same number.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

import numpy as np

from faultnet.inference.evidence import UNLISTED, Evidence, log_background, pooled
from faultnet.model.network import Array, Network

Where = TypeVar("Where", bound=Hashable)
Plans = dict[tuple[str, ...], list[tuple[list[int], list[list[int]], list[int]]]]
TINY = 1e-300
TOGETHER = 32  # visits worked out at once: memory grows with it
USUAL_VISITS = 8  # that the order is planned for
MOST_CELLS = 2**40  # no limit: with one, all that is left is taken together at a price that knows none
VISIT = ""  # the axis of visits, beside those of the nodes


@dataclass(frozen=True, eq=False)
class Given:
    """A visit's network cut at one configuration of all components and of what acts.

    Parameters
    ----------
    axes : dict of node to tuple of str
        The node itself, then its parents that are not known.
    tables : dict of node to array
    _plans : dict
        In what order the tables are taken together, by what was read; shared by all cuts of networks built alike.
    strange : bool
        Whether the fault is one the model does not know, which makes every reading background.
    """

    axes: Mapping[str, tuple[str, ...]]
    tables: Mapping[str, Array] = field(repr=False)
    _plans: Plans = field(repr=False)
    strange: bool = False

    def log_likelihood(self, evidence: Sequence[Evidence]) -> float:
        """Logarithm of the likelihood of some readings [nat]; the same quantity may be read more than once."""
        return float(self.log_likelihoods([evidence])[0])

    def log_likelihoods(self, reads: Sequence[Sequence[Evidence]]) -> Array:
        """The same for several visits in which the same quantities were read, shape (visits,)."""
        if self.strange:
            return np.array([log_background(evidence) for evidence in reads])
        told = [pooled(evidence) for evidence in reads]
        messages = {q: self._message(q, np.stack([mine[q] for mine, _ in told])) for q in told[0][0]}
        return self._logs(messages, np.array([scale for _, scale in told]))

    def without_each(self, evidence: Sequence[Evidence]) -> Array:
        """Logarithm of the likelihood of all readings, then with each left out in turn [nat], shape (1 + readings,)."""
        told = [pooled(evidence), *(pooled([*evidence[:k], *evidence[k + 1 :]]) for k in range(len(evidence)))]
        states = {e.quantity: len(e.likelihood) for e in evidence}
        messages = {  # what was not read says nothing, which is a likelihood of one everywhere
            q: self._message(q, np.stack([mine.get(q, np.ones(states[q])) for mine, _ in told])) for q in told[0][0]
        }
        return self._logs(messages, np.array([scale for _, scale in told]))

    def _message(self, quantity: str, values: Array) -> Array:
        """What readings say of the parents of their quantity, visits first."""
        table = self.tables[quantity]
        flat = values @ table.reshape(len(table), -1)
        return np.asarray(flat.reshape(len(values), *table.shape[1:]))

    def _logs(self, messages: Mapping[str, Array], scale: Array) -> Array:
        """Sum over everything hidden; a quantity that is read has no children."""
        if not messages:
            return scale
        hidden = self._hidden(messages)
        terms = [(messages[q], (VISIT, *self.axes[q][1:])) for q in messages]
        terms += [(self.tables[n], self.axes[n]) for n in hidden]
        likelihood = summed(terms, (VISIT,), self._plans, tuple(messages))
        return scale + np.log(np.maximum(likelihood, TINY))

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
    axes = {
        node.name: (node.name, *(p for p in node.parents if p not in known))
        for node in network.nodes.values()
        if node.name not in known
    }
    return Given(axes, _Cut(network, known), {} if plans is None else plans, bool(known.get(UNLISTED, 0)))


def logs_given(cut_of: Callable[[Where, int], Given], asked: Sequence[tuple[Where, int, Sequence[Evidence]]]) -> Array:
    """Log likelihood of some visits, each at one row of modes [nat], shape (asked,).

    Parameters
    ----------
    cut_of : callable
        Gives the network of a setting cut at a row.
    asked : sequence of (setting, row, sequence of Evidence)
        Visits of one row in which the same quantities were read are worked out together.
    """
    alike: dict[tuple[Where, int], dict[tuple[str, ...], list[int]]] = {}
    for k, (where, row, evidence) in enumerate(asked):
        quantities = tuple(sorted({e.quantity for e in evidence}))
        alike.setdefault((where, row), {}).setdefault(quantities, []).append(k)
    found = np.zeros(len(asked))
    for (where, row), groups in alike.items():
        cut = cut_of(where, row)
        for places in groups.values():
            for start in range(0, len(places), TOGETHER):
                some = places[start : start + TOGETHER]
                found[some] = cut.log_likelihoods([asked[k][2] for k in some])
    return found


class _Cut(dict[str, Array]):
    """Tables of a network at what is known, each cut when it is asked for."""

    def __init__(self, network: Network, known: Mapping[str, int]) -> None:
        super().__init__()
        self.network, self.known = network, known

    def __missing__(self, name: str) -> Array:
        node = self.network.nodes[name]
        cut = (slice(None), *(self.known.get(p, slice(None)) for p in node.parents))
        self[name] = np.ascontiguousarray(node.table[cut])
        return self[name]


Term = tuple[Array, tuple[str, ...]]


def summed(terms: Sequence[Term], kept: tuple[str, ...], plans: Plans, key: tuple[str, ...]) -> Array:
    """Multiply some tables and sum over all axes but those that are kept, where they are among them.

    Parameters
    ----------
    terms : sequence of (array, tuple of str)
        Each with the names of its axes; :data:`VISIT` is one.
    kept : tuple of str
        In the order of the answer's axes.
    plans : dict
        In what order tables are taken together, by `key`; what is missing is added.
    key : tuple of str
    """
    if key not in plans:
        plans[key] = _plan(terms, kept)
    left = [table for table, _ in terms]
    for places, axes, after in plans[key]:
        operands: list[Any] = []
        for place, mine in zip(places, axes, strict=True):
            operands += [left.pop(place), mine]
        left.append(np.einsum(*operands, after))
    return np.asarray(left[0])


def _plan(terms: Sequence[Term], kept: tuple[str, ...]) -> Any:
    """Tables to take together, step by step: their places, their axes, and the axes that are left."""
    every = dict.fromkeys(a for _, axes in terms for a in axes)
    names = {a: i for i, a in enumerate([*(a for a in every if a not in kept), *(a for a in kept if a in every)])}
    wanted = [names[a] for a in kept if a in names]
    left = [[names[a] for a in axes] for _, axes in terms]
    shapes = [tuple(USUAL_VISITS if a == VISIT else n for a, n in zip(axes, t.shape, strict=True)) for t, axes in terms]
    empty = [np.broadcast_to(np.empty(()), shape) for shape in shapes]
    operands: list[Any] = [part for table, axes in zip(empty, left, strict=True) for part in (table, axes)]
    steps = np.einsum_path(*operands, wanted, optimize=("greedy", MOST_CELLS))[0][1:] if len(terms) > 1 else []
    plan = []
    for step in [*steps, (0,)]:  # the last only puts the axes in their order
        places = sorted(step, reverse=True)
        taken = [left.pop(p) for p in places]
        after = sorted({a for axes in taken for a in axes} & ({a for axes in left for a in axes} | set(wanted)))
        after = after if left or step != (0,) else wanted
        plan.append((places, taken, after))
        left.append(after)
    return plan
