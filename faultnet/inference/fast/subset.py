"""Some of the hypotheses and some states of charge, and how the messages of clusters look to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Components, Index, IndexArray
from faultnet.inference.contraction import Tensor
from faultnet.inference.evidence import Evidence, pooled
from faultnet.inference.fast.clique_tables import TINY, Asked
from faultnet.inference.fast.messages import Placements
from faultnet.inference.fast.query import over_charge
from faultnet.model.network import Array

Question = tuple[str, Array, Array]


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
    expected : int array, optional
        Hypotheses that may be looked at next, for which answers are kept ready where that costs little.
    """

    placements: Placements
    chosen: Index | None = None
    charge_states: Index | None = None
    expected: Index | None = None

    @cached_property
    def modes(self) -> IndexArray:
        """Modes of all components, shape (hypotheses, components)."""
        modes = self.placements.modes
        return modes if self.chosen is None else modes[self.chosen]

    def focused(self, chosen: Index, charge_states: Index | None = None, expected: Index | None = None) -> View:
        """Some of what is looked at."""
        inner = self._inner(chosen)
        if charge_states is None:
            return replace(self, chosen=inner)
        states = charge_states if self.charge_states is None else self.charge_states[charge_states]
        return View(self.placements, inner, states, None if expected is None else self._inner(expected))

    def _inner(self, rows: Index) -> Index:
        return rows if self.chosen is None else self.chosen[rows]

    def rows_of(self, k: int, components: Components) -> NDArray[np.integer]:
        """Row of each hypothesis in a message of a cluster that depends on these components."""
        if not components:
            return np.zeros(len(self.modes), dtype=np.intp)
        rows = self.placements[k].rows_of(components)
        return rows if self.chosen is None else rows[self.chosen]

    def cut(self, message: Tensor) -> Tensor:
        """A message for all states of charge, for those looked at."""
        if self.charge_states is None or CHARGE not in message.axes:
            return message
        return message.taken(self.charge_states, CHARGE)

    def each(self, k: int, message: Tensor) -> Array:
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
    belief : array, shape (hypotheses,), optional
        Where it is given, hidden states that hold next to none of it are left out.
    """

    view: View
    evidence: Mapping[int, tuple[Evidence, ...]]
    start: Array
    belief: Array | None = None

    @cached_property
    def likelihoods(self) -> dict[int, Array]:
        """What each cluster's evidence says of the charge, shape (hypotheses, charge states)."""
        found = {}
        for k, mine in self.evidence.items():
            message, _ = self.view.placements[k].message(mine)
            if CHARGE in message.axes:
                found[k] = self.view.each(k, message).T
        return found

    @cached_property
    def _everywhere(self) -> Array:
        return self._but_for(None)

    def elsewhere(self, k: int) -> Array:
        """Weight over the state of charge from everything but one cluster, scaled row by row."""
        return self._but_for(k) if k in self.likelihoods else self._everywhere

    def _but_for(self, k: int | None) -> Array:
        total = self.start
        for other, rows in self.likelihoods.items():
            if other != k:
                total = total * rows
                total = total / np.maximum(total.max(axis=1, keepdims=True), TINY)
        return total

    def of_cluster(self, k: int, tests: Mapping[str, Question]) -> dict[str, Array]:
        """Joint weight with the outcomes of each test, shape (hypotheses, outcomes)."""
        mine = self.evidence.get(k, ())
        nodes = self.view.placements.clusters[k].network.nodes
        read, _ = pooled(mine)
        sites: dict[tuple[str, ...], list[str]] = {}
        for name, (quantity, _, _) in tests.items():
            sites.setdefault(nodes[quantity].parents, []).append(name)
        asked = [tuple((tests[n][0], tests[n][1], read.get(tests[n][0])) for n in names) for names in sites.values()]
        found: dict[str, Array] = {}
        for names, joint in zip(sites.values(), self._joint(k, mine, asked), strict=True):
            stop = 0
            for name in names:
                first, stop = stop, stop + tests[name][1].shape[1]
                found[name] = joint[:, first:stop]
        return found

    def _joint(self, k: int, evidence: tuple[Evidence, ...], asked: Sequence[tuple[Asked, ...]]) -> list[Array]:
        """For each site, the outcomes of its tests one after the other, shape (hypotheses, outcomes)."""
        place = self.view.placements[k]
        before = self.elsewhere(k)
        if not place.small:
            sites = [place.bound.outcomes(questions) for questions in asked]
            query, view = place.query(evidence, self.view.charge_states), self.view
            rows = place.which if view.chosen is None else place.which[view.chosen]
            expected = None if view.expected is None else np.unique(place.which[view.expected])
            if self.belief is not None:
                query = query.narrowed(rows, before, view.charge_states, expected, self.belief)
            return query.answers(sites, rows, before, view.charge_states, expected)
        return [self._whole(k, place.answer(evidence, questions), before) for questions in asked]

    def _whole(self, k: int, message: Tensor, before: Array) -> Array:
        """A message for all configurations, for each hypothesis, shape (hypotheses, outcomes)."""
        message = self.view.cut(message)
        values = message.values if CHARGE in message.axes else message.values[..., None, :]
        if not message.components:
            values = values[None]
        return over_charge([values], self.view.rows_of(k, message.components), before)[0]
