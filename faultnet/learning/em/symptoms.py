"""Symptom tables as they are tuned: rows of counts, the causes present, and what an answer says of a hypothesis.

A symptom depends on the modes alone, so its table is a factor beside the physical readings, and an answer that was
slipped or a leaked one is told apart from one the table gave. Where one listed cause is present the count goes to its
row; where several are, "average" splits it by how likely each row makes the answer (exact), and "worst" does the same
as a proposal that is taken only as far as it raises the expected log posterior.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.learning.em.space import Space
from faultnet.model.network import Array
from faultnet.model.symptoms import NEVER_RULED_OUT
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import SymptomTable

LEAK = NEVER_RULED_OUT
TINY = 1e-300
HALVINGS = 6
Tables = dict[str, Array]


@dataclass(frozen=True, eq=False)
class SymptomForm:
    """One symptom's table on a space.

    Parameters
    ----------
    table : SymptomTable
        Of the old prior set.
    choices : tuple of str
    causes : tuple of str
        "otherwise", then "component:mode": the rows.
    counts : array, shape (rows, choices)
        What the old prior is worth [cases].
    present : tuple of tuple of int
        Rows that are present in each sort of hypothesis; (0,) where none of the listed causes is.
    sort : int array, shape (hypotheses,)
        Sort of each hypothesis.
    """

    table: SymptomTable
    choices: tuple[str, ...]
    causes: tuple[str, ...]
    counts: Array = field(repr=False)
    present: tuple[tuple[int, ...], ...] = field(repr=False)
    sort: Index = field(repr=False)

    def start(self) -> Array:
        """The old table, rows summing to one."""
        return np.asarray(self.counts / self.counts.sum(axis=1, keepdims=True))

    def answers(self, rows: Array) -> Array:
        """Chance of each true answer for every sort of hypothesis, without the leak, shape (sorts, choices).

        The same as :func:`faultnet.model.symptoms.combined`, for all sorts at once.
        """
        shares = rows / rows.sum(axis=1, keepdims=True)
        if self.table.combine == "average":
            return np.asarray(self.held @ shares / self.held.sum(axis=1, keepdims=True))
        floor = np.maximum(np.cumsum(shares[0]), 1e-9)
        ratio = np.minimum(np.cumsum(shares[1:], axis=1) / floor, 1.0)
        below = floor * np.exp(self.held[:, 1:] @ np.log(np.maximum(ratio, TINY)))
        below[:, -1] = 1.0
        return np.diff(below, prepend=0.0, axis=1)

    @cached_property
    def held(self) -> Array:
        """Which rows are present in each sort, shape (sorts, rows), zeros and ones."""
        found = np.zeros((len(self.present), len(self.counts)))
        for k, mine in enumerate(self.present):
            found[k, list(mine)] = 1.0
        return found


def symptom_forms(catalogue: Catalogue, space: Space, strength: float) -> dict[str, SymptomForm]:
    """Lay out the lasting symptom tables on a space, by test; those of today are not tuned."""
    return {
        name: _form(table, tuple(c for c, _ in catalogue.test(name).choices), space, strength)
        for name, table in catalogue.symptoms.items()
        if not table.today
    }


def _form(table: SymptomTable, choices: tuple[str, ...], space: Space, strength: float) -> SymptomForm:
    node = space.networks[0].nodes
    held = np.stack([
        space.modes[:, space.components.index(c)] == node[c].states.index(m) for c, m in table.rows
    ])  # fmt: skip
    patterns, sort = np.unique(held, axis=1, return_inverse=True)
    alone = np.array([c in table.decided_by for c, _ in table.rows])
    present = tuple(
        tuple((np.flatnonzero(p & alone if (p & alone).any() else p) + 1).tolist()) or (0,) for p in patterns.T
    )
    counts = strength * np.array([table.otherwise, *table.rows.values()], dtype=np.float64)
    causes = ("otherwise", *(f"{c}:{m}" for c, m in table.rows))
    return SymptomForm(table, choices, causes, counts, present, sort.reshape(-1))


def leaked(answers: Array) -> Array:
    """Answers as the network has them: with a small share that is any answer at all."""
    return np.asarray((1.0 - LEAK) * answers + LEAK / answers.shape[1])


def improved(form: SymptomForm, rows: Array, counts: Array) -> Array:
    """Rows that raise the expected log posterior.

    Parameters
    ----------
    form : SymptomForm
    rows : array, shape (rows, choices)
        Now.
    counts : array, shape (sorts, choices)
        Expected true answers that came from the table.
    """
    if not counts.any():
        return rows
    wanted = form.counts + _shared_out(form, rows, counts)
    wanted = wanted / wanted.sum(axis=1, keepdims=True)
    now = _expected(form, rows, counts)
    for step in 0.5 ** np.arange(HALVINGS):
        tried = (1.0 - step) * rows + step * wanted
        if _expected(form, tried, counts) >= now:
            return np.asarray(tried)
    return rows


def _shared_out(form: SymptomForm, rows: Array, counts: Array) -> Array:
    """Expected answers by row."""
    return np.asarray(rows * (form.held.T @ (counts / np.maximum(form.held @ rows, TINY))))


def _expected(form: SymptomForm, rows: Array, counts: Array) -> float:
    return log_prior(form, rows) + float((counts * np.log(np.maximum(form.answers(rows), TINY))).sum())


def log_prior(form: SymptomForm, rows: Array) -> float:
    """Logarithm of the Dirichlet priors of the rows, up to a constant [nat]."""
    return float((form.counts * np.log(np.maximum(rows, TINY))).sum())


def row_counts(form: SymptomForm, rows: Array, counts: Array) -> Array:
    """Expected answers by row, for intervals, shape (rows, choices)."""
    return _shared_out(form, rows, counts)


def started(forms: Mapping[str, SymptomForm]) -> Tables:
    """The old tables."""
    return {name: form.start() for name, form in forms.items()}
