"""Odds whose factors may be off: how far they can fall, and which factors decide.

Each row's weight is a product of factors, such as the base rates of its faults. Odds of some rows against others are
then a ratio of two sums, each linear in every factor alone. In one factor such a ratio only rises or only falls, so
that over a box of factors it is least at a corner. The corner is searched for one factor at a time, each step being
exact, from several starts; :func:`level_at` says at which value of one factor alone the two sides draw level.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array

MOST_SWEEPS = 20
STARTS, SEED = 3, 20
EVEN = 1e-12  # below this a factor moves neither side [-]


@dataclass(frozen=True, eq=False)
class Doubtful:
    """Weights that are products of factors, and by how much each factor may be off.

    Parameters
    ----------
    weights : array, shape (rows,)
        As they are taken to be [-].
    rows : tuple of int array
        For each factor the rows that have it.
    off_by : array, shape (factors,)
        A factor may be so many times larger or smaller [-]; 1 for one that is known.
    """

    weights: Array
    rows: tuple[NDArray[np.intp], ...] = field(repr=False)
    off_by: Array

    @cached_property
    def has(self) -> Array:
        """Which rows have which factor, as ones, shape (rows, factors)."""
        found = np.zeros((len(self.weights), len(self.rows)))
        for k, rows in enumerate(self.rows):
            found[rows, k] = 1.0
        return found

    @cached_property
    def at_most(self) -> Array:
        """How often as large each weight can become, shape (rows,)."""
        return np.asarray(np.exp(self.has @ np.log(self.off_by)))

    def at(self, factors: Array) -> Array:
        """Weights with each factor multiplied by a number, shape (rows,)."""
        weights = self.weights.copy()
        for rows, factor in zip(self.rows, factors.tolist(), strict=True):
            if factor != 1.0:
                weights[rows] *= factor
        return weights


@dataclass(frozen=True, eq=False)
class Corners:
    """The least odds found, search by search.

    Parameters
    ----------
    odds : array, shape (searches,)
        [-]
    factors : array, shape (searches, factors)
        Where they are found: each factor at an end of its range, or at 1 where it moves nothing.
    """

    odds: Array
    factors: Array


def least_odds(doubtful: Doubtful, ahead: Array, behind: Array, *, starts: int = STARTS) -> Corners:
    """The least that odds can become when every factor may be off, by a search over corners.

    Parameters
    ----------
    doubtful : Doubtful
    ahead, behind : array, shape (searches, rows)
        By how much each row counts on either side, never negative [-].
    starts : int
        From how many places the search begins.

    Notes
    -----
    A search stops where no single factor lowers the odds further. It begins at the corner to which each factor alone
    would go, at the factors as they are taken, and at some corners at random; what is found is an upper
    bound of the least odds. Tests hold it to all corners counted out on small problems.

    Examples
    --------
    Two exclusive causes with odds of 6, each rate off by 2 at most:

    >>> two = Doubtful(np.array([6.0, 1.0]), (np.array([0]), np.array([1])), np.array([2.0, 2.0]))
    >>> found = least_odds(two, np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]]))
    >>> found.odds.tolist(), found.factors.tolist()
    ([1.5], [[0.5, 2.0]])
    """
    shape = (len(ahead), len(doubtful.off_by))
    rng = np.random.default_rng(SEED)
    begun = [towards(doubtful, ahead, behind), np.ones(shape)]
    begun += [doubtful.off_by ** rng.choice([-1.0, 1.0], shape) for _ in range(starts - len(begun))]
    found = [_descended(doubtful, ahead, behind, start) for start in begun[:starts]]
    best = np.argmin([f.odds for f in found], axis=0)
    every = np.arange(len(ahead))
    return Corners(np.stack([f.odds for f in found])[best, every], np.stack([f.factors for f in found])[best, every])


def towards(doubtful: Doubtful, ahead: Array, behind: Array) -> Array:
    """Each factor at the end that lowers the odds, all others being as taken, shape (searches, factors)."""
    n1, d1, n, d = _sums(doubtful, ahead, behind)
    falls = n1 * (d - d1) > (n - n1) * d1
    return np.where(falls, 1.0 / doubtful.off_by, doubtful.off_by)


def _sums(doubtful: Doubtful, ahead: Array, behind: Array) -> tuple[Array, Array, Array, Array]:
    """What has each factor on either side, shape (searches, factors), and all of either side, shape (searches, 1)."""
    both = [side * doubtful.weights for side in (ahead, behind)]
    return (
        both[0] @ doubtful.has,
        both[1] @ doubtful.has,
        both[0].sum(axis=1, keepdims=True),
        both[1].sum(axis=1, keepdims=True),
    )


def _descended(doubtful: Doubtful, ahead: Array, behind: Array, start: Array) -> Corners:
    """One factor after the other to the end of its range at which the odds are lower, until none moves.

    Most factors stay where they are; which one is the next to move is found for all of them at once.
    """
    factors = start.copy()
    weights = doubtful.weights * np.exp(np.log(factors) @ doubtful.has.T)
    both = ahead * weights, behind * weights
    for _ in range(MOST_SWEEPS):
        moved, k = False, 0
        while k < len(doubtful.rows):
            stay = _ends(doubtful, *both, factors) == factors
            if stay[:, k:].all():
                break
            k += int(np.flatnonzero(~stay[:, k:].all(axis=0))[0])
            moved = True
            while k < len(doubtful.rows) and _one_moved(doubtful, *both, factors, k):
                k += 1
            k += 1
        if not moved:
            break
    n, d = (side.sum(axis=1) for side in both)
    return Corners(n / np.maximum(d, 1e-300), factors)


def _ends(doubtful: Doubtful, up: Array, down: Array, factors: Array) -> Array:
    """Where each factor would go alone from here, shape (searches, factors)."""
    return _towards(doubtful.off_by, up @ doubtful.has, down @ doubtful.has, up, down, factors)


def _towards(off_by: Array, n1: Array, d1: Array, up: Array, down: Array, factors: Array) -> Array:
    n, d = up.sum(axis=1, keepdims=True), down.sum(axis=1, keepdims=True)
    slope = n1 * (d - d1) - (n - n1) * d1
    moves = (np.abs(slope) > EVEN * np.maximum(n * d, 1e-300)) & (off_by != 1.0)
    return np.where(moves, np.where(slope > 0.0, 1.0 / off_by, off_by), factors)


def _one_moved(doubtful: Doubtful, up: Array, down: Array, factors: Array, k: int) -> bool:
    """Move one factor in place where that lowers the odds; whether it did in any search."""
    rows = doubtful.rows[k]
    some_up, some_down = up[:, rows], down[:, rows]
    n1, d1 = (some.sum(axis=1, keepdims=True) for some in (some_up, some_down))
    new = _towards(doubtful.off_by[k : k + 1], n1, d1, up, down, factors[:, k : k + 1])
    ratio = new / factors[:, k : k + 1]
    if np.all(ratio == 1.0):
        return False
    up[:, rows], down[:, rows] = some_up * ratio, some_down * ratio
    factors[:, k : k + 1] = new
    return True


def level_at(doubtful: Doubtful, ahead: Array, behind: Array) -> Array:
    """How often as large one factor alone has to be for the two sides to draw level, shape (searches, factors).

    Parameters
    ----------
    doubtful : Doubtful
    ahead, behind : array, shape (searches, rows)

    Returns
    -------
    array
        nan where no value of that factor does it [-].

    Examples
    --------
    >>> two = Doubtful(np.array([6.0, 1.0]), (np.array([0]), np.array([1])), np.array([2.0, 2.0]))
    >>> level_at(two, np.array([[1.0, 0.0]]), np.array([[0.0, 1.0]])).round(4).tolist()
    [[0.1667, 6.0]]
    """
    n1, d1, n, d = _sums(doubtful, ahead, behind)
    with np.errstate(divide="ignore", invalid="ignore"):
        level = ((d - d1) - (n - n1)) / (n1 - d1)
    return np.where(np.isfinite(level) & (level > 0.0), level, np.nan)


def cannot_turn(doubtful: Doubtful, ahead: Array, behind: Array) -> NDArray[np.bool_]:
    """Whether one side stays ahead by so much that no search is needed, shape (searches,).

    Every weight behind is taken as large, and every weight ahead as small, as its factors can make it.
    """
    most = doubtful.at_most
    return np.asarray(ahead @ (doubtful.weights / most) > behind @ (doubtful.weights * most))


def needed(doubtful: Doubtful, ahead: Array, behind: Array, factors: Array) -> Array:
    """The fewest factors off that still turn the odds over, the ones that do little being put back; shape (factors,).

    Parameters
    ----------
    doubtful : Doubtful
    ahead, behind : array, shape (rows,)
    factors : array, shape (factors,)
        A corner at which `behind` is ahead.

    Examples
    --------
    >>> two = Doubtful(np.array([1.5, 1.0]), (np.array([0]), np.array([1])), np.array([2.0, 2.0]))
    >>> needed(two, np.array([1.0, 0.0]), np.array([0.0, 1.0]), np.array([0.5, 2.0])).tolist()
    [1.0, 2.0]
    """
    left = factors.copy()
    while True:
        weights = doubtful.at(left)
        n, d = ahead * weights, behind * weights
        back = 1.0 / left - 1.0
        up, down = n.sum() + (n @ doubtful.has) * back, d.sum() + (d @ doubtful.has) * back
        odds = np.where(left != 1.0, up / np.maximum(down, 1e-300), np.inf)
        best = int(odds.argmin())
        if odds[best] >= 1.0:
            return left
        left[best] = 1.0
