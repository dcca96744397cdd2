"""Some of the hypotheses and some states of charge, and how the messages of clusters look to them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.engine.bound import Sheet
from faultnet.engine.clusters import CHARGE
from faultnet.engine.contraction import Tensor
from faultnet.engine.placed import Evidence, Placements, pooled
from faultnet.engine.rows import Components, Index, IndexArray, distinct_rows
from faultnet.network.structure import Array

TINY = 1e-300
Question = tuple[str, Array, Array]
Answer = tuple[Tensor, NDArray[np.integer]]


@dataclass(frozen=True, eq=False)
class View:
    """Hypotheses and states of charge looked at.

    Parameters
    ----------
    placements : Placements
        Clusters bound to all hypotheses.
    chosen : int array, optional
        The hypotheses looked at; all when left out.
    charge_states : int array, optional
        The states of charge looked at; all when left out.
    """

    placements: Placements
    chosen: Index | None = None
    charge_states: Index | None = None

    @cached_property
    def modes(self) -> IndexArray:
        """Modes of all components, shape (hypotheses, components)."""
        modes = self.placements.modes
        return modes if self.chosen is None else modes[self.chosen]

    def focused(self, chosen: Index, charge_states: Index | None = None) -> View:
        """Some of what is looked at."""
        inner = chosen if self.chosen is None else self.chosen[chosen]
        if charge_states is None:
            return replace(self, chosen=inner)
        states = charge_states if self.charge_states is None else self.charge_states[charge_states]
        return View(self.placements, inner, states)

    def rows_of(self, k: int, components: Components) -> NDArray[np.integer]:
        """Row of each hypothesis in a message of a cluster that hangs on these components."""
        if not components:
            return np.zeros(len(self.modes), dtype=np.intp)
        rows = self.placements[k].rows_of(components)
        return rows if self.chosen is None else rows[self.chosen]

    def cut(self, message: Tensor) -> Tensor:
        """A message for all states of charge, for those looked at."""
        if self.charge_states is None or CHARGE not in message.axes:
            return message
        values = message.values.take(self.charge_states, axis=message.axes.index(CHARGE))
        return Tensor(values, message.axes, message.components)

    def spread(self, k: int, message: Tensor) -> Array:
        """A cluster's message for each hypothesis, shape (hypotheses,) or (charge states, hypotheses)."""
        values = self.cut(message).values.T
        if not message.components:
            return np.broadcast_to(values[..., None], (*values.shape, len(self.modes)))
        return np.take(values, self.rows_of(k, message.components), axis=-1)


@dataclass(frozen=True, eq=False)
class Outlook:
    """What tests would show, under the evidence of a stage.

    Parameters
    ----------
    view : View
    evidence : dict of cluster to tuple of Evidence
    start : array, shape (hypotheses, charge states)
        Weight over the state of charge when the stage begins.
    """

    view: View
    evidence: Mapping[int, tuple[Evidence, ...]]
    start: Array

    @cached_property
    def likelihoods(self) -> dict[int, Array]:
        """What each cluster's evidence says of the charge, shape (hypotheses, charge states)."""
        found = {}
        for k, mine in self.evidence.items():
            message, _ = self.view.placements[k].message(mine)
            if CHARGE in message.axes:
                found[k] = self.view.spread(k, message).T
        return found

    def elsewhere(self, k: int) -> Array:
        """Weight over the state of charge from everything but one cluster, scaled row by row."""
        total = self.start
        for other, rows in self.likelihoods.items():
            if other != k:
                total = total * rows
                total = total / np.maximum(total.max(axis=1, keepdims=True), TINY)
        return total

    def of_cluster(self, k: int, tests: Mapping[str, Question]) -> dict[str, Array]:
        """Joint weight with the outcomes of each test, shape (hypotheses, outcomes)."""
        by_site: dict[tuple[tuple[str, ...], str], list[str]] = {}
        nodes = self.view.placements.clusters[k].network.nodes
        read, _ = pooled(self.evidence.get(k, ()))
        for name, (quantity, _, _) in tests.items():
            by_site.setdefault((nodes[quantity].parents, quantity if quantity in read else ""), []).append(name)
        found: dict[str, Array] = {}
        desk = None if self.view.placements[k].small else self._desk(k, self.evidence.get(k, ()))
        before = self.elsewhere(k)
        for (_, again), names in by_site.items():
            asked = tuple(tests[n][:2] for n in names)
            if again:
                message, rows = self._read_again(k, again, read[again], asked)
            else:
                message, rows = self._whole(k, self.evidence.get(k, ()), asked) if desk is None else desk.answer(asked)
            joint = _summed_over_charge(message, rows, before)
            stop = 0
            for name in names:
                first, stop = stop, stop + tests[name][1].shape[1]
                found[name] = joint[:, first:stop]
        return found

    def _read_again(self, k: int, quantity: str, likelihood: Array, asked: tuple[tuple[str, Array], ...]) -> Answer:
        """What another reading of a quantity would show that was read before: the value behind both is the same."""
        others = tuple(e for e in self.evidence.get(k, ()) if e.quantity != quantity)
        together = tuple((q, likelihood[:, None] * table) for q, table in asked)
        if self.view.placements[k].small:
            return self._whole(k, others, together)
        return self._desk(k, others).answer(together)

    def _whole(self, k: int, evidence: tuple[Evidence, ...], asked: tuple[tuple[str, Array], ...]) -> Answer:
        message = self.view.placements[k].answer(evidence, asked)
        return self.view.cut(message), self.view.rows_of(k, message.components)

    def _desk(self, k: int, evidence: tuple[Evidence, ...]) -> Desk:
        place = self.view.placements[k]
        weights = tuple(place.weights(evidence)[0])
        if self.view.chosen is None:
            sheet = Sheet(place.bound, place.bound.rows, self.view.charge_states)
            return Desk(sheet, place.which, weights)
        first, inside = distinct_rows(place.which[self.view.chosen][:, None])
        rows = place.bound.rows.restricted(place.which[self.view.chosen][first].astype(np.intp))
        return Desk(Sheet(place.bound, rows, self.view.charge_states), inside, weights)


@dataclass(frozen=True, eq=False)
class Desk:
    """One cluster's tests answered for the hypotheses looked at, on a sheet that all of them share.

    Parameters
    ----------
    sheet : Sheet
    inside : int array, shape (hypotheses,)
        Row of each hypothesis among the sheet's joint modes.
    weights : tuple of Tensor
        Of the evidence.
    """

    sheet: Sheet
    inside: NDArray[np.integer]
    weights: tuple[Tensor, ...]

    def answer(self, asked: tuple[tuple[str, Array], ...]) -> Answer:
        """Message with the outcomes of tests that share a site, and the row of each hypothesis in it."""
        outcomes = self.sheet.bound.outcomes(asked)
        message = self.sheet.worked_out(self.weights, outcomes, tuple(q for q, _ in asked))
        if not message.components:
            return message, np.zeros(len(self.inside), dtype=np.intp)
        return message, self.sheet.rows.part(message.components).which[self.inside]


def _summed_over_charge(message: Tensor, rows: NDArray[np.integer], before: Array) -> Array:
    """Outcomes for each hypothesis, shape (hypotheses, outcomes), from a message and the weight over the charge."""
    values = message.values if message.components else message.values[None]
    picked = values.take(rows, axis=0)
    if CHARGE in message.axes:
        return np.asarray(np.matmul(before[:, None, :], picked)[:, 0, :])
    return picked
