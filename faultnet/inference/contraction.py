"""Products of tables with named axes, summed over what is not kept.

A :class:`Tensor` is an array whose axes have names; :func:`contract` multiplies any number of them and sums out every
axis that is not asked for. The order of the pairwise steps comes from :mod:`~faultnet.inference.contraction_order`;
each step is one batched matrix product, which is several times faster here than a general einsum loop.

A table that depends on components has one axis for their configurations, :data:`COMBINATION`, and says which components
these are; two tables that depend on different ones are brought to the configurations of both as they are multiplied.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import log2, prod

import numpy as np

from faultnet.inference.configurations import Components, Index, RowSets
from faultnet.inference.contraction_order import plan
from faultnet.inference.elimination import MOST_GROUPS
from faultnet.model.network import Array

COMBINATION = "combination"
LEAST_TO_GROUP = 20_000


@dataclass(frozen=True, eq=False)
class Tensor:
    """An array with one name per axis.

    Parameters
    ----------
    values : array
    axes : tuple of str
    components : frozenset of str
        Whose configurations the axis `combination` runs over, where there is one.
    """

    values: Array
    axes: tuple[str, ...]
    components: Components = frozenset()

    def sizes(self) -> dict[str, int]:
        """Length of each axis by name."""
        return dict(zip(self.axes, self.values.shape, strict=True))

    def arranged(self, axes: Sequence[str]) -> Array:
        """The values with the axes in the order asked for; missing axes get length one."""
        order = [self.axes.index(a) for a in axes if a in self.axes]
        sizes = self.sizes()
        return self.values.transpose(order).reshape([sizes.get(a, 1) for a in axes])

    def taken(self, index: Index, axis: str = COMBINATION) -> Tensor:
        """Some entries of one axis, by default some configurations."""
        return Tensor(self.values.take(index, axis=self.axes.index(axis)), self.axes, self.components)

    def within(self, states: Mapping[str, Index]) -> Tensor:
        """Some entries, in rising order, of some axes; neighbours are not copied."""
        if not states.keys() & set(self.axes):
            return self
        chosen = [states.get(a) for a in self.axes]
        values = self.values[tuple(slice(None) if c is None else slice(c[0], c[-1] + 1) for c in chosen)]
        for axis, c in enumerate(chosen):
            if c is not None and len(c) < values.shape[axis]:
                values = values.take(c - c[0], axis=axis)
        return Tensor(values, self.axes, self.components)


def contract(tensors: Sequence[Tensor], keep: Sequence[str]) -> Tensor:
    """Multiply tensors and sum over every axis that is not kept.

    Parameters
    ----------
    tensors : sequence of Tensor
        Axes of one name have one length throughout.
    keep : sequence of str
        Axes of the result, in this order. A kept axis no tensor has is left out.

    Returns
    -------
    Tensor

    Examples
    --------
    >>> a = Tensor(np.array([[1.0, 2.0], [3.0, 4.0]]), ("i", "j"))
    >>> b = Tensor(np.array([1.0, 10.0]), ("j",))
    >>> contract([a, b], ["i"]).values
    array([21., 43.])
    """
    work = list(tensors)
    axes = tuple(t.axes for t in tensors)
    sizes = {a: float(round(log2(max(s, 1)))) for t in tensors for a, s in t.sizes().items()}
    for pair in plan(axes, tuple(sorted(sizes.items())), tuple(keep)):
        chosen = [work[i] for i in pair]
        work = [t for i, t in enumerate(work) if i not in pair]
        needed = frozenset(keep).union(*(t.axes for t in work))
        work.append(product(chosen[0], chosen[1], needed))
    return finished(work[0], keep)


def finished(tensor: Tensor, keep: Sequence[str]) -> Tensor:
    """Sum out what is left over and put the axes in order."""
    only = _summed(tensor, frozenset(keep))
    order = tuple(a for a in keep if a in only.axes)
    return Tensor(only.arranged(order), order, only.components)


def product(left: Tensor, right: Tensor, needed: frozenset[str], rows: RowSets | None = None) -> Tensor:
    """Multiply two tensors and sum out the axes nobody needs.

    Parameters
    ----------
    left, right : Tensor
    needed : frozenset of str
        Axes that are kept where they occur; the axis `combination` must be among them.
    rows : RowSets, optional
        Configurations; only needed when both tensors depend on components, and on different ones.
    """
    both = left.components | right.components
    if not left.components or not right.components or left.components == right.components:
        return _multiplied(left, right, needed, both)
    assert rows is not None
    if rows.count(left.components) < rows.count(right.components):
        left, right = right, left
    if _worth_grouping(left, right, needed, rows):
        return _by_groups(left, right, needed, rows)
    if left.components != both:
        left = left.taken(rows.index(both, left.components))
    return _multiplied(left, right.taken(rows.index(both, right.components)), needed, both)


def _multiplied(left: Tensor, right: Tensor, needed: frozenset[str], both: Components) -> Tensor:
    """Product of two tensors whose configurations agree."""
    layout = _layout(left.axes, right.axes, needed)
    first = left.values.sum(axis=layout.left_gone) if layout.left_gone else left.values
    second = right.values.sum(axis=layout.right_gone) if layout.right_gone else right.values
    first, second = first.transpose(layout.left_order), second.transpose(layout.right_order)
    b, r, k = layout.batch, layout.batch + layout.rows, layout.batch + layout.inner
    if not layout.inner:
        shape = first.shape + (1,) * (second.ndim - b)
        spread = second.reshape(second.shape[:b] + (1,) * layout.rows + second.shape[b:])
        return Tensor(first.reshape(shape) * spread, layout.axes, both)
    shape = first.shape[:r] + second.shape[k:]
    inner = prod(second.shape[b:k])
    lead = (prod(first.shape[:b]),) if b else ()
    one = first.reshape(*lead, prod(first.shape[b:r]), inner)
    two = second.reshape(*lead, inner, prod(second.shape[k:]))
    return Tensor(np.matmul(one, two).reshape(shape), layout.axes, both)


def _worth_grouping(left: Tensor, right: Tensor, needed: frozenset[str], rows: RowSets) -> bool:
    """Whether one matrix product for each row of `right` beats repeating its rows, and perhaps those of `left`."""
    layout = _layout(_without_rows(left.axes), _without_rows(right.axes), needed)
    groups, both = rows.count(right.components), left.components | right.components
    block = right.values.size // groups
    if left.components != both:
        block = max(block, left.values.size // rows.count(left.components))
    wide = rows.count(both)
    return layout.inner > 0 and groups <= MOST_GROUPS and block * wide > LEAST_TO_GROUP


def _by_groups(left: Tensor, right: Tensor, needed: frozenset[str], rows: RowSets) -> Tensor:
    """Product of tensors, one row of `right` after the other: its rows need not be repeated for those of both."""
    both = left.components | right.components
    order, ends = rows.groups(both, right.components)
    picked = order if left.components == both else rows.index(both, left.components)[order]
    layout = _layout(_without_rows(left.axes), _without_rows(right.axes), needed)
    wide = _summed(left, needed.union(right.axes))
    first = _with_rows_at(layout.batch, wide, layout.left_order)
    second = _with_rows_at(0, _summed(right, needed.union(left.axes)), layout.right_order)
    batch, shared = first.shape[: layout.batch], layout.batch + layout.inner
    shape = (*batch, len(order), *first.shape[layout.batch + 1 : layout.batch + 1 + layout.rows])
    inner, columns = prod(second.shape[layout.batch + 1 : shared + 1]), second.shape[shared + 1 :]
    joined = np.empty((prod(batch), len(order), prod(shape[layout.batch + 1 :]), prod(columns)))
    for g, (a, b) in enumerate(pairwise(ends)):  # copies of one group at a time stay small
        some = _with_rows_at(layout.batch, wide.taken(picked[a:b]), layout.left_order)
        one = some.reshape(len(joined), -1, inner)
        two = second[g].reshape(len(joined), inner, -1)
        joined[:, order[a:b]] = np.matmul(one, two).reshape(len(joined), b - a, *joined.shape[2:])
    axes = (*layout.axes[: layout.batch], COMBINATION, *layout.axes[layout.batch :])
    return Tensor(joined.reshape(*shape, *columns), axes, both)


def _with_rows_at(place: int, tensor: Tensor, order: tuple[int, ...]) -> Array:
    """The values with the configurations at a place among the other axes, which are put in this order of theirs."""
    now = tensor.axes.index(COMBINATION)
    others = [i + (i >= now) for i in order]
    return tensor.values.transpose(*others[:place], now, *others[place:])


def _without_rows(axes: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(a for a in axes if a != COMBINATION)


def _summed(tensor: Tensor, needed: frozenset[str]) -> Tensor:
    """Sum out the axes that are not needed."""
    gone = tuple(i for i, a in enumerate(tensor.axes) if a not in needed)
    if not gone:
        return tensor
    return Tensor(tensor.values.sum(axis=gone), tuple(a for a in tensor.axes if a in needed), tensor.components)


@dataclass(frozen=True)
class _Layout:
    """How to turn a product of two tables into one of matrices: which axes are summed first, and all axes' order."""

    left_gone: tuple[int, ...]
    right_gone: tuple[int, ...]
    left_order: tuple[int, ...]
    right_order: tuple[int, ...]
    batch: int
    rows: int
    inner: int
    axes: tuple[str, ...]


@lru_cache(maxsize=16384)
def _layout(left: tuple[str, ...], right: tuple[str, ...], needed: frozenset[str]) -> _Layout:
    left_kept = [a for a in left if a in needed or a in right]
    right_kept = [a for a in right if a in needed or a in left]
    shared = [a for a in left_kept if a in right]
    batch = [a for a in shared if a in needed]
    inner = [a for a in shared if a not in needed]
    rows = [a for a in left_kept if a not in right]
    columns = [a for a in right_kept if a not in left]
    return _Layout(
        tuple(i for i, a in enumerate(left) if a not in left_kept),
        tuple(i for i, a in enumerate(right) if a not in right_kept),
        tuple(left_kept.index(a) for a in (*batch, *rows, *inner)),
        tuple(right_kept.index(a) for a in (*batch, *inner, *columns)),
        len(batch), len(rows), len(inner), (*batch, *rows, *columns),
    )  # fmt: skip
