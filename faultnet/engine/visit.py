"""Exact likelihood of one visit for every hypothesis, and what each test would show.

A visit is one or more *stages*: an act ends a stage and starts the next with the state of charge carried over. The
likelihood of a hypothesis is a forward pass over stages whose only memory is the state of charge; within a stage it
is a product over clusters. A fault the model does not know (component `unlisted`) makes every reading broad.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.engine.bound import Bound, Sheet
from faultnet.engine.clusters import CHARGE, find_clusters, history_of
from faultnet.engine.contraction import COMBINATION, Tensor
from faultnet.engine.memo import Memo
from faultnet.engine.placed import Evidence, Placed, Placements, evidence_key, placed
from faultnet.engine.rows import Index, IndexArray
from faultnet.network.structure import Array, Network, Node

__all__ = ["Evidence", "VisitModel", "compile_visit", "log_broad"]
UNLISTED = "unlisted"
TINY = 1e-300
FAR_BELOW = 1e-200
KEPT_STAGES = 3
Question = tuple[str, Array, Array]
Stage = tuple[Array, float]


@dataclass(frozen=True, eq=False)
class VisitModel:
    """One visit's network compiled for a list of hypotheses.

    Parameters
    ----------
    network : Network
    components : tuple of str
    placements : Placements
        Clusters, bound to all hypotheses of the space.
    charge_prior : array, shape (hypotheses, charge states)
    chosen : int array, optional
        The hypotheses this model is for, among those of the placements; all when left out.
    charge_states : int array, optional
        The states of charge that are kept; all when left out.
    """

    network: Network
    components: tuple[str, ...]
    placements: Placements
    charge_prior: Array
    chosen: Index | None = None
    charge_states: Index | None = None
    stages: Memo[Stage] = field(default_factory=lambda: Memo(KEPT_STAGES), repr=False)

    @cached_property
    def modes(self) -> IndexArray:
        """Modes of all components, shape (hypotheses, components)."""
        modes = self.placements.modes
        return modes if self.chosen is None else modes[self.chosen]

    @cached_property
    def unlisted(self) -> NDArray[np.bool_]:
        """Hypotheses with a fault the model does not know."""
        if UNLISTED not in self.components:
            return np.zeros(len(self.charge_prior), dtype=np.bool_)
        return np.asarray(self.modes[:, self.components.index(UNLISTED)] > 0)

    @cached_property
    def _strangers(self) -> Index:
        return np.flatnonzero(self.unlisted)

    def stage(self, evidence: Sequence[Evidence]) -> Stage:
        """Likelihood of a stage's evidence.

        Parameters
        ----------
        evidence : sequence of Evidence

        Returns
        -------
        weight : array, shape (hypotheses, charge states or 1)
            Scaled so that nothing overflows and the best stays in range; not to be written to.
        log_scale : float
            Natural logarithm of what the weight has to be multiplied by.
        """
        return self.stages.get(evidence_key(evidence), lambda: self._stage(evidence))

    def _stage(self, evidence: Sequence[Evidence]) -> Stage:
        log_rows: Array = np.zeros(len(self.charge_prior))
        weight: Array = np.ones((1, len(self.charge_prior)))
        scale = 0.0
        for k, mine in self.placements.by_cluster(evidence).items():
            message, log_scale = self.placements[k].message(mine)
            scale += log_scale
            if CHARGE in message.axes:
                weight = weight * self._spread(k, message)
            else:
                with np.errstate(divide="ignore"):
                    log_rows = log_rows + self._spread(k, Tensor(np.log(message.values), message.axes, message.components))
        weight, scale = self._scaled(weight, log_rows, scale)
        weight, scale = self._with_unlisted(evidence, weight, scale)
        weight.flags.writeable = False
        return weight.T, scale

    def _spread(self, k: int, message: Tensor) -> Array:
        """A cluster's message for each hypothesis, shape (hypotheses,) or (charge states, hypotheses)."""
        values = message.values
        if CHARGE in message.axes:
            values = values.T if message.components else values[:, None]
            values = values if self.charge_states is None else values[self.charge_states]
        if not message.components:
            return values
        return np.take(values, self._rows_of(k, message), axis=-1)

    def _rows_of(self, k: int, message: Tensor) -> NDArray[np.integer]:
        rows = self.placements[k].rows_of(message.components)
        return rows if self.chosen is None else rows[self.chosen]

    def _scaled(self, weight: Array, log_rows: Array, scale: float) -> tuple[Array, float]:
        """Join what hangs on the charge with what does not, so that the best listed hypothesis gets a weight of one."""
        top = weight.max(axis=0)
        with np.errstate(divide="ignore"):
            log_top = log_rows + np.log(top)
        log_top[self._strangers] = -np.inf
        best = float(log_top.max(initial=-np.inf))
        if not np.isfinite(best):
            return np.zeros_like(weight), scale
        return weight / np.maximum(top, TINY) * np.exp(log_top - best), scale + best

    def _with_unlisted(self, evidence: Sequence[Evidence], weight: Array, scale: float) -> tuple[Array, float]:
        """Put the broad likelihood where the fault is one the model does not know."""
        if not len(self._strangers):
            return weight, scale
        broad = log_broad(evidence) - scale
        shift = max(0.0, broad)
        if shift > 0.0:
            weight = weight * np.exp(-shift)
        weight[:, self._strangers] = np.exp(broad - shift)
        return weight, scale + shift

    def with_node(self, node: Node) -> VisitModel:
        """The same visit with one hidden node's table replaced."""
        network = Network({**self.network.nodes, node.name: node})
        placements = self.placements.with_network(network, node.name)
        return replace(self, network=network, placements=placements, stages=Memo(KEPT_STAGES))

    def for_modes(self, modes: IndexArray) -> VisitModel:
        """The same visit with other modes behind the hypotheses, as after a repair."""
        placements = Placements(self.placements.clusters, self.components, modes)
        return VisitModel(
            self.network, self.components, placements, self.charge_prior, charge_states=self.charge_states
        )

    def subset(self, chosen: Index) -> VisitModel:
        """The same visit for some of the hypotheses only."""
        inner = chosen if self.chosen is None else self.chosen[chosen]
        return replace(self, chosen=inner, charge_prior=self.charge_prior[chosen], stages=Memo(KEPT_STAGES))

    def focused(self, chosen: Index, charge_states: Index) -> VisitModel:
        """The same visit for some hypotheses and some states of charge only.

        Parameters
        ----------
        chosen : int array
            Rows of the hypotheses that are kept.
        charge_states : int array
            States of charge that are kept; what the others weigh is left out.
        """
        part = self.subset(chosen)
        inner = charge_states if self.charge_states is None else self.charge_states[charge_states]
        return replace(part, charge_states=inner, charge_prior=part.charge_prior[:, charge_states])

    def predict(
        self, evidence: Sequence[Evidence], tests: Mapping[str, Question], carried: Array | None = None
    ) -> dict[str, Array]:
        """Chance of each outcome of each test given each hypothesis and the evidence, up to a factor for each row.

        Parameters
        ----------
        evidence : sequence of Evidence
            Entries of the present stage.
        tests : dict of test id to (quantity, outcome table, broad table)
            Outcome table: shape (states, outcomes), chance of each outcome class given the quantity's state [-];
            broad table: shape (outcomes,), the same under a fault the model does not know.
        carried : array, shape (hypotheses, charge states), optional
            Weight over the state of charge at the start of the stage; the prior when left out.

        Returns
        -------
        dict of test id to array, shape (hypotheses, outcomes)
            Rows are proportional to the chance of each outcome.
        """
        groups = self.placements.by_cluster(evidence)
        elsewhere = _Elsewhere(self, groups, self.charge_prior if carried is None else carried)
        by_cluster: dict[int, list[str]] = {}
        for test, (quantity, _, _) in tests.items():
            by_cluster.setdefault(self.placements.owner[quantity], []).append(test)
        result: dict[str, Array] = {}
        for k, names in by_cluster.items():
            mine = {n: tests[n] for n in names}
            for name, joint in self._outcomes(k, groups.get(k, ()), mine, elsewhere).items():
                joint[self._strangers] = tests[name][2]
                result[name] = joint
        return result

    def _outcomes(
        self, k: int, evidence: tuple[Evidence, ...], tests: Mapping[str, Question], elsewhere: _Elsewhere
    ) -> dict[str, Array]:
        """Joint weight with the outcomes of one cluster's tests, each of shape (hypotheses, outcomes)."""
        place = self.placements[k]
        by_site: dict[tuple[str, ...], list[str]] = {}
        for name, (quantity, _, _) in tests.items():
            by_site.setdefault(self.network.nodes[quantity].parents, []).append(name)
        found: dict[str, Array] = {}
        desk = None if place.small else _desk(self, place, evidence)
        for names in by_site.values():
            asked = tuple(tests[n][:2] for n in names)
            if desk is None:
                message = place.answer(evidence, asked)
                rows = self._rows_of(k, message) if message.components else None
                message = self._charge_cut(message)
            else:
                message, rows = desk.answer(names, asked)
            joint = elsewhere.joined(k, message, rows)
            stop = 0
            for name in names:
                first, stop = stop, stop + tests[name][1].shape[1]
                found[name] = joint[:, first:stop]
        return found
