"""The same visits at the same modes again and again under other tables: only the pieces that change are worked out.

With all modes known, what a visit's readings depend on falls into pieces that meet in the state of charge alone. A
piece depends on the modes of a few components, so that hypotheses share it, and visits in which the same was read are
taken together; where one table changes, all other pieces stay as they were.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Index
from faultnet.inference.evidence import UNLISTED, Evidence, log_background, pooled
from faultnet.learning.em.activity import ActivationPatterns
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.given import TINY, TOGETHER, VISIT, Plans, summed
from faultnet.model.network import Array, Network

Row = tuple[int, ...]


@dataclass(frozen=True)
class Piece:
    """Hidden nodes that belong together, the quantities read of them, and the columns of modes they depend on."""

    hidden: tuple[str, ...]
    quantities: tuple[str, ...]
    columns: tuple[int, ...]

    @property
    def nodes(self) -> tuple[str, ...]:
        """Everything whose table is in it."""
        return (*self.hidden, *self.quantities)


def pieces_of(network: Network, columns: Sequence[str], quantities: Sequence[str]) -> tuple[Piece, ...]:
    """Cut what some quantities depend on into pieces that meet in the state of charge alone.

    Parameters
    ----------
    network : Network
        Of :func:`faultnet.learning.em.activity.conditioned_on_activity`.
    columns : sequence of str
        Its components, and what acts.
    quantities : sequence of str
    """
    place = {c: k for k, c in enumerate(columns)}
    wanted, todo = dict.fromkeys(quantities), list(quantities)
    while todo:
        for parent in network.nodes[todo.pop()].parents:
            if parent not in place and parent not in wanted:
                wanted[parent] = None
                todo.append(parent)
    group = {n: n for n in wanted}

    def root(name: str) -> str:
        while group[name] != name:
            name = group[name]
        return name

    for name in wanted:
        hidden = [p for p in network.nodes[name].parents if p not in place and p != CHARGE]
        for parent in hidden:
            group[root(name)] = root(parent)
    found = []
    for first in [n for n in wanted if root(n) == n]:
        nodes = [n for n in network.nodes if n in wanted and root(n) == first]
        mine = {place[p] for n in nodes for p in network.nodes[n].parents if p in place}
        asked = tuple(n for n in nodes if n in quantities)
        found.append(Piece(tuple(n for n in nodes if n not in quantities), asked, tuple(sorted(mine))))
    return tuple(found)


@dataclass(frozen=True, eq=False)
class _Visit:
    """What was read at a visit, with the pieces that it bears on."""

    setting: Key
    told: Mapping[str, Array] = field(repr=False)
    scale: float
    background: float
    pieces: tuple[Piece, ...]


Task = tuple[int, int, Row]
"""Visit, piece, modes of the piece's columns."""


