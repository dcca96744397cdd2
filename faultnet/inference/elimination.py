"""The search for a cheap order in which to sum axes out of a product of tables.

To eliminate an axis is to multiply the tables that have it and to sum it out. Which tables are left after some axes
are gone does not depend on the order they went in, so the search goes forward one elimination at a time and keeps the
few cheapest sets of tables reached so far (a beam). Sets of axes are integers, one bit for each axis.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from heapq import nsmallest
from itertools import combinations, islice
from math import log2
from operator import itemgetter
from typing import Any, NamedTuple

Size = Callable[[int], float]
Pair = tuple[int, int]
_kind = itemgetter(0, 1)  # of a table: its axes, and whether it is free

BEAM = 3
MEMORY_WEIGHT = 16.0
BATCH_WEIGHT = 4000.0
FREE_WEIGHT = 0.02
IN_CACHE = 16.0
MOST_GROUPS = 64
FEW_ROWS = 16
LARGEST_PLAIN = 1 << 21
LARGEST_ROWED = 1 << 16
LARGEST_MERGED = 1 << 13


class Table(NamedTuple):
    """A table on its way: its axes, whether no reading bears on it, and how it was made.

    A given table was made of its place, every other one of the tables multiplied and the order of these products.
    """

    axes: int
    free: bool
    made: Any


class State(NamedTuple):
    """Tables that are left, and what it cost to come so far."""

    cost: float
    tables: tuple[Table, ...]


@dataclass(frozen=True)
class Search:
    """A search over orders of elimination.

    Parameters
    ----------
    kept : int
        Axes that are not summed out.
    components : int
        Axes among those whose configurations share one axis of an array.
    size : callable
        Binary logarithm of the space that a set of axes spans, as far as it is expected to take part.
    whole : callable
        The same with every configuration taking part.
    """

    kept: int
    components: int
    size: Size
    whole: Size
    _buckets: dict[object, tuple[float, int, bool, tuple[Pair, ...]]] = field(default_factory=dict)

    def best(self, tables: Sequence[int], free: Sequence[bool]) -> tuple[Pair, ...]:
        """Products in order: places of two tables in a list that every product is put at the end of."""
        start = tuple(Table(t, f, i) for i, (t, f) in enumerate(zip(tables, free, strict=True)))
        beam = [State(0.0, self._merged(start))]
        done: State | None = None
        while beam:
            reached: dict[object, State] = {}
            for state in beam:
                for found in self._next(state):
                    if len(found.tables) == 1 and not found.tables[0].axes & ~self.kept:
                        done = found if done is None or found.cost < done.cost else done
                        continue
                    key = tuple(map(_kind, found.tables))
                    if key not in reached or found.cost < reached[key].cost:
                        reached[key] = found
            limit = done.cost if done is not None else float("inf")
            beam = nsmallest(BEAM, (s for s in reached.values() if s.cost < limit), key=self._promise)
        assert done is not None
        return _written_out(done.tables[0], len(tables))

    def _merged(self, tables: tuple[Table, ...]) -> tuple[Table, ...]:
        """Multiply free tables that depend on the same kept axes, while the products stay small."""
        work = list(tables)
        while True:
            pairs = [
                (self.whole(a.axes | b.axes), i, k)
                for (i, a), (k, b) in combinations(enumerate(work), 2)
                if a.free and b.free and a.axes & self.kept == b.axes & self.kept != 0
            ]
            size, i, k = min(pairs, default=(float("inf"), 0, 0))
            if size > log2(LARGEST_MERGED):
                return _sorted(work)
            both = [work[i], work[k]]
            rest = [t for n, t in enumerate(work) if n not in (i, k)]
            work = [*rest, self._product(both, both[0].axes | both[1].axes)[1]]

    def _next(self, state: State) -> list[State]:
        """All states one elimination further; when only kept axes are left, the product of all tables."""
        tables = state.tables
        left = _union(tables) & ~self.kept
        if not left:
            cost, product = self._product(tables, self.kept)
            return [State(state.cost + cost, (product,))]
        found: list[State] = []
        seen: set[int] = set()
        for axis in _single(left):
            bucket: list[Table] = []
            rest: list[Table] = []
            needed, places = self.kept, 0
            for place, table in enumerate(tables):
                if table[0] & axis:
                    bucket.append(table)
                    places |= 1 << place
                else:
                    rest.append(table)
                    needed |= table[0]
            if places not in seen:
                seen.add(places)
                cost, product = self._product(bucket, needed)
                insort(rest, product, key=_kind)
                found.append(State(state.cost + cost, tuple(rest)))
        return found

    def _product(self, bucket: Sequence[Table], needed: int) -> tuple[float, Table]:
        needed &= _union(bucket)
        key = (tuple(map(_kind, bucket)), needed)
        known = self._buckets.get(key)
        if known is None:
            known = self._buckets[key] = self._multiplied(bucket, needed)
        cost, axes, free, pairs = known
        return cost, Table(axes, free, (bucket, pairs))

    def _multiplied(self, bucket: Sequence[Table], needed: int) -> tuple[float, int, bool, tuple[Pair, ...]]:
        """Multiply tables pair by pair, those first that together span the smallest space."""
        size = self.size
        work = [(t.axes, t.free, i) for i, t in enumerate(bucket)]
        pairs: list[Pair] = []
        cost = 0.0
        while len(work) > 1:
            spans = [size(one[0] | two[0]) for one, two in combinations(work, 2)]
            one, two = next(islice(combinations(work, 2), spans.index(min(spans)), None))
            work.remove(one)
            work.remove(two)
            asked = needed
            for table in work:
                asked |= table[0]
            result = (one[0] | two[0]) & asked
            free = one[1] and two[1] and self.whole(result) <= self._largest(result)
            cost += self.cost(one[0], two[0], result) * (FREE_WEIGHT if free else 1.0)
            pairs.append((one[2], two[2]))
            work.append((result, free, len(bucket) + len(pairs) - 1))
        return cost, work[0][0] & needed, work[0][1], tuple(pairs)

    def _largest(self, axes: int) -> float:
        """Binary logarithm of the largest product of free tables that is kept."""
        return log2(LARGEST_PLAIN if self.whole(axes & self.components) <= log2(FEW_ROWS) else LARGEST_ROWED)

    def _promise(self, state: State) -> float:
        """Cost so far, and what it takes to touch every table that is left once."""
        size = self.size
        return state.cost + sum([_moving(size(axes)) for axes, free, _ in state.tables if not free])

    def cost(self, first: int, second: int, result: int) -> float:
        """Work of one product, in multiplications of a large matrix product.

        Notes
        -----
        The weights were fitted by eye to measured times (one core, float64): an entry that is laid out anew costs as
        much as 16 multiplications, up to four times that once it does not fit in the processor's cache; each small
        matrix of a batch as much as 4000.
        """
        size, components = self.size, self.components
        inner = first & second & ~result
        batch = first & second & result
        cost: float = 2.0 ** size(first | second) + _moving(size(result))
        modes = (first | second) & components
        wide, narrow = first, second
        if size(first & components) < size(second & components):
            wide, narrow = second, first
        grouped = inner and size(narrow & components) <= log2(MOST_GROUPS)
        matrices = batch & ~components | narrow & components if grouped else batch
        cost += BATCH_WEIGHT * float(2.0 ** size(matrices)) if inner else 0.0
        sides = (wide | modes if wide & components else wide, narrow)
        if not grouped and narrow & components:
            sides = (sides[0], narrow | modes)
        return cost + sum([_moving(size(t)) for t in sides])


@lru_cache(maxsize=4096)
def _moving(log_size: float) -> float:
    return float(MEMORY_WEIGHT * 2.0 ** (log_size + min(2.0, max(0.0, log_size - IN_CACHE))))


def _sorted(tables: Iterable[Table]) -> tuple[Table, ...]:
    return tuple(sorted(tables, key=_kind))


def _single(axes: int) -> list[int]:
    """The axes of a set, one by one."""
    return [1 << i for i in range(axes.bit_length()) if axes >> i & 1]


def _union(tables: Iterable[Table]) -> int:
    whole = 0
    for table in tables:
        whole |= table[0]
    return whole


def _written_out(table: Table, tables: int) -> tuple[Pair, ...]:
    """The products behind a table, those it needs first."""
    pairs: list[Pair] = []

    def place(table: Table) -> int:
        if isinstance(table.made, int):
            return table.made
        children, products = table.made
        places = [place(child) for child in children]
        for one, two in products:
            pairs.append((places[one], places[two]))
            places.append(tables + len(pairs) - 1)
        return places[-1]

    place(table)
    return tuple(pairs)
