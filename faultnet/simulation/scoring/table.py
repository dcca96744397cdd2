"""The trial's table: each policy's results over all cars, every number with its 95 % interval."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultnet.model.network import Array
from faultnet.notebook import frame, html_table
from faultnet.simulation.scoring.scores import (
    Interval,
    brier_score,
    calibration_interval,
    class_sums,
    log_loss,
    mean_interval,
    ratio_interval,
    wilson,
)
from faultnet.simulation.workshop.one_car import CarResult

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    *("right_first_time", "wrong_parts_per_100", "minutes", "cost", "tests", "brier", "log_loss"),
    *("calibration_error", "leading_calibration_error"),
)
AGAINST = "flow_chart"


@dataclass(frozen=True, eq=False)
class Row:
    """One policy's results.

    Parameters
    ----------
    numbers : dict of column to Interval
    came_back, left_with_fault, looped : int
        Call-backs, cars given back for good with a fault, cars that took too many steps.
    against : dict of str to Interval
        Minutes and cost as a share of the flow chart's on the same cars; empty without it.
    reliability : array, shape (3, classes)
        Beliefs, hits and count of each class, over all components and cars.
    """

    numbers: dict[str, Interval]
    came_back: int
    left_with_fault: int
    looped: int
    against: dict[str, Interval]
    reliability: Array

    def record(self) -> dict[str, object]:
        """As plain data for JSON, rounded to six digits."""
        numbers = {name: rounded(found) for name, found in self.numbers.items()}
        counts = {"come_backs": self.came_back, "left_with_fault": self.left_with_fault, "looped": self.looped}
        against = {f"{name}_against_flow_chart": rounded(found) for name, found in self.against.items()}
        return {**numbers, **counts, **against, "reliability": reliability_record(self.reliability)}


class Results(dict[str, Row]):
    """Policies with their rows; shows itself as a table in a notebook."""

    def to_frame(self) -> pd.DataFrame:
        """Give the trial as a frame, one row for each policy and number: `value` and its 95 % interval."""
        return frame(self._rows(), ("policy", "number", "value", "low", "high"))

    def _rows(self) -> list[dict[str, object]]:
        return [
            {"policy": policy, "number": name, "value": found.value, "low": found.low, "high": found.high}
            for policy, row in self.items()
            for name, found in row.numbers.items()
        ]

    def _repr_html_(self) -> str:
        rows = [[f"{v:.4g}" if isinstance(v, float) else v for v in row.values()] for row in self._rows()]
        return html_table(("policy", "number", "value", "low", "high"), rows)


def rounded(found: Interval) -> dict[str, float]:
    """An interval as plain data."""
    return {name: round(value, 6) for name, value in asdict(found).items()}


def reliability_record(sums: Array) -> list[dict[str, float]]:
    """Mean belief, frequency and count of each class that holds any belief."""
    return [
        {"belief": round(said / count, 6), "frequency": round(hits / count, 6), "count": int(count)}
        for said, hits, count in sums.T.tolist()
        if count
    ]


def table(results: Mapping[str, Sequence[CarResult]]) -> Results:
    """Put the results of policies together, each in the order of the cars' numbers.

    Parameters
    ----------
    results : mapping of policy to sequence of CarResult
        The same cars for each.

    Returns
    -------
    Results
        Policy to Row.
    """
    ordered = {name: sorted(found, key=lambda r: r.car) for name, found in results.items()}
    rows = {name: _row(found, ordered.get(AGAINST) if name != AGAINST else None) for name, found in ordered.items()}
    return Results(rows)


def _row(found: Sequence[CarResult], others: Sequence[CarResult] | None) -> Row:
    rng = np.random.default_rng(1)
    said, true = beliefs_and_truth(found)
    sums = np.stack([class_sums(s, t) for s, t in zip(said, true, strict=True)])
    numbers = {
        "right_first_time": wilson(sum(r.right_first_time for r in found), len(found)),
        "wrong_parts_per_100": mean_interval(_column(found, "wrong_parts"), rng, 100.0),
        **{name: mean_interval(_column(found, name), rng) for name in ("minutes", "cost", "tests")},
        "brier": mean_interval(np.array([brier_score(s, t) for s, t in zip(said, true, strict=True)]), rng),
        "log_loss": mean_interval(np.array([log_loss(s, t) for s, t in zip(said, true, strict=True)]), rng),
        "calibration_error": calibration_interval(sums, rng),
        "leading_calibration_error": calibration_interval(_leading_sums(said, true), rng),
    }
    against = {}
    if others is not None:
        pairs = {name: (_column(found, name), _column(others, name)) for name in ("minutes", "cost")}
        against = {name: ratio_interval(*pair, rng) for name, pair in pairs.items()}
    came_back, left, looped = (
        sum(int(getattr(r, name)) for r in found) for name in ("come_backs", "left_with_fault", "looped")
    )
    return Row(numbers, came_back, left, looped, against, sums.sum(axis=0))


def _column(found: Sequence[CarResult], name: str) -> Array:
    return np.array([getattr(r, name) for r in found], dtype=float)


def beliefs_and_truth(found: Sequence[CarResult]) -> tuple[Array, Array]:
    """Belief that each component is at fault, and whether it is, shape (cars, components)."""
    components = list(found[0].beliefs)
    said = np.array([[r.beliefs[c] for c in components] for r in found])
    true = np.array([[float(any(c == f for f, _ in r.faults)) for c in components] for r in found])
    return said, true


def _leading_sums(said: Array, true: Array) -> Array:
    """Class sums of the likeliest component of each car alone, shape (cars, 3, classes)."""
    rows = np.arange(len(said))
    first = said.argmax(axis=1)
    return np.stack([class_sums(s, t) for s, t in zip(said[rows, first, None], true[rows, first, None], strict=True)])
