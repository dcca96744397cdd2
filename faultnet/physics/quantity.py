"""The type of a physical quantity, and the one check on words that choose a row of a table."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from faultnet.errors import CarError

Quantity = float | npt.NDArray[np.float64]
"""A number or an array of them; functions of several quantities broadcast."""

Row = TypeVar("Row")


def chosen(table: Mapping[str, Row], word: str, what: str) -> Row:
    """Row of `table` that `word` names.

    Parameters
    ----------
    table : mapping of str
    word : str
    what : str
        What the word describes, for the message.

    Returns
    -------
    The row.

    Raises
    ------
    CarError
        If the table has no such row.

    Examples
    --------
    >>> chosen({"petrol": 5, "diesel": 4}, "diesel", "fuel")
    4
    """
    if word not in table:
        raise CarError(
            f"unknown {what}",
            got=repr(word),
            expected=" or ".join(repr(known) for known in table),
            to_do="use one of the words expected",
        )
    return table[word]


def looked_up(value: Quantity, points: npt.NDArray[np.float64], results: npt.NDArray[np.float64]) -> Quantity:
    """Straight-line interpolation in a table, held at both ends.

    Parameters
    ----------
    value : float or array
    points, results : array, shape (rows,)
        The table; `points` ascending.

    Returns
    -------
    float or array
        Of the shape of `value`.

    Examples
    --------
    >>> float(looked_up(1.5, np.array([1.0, 2.0]), np.array([10.0, 20.0])))
    15.0
    """
    result: Quantity = np.interp(value, points, results)
    return result
