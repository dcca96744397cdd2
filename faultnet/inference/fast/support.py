"""Which states of hidden axes hold all but a sliver of the belief, so that tests need not be ranked over the others.

A voltage read while cranking leaves a few states of the battery's voltage, of its resistance, of the loop and of the
engine's load: a tenth of the grid they span. Beliefs are worked out over all of it; what tests would show under the
leading hypotheses only where these states lie. That changes the worth of a test by 4e-4 bit at most in the demo cases
(``tests/bench/narrowed.py``); a hypothesis of which hardly any state is kept has as little of the belief.
They are chosen anew by the belief of the moment, so that the same case has the same answer whatever was asked before.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from math import prod

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.inference.contraction import COMBINATION, Tensor
from faultnet.inference.fast.schedule import Named
from faultnet.model.network import Array

SLIVER = 1e-4  # share of the belief in an axis that lies in the states left out
WORTH_ASKING = 0.1  # mean of a factor beside its largest; by eye: turning slowly has 0.1 to 0.2, volts 0.01 to 0.1
WORTH_CUTTING = 0.4  # part of the grid that is left
LEAST_GRID = 1 << 12  # states of the grid; the charging circuit has 3234, and asking takes as long as cutting saves
States = Mapping[str, Index]


def likely_states(shares: Array) -> Index:
    """The fewest states that hold all but a sliver of the belief, in rising order.

    Parameters
    ----------
    shares : array, shape (states,)
        Belief in each state, up to a factor.

    Examples
    --------
    >>> likely_states(np.array([0.00001, 0.3, 0.0, 0.6, 0.09999]))
    array([1, 3, 4])
    """
    order = np.argsort(-shares, kind="stable")
    held = np.cumsum(shares[order])
    return np.sort(order[: int(np.searchsorted(held, (1.0 - SLIVER) * held[-1])) + 1])


def axes_told_of(factors: Sequence[Tensor], hidden: Collection[str]) -> tuple[str, ...]:
    """Hidden axes of which a reading leaves few states: those of the factor with most axes whose mean is small.

    Parameters
    ----------
    factors : sequence of Tensor
        Of readings.
    hidden : collection of str
        Axes that may be cut.

    Returns
    -------
    tuple of str
        None where every reading leaves much, or what they bear on is no grid large enough to be worth cutting.
    """
    narrow = [f for f in factors if f.values.mean() < WORTH_ASKING * f.values.max()]
    large = [f for f in narrow if prod(n for a, n in f.sizes().items() if a in hidden) >= LEAST_GRID]
    return max((tuple(a for a in f.axes if a in hidden) for f in large), key=len, default=())


def carry_on(shares: Mapping[str, Array], tables: Iterable[Named]) -> dict[str, Array]:
    """Belief in the states of some axes, and in those of axes that depend on them, as if the first were independent.

    Parameters
    ----------
    shares : mapping of axis to array, shape (states,)
    tables : iterable of Named
        Of hidden nodes, parents before children; the name of each is its axis. Tables that depend on components are
        passed over, and what is known of no parent is too.

    Examples
    --------
    >>> sure = Tensor(np.array([[0.9, 0.2], [0.1, 0.8]]), ("child", "parent"))
    >>> carry_on({"parent": np.array([0.5, 0.5])}, [Named("child", sure, True)])["child"]
    array([0.55, 0.45])
    """
    found = dict(shares)
    for axis, tensor in ((str(t.key), t.tensor) for t in tables):
        if axis not in found and COMBINATION not in tensor.axes and found.keys() & set(tensor.axes):
            found[axis] = _mean(tensor, axis, found)
    return found


def _mean(tensor: Tensor, axis: str, shares: Mapping[str, Array]) -> Array:
    """Mean of a table over all its axes but one, each weighted by the belief in its states where that is known."""
    values = np.moveaxis(tensor.values, tensor.axes.index(axis), 0)
    for a in reversed([a for a in tensor.axes if a != axis]):
        values = values @ shares[a] if a in shares else values.mean(axis=-1)
    return values


def worth_cutting(shares: Mapping[str, Array]) -> bool:
    """Whether the grid of the likely states is so much smaller than that of all that the work on it saves time."""
    return prod(len(likely_states(s)) / len(s) for s in shares.values()) < WORTH_CUTTING
