"""Rows of the forward pass: a hypothesis of the car as it was brought in, with the modes it has by now.

A repair parts only the rows in which it has something to mend: with its chance the part is sound from then on, else it
stays as it is. Rows that come to the same hypothesis and the same modes, and to whom the readings still open mean the
same, are put together. So there are never more rows than ways in which the faults of a hypothesis can have been
mended, however many repairs there were, times the states of supply a car may stay in.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.configurations import Index, distinct_rows
from faultnet.model.network import Array

Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Rows:
    """What the rows are.

    Parameters
    ----------
    origin : int array, shape (rows,)
        Hypothesis.
    at : int array, shape (rows,)
        Row of the table of configurations with the modes of all components by now.
    charge : array, shape (rows,)
        Mean state of charge by what was done and the time that passed alone, whatever was read [-].
    since : mapping of cluster to int array, shape (rows,)
        First reading of the visit that was taken of the cluster as it is by now; nought where a cluster is left out.
    again : mapping of quantity to bool array, shape (rows,)
        Whether all that the quantity depends on is as it was when it was last read; so for all rows when left out.
    then : mapping of cluster to array, shape (rows,)
        Mean state of charge by that when it was last read [-].
    supply : int array, shape (rows,), optional
        One more than the state of supply that the car stays in, nought where it follows from the modes; for all rows
        when left out.
    """

    origin: Index = field(repr=False)
    at: Index = field(repr=False)
    charge: Array = field(repr=False)
    since: Mapping[int, Index] = field(default_factory=dict, repr=False)
    again: Mapping[str, Flags] = field(default_factory=dict, repr=False)
    then: Mapping[int, Array] = field(default_factory=dict, repr=False)
    supply: Index | None = field(default=None, repr=False)

    def __len__(self) -> int:
        return len(self.origin)

    def cut(self, rows: Index) -> Rows:
        """Some of the rows, or rows more than once."""
        return Rows(
            self.origin[rows], self.at[rows], self.charge[rows], {k: s[rows] for k, s in self.since.items()},
            {q: a[rows] for q, a in self.again.items()}, {k: t[rows] for k, t in self.then.items()},
            None if self.supply is None else self.supply[rows],
        )  # fmt: skip

    def are_as(self, other: Rows) -> bool:
        """Whether the rows are the same in every respect."""
        mine, theirs = self._by_name(), other._by_name()
        return mine.keys() == theirs.keys() and all(np.array_equal(mine[name], theirs[name]) for name in mine)

    def _by_name(self) -> dict[tuple[str, object], NDArray[np.generic]]:
        supply = {} if self.supply is None else {0: self.supply}
        return {
            ("origin", 0): self.origin, ("at", 0): self.at, ("charge", 0): self.charge,
            **{("supply", k): state for k, state in supply.items()},
            **{("since", k): values for k, values in self.since.items()},
            **{("again", k): flags for k, flags in self.again.items()},
            **{("then", k): values for k, values in self.then.items()},
        }  # fmt: skip

    def merged(self) -> tuple[Rows, Index]:
        """Rows without repetition, those that stand first being kept in their order, and where each row went."""
        supply = [] if self.supply is None else [self.supply]
        columns = [self.at, *self.since.values(), *self.again.values(), *supply]
        which = self.origin
        for column in columns:
            first, which = distinct_rows(np.stack([which, column], axis=1))
        order = np.argsort(first, kind="stable")
        place = np.empty(len(order), dtype=np.intp)
        place[order] = np.arange(len(order))
        return self.cut(first[order]), place[which]

    def counted(self, clusters: set[int], kept: Index) -> Rows:
        """The rows once all readings of some clusters have been counted.

        Parameters
        ----------
        clusters : set of int
        kept : int array, shape (open readings + 1,)
            How many of the readings before each place stay open.
        """
        return replace(self, since={k: kept[s] for k, s in self.since.items() if k not in clusters})

    def patterns(self, clusters: set[int]) -> list[tuple[dict[int, int], Index | None]]:
        """Where the open readings of some clusters begin, and the rows for which they do; all rows when None."""
        mine = {k: s for k, s in self.since.items() if k in clusters and s.any()}
        if not mine:
            return [({}, None)]
        starts = np.stack(list(mine.values()), axis=1)
        first, which = distinct_rows(starts)
        return [
            (dict(zip(mine, starts[f].tolist(), strict=True)), np.flatnonzero(which == i))
            for i, f in enumerate(first.tolist())
        ]

    def said(self, quantities: Collection[str]) -> list[tuple[tuple[str, ...], Index | None]]:
        """Which of some quantities are as they were last read, and the rows for which they are; all rows when None."""
        doubtful = [q for q in quantities if q in self.again and not self.again[q].all()]
        if not doubtful:
            return [(tuple(quantities), None)]
        flags = np.stack([self.again[q] for q in doubtful], axis=1)
        first, which = distinct_rows(flags.astype(np.intp))
        return [
            (tuple(q for q in quantities if q not in doubtful or self.again[q][f]), np.flatnonzero(which == i))
            for i, f in enumerate(first.tolist())
        ]
