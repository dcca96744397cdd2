"""Contraction schedules of questions: what no reading bears on is multiplied now, the rest is written down.

The leading configurations change from reading to reading, and so do the likelihood factors; which tables have to be
multiplied in which order does not, so it is settled once for each kind of question.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from math import log2, prod

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Components
from faultnet.inference.contraction import COMBINATION, Tensor, product
from faultnet.inference.contraction_order import plan
from faultnet.inference.elimination import FEW_ROWS, LARGEST_PLAIN, LARGEST_ROWED
from faultnet.inference.fast.clique_tables import LEADING_SHARE, Bound
from faultnet.inference.fast.schedule import KEEP, OUTCOME, Named, Schedule, Step, places

NOMINAL_CHARGE = 5
LARGEST_SHARED = 1 << 14
FACTOR = "factor"
Order = tuple[tuple[int, ...], ...]


def schedule_for(
    bound: Bound, factors: Sequence[Tensor], outcomes: Named | None, *, leading: bool, cut: bool
) -> Schedule:
    """How to answer for readings whose likelihood factors look like these.

    Parameters
    ----------
    bound : Bound
    factors : sequence of Tensor
        Their axes and components matter here, not their values.
    outcomes : Named, optional
        Of tests.
    leading : bool
        Whether only leading configurations are asked about.
    cut : bool
        Whether only some states of charge are asked about.
    """
    shapes = tuple((w.axes, w.components) for w in factors)
    key = (shapes, None if outcomes is None else outcomes.key, leading, cut)

    def make() -> Schedule:
        given = [Named((FACTOR, i), t, False) for i, t in enumerate(factors)]
        given += [] if outcomes is None else [outcomes]
        named = [*bound.relevant({a for g in given for a in g.tensor.axes}), *given]
        return schedule_along(bound, named, _order(bound, named, leading, cut))

    return bound.cache.schedules.get(key, make)


def schedule_of(bound: Bound, axes: Iterable[str]) -> Schedule:
    """How to find the chances of some axes that are kept, before any reading."""
    named = bound.relevant(axes)
    return schedule_along(bound, named, _order(bound, named, False, False))


def _order(bound: Bound, named: Sequence[Named], leading: bool, cut: bool) -> Order:
    """In which order to multiply tables; what all tests beyond the near axes share comes first, once and for all."""
    sizes = {a: s for n in named for a, s in n.tensor.sizes().items() if a != COMBINATION}
    if cut and CHARGE in sizes:
        sizes[CHARGE] = min(sizes[CHARGE], NOMINAL_CHARGE)
    rounded = tuple(sorted((a, round(2.0 * log2(max(s, 1))) / 2.0) for a, s in sizes.items()))
    counts = bound.counts[LEADING_SHARE if leading else 1.0]

    def planned(tables: Sequence[tuple[tuple[str, ...], bool]], keep: Iterable[str]) -> Order:
        return plan(tuple(n for n, _ in tables), rounded, tuple(keep), counts, tuple(f for _, f in tables))

    tables = [(n.names, n.free) for n in named]
    near = _near(bound, named) if leading else []
    far = [i for i in range(len(named)) if i not in near]
    beyond = {a for i in far for a in named[i].names}
    shared = sorted({a for i in near for a in named[i].tensor.axes} & beyond - set(KEEP))
    if not near or prod(sizes[a] for a in shared) > LARGEST_SHARED:
        return planned(tables, KEEP)
    kept = {*shared, *KEEP, *bound.cluster.components}
    joined = tuple(sorted({a for i in near for a in named[i].names} & kept)), all(named[i].free for i in near)
    first = planned([tables[i] for i in near], (*KEEP, *shared))
    then = planned([*(tables[i] for i in far), joined], KEEP)
    return one_after_the_other(len(named), near, first, then)


def _near(bound: Bound, named: Sequence[Named]) -> list[int]:
    """Places of the tables with a near axis, one that depends on the state of charge, if no test here looks at such
    axes.

    In the starting circuit these are what the battery offers: a test of the cable asks the same of them as a test of
    the ground side.
    """
    charged = {n.key for n in named if n.key in bound.tables and CHARGE in n.tensor.axes}
    asked = {a for n in named if OUTCOME in n.tensor.axes for a in n.tensor.axes}
    near = [i for i, n in enumerate(named) if charged.intersection(n.tensor.axes)]
    components = frozenset[str]().union(*(named[i].tensor.components for i in near))
    if not asked or charged & asked or _rows(bound, components) > FEW_ROWS or not 1 < len(near) < len(named):
        return []
    return near


def one_after_the_other(tables: int, near: Sequence[int], first: Order, then: Order) -> Order:
    """One order out of one for some tables, and one for the others with the product of the first at their end.

    Examples
    --------
    >>> one_after_the_other(4, [0, 2], ((0, 1),), ((0, 1), (0, 1)))
    ((0, 2), (0, 1), (0, 1))
    """
    work, made = list(range(tables)), tables
    found = []
    group = list(near)
    for order in (first, then):
        for step in order:
            pair = [group[i] for i in step]
            places = sorted(work.index(i) for i in pair)
            found.append((places[0], places[1]))
            group = [*(i for i in group if i not in pair), made]
            work = [*(i for i in work if i not in pair), made]
            made += 1
        group = [*(i for i in work if i not in group), *group]
    return tuple(found)


@dataclass(frozen=True)
class _Entry:
    """A table of a schedule in the making; without a tensor where it has to wait for the readings."""

    key: Hashable
    axes: frozenset[str]
    components: Components
    free: bool
    tensor: Tensor | None


def schedule_along(bound: Bound, named: Sequence[Named], order: Order) -> Schedule:
    """Follow an order as far as no reading bears on it, and write down the rest."""
    sizes = {a: s for n in named for a, s in n.tensor.sizes().items() if a != COMBINATION}
    work = [_entry(n) for n in named]
    waiting: dict[int, tuple[int, int, frozenset[str]]] = {}
    for one, two, needed in places(tuple(n.tensor.axes for n in named), order):
        left, right = work[one], work[two]
        axes, components = (left.axes | right.axes) & needed, left.components | right.components
        key = (left.key, right.key, axes)
        free = left.free and right.free and _is_kept(bound, axes, components, sizes)
        made = _made(bound, key, left.tensor, right.tensor, needed) if free else None
        if not free:
            waiting[len(work)] = one, two, needed
        work.append(_Entry(key, axes, components, free, made))
    return _compact(bound, work, [i for i, n in enumerate(named) if _is_factor(n)], waiting)


def _is_factor(named: Named) -> bool:
    return isinstance(named.key, tuple) and named.key[0] == FACTOR


def _entry(named: Named) -> _Entry:
    tensor = None if _is_factor(named) else named.tensor
    return _Entry(named.key, frozenset(named.tensor.axes), named.tensor.components, named.free, tensor)


def _made(bound: Bound, key: Hashable, left: Tensor | None, right: Tensor | None, needed: frozenset[str]) -> Tensor:
    assert left is not None
    assert right is not None
    return bound.cache.constants.get(key, lambda: product(left, right, needed, bound.rows))


def _is_kept(bound: Bound, axes: frozenset[str], components: Components, sizes: dict[str, int]) -> bool:
    """Whether a product that no reading bears on is small enough to be kept for all configurations."""
    rows = _rows(bound, components)
    entries = rows * prod(sizes[a] for a in axes if a != COMBINATION)
    return entries <= (LARGEST_PLAIN if rows <= FEW_ROWS else LARGEST_ROWED)


def _rows(bound: Bound, components: Components) -> int:
    return bound.rows.count(components) if components else 1


def _compact(
    bound: Bound, work: Sequence[_Entry], factors: list[int], waiting: dict[int, tuple[int, int, frozenset[str]]]
) -> Schedule:
    """Number the tables anew: constants that are used, factors, products that wait."""
    number = bound.cache.number
    used = {i for one, two, _ in waiting.values() for i in (one, two)} | {len(work) - 1}
    constants = [i for i, e in enumerate(work) if e.tensor is not None and i in used]
    place = {i: k for k, i in enumerate([*constants, *factors, *waiting])}
    steps = tuple(
        Step(place[one], place[two], needed, number(work[i].key), _rows(bound, work[i].components) <= FEW_ROWS)
        for i, (one, two, needed) in waiting.items()
    )
    tensors = tuple((number(work[i].key), t) for i in constants if (t := work[i].tensor) is not None)
    return Schedule(tensors, tuple(number(work[i].key) for i in factors), steps)
