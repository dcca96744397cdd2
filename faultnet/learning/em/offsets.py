"""The control module's offset from the posts, tuned to comparisons at rest.

No hidden thing bears on it, so nothing is missing and the normal distribution's conjugate update is exact. The old mean
is taken as worth :data:`WORTH` cars times `strength`. Instruments that read at the module move with it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import sqrt

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.evidence import COMPARISON_TEST, instrument_of
from faultnet.instruments import reading_spread
from faultnet.learning.result import Change
from faultnet.prior_set.catalogue import Catalogue

WORTH = 20.0
MODULE = "module"


@dataclass(frozen=True)
class Compared:
    """One comparison at rest: module less posts [V], variance of the reading [V^2], weight of the case [-]."""

    value: float
    variance: float
    weight: float


def comparisons(cases: Iterable[Case], weights: Iterable[float], catalogue: Catalogue) -> list[Compared]:
    """All comparisons at rest of a history."""
    found = []
    for case, weight in zip(cases, weights, strict=True):
        for visit in case.visits:
            for entry in visit.entries:
                if isinstance(entry, Reading) and entry.test == COMPARISON_TEST and entry.bound is None:
                    if entry.value is None:
                        continue
                    instrument = instrument_of(catalogue, catalogue.test(entry.test), entry)
                    spread = reading_spread(instrument, entry.value, roughly=entry.roughly)
                    found.append(Compared(entry.value, spread**2, weight))
    return found


def conjugate(mean: float, variance: float, readings: Iterable[tuple[float, float]]) -> tuple[float, float]:
    """Mean and variance of a normal mean after readings of (value, weight over variance).

    Examples
    --------
    >>> conjugate(0.0, 1.0, [(1.0, 1.0)])
    (0.5, 0.5)
    """
    precision, total = 1.0 / variance, mean / variance
    for value, weight in readings:
        precision += weight
        total += weight * value
    return total / precision, 1.0 / precision


def offset_changes(compared: Sequence[Compared], catalogue: Catalogue, strength: float) -> tuple[Change, ...]:
    """The module's offset before and after, and those of the instruments that read there."""
    if not compared:
        return ()
    mean, spread = catalogue.number("module_offset_mean"), catalogue.number("module_offset_spread")
    readings = [(c.value, c.weight / (spread**2 + c.variance)) for c in compared]
    new, variance = conjugate(mean, spread**2 / (WORTH * strength), readings)
    margin, cases = 1.96 * sqrt(variance), sum(c.weight for c in compared)
    worth = cases + WORTH * strength
    rows: list[tuple[str, tuple[str, ...], float]] = [("spreads", ("module_offset_mean",), mean)]
    rows += [("instruments", (i.id, "offset"), i.offset) for i in catalogue.instruments if i.place == MODULE]
    return tuple(
        Change(
            table, key, old, old + new - mean, old + new - mean - margin, old + new - mean + margin, cases, "V", worth
        )
        for table, key, old in rows
    )
