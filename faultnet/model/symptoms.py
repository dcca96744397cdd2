"""Quantities that no equation describes: tables from counts, combined over the causes present."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.model.modes import active_node
from faultnet.model.network import Array, Node, normalised
from faultnet.model.setting import Setting
from faultnet.prior_set.types import SymptomTable, Test

NEVER_RULED_OUT = 2e-3  # [-] spread evenly over the answers of a table: no answer is impossible


def symptom_node(setting: Setting, test: Test) -> Node:
    """The table of a test whose answers are elicited counts."""
    table = setting.catalogue.symptoms[test.id]
    components = table.components()
    parents = tuple(active_node(setting.catalogue, c) if table.today else c for c in components)
    modes = [setting.modes(c) for c in components]
    states = tuple(c for c, _ in test.choices)
    values = all_combined(table, components, modes)
    return Node(f"answer_{test.id}", "quantity", states, parents, normalised(values, NEVER_RULED_OUT))


def all_combined(table: SymptomTable, components: Sequence[str], modes: Sequence[tuple[str, ...]]) -> Array:
    """Chance of each choice for every combination of modes, shape (choices, modes, modes, ...).

    Parameters
    ----------
    table : SymptomTable
    components : sequence of str
        One for each further axis.
    modes : sequence of tuple of str
        Of each component.

    Notes
    -----
    "average": the mean of the rows present; of those that decide alone, where one of them is.
    "worst": a leaky noisy maximum. With F the cumulative distribution over choices from most normal to most abnormal,
    F = F_otherwise * prod_i (F_i / F_otherwise), each ratio cut at one.

    Examples
    --------
    >>> table = SymptomTable("t", "worst", (9.0, 1.0), {("a", "x"): (1.0, 1.0)}, {})
    >>> all_combined(table, ["a"], [("sound", "x")])
    array([[0.9, 0.5],
           [0.1, 0.5]])
    """
    leak = np.asarray(table.otherwise, dtype=np.float64)
    leak = leak / leak.sum()
    rows = [[table.rows.get((c, m)) for m in ms] for c, ms in zip(components, modes, strict=True)]
    if table.combine == "average":
        shares = [_along([np.zeros(len(leak)) if r is None else np.asarray(r) / np.sum(r) for r in own], k, len(rows))
                  for k, own in enumerate(rows)]  # fmt: skip
        counts = [_along([np.array([r is not None]) for r in own], k, len(rows)) for k, own in enumerate(rows)]
        found = leak.reshape(-1, *(1,) * len(rows))
        for decisive in (False, True):
            chosen = [k for k, c in enumerate(components) if c in table.decided_by or not decisive]
            number = sum((counts[k] for k in chosen), np.zeros(1))
            mean = sum((shares[k] for k in chosen), np.zeros(1)) / np.maximum(number, 1.0)
            found = np.where(number > 0.0, mean, found)
        return np.asarray(found)
    floor = np.maximum(np.cumsum(leak), 1e-9)
    below = floor.reshape(-1, *(1,) * len(rows))
    for k, own in enumerate(rows):
        ratios = [np.minimum((floor if r is None else np.cumsum(np.asarray(r) / np.sum(r))) / floor, 1.0) for r in own]
        below = below * _along(ratios, k, len(rows))
    below[-1] = 1.0
    return np.asarray(np.diff(below, axis=0, prepend=0.0))


def _along(columns: list[Array], axis: int, axes: int) -> Array:
    """Columns side by side along one of so many axes after the first."""
    return np.stack(columns, axis=1).astype(np.float64).reshape(len(columns[0]), *(
        len(columns) if k == axis else 1 for k in range(axes)
    ))  # fmt: skip


def combined(table: SymptomTable, present: list[tuple[str, str]]) -> Array:
    """Chance of each choice given the modes of the table's components.

    Parameters
    ----------
    table : SymptomTable
    present : list of (component, mode)

    Returns
    -------
    array, shape (choices,)

    Examples
    --------
    >>> table = SymptomTable("t", "worst", (9.0, 1.0), {("a", "x"): (1.0, 1.0), ("b", "y"): (1.0, 1.0)}, {})
    >>> combined(table, [("a", "x"), ("b", "sound")])
    array([0.5, 0.5])
    """
    return all_combined(table, [c for c, _ in present], [(m,) for _, m in present]).reshape(-1)
