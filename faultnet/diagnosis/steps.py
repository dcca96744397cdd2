"""The steps of a forward pass over rows and states of charge, each with its way back.

What is carried is a weight for every row (a hypothesis with the modes it has by now) and every state of charge. All
steps are linear in it, so what is still to come can be carried back through them as well: a reading or an act is then
left out of a case without going through the rest of it again.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.inference.posterior import TINY
from faultnet.model.network import Array


@dataclass(frozen=True, eq=False)
class Weights:
    """A weight for every row and state of charge, the size of each row kept apart.

    Parameters
    ----------
    log : array, shape (rows,)
        Natural logarithm of what a row weighs.
    charge : array, shape (rows, charge states)
        Going forward, shares that sum to one; going back, up to a factor that `log` holds.
    """

    log: Array
    charge: Array = field(repr=False)

    def cut(self, rows: Index) -> Weights:
        """Some of the rows."""
        return Weights(self.log[rows], gathered(self.charge, rows))


class Step(Protocol):
    """What happens to the weights between two moments of a case."""

    def forward(self, before: Weights) -> Weights:
        """Weights after it."""

    def back(self, after: Weights) -> Weights:
        """What is still to come, as seen from before it."""


@dataclass(frozen=True, eq=False)
class Weigh:
    """Evidence bears on some rows.

    Parameters
    ----------
    rows : int array or None
        Which; all when None.
    weight : array, shape (rows weighed, charge states or 1)
    scale : float
        Natural logarithm of what the weight has to be multiplied by.
    """

    rows: Index | None
    weight: Array = field(repr=False)
    scale: float

    def forward(self, before: Weights) -> Weights:
        """As for :class:`Step`."""
        mine = before if self.rows is None else before.cut(self.rows)
        charge = mine.charge * self.weight
        top = np.maximum(charge.sum(axis=1), TINY)
        return _put(before, self.rows, Weights(mine.log + self.scale + np.log(top), charge / top[:, None]))

    def back(self, after: Weights) -> Weights:
        """As for :class:`Step`."""
        mine = after if self.rows is None else after.cut(self.rows)
        return _put(after, self.rows, scaled(Weights(mine.log + self.scale, mine.charge * self.weight)))


@dataclass(frozen=True, eq=False)
class Factor:
    """A likelihood that does not depend on the charge.

    Parameters
    ----------
    log : array, shape (rows,)
    """

    log: Array = field(repr=False)

    def forward(self, before: Weights) -> Weights:
        """As for :class:`Step`."""
        return Weights(before.log + self.log, before.charge)

    back = forward


@dataclass(frozen=True, eq=False)
class Moved:
    """Rows whose charge moves by the same matrices.

    Parameters
    ----------
    rows : int array or None
        Which; all when None.
    share : array, shape (rows moved, matrices)
        How likely each matrix is for each row [-]; ones where there is one matrix.
    matrices : array, shape (matrices, states after, states before)
        Columns sum to one.
    """

    rows: Index | None
    share: Array = field(repr=False)
    matrices: Array = field(repr=False)

    def apply(self, charge: Array, *, back: bool) -> Array:
        """Shares after the move, or what is to come as seen from before it, shape (states, rows moved)."""
        each = (self.matrices.transpose(0, 2, 1) if back else self.matrices) @ charge
        return np.asarray(each[0] if self.share.shape[1] == 1 else np.einsum("ksr,rk->sr", each, self.share))

    def mean_after(self, mean: Array, middles: Array) -> Array:
        """As for :class:`Move`, for the rows moved."""
        ends = middles @ self.matrices
        each = np.stack([np.interp(mean, middles, end) for end in ends])
        return np.asarray(np.einsum("kr,rk->r", each, self.share))


@dataclass(frozen=True, eq=False)
class Move:
    """The state of charge moves.

    Parameters
    ----------
    parts : tuple of Moved
        Every row is in one of them.
    """

    parts: tuple[Moved, ...]

    def forward(self, before: Weights) -> Weights:
        """As for :class:`Step`."""
        return Weights(before.log, self._applied(before.charge, back=False))

    def back(self, after: Weights) -> Weights:
        """As for :class:`Step`."""
        return scaled(Weights(after.log, self._applied(after.charge, back=True)))

    def mean_after(self, mean: Array, middles: Array) -> Array:
        """Mean state of charge after the move of rows that had just that charge before it [-], shape (rows,).

        Parameters
        ----------
        mean : array, shape (rows,)
        middles : array, shape (states,)
            Of the states of charge [-].
        """
        found = np.empty_like(mean)
        for part in self.parts:
            rows = slice(None) if part.rows is None else part.rows
            found[rows] = part.mean_after(mean[rows], middles)
        return found

    def _applied(self, charge: Array, *, back: bool) -> Array:
        if self._order is None:
            return self.parts[0].apply(charge.T, back=back).T
        lined_up = np.take(charge.T, self._order, axis=1)
        found, stop = np.empty_like(lined_up), 0
        for part in self.parts:
            first, stop = stop, stop + len(part.share)
            found[:, first:stop] = part.apply(lined_up[:, first:stop], back=back)
        total = np.empty_like(found)
        total[:, self._order] = found
        return total.T

    @cached_property
    def _order(self) -> Index | None:
        """Rows part by part; None where one part has them all."""
        rows = [part.rows for part in self.parts if part.rows is not None]
        return np.concatenate(rows) if rows else None


@dataclass(frozen=True, eq=False)
class Split:
    """Rows are parted by whether a repair took, or those that have become alike are put together.

    Parameters
    ----------
    before : int
        Rows before.
    parent : int array, shape (rows parted,)
        Row before; one that is none's parent is dropped.
    log_chance : array, shape (rows parted,)
        Natural logarithm of the chance of its part, and of what is said of it.
    target : int array, shape (rows parted,)
        Row after.
    count : int
        Rows after.
    """

    before: int
    parent: Index
    log_chance: Array = field(repr=False)
    target: Index
    count: int

    def forward(self, before: Weights) -> Weights:
        """As for :class:`Step`."""
        parted = before.cut(self.parent)
        return together(Weights(parted.log + self.log_chance, parted.charge), self.target, self.count)

    def back(self, after: Weights) -> Weights:
        """As for :class:`Step`."""
        parted = after.cut(self.target)
        return scaled(together(Weights(parted.log + self.log_chance, parted.charge), self.parent, self.before))


def together(parted: Weights, target: Index, count: int) -> Weights:
    """Weights of rows that are the same, added up."""
    if count == len(target) and np.array_equal(target, np.arange(count)):
        return parted
    log = log_sums(parted.log, target, count)
    share = np.exp(parted.log - np.where(np.isfinite(log), log, 0.0)[target])
    charge = [np.bincount(target, share * column, minlength=count).astype(np.float64) for column in parted.charge.T]
    return Weights(log, np.stack(charge).T)


def log_sums(log: Array, target: Index, count: int) -> Array:
    """Natural logarithm of the sums of weights by where they belong, shape (count,)."""
    top = np.full(count, -np.inf)
    np.maximum.at(top, target, log)
    safe = np.where(np.isfinite(top), top, 0.0)
    with np.errstate(divide="ignore"):
        return np.asarray(safe + np.log(np.bincount(target, np.exp(log - safe[target]), minlength=count)))


def scaled(weights: Weights) -> Weights:
    """The same with the largest share of each row at one."""
    top = np.maximum(weights.charge.max(axis=1), TINY)
    return Weights(weights.log + np.log(top), weights.charge / top[:, None])


def gathered(values: Array, rows: Index) -> Array:
    """Rows of a table that is kept column by column."""
    return np.take(values.T, rows, axis=1).T


def _put(before: Weights, rows: Index | None, mine: Weights) -> Weights:
    if rows is None:
        return mine
    log, charge = before.log.copy(), before.charge.copy(order="K")
    log[rows], charge[rows] = mine.log, mine.charge
    return Weights(log, charge)
