"""Distinct configurations of components, for all of them and for any few.

A table that depends on components has one row for each configuration of *those* components that occurs among the
hypotheses, not one for each hypothesis: thirty thousand hypotheses are some two thousand configurations of the starting
circuit, and nine of the two joints. Rows are widened only when two tables with different components are multiplied.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

IndexArray = NDArray[np.int16]
Index = NDArray[np.intp]
Components = frozenset[str]
LARGEST_LOOKUP = 1 << 22


def distinct_rows(table: NDArray[np.integer]) -> tuple[Index, Index]:
    """Find the distinct rows of a table of small non-negative integers.

    Parameters
    ----------
    table : int array, shape (rows, columns)

    Returns
    -------
    first : int array, shape (distinct rows,)
        Where each distinct row stands, in rising order of the rows.
    which : int array, shape (rows,)
        Which distinct row each row is.

    Examples
    --------
    >>> first, which = distinct_rows(np.array([[0, 1], [0, 0], [0, 1]]))
    >>> first.tolist(), which.tolist()
    ([1, 0], [1, 0, 1])
    """
    code = np.zeros(len(table), dtype=np.intp)
    size = 1
    for column in table.T:
        most = int(column.max(initial=0)) + 1
        code = code * most + column
        size *= most
    if size > LARGEST_LOOKUP:
        _, first, which = np.unique(code, return_index=True, return_inverse=True)
        return first, which
    place = np.full(size, -1, dtype=np.intp)
    place[code[::-1]] = np.arange(len(code) - 1, -1, -1)
    codes = np.flatnonzero(place >= 0)
    first = place[codes]
    place[codes] = np.arange(len(codes))
    return first, place[code]


@dataclass(frozen=True, eq=False)
class Part:
    """The distinct configurations of a few components.

    Parameters
    ----------
    table : int array, shape (rows, components)
        Modes, components in the order of their names.
    first : int array, shape (rows,)
        A row of all components that has these modes.
    which : int array, shape (rows of all components,)
    """

    table: IndexArray
    first: Index
    which: Index

    def __len__(self) -> int:
        return len(self.first)


@dataclass(frozen=True, eq=False)
class RowSets:
    """Configurations of some components that occur, and those of every part of these components.

    Parameters
    ----------
    components : tuple of str
    table : int array, shape (rows, components)
        Distinct.
    above : RowSets, optional
        The rows these were chosen from.
    chosen : int array, optional
        Which of them.

    Examples
    --------
    >>> rows = RowSets(("a", "b"), np.array([[0, 0], [0, 1], [1, 0]], dtype=np.int16))
    >>> rows.count(["a"]), rows.index(frozenset("ab"), frozenset("a")).tolist()
    (2, [0, 0, 1])
    """

    components: tuple[str, ...]
    table: IndexArray
    above: RowSets | None = None
    chosen: Index | None = None

    @cached_property
    def _parts(self) -> dict[Components, Part]:
        return {}

    @cached_property
    def _maps(self) -> dict[tuple[Components, Components], Index]:
        return {}

    @cached_property
    def _groups(self) -> dict[tuple[Components, Components], tuple[Index, list[int]]]:
        return {}

    def rest(self) -> None:
        """Drop the parts found so far; they are found again when one is asked for."""
        for kept in (self._maps, self._groups, self._parts):
            kept.clear()

    def part(self, components: Components) -> Part:
        """Distinct configurations of a few of the components."""
        found = self._parts.get(components)
        if found is None:
            table = self.table[:, [self.components.index(c) for c in sorted(components)]]
            first, which = distinct_rows(table)
            found = self._parts[components] = Part(table[first], first, which)
        return found

    def count(self, components: Iterable[str]) -> int:
        """Number of distinct configurations of a few of the components."""
        return len(self.part(frozenset(components)))

    def index(self, wide: Components, narrow: Components) -> Index:
        """For each row of some components, the row of fewer of them."""
        found = self._maps.get((wide, narrow))
        if found is None:
            found = self._maps[wide, narrow] = self.part(narrow).which[self.part(wide).first]
        return found

    def groups(self, wide: Components, narrow: Components) -> tuple[Index, list[int]]:
        """Rows of some components in the order of the rows of fewer of them, and where each of those begins."""
        found = self._groups.get((wide, narrow))
        if found is None:
            inside = self.index(wide, narrow)
            order = np.argsort(inside, kind="stable")
            ends = np.searchsorted(inside[order], np.arange(self.count(narrow) + 1)).tolist()
            found = self._groups[wide, narrow] = order, ends
        return found

    def restricted(self, chosen: Index) -> RowSets:
        """Some of the rows of all components."""
        return RowSets(self.components, self.table[chosen], self, chosen)

    def up(self, components: Components) -> Index:
        """For each row of a few components, the same row among those these rows were chosen from."""
        assert self.above is not None
        assert self.chosen is not None
        return self.above.part(components).which[self.chosen[self.part(components).first]]
