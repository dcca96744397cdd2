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

from faultnet.engine.clusters import (
    BATTERY,
    CHARGE,
    COMBINATION,
    OUTCOME,
    Gather,
    find_clusters,
    gather_for,
    gathered,
    history_of,
    merged,
)
from faultnet.engine.contraction import Tensor, contract
from faultnet.engine.hypotheses import IndexArray, combinations_of
from faultnet.engine.memo import Memo
from faultnet.network.structure import Array, Network, Node

UNLISTED = "unlisted"
TINY = 1e-300
KEPT_MESSAGES = 96


@dataclass(frozen=True)
class Evidence:
    """What one reading says about its quantity.

    Parameters
    ----------
    quantity : str
    likelihood : array, shape (states,)
        Proportional to the chance of the reading given each state [-].
    broad : float
        The same under a fault the model does not know [-].
    """

    quantity: str
    likelihood: Array = field(repr=False)
    broad: float


@dataclass(frozen=True, eq=False)
class VisitModel:
    """One visit's network compiled for a list of hypotheses.

    Parameters
    ----------
    network : Network
    components : tuple of str
    modes : int array, shape (hypotheses, components)
    gathers : tuple of Gather
        One for each cluster.
    owner : dict of quantity to index of its cluster
    charge_prior : array, shape (hypotheses, charge states)
    memo : Memo
        Messages of clusters already worked out.
    """

    network: Network
    components: tuple[str, ...]
    modes: IndexArray
    gathers: tuple[Gather, ...]
    owner: Mapping[str, int]
    charge_prior: Array
    memo: Memo[tuple[Tensor, float]] = field(default_factory=lambda: Memo(KEPT_MESSAGES), repr=False)

    @cached_property
    def unlisted(self) -> NDArray[np.bool_]:
        """Hypotheses with a fault the model does not know."""
        if UNLISTED not in self.components:
            return np.zeros(len(self.modes), dtype=np.bool_)
        return np.asarray(self.modes[:, self.components.index(UNLISTED)] > 0)

    def by_cluster(self, evidence: Sequence[Evidence]) -> dict[int, tuple[Evidence, ...]]:
        """Evidence grouped by the cluster it bears on."""
        groups: dict[int, tuple[Evidence, ...]] = {}
        for e in evidence:
            k = self.owner[e.quantity]
            groups[k] = (*groups.get(k, ()), e)
        return groups

    def sites(self, k: int, evidence: Sequence[Evidence]) -> tuple[list[Tensor], float]:
        """Weights of one cluster's evidence, and the logarithm of what was divided out of them."""
        bound = self.gathers[k].bound
        return merged([bound.site(e.quantity, e.likelihood) for e in evidence])

    def stage(self, evidence: Sequence[Evidence]) -> tuple[Array, float]:
        """Likelihood of a stage's evidence.

        Parameters
        ----------
        evidence : sequence of Evidence

        Returns
        -------
        weight : array, shape (hypotheses, charge states or 1)
            Scaled so that nothing overflows and the best stays in range.
        log_scale : float
            Natural logarithm of what the weight has to be multiplied by.
        """
        total: Array = np.ones((len(self.modes), 1))
        scale = 0.0
        for rows, log_scale in self._weights(evidence).values():
            total = total * rows
            listed_top = float(total[~self.unlisted].max()) if (~self.unlisted).any() else 0.0
            if listed_top > 0.0:
                total = total / listed_top
                scale += float(np.log(listed_top))
            scale += log_scale
        return self._with_unlisted(evidence, total, scale)

    def _weights(self, evidence: Sequence[Evidence]) -> dict[int, tuple[Array, float]]:
        """Likelihood of each cluster's evidence, shape (hypotheses, charge states or 1), and its log scale.

        The messages of clusters are kept, so that only those are worked out anew whose evidence changed.
        """
        found = {}
        for k, mine in self.by_cluster(evidence).items():
            message, log_scale = self._message(k, mine)
            rows = self.gathers[k].rows(message)
            found[k] = (rows if CHARGE in message.axes else rows[:, None]), log_scale
        return found

    def _message(self, k: int, evidence: tuple[Evidence, ...]) -> tuple[Tensor, float]:
        def make() -> tuple[Tensor, float]:
            tensors, log_scale = self.sites(k, evidence)
            return self.gathers[k].bound.message(tensors), log_scale

        return self.memo.get((k, tuple((e.quantity, e.likelihood.tobytes()) for e in evidence)), make)

    def _with_unlisted(self, evidence: Sequence[Evidence], total: Array, scale: float) -> tuple[Array, float]:
        """Put the broad likelihood where the fault is one the model does not know."""
        if UNLISTED not in self.components or not evidence:
            return total, scale
        broad = log_broad(evidence) - scale
        shift = max(0.0, broad)
        weight = np.where(self.unlisted[:, None], np.exp(broad - shift), total * np.exp(-shift))
        return weight, scale + shift

    def with_node(self, node: Node) -> VisitModel:
        """The same visit with one hidden node's table replaced."""
        network = Network({**self.network.nodes, node.name: node})
        gathers = tuple(
            replace(g, bound=replace(g.bound.cluster, network=network).bound(g.bound.distinct))
            if node.name in g.bound.cluster.hidden
            else g
            for g in self.gathers
        )
        return replace(self, network=network, gathers=gathers, memo=Memo(KEPT_MESSAGES))

    def for_modes(self, modes: IndexArray) -> VisitModel:
        """The same visit with other modes behind the hypotheses, as after a repair."""
        gathers = tuple(gather_for(g.bound.cluster, self.components, modes) for g in self.gathers)
        return replace(self, modes=modes, gathers=gathers, memo=Memo(KEPT_MESSAGES))

    def subset(self, chosen: NDArray[np.intp]) -> VisitModel:
        """The same visit for some of the hypotheses only."""
        modes = self.modes[chosen]
        gathers = tuple(gather_for(g.bound.cluster, self.components, modes) for g in self.gathers)
        return VisitModel(self.network, self.components, modes, gathers, self.owner, self.charge_prior[chosen])

    def focused(self, chosen: NDArray[np.intp], charge_states: NDArray[np.intp]) -> VisitModel:
        """The same visit for some hypotheses and some states of charge only, with every table cut to what they need.

        Parameters
        ----------
        chosen : int array
            Rows of the hypotheses that are kept.
        charge_states : int array
            States of charge that are kept; what the others weigh is left out.
        """
        modes = self.modes[chosen]
        kept = {CHARGE: charge_states}
        if BATTERY in self.components:
            column = self.components.index(BATTERY)
            kept[BATTERY] = np.unique(modes[:, column]).astype(np.intp)
            modes = modes.copy()
            modes[:, column] = np.searchsorted(kept[BATTERY], modes[:, column])
        network = Network({name: _cut(node, kept) for name, node in self.network.nodes.items()})
        gathers = tuple(
            gather_for(replace(g.bound.cluster, network=network), self.components, modes) for g in self.gathers
        )
        return VisitModel(network, self.components, modes, gathers, self.owner, self.charge_prior[chosen][:, charge_states])

    def predict(
        self, evidence: Sequence[Evidence], tests: Mapping[str, tuple[str, Array, Array]], carried: Array | None = None
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
        start = self.charge_prior if carried is None else carried
        weights = self._weights(evidence)
        groups = {k: self.sites(k, mine)[0] for k, mine in self.by_cluster(evidence).items()}
        by_site: dict[tuple[int, tuple[str, ...]], list[str]] = {}
        for test, (quantity, _, _) in tests.items():
            key = (self.owner[quantity], self.network.nodes[quantity].parents)
            by_site.setdefault(key, []).append(test)
        rest: dict[int, Array] = {}
        shared: dict[int, dict[object, Tensor]] = {}
        result: dict[str, Array] = {}
        for (k, _), names in by_site.items():
            if k not in rest:
                rest[k] = self._rest(start, weights, k)
            joint = self._outcomes(k, groups.get(k, []), [tests[n] for n in names], rest[k], shared.setdefault(k, {}))
            stop = 0
            for name in names:
                first, stop = stop, stop + tests[name][1].shape[1]
                result[name] = np.where(self.unlisted[:, None], tests[name][2], joint[:, first:stop])
        return result

    def _rest(self, start: Array, weights: Mapping[int, tuple[Array, float]], k: int) -> Array:
        """Weight over the state of charge from everything but one cluster, scaled row by row."""
        total = start
        for other, (rows, _) in weights.items():
            if other != k:
                total = total * rows
                total = total / np.maximum(total.max(axis=1, keepdims=True), TINY)
        return total

    def _outcomes(
        self,
        k: int,
        sites: Sequence[Tensor],
        tests: Sequence[tuple[str, Array, Array]],
        rest: Array,
        shared: dict[object, Tensor],
    ) -> Array:
        """Joint weight with the outcome columns of tests that share a site, shape (hypotheses, outcomes)."""
        bound = self.gathers[k].bound
        columns = [bound.site(quantity, table) for quantity, table, _ in tests]
        axis = columns[0].axes.index(OUTCOME)
        stacked = Tensor(np.concatenate([c.values for c in columns], axis=axis), columns[0].axes)
        message = bound.outcomes(sites, stacked, shared)
        rows = self.gathers[k].rows(message)
        if CHARGE in message.axes:
            return np.asarray(np.matmul(rest[:, None, :], rows)[:, 0, :])
        return np.asarray(rest.sum(axis=1)[:, None] * rows)


def _cut(node: Node, kept: Mapping[str, NDArray[np.intp]]) -> Node:
    """A node with only some columns of its table, where one of its parents is cut."""
    axes = [i for i, a in enumerate(node.axes) if a in kept and i > 0]
    if not axes:
        return node
    table = node.table
    for i in axes:
        table = np.take(table, kept[node.axes[i]], axis=i)
    return replace(node, table=table)


def log_broad(evidence: Sequence[Evidence]) -> float:
    """Log likelihood of the evidence under a fault the model does not know."""
    return float(sum(np.log(e.broad) for e in evidence))


def compile_visit(network: Network, components: tuple[str, ...], modes: IndexArray) -> VisitModel:
    """Compile one visit's network for a list of hypotheses.

    Parameters
    ----------
    network : Network
    components : tuple of str
        Order of the columns of `modes`.
    modes : int array, shape (hypotheses, components)

    Returns
    -------
    VisitModel
    """
    clusters = find_clusters(network)
    owner = {q: i for i, c in enumerate(clusters) for q in c.quantities}
    gathers = tuple(gather_for(c, components, modes) for c in clusters)
    return VisitModel(network, components, modes, gathers, owner, _charge_prior(network, components, modes))


def _charge_prior(network: Network, components: tuple[str, ...], modes: IndexArray) -> Array:
    """State of charge given each hypothesis before any reading, shape (hypotheses, charge states)."""
    if CHARGE not in network.nodes:
        return np.ones((len(modes), 1))
    nodes = [network.nodes[n] for n in (*history_of(network), CHARGE)]
    mine = tuple(c for c in components if any(c in n.axes for n in nodes))
    distinct, which = combinations_of(modes, [components.index(c) for c in mine])
    tensors = [gathered(Tensor(n.table, n.axes), mine, distinct) for n in nodes]
    table = contract(tensors, (COMBINATION, CHARGE))
    return np.ascontiguousarray(table.values[which]) if COMBINATION in table.axes else np.tile(table.values, (len(modes), 1))
