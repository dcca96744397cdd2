"""In which order to multiply tables so that little work is done, and orders found before.

Tables that no reading bears on are *free*: what comes of them alone is worked out once and kept, so it counts for
next to nothing. Components are axes that are never summed out, and the space that several span is the number of their
configurations that occur (:class:`RowCounts`), not the product of their lengths. The search itself is
:mod:`~faultnet.inference.elimination`. Measured on 83 products of this model (starting circuit, six sets of
readings), it finds orders that cost half as much as those of 64 randomly disturbed greedy choices, in half the time."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from math import log2

from faultnet.inference import elimination
from faultnet.inference.configurations import RowSets
from faultnet.inference.elimination import Search, Size
from faultnet.inference.kept_orders import Step, remembered, shipped

SEARCHED_WITH = tuple(sorted((k, v) for k, v in vars(elimination).items() if k.isupper()))


@dataclass(frozen=True)
class RowCounts:
    """How many configurations components have.

    Parameters
    ----------
    names : tuple of str
    signature : tuple of int
        What the counts are taken to depend on when orders are remembered.
    rows : RowSets
    share : float
        Power of the number of configurations that is expected to take part: 1 for all, less for the leading ones.
    """

    names: tuple[str, ...]
    signature: tuple[int, ...]
    rows: RowSets = field(compare=False, repr=False)
    share: float = 1.0


@lru_cache(maxsize=8192)
def plan(
    axes: tuple[tuple[str, ...], ...],
    log_sizes: tuple[tuple[str, float], ...],
    keep: tuple[str, ...],
    counts: RowCounts | None = None,
    free: tuple[bool, ...] = (),
) -> tuple[Step, ...]:
    """Find a cheap order of pairwise products, or remember one found before.

    Orders are kept in the cache folder beside the built networks, since the same ones come up in every run; those of
    the shipped model travel with it (``tests/bench/new_car.py --write-orders`` writes them anew after a change of the
    model: until then they are only searched for again).

    Parameters
    ----------
    axes : tuple of tuple of str
        Axes of each table, and the components it depends on.
    log_sizes : tuple of (str, float)
        Binary logarithm of each axis's length; components need none.
    keep : tuple of str
        Axes that are not summed out.
    counts : RowCounts, optional
        Where tables depend on components.
    free : tuple of bool
        Which tables are the same whatever is read.

    Returns
    -------
    tuple of pairs of int
        Positions in the list of tables; both are taken out and their product is put at the end.

    Examples
    --------
    >>> plan((("i", "j"), ("j", "k"), ("k",)), (("i", 9.0), ("j", 1.0), ("k", 9.0)), ("i",))
    ((1, 2), (0, 1))
    """
    if len(axes) < 2:
        return ()
    signature = (counts.names, counts.signature, counts.share) if counts is not None else ()
    told = (SEARCHED_WITH, axes, log_sizes, keep, signature, free)
    key = hashlib.sha256(repr(told).encode()).hexdigest()[:24]
    kept = remembered().get(key) or shipped().get(key)
    if kept is None or not _fits(kept, len(axes)):
        kept = _searched(axes, log_sizes, keep, counts, free)
        remembered().keep(key, kept)
    return kept


def _fits(steps: tuple[Step, ...], tables: int) -> bool:
    """Whether an order multiplies so many tables down to one."""
    for step in steps:
        if len(set(step)) != 2 or not all(0 <= i < tables for i in step):
            return False
        tables -= 1
    return tables == 1


def _searched(
    axes: tuple[tuple[str, ...], ...],
    log_sizes: tuple[tuple[str, float], ...],
    keep: tuple[str, ...],
    counts: RowCounts | None,
    free: tuple[bool, ...],
) -> tuple[Step, ...]:
    components = counts.names if counts is not None else ()
    bit = {a: 1 << i for i, a in enumerate((*(a for a, _ in log_sizes), *components))}
    tables = [sum(bit[a] for a in group) for group in axes]
    modes = sum(bit[c] for c in components)
    kept = sum(bit[a] for a in {*keep, *components} if a in bit)
    weights = [w for _, w in log_sizes]
    size = _sizes(weights, counts, counts.share if counts is not None else 1.0)
    search = Search(kept, modes, size, _sizes(weights, counts, 1.0))
    return _as_steps(search.best(tables, free or (False,) * len(tables)), len(tables))


def _as_steps(pairs: Sequence[tuple[int, int]], tables: int) -> tuple[Step, ...]:
    """From places in a growing list to places in one that loses the two tables of each product."""
    work = list(range(tables))
    steps: list[Step] = []
    for number, (one, two) in enumerate(pairs):
        places = sorted((work.index(one), work.index(two)))
        steps.append((places[0], places[1]))
        work = [*(w for w in work if w not in (one, two)), tables + number]
    return tuple(steps)


def _sizes(weights: Sequence[float], counts: RowCounts | None, share: float) -> Size:
    """Binary logarithm of the space that a set of axes spans, remembered."""
    return _Sizes(weights, counts, share).__getitem__


class _Sizes(dict[int, float]):
    """What is known already is looked up without a call: a search asks a million times for some thousand sizes."""

    def __init__(self, weights: Sequence[float], counts: RowCounts | None, share: float) -> None:
        super().__init__()
        self._weights, self._counts, self._share = weights, counts, share

    def __missing__(self, axes: int) -> float:
        weights, counts = self._weights, self._counts
        found = sum(w for i, w in enumerate(weights) if axes >> i & 1)
        modes = axes >> len(weights)
        if modes and counts is not None:
            members = frozenset(c for i, c in enumerate(counts.names) if modes >> i & 1)
            found += self._share * log2(counts.rows.count(members))
        self[axes] = found
        return found
