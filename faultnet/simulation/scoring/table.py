"""The trial's table: each policy's results over all cars, every number with its 95 % interval."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

import numpy as np

from faultnet.model.network import Array
from faultnet.notebook import frame, html_table
from faultnet.simulation.scoring.scores import (
    Interval,
    brier_parts,
    brier_score,
    calibration_interval,
    class_sums,
    corrected_calibration,
    log_loss,
    mean_interval,
    ratio_interval,
    wilson,
)
from faultnet.simulation.workshop.one_car import CarResult

if TYPE_CHECKING:
    import pandas as pd

COLUMNS = (
    *("right_first_time", "right_at_first_visit", "right_in_the_end", "cars_that_came_back", "wrong_parts_per_100"),
    *("minutes", "cost", "tests", "brier", "log_loss", "calibration_error", "leading_calibration_error"),
    *("leading_calibration_corrected", "leading_belief_less_truth"),
)
AGAINST = "flow_chart"
SHOWING = (("shows", True), ("hidden", False), ("sound", None))


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
    reliability, leading : array, shape (3, classes)
        Beliefs, hits and count of each class, over all components and cars, and of each car's likeliest component.
    by_component : dict of component to dict of str to float
        Its Brier score, what that is made of, and its skill.
    first_visit : dict of str to dict of str to int
        Cars and those right at the first visit: of those whose fault shows then, whose is hidden, and without one.
    """

    numbers: dict[str, Interval]
    came_back: int
    left_with_fault: int
    looped: int
    against: dict[str, Interval]
    reliability: Array
    leading: Array
    by_component: dict[str, dict[str, float | None]]
    first_visit: dict[str, dict[str, int]]

    def record(self) -> dict[str, object]:
        """As plain data for JSON, rounded to six digits."""
        numbers = {name: rounded(found) for name, found in self.numbers.items()}
        counts = {"come_backs": self.came_back, "left_with_fault": self.left_with_fault, "looped": self.looped}
        against = {f"{name}_against_flow_chart": rounded(found) for name, found in self.against.items()}
        classes = {"reliability": self.reliability, "leading_reliability": self.leading}
        pictures = {name: reliability_record(sums) for name, sums in classes.items()}
        tables = {"by_component": self.by_component, "first_visit": self.first_visit}
        return {**numbers, **counts, **against, **pictures, **tables}


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
    leading, over = _leading(said, true)
    numbers = {
        "right_first_time": _share(found, lambda r: r.right_first_time),
        "right_at_first_visit": _share(found, right_at_first_visit),
        "right_in_the_end": _share(found, lambda r: not r.left_with_fault),
        "cars_that_came_back": _share(found, lambda r: r.come_backs > 0),
        "wrong_parts_per_100": mean_interval(_column(found, "wrong_parts"), rng, 100.0),
        **{name: mean_interval(_column(found, name), rng) for name in ("minutes", "cost", "tests")},
        "brier": mean_interval(np.array([brier_score(s, t) for s, t in zip(said, true, strict=True)]), rng),
        "log_loss": mean_interval(np.array([log_loss(s, t) for s, t in zip(said, true, strict=True)]), rng),
        "calibration_error": calibration_interval(sums, rng),
        "leading_calibration_error": calibration_interval(leading, rng),
        "leading_calibration_corrected": corrected_calibration(leading, rng),
        "leading_belief_less_truth": mean_interval(over, rng),
    }
    against = {}
    if others is not None:
        pairs = {name: (_column(found, name), _column(others, name)) for name in ("minutes", "cost")}
        against = {name: ratio_interval(*pair, rng) for name, pair in pairs.items()}
    came_back, left, looped = (
        sum(int(getattr(r, name)) for r in found) for name in ("come_backs", "left_with_fault", "looped")
    )
    by_component = {c: _component(said[:, k], true[:, k]) for k, c in enumerate(found[0].beliefs)}
    return Row(
        numbers,
        came_back,
        left,
        looped,
        against,
        sums.sum(axis=0),
        leading.sum(axis=0),
        by_component,
        _first_visit(found),
    )


def right_at_first_visit(result: CarResult) -> bool:
    """Whether nothing was bought in vain, the car did not come back and no fault was left in it."""
    return not (result.wrong_parts or result.come_backs or result.left_with_fault)


def _first_visit(found: Sequence[CarResult]) -> dict[str, dict[str, int]]:
    groups = {name: [r for r in found if r.shows is shows] for name, shows in SHOWING}
    return {name: {"right": sum(map(right_at_first_visit, own)), "cars": len(own)} for name, own in groups.items()}


def _share(found: Sequence[CarResult], holds: Callable[[CarResult], bool]) -> Interval:
    return wilson(sum(map(holds, found)), len(found))


def _component(said: Array, true: Array) -> dict[str, float | None]:
    """Brier score of one component, what it is made of, and its skill against knowing how often it is at fault."""
    score, parts = brier_score(said, true), brier_parts(class_sums(said, true))
    skill = round(1.0 - score / parts.uncertainty, 6) if parts.uncertainty else None
    return {"brier": round(score, 6), **{k: round(v, 6) for k, v in asdict(parts).items()}, "skill": skill}


def _column(found: Sequence[CarResult], name: str) -> Array:
    return np.array([getattr(r, name) for r in found], dtype=float)


def beliefs_and_truth(found: Sequence[CarResult]) -> tuple[Array, Array]:
    """Belief that each component is at fault, and whether it is, shape (cars, components)."""
    components = list(found[0].beliefs)
    said = np.array([[r.beliefs[c] for c in components] for r in found])
    true = np.array([[float(any(c == f for f, _ in r.faults)) for c in components] for r in found])
    return said, true


def _leading(said: Array, true: Array) -> tuple[Array, Array]:
    """Class sums of the likeliest component of each car alone, shape (cars, 3, classes), and its belief less truth."""
    rows = np.arange(len(said))
    first = said.argmax(axis=1)
    said, true = said[rows, first], true[rows, first]
    sums = [class_sums(s, t) for s, t in zip(said[:, None], true[:, None], strict=True)]
    return np.stack(sums), said - true
