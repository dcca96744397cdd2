"""Several readings of one number: how likely they are together for a value anywhere within a bin.

Each alone is averaged over the bin, and so would a product of averages be: readings that disagree within a bin would
pass for the same, and those that agree would not strengthen each other against a slip. Here the product is averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from math import erf, exp, pi, sqrt

import numpy as np

from faultnet.model.network import Array

MOST_TOGETHER = 6


@dataclass(frozen=True)
class Number:
    """A number read: its error is normal, or it is a slip.

    Parameters
    ----------
    value : float
        What was read [unit of the quantity].
    spread : float
        Standard deviation of another reading of the same around the true value.
    kept : float
        Chance that it is no slip, times how much of the reading's own density counts [-].
    floor : float
        Density of a slip [1/unit].
    edges : tuple of float, length bins + 1
    """

    value: float
    spread: float
    kept: float
    floor: float
    edges: tuple[float, ...]


def together(numbers: Sequence[Number]) -> Array:
    """Mean over each bin of the density of all readings together, shape (bins,); kept, and not to be written to.

    Parameters
    ----------
    numbers : sequence of Number
        At most :data:`MOST_TOGETHER`, with the same edges.

    Notes
    -----
    Multiplied out, each reading is a slip or not: 2^n products of normal densities, each again normal in the true value
    and integrated over the bin exactly.

    Examples
    --------
    >>> one, near, far = (Number(v, 0.01, 0.99, 0.001, (0.0, 1.0, 2.0)) for v in (0.5, 0.51, 0.7))
    >>> bool(together([one, near])[0] > 100.0 * together([one, far])[0])
    True
    """
    return _together(tuple(numbers))


@lru_cache(maxsize=512)
def _together(numbers: tuple[Number, ...]) -> Array:
    edges = np.asarray(numbers[0].edges)
    total: Array = np.zeros(len(edges) - 1)
    for fits in product((False, True), repeat=len(numbers)):
        weight = 1.0
        middle, variance = 0.0, np.inf
        for number, fit in zip(numbers, fits, strict=True):
            if not fit:
                weight *= number.floor
            elif np.isinf(variance):
                weight *= number.kept
                middle, variance = number.value, number.spread**2
            else:
                apart = variance + number.spread**2
                weight *= number.kept * exp(-0.5 * (number.value - middle) ** 2 / apart) / sqrt(2.0 * pi * apart)
                middle = (middle * number.spread**2 + number.value * variance) / apart
                variance = variance * number.spread**2 / apart
        total += weight * (np.ones(len(total)) if np.isinf(variance) else _mean(edges, middle, sqrt(variance)))
    total.flags.writeable = False
    return total


def _mean(edges: Array, middle: float, spread: float) -> Array:
    """Mean of a normal density over each bin."""
    below = np.array([0.5 * (1.0 + erf((e - middle) / spread / sqrt(2.0))) for e in edges])
    return np.asarray(np.diff(below) / np.diff(edges))
