"""The handbook of the independent world: every number it uses, with its range, unit, mark and source.

A number that differs from car to car has a low end, a typical value and a high end; one that does not has only the
typical value. A draw is placed by a standard normal figure: nought is typical, -1.645 and less is the low end, +1.645
and more the high end. Ranges that span more than a factor of three are interpolated by ratio, others by difference.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import exp, log

from faultnet.errors import FaultnetError

ENDS_AT = 1.645  # [-] standard deviations from typical to an end: 5 % and 95 % points of a normal figure
BY_RATIO = 3.0  # [-] from here on a range is a matter of ratios
MARKS = ("published", "secondary", "memory", "practice", "derived", "estimate")


@dataclass(frozen=True)
class Number:
    """One row of the handbook.

    Parameters
    ----------
    low, typical, high : float
        Ends and middle [unit]; all the same where it does not differ between cars.
    unit, mark, source : str
    """

    low: float
    typical: float
    high: float
    unit: str
    mark: str
    source: str

    def at(self, place: float) -> float:
        """Value at a standard normal place [unit].

        Examples
        --------
        >>> Number(1.0, 2.0, 4.0, "V", "estimate", "").at(0.0), Number(1.0, 2.0, 4.0, "V", "estimate", "").at(9.0)
        (2.0, 4.0)
        """
        share = max(-1.0, min(1.0, place / ENDS_AT))
        end = self.high if share >= 0.0 else self.low
        if self.low > 0.0 and self.high / self.low > BY_RATIO:
            return self.typical * exp(abs(share) * log(end / self.typical))
        return self.typical + abs(share) * (end - self.typical)


@lru_cache(maxsize=1)
def handbook() -> dict[str, Number]:
    """Every number by its name.

    Raises
    ------
    FaultnetError
        If a row is malformed: an unknown mark, no source, or ends that do not enclose the typical value.
    """
    found: dict[str, Number] = {}
    text = files(__package__).joinpath("numbers.csv").read_text(encoding="utf-8")
    for row in csv.DictReader(text.splitlines()):
        typical = float(row["typical"])
        low, high = (float(row[end]) if row[end] else typical for end in ("low", "high"))
        if row["mark"] not in MARKS or not row["source"] or not low <= typical <= high or row["name"] in found:
            raise FaultnetError("a number of the independent world is malformed", where=row["name"], got=str(row))
        found[row["name"]] = Number(low, typical, high, row["unit"], row["mark"], row["source"])
    return found


def typical(name: str) -> float:
    """The typical value of a number, in its own unit.

    Examples
    --------
    >>> typical("drop_out_seconds")
    0.012
    """
    return handbook()[name].typical


def at(name: str, place: float) -> float:
    """A number at a standard normal place, in its own unit."""
    return handbook()[name].at(place)
