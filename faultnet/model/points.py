"""Low-discrepancy points in several dimensions: Sobol's sequence, the same on every machine and in every run.

Tables are integrals of the physics over the spread of what varies, taken over these points. In every dimension by
itself they are spaced evenly, one in each of as many equal parts; any two dimensions are as good as independent.

References
----------
I. M. Sobol, On the distribution of points in a cube and the approximate evaluation of integrals, USSR Computational
Mathematics and Mathematical Physics 7(4), 1967; S. Joe, F. Y. Kuo, Constructing Sobol sequences with better
two-dimensional projections, SIAM Journal on Scientific Computing 30(5), 2008, whose primitive polynomials and first
direction numbers these are (all from memory; the tests hold them against SciPy's).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array

BITS = 30
GOLDEN = 0.6180339887498949
# Of each dimension but the first: inner coefficients of its primitive polynomial as bits, and its first direction
# numbers, as many as the polynomial's degree.
POLYNOMIALS: tuple[tuple[int, tuple[int, ...]], ...] = (
    (0, (1,)),
    (1, (1, 3)),
    (1, (1, 3, 1)),
    (2, (1, 1, 1)),
    (1, (1, 1, 3, 3)),
    (4, (1, 3, 5, 13)),
    (2, (1, 1, 5, 5, 17)),
    (4, (1, 1, 5, 5, 5)),
    (7, (1, 1, 7, 11, 19)),
    (11, (1, 1, 5, 1, 1)),
    (13, (1, 1, 1, 3, 11)),
    (14, (1, 3, 5, 5, 31)),
    (1, (1, 3, 3, 9, 7, 49)),
    (13, (1, 1, 1, 15, 21, 21)),
    (16, (1, 3, 1, 13, 27, 49)),
    (19, (1, 1, 1, 15, 7, 5)),
    (22, (1, 3, 1, 15, 13, 25)),
    (25, (1, 1, 5, 5, 19, 61)),
    (1, (1, 3, 7, 11, 23, 15, 103)),
    (4, (1, 3, 7, 13, 13, 15, 69)),
)
MOST_DIMENSIONS = 1 + len(POLYNOMIALS)


def low_discrepancy_points(count: int, dimensions: int) -> Array:
    """Low-discrepancy points in the open unit cube, shape (dimensions, count).

    Parameters
    ----------
    count : int
        Any number; a power of two is best.
    dimensions : int
        At most :data:`MOST_DIMENSIONS`.

    Notes
    -----
    A digital shift moves the sequence off the corner that it begins in, where every dimension has its least value at
    once. Each dimension is then put at the middles of its equal parts.

    Examples
    --------
    >>> points = low_discrepancy_points(4, 2)
    >>> points.tolist()
    [[0.625, 0.125, 0.875, 0.375], [0.125, 0.625, 0.875, 0.375]]
    """
    shift = np.floor((np.arange(1, dimensions + 1) * GOLDEN) % 1.0 * 2.0**BITS).astype(np.int64)
    digits = _sequence(count, dimensions) ^ shift[:, None]
    rank = np.argsort(np.argsort(digits, axis=1, kind="stable"), axis=1)
    return np.asarray((rank + 0.5) / count)


def _sequence(count: int, dimensions: int) -> NDArray[np.int64]:
    """The first points of the sequence as binary digits, shape (dimensions, count)."""
    number, directions = np.arange(count), direction_numbers()[:dimensions]
    points = np.zeros((dimensions, count), dtype=np.int64)
    for bit in range(max(1, (count - 1).bit_length())):
        points ^= (number >> bit & 1) * directions[:, bit, None]
    return points


@lru_cache(maxsize=1)
def direction_numbers() -> NDArray[np.int64]:
    """Direction numbers as binary digits, shape (dimensions, bits)."""
    first = [1] * BITS
    rows = [first, *(_continued(inner, list(known)) for inner, known in POLYNOMIALS)]
    return np.array(rows, dtype=np.int64) << np.arange(BITS - 1, -1, -1)


def _continued(inner: int, numbers: list[int]) -> list[int]:
    """Direction numbers of a dimension by the recurrence of its polynomial, from the first ones."""
    degree = len(numbers)
    for place in range(degree, BITS):
        made = numbers[place - degree] ^ (numbers[place - degree] << degree)
        for back in range(1, degree):
            made ^= (inner >> (degree - 1 - back) & 1) * (numbers[place - back] << back)
        numbers.append(made)
    return numbers