class Pieces:
    """Likelihoods of some visits at some rows of modes, kept piece by piece.

    Parameters
    ----------
    patterns : ActivationPatterns
    networks : mapping of setting to Network
    asks : sequence of (setting, row, list of Evidence)
        The same list of evidence is the same visit.
    """

    def __init__(
        self,
        patterns: ActivationPatterns,
        networks: Mapping[Key, Network],
        asks: Sequence[tuple[Key, int, list[Evidence]]],
    ) -> None:
        self.patterns = patterns
        self._plans: Plans = {}
        self._visits: list[_Visit] = []
        cut: dict[tuple[str, ...], tuple[Piece, ...]] = {}
        known: dict[int, int] = {}
        self._asks: list[tuple[int, tuple[Task, ...]]] = []
        strange = patterns.columns.index(UNLISTED)
        for setting, row, evidence in asks:
            if id(evidence) not in known:
                told, scale = pooled(evidence)
                read = tuple(sorted(told))
                if read not in cut:
                    cut[read] = pieces_of(networks[setting], patterns.columns, read)
                known[id(evidence)] = len(self._visits)
                self._visits.append(_Visit(setting, told, scale, log_background(evidence), cut[read]))
            v, modes = known[id(evidence)], patterns.rows[row].tolist()
            tasks = () if modes[strange] else tuple(
                (v, k, tuple(modes[c] for c in piece.columns)) for k, piece in enumerate(self._visits[v].pieces)
            )  # fmt: skip
            self._asks.append((v, tasks))
        self._kept: dict[Task, Array] = {}
        self.keep(networks)

    def keep(self, networks: Mapping[Key, Network]) -> None:
        """Work every piece out by these networks, and keep it."""
        self._kept = self._worked_out(dict.fromkeys(t for _, tasks in self._asks for t in tasks), networks)

    def logs(self, asked: Index, networks: Mapping[Key, Network], changed: Collection[str]) -> Array:
        """Log likelihood of some of what is asked [nat], shape (asked,).

        Parameters
        ----------
        asked : int array, shape (asked,)
        networks : mapping of setting to Network
        changed : collection of str
            Nodes whose tables differ from what was kept.
        """
        mine = [self._asks[k] for k in asked.tolist()]
        wanted = dict.fromkeys(
            task for _, tasks in mine for task in tasks
            if not set(self._visits[task[0]].pieces[task[1]].nodes).isdisjoint(changed)
        )  # fmt: skip
        new = self._worked_out(wanted, networks)
        return np.array([self._log(v, [new.get(t, self._kept[t]) for t in tasks]) for v, tasks in mine])

    def _log(self, v: int, parts: Sequence[Array]) -> float:
        if not parts:
            return self._visits[v].background
        charged = [p for p in parts if p.ndim]
        total = float(np.prod(charged, axis=0).sum()) if charged else 1.0
        total *= float(np.prod([p for p in parts if not p.ndim]))
        return self._visits[v].scale + float(np.log(max(total, TINY)))

    def _worked_out(self, tasks: Collection[Task], networks: Mapping[Key, Network]) -> dict[Task, Array]:
        alike: dict[tuple[Key, Piece, Row], list[Task]] = {}
        for task in tasks:
            visit = self._visits[task[0]]
            alike.setdefault((visit.setting, visit.pieces[task[1]], task[2]), []).append(task)
        found: dict[Task, Array] = {}
        for (setting, piece, row), mine in alike.items():
            terms = self._terms(networks[setting], piece, row)
            if not piece.quantities:
                values = summed(terms, (CHARGE,), self._plans, piece.nodes)
                found |= dict.fromkeys(mine, values)
                continue
            for start in range(0, len(mine), TOGETHER):
                some = mine[start : start + TOGETHER]
                told = [self._visits[v].told for v, _, _ in some]
                read = {q: np.stack([t[q] for t in told]) for q in piece.quantities}
                seen = [
                    (read[axes[0]] @ table.reshape(len(table), -1), (VISIT, *axes[1:]), table.shape[1:])
                    if axes[0] in read
                    else (table, axes, table.shape)
                    for table, axes in terms
                ]
                ready = [(t.reshape(-1, *shape) if axes[0] == VISIT else t, axes) for t, axes, shape in seen]
                values = summed(ready, (VISIT, CHARGE), self._plans, piece.nodes)
                found |= {task: values[k] for k, task in enumerate(some)}
        return found

    def _terms(self, network: Network, piece: Piece, row: Row) -> list[tuple[Array, tuple[str, ...]]]:
        """Tables of a piece at the modes it depends on, each with its axes."""
        known = {self.patterns.columns[c]: mode for c, mode in zip(piece.columns, row, strict=True)}
        found = []
        for name in piece.nodes:
            node = network.nodes[name]
            table = node.table[(slice(None), *(known.get(p, slice(None)) for p in node.parents))]
            found.append((np.ascontiguousarray(table), (name, *(p for p in node.parents if p not in known))))
        return found
