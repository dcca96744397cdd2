"""Quantities that no equation describes: tables from counts, combined over the causes present."""

from __future__ import annotations

from itertools import product

import numpy as np

from faultnet.catalogue.types import SymptomTable, Test
from faultnet.network.modes import COMING_AND_GOING
from faultnet.network.setting import Setting
from faultnet.network.structure import Array, Node, normalised


def symptom_node(setting: Setting, test: Test) -> Node:
    """The table of a test whose answers are elicited counts."""
    table = setting.catalogue.symptoms[test.id]
    components = table.components()
    parents = tuple(f"{c}_now" if table.today and c in COMING_AND_GOING else c for c in components)
    modes = [setting.modes(c) for c in components]
    states = tuple(c for c, _ in test.choices)
    shape = [len(states), *(len(m) for m in modes)]
    values = np.empty(shape)
    for index in product(*(range(len(m)) for m in modes)):
        present = [(c, m[i]) for c, m, i in zip(components, modes, index, strict=True)]
        column: tuple[slice | int, ...] = (slice(None), *index)
        values[column] = combined(table, present)
    return Node(f"answer_{test.id}", "quantity", states, parents, normalised(values, 2e-3))


def combined(table: SymptomTable, present: list[tuple[str, str]]) -> Array:
    """Chance of each choice given the modes of the table's components.

    Parameters
    ----------
    table : SymptomTable
    present : list of (component, mode)

    Returns
    -------
    array, shape (choices,)

    Notes
    -----
    "worst": a leaky noisy maximum. With F the cumulative distribution over choices from most normal to most abnormal,
    F = F_otherwise * prod_i (F_i / F_otherwise), each ratio cut at one.

    Examples
    --------
    >>> table = SymptomTable("t", "worst", (9.0, 1.0), {("a", "x"): (1.0, 1.0), ("b", "y"): (1.0, 1.0)}, {})
    >>> combined(table, [("a", "x"), ("b", "sound")])
    array([0.5, 0.5])
    """
    rows = [np.asarray(table.rows[p]) for p in present if p in table.rows]
    leak = np.asarray(table.otherwise, dtype=np.float64)
    leak = np.asarray(leak / leak.sum(), dtype=np.float64)
    if not rows:
        return leak
    shares = [r / r.sum() for r in rows]
    if table.combine == "average":
        return np.asarray(np.mean(shares, axis=0), dtype=np.float64)
    floor = np.maximum(np.cumsum(leak), 1e-9)
    below = floor.copy()
    for share in shares:
        below = below * np.minimum(np.cumsum(share) / floor, 1.0)
    below[-1] = 1.0
    return np.asarray(np.diff(below, prepend=0.0))
