"""Products of tables with named axes, summed over what is not kept.

A :class:`Tensor` is an array whose axes have names; :func:`contract` multiplies any number of them and sums out
every axis that is not asked for. The order of the pairwise steps comes from :mod:`~faultnet.engine.planning`; each
step is one batched matrix product, which is several times faster here than a general einsum loop.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log2

import numpy as np

from faultnet.engine.planning import plan
from faultnet.network.structure import Array


@dataclass(frozen=True)
class Tensor:
    """An array with one name per axis."""

    values: Array
    axes: tuple[str, ...]

    def sizes(self) -> dict[str, int]:
        """Length of each axis by name."""
        return dict(zip(self.axes, self.values.shape, strict=True))

    def arranged(self, axes: Sequence[str]) -> Array:
        """The values with the axes in the order asked for; missing axes get length one."""
        order = [self.axes.index(a) for a in axes if a in self.axes]
        sizes = self.sizes()
        return self.values.transpose(order).reshape([sizes.get(a, 1) for a in axes])


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
    for pair in _path(tuple(t.axes for t in tensors), tuple(t.values.shape for t in tensors), tuple(keep)):
        chosen = [work[i] for i in pair]
        work = [t for i, t in enumerate(work) if i not in pair]
        needed = set(keep).union(*(t.axes for t in work))
        work.append(_product(chosen, needed))
    only = work[0] if len(work) == 1 else _product(work, set(keep))
    only = _summed(only, set(keep))
    order = tuple(a for a in keep if a in only.axes)
    return Tensor(only.arranged(order), order)


def _product(tensors: Sequence[Tensor], needed: set[str]) -> Tensor:
    """Product of one or two tensors with what nobody needs summed out."""
    if len(tensors) == 1:
        return _summed(tensors[0], needed)
    left, right = tensors
    left = _summed(left, needed | set(right.axes))
    right = _summed(right, needed | set(left.axes))
    shared = [a for a in left.axes if a in right.axes]
    batch = [a for a in shared if a in needed]
    inner = [a for a in shared if a not in needed]
    rows = [a for a in left.axes if a not in shared]
    columns = [a for a in right.axes if a not in shared]
    if not inner:
        axes = (*batch, *rows, *columns)
        return Tensor(left.arranged(axes) * right.arranged(axes), axes)
    sizes = left.sizes() | right.sizes()
    shape = [int(np.prod([sizes[a] for a in group])) for group in (batch, rows, inner, columns)]
    first = left.arranged((*batch, *rows, *inner)).reshape(shape[0], shape[1], shape[2])
    second = right.arranged((*batch, *inner, *columns)).reshape(shape[0], shape[2], shape[3])
    axes = (*batch, *rows, *columns)
    return Tensor(np.matmul(first, second).reshape([sizes[a] for a in axes]), axes)


def _summed(tensor: Tensor, needed: set[str]) -> Tensor:
    """Sum out the axes that are not needed."""
    gone = tuple(i for i, a in enumerate(tensor.axes) if a not in needed)
    if not gone:
        return tensor
    return Tensor(tensor.values.sum(axis=gone), tuple(a for a in tensor.axes if a in needed))


def _path(
    axes: tuple[tuple[str, ...], ...], shapes: tuple[tuple[int, ...], ...], keep: tuple[str, ...]
) -> tuple[tuple[int, ...], ...]:
    """Order of pairwise steps; the same structure always gets the same order."""
    if len(axes) < 2:
        return ()
    sizes = {a: size for group, shape in zip(axes, shapes, strict=True) for a, size in zip(group, shape, strict=True)}
    rounded = tuple(sorted((a, float(round(log2(max(size, 1))))) for a, size in sizes.items()))
    return plan(axes, rounded, keep)
