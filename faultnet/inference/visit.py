"""Exact likelihood of one visit for every hypothesis, and what each test would show.

A visit is one or more *stages*: an act ends a stage and starts the next with the state of charge carried over. The
likelihood of a hypothesis is a forward pass over stages whose only memory is the state of charge; within a stage it
is a product over clusters. A fault the model does not know (component `unlisted`) makes every reading background.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.cliques import CHARGE, Cluster, find_clusters, history_of
from faultnet.inference.configurations import Index, IndexArray
from faultnet.inference.contraction import COMBINATION, Tensor
from faultnet.inference.evidence import UNLISTED, Evidence, evidence_key, log_background
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.fast.clique_tables import TINY
from faultnet.inference.fast.messages import Placements, bind
from faultnet.inference.fast.products import Products
from faultnet.inference.fast.schedule import OUTCOME
from faultnet.inference.fast.subset import Outlook, Question, View
from faultnet.model.network import Array, Network, Node

KEPT_STAGES = 6
KEPT_VARIANTS = 3
TOGETHER = 2048
Stage = tuple[Array, float]


@dataclass(frozen=True, eq=False)
class Charges:
    """State of charge given each hypothesis before any reading.

    Parameters
    ----------
    table : array, shape (rows, charge states)
        Chances; hypotheses that are alike for the charge share a row.
    which : unsigned int array, shape (hypotheses,)
        Row of each hypothesis.
    """

    table: Array = field(repr=False)
    which: NDArray[np.unsignedinteger] = field(repr=False)

    @cached_property
    def each(self) -> Array:
        """Chances, shape (hypotheses, charge states)."""
        return np.asarray(self.table[self.which])

    def focused(self, chosen: Index, states: Index | None = None) -> Charges:
        """The same for some hypotheses, and some states of charge."""
        return Charges(self.table if states is None else self.table[:, states], self.which[chosen])

    def rest(self) -> None:
        """Drop what is larger than the table; it is laid out again when it is asked for."""
        self.__dict__.pop("each", None)


@dataclass(frozen=True, eq=False)
class VisitModel:
    """One visit's network compiled for a list of hypotheses.

    Parameters
    ----------
    network : Network
    components : tuple of str
        Order of the columns of `modes`.
    view : View
        Clusters of the network, and the hypotheses and states of charge this model is for.
    charge : Charges
        State of charge when the visit begins.
    stages : Memo
        Likelihoods of stages worked out last.
    variants : Memo
        The same visit after acts.
    """

    network: Network
    components: tuple[str, ...]
    view: View
    charge: Charges
    stages: Memo[Stage] = field(default_factory=lambda: Memo(KEPT_STAGES), repr=False)
    variants: Memo[VisitModel] = field(default_factory=lambda: Memo(KEPT_VARIANTS), repr=False)

    @property
    def modes(self) -> IndexArray:
        """Modes of all components, shape (hypotheses, components)."""
        return self.view.modes

    @property
    def charge_prior(self) -> Array:
        """State of charge given each hypothesis before any reading, shape (hypotheses, charge states)."""
        return self.charge.each

    @cached_property
    def unlisted(self) -> NDArray[np.bool_]:
        """Hypotheses with a fault the model does not know."""
        if UNLISTED not in self.components:
            return np.zeros(len(self.charge.which), dtype=np.bool_)
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
            Scaled so that nothing overflows and the best stays in range; kept, and not to be written to.
        log_scale : float
            Natural logarithm of what the weight has to be multiplied by.
        """
        return self.stages.get(evidence_key(evidence), lambda: self._stage(evidence))

    def _stage(self, evidence: Sequence[Evidence]) -> Stage:
        weight: Array = np.ones((1, len(self.charge.which)))
        log_rows: Array = np.zeros(len(self.charge.which))
        scale = 0.0
        for k, mine in self.view.placements.by_cluster(evidence).items():
            message, log_scale = self.view.placements[k].message(mine)
            scale += log_scale
            if CHARGE in message.axes:
                weight = weight * self.view.each(k, message)
            else:
                with np.errstate(divide="ignore"):
                    logs = Tensor(np.log(message.values), message.axes, message.components)
                log_rows = log_rows + self.view.each(k, logs)
        weight, scale = self._with_unlisted(evidence, *self._scaled(weight, log_rows, scale))
        weight.flags.writeable = False
        return weight.T, scale

    def _scaled(self, weight: Array, log_rows: Array, scale: float) -> Stage:
        """Join what depends on the charge with what does not, so that the best listed hypothesis weighs one."""
        top = weight.max(axis=0)
        with np.errstate(divide="ignore"):
            log_top = log_rows + np.log(top)
        log_top[self._strangers] = -np.inf
        best = float(log_top.max(initial=-np.inf))
        if not np.isfinite(best):
            return np.zeros_like(weight), scale
        return weight * (np.exp(log_top - best) / np.maximum(top, TINY)), scale + best

    def _with_unlisted(self, evidence: Sequence[Evidence], weight: Array, scale: float) -> Stage:
        """Put the background likelihood where the fault is one the model does not know."""
        if not len(self._strangers):
            return weight, scale
        background = log_background(evidence) - scale
        shift = max(0.0, background)
        if shift > 0.0:
            weight = weight * np.exp(-shift)
        weight[:, self._strangers] = np.exp(background - shift)
        return weight, scale + shift

    def by_state(self, quantity: str, evidence: Sequence[Evidence], share: Array) -> Stage:
        """Likelihood of evidence of one cluster together with each value of one of its quantities.

        Parameters
        ----------
        quantity : str
        evidence : sequence of Evidence
            Of the quantity's cluster, none of it of the quantity itself; rows with a fault the model does not know are
            worked out as if they had none.
        share : array, shape (hypotheses, charge states)
            Weight of each state of charge.

        Returns
        -------
        weight : array, shape (hypotheses, states)
        log_scale : float
            Natural logarithm of what the weight has to be multiplied by.
        """
        k = self.view.placements.owner[quantity]
        place = self.view.placements[k]
        tensors, scale = place.factors(tuple(evidence))
        asked = ((quantity, np.eye(self.network.nodes[quantity].card), None),)
        message = Products(place.bound, place.bound.rows).contract(tensors, place.bound.outcomes(asked))
        values = self.view.cut(message).arranged((COMBINATION, CHARGE, OUTCOME))
        rows = self.view.rows_of(k, message.components)
        found = np.empty((len(rows), values.shape[2]))
        for start in range(0, len(rows), TOGETHER):
            some = slice(start, start + TOGETHER)
            mine = share[some] if values.shape[1] > 1 else share[some].sum(axis=1, keepdims=True)
            found[some] = (mine[:, None, :] @ values[rows[some]])[:, 0]
        return found, scale

    def message(self, evidence: Sequence[Evidence]) -> Stage:
        """Likelihood of evidence of one cluster; rows with a fault the model does not know as if they had none.

        Parameters
        ----------
        evidence : sequence of Evidence
            Of one cluster.

        Returns
        -------
        weight : array, shape (hypotheses, charge states or 1)
        log_scale : float
            Natural logarithm of what the weight has to be multiplied by.
        """
        k = self.view.placements.owner[evidence[0].quantity]
        message, scale = self.view.placements[k].message(tuple(evidence))
        return np.atleast_2d(self.view.each(k, message)).T, scale

    def message_of_some(self, evidence: Sequence[Evidence]) -> Stage:
        """The same as :meth:`message`, worked out for the configurations of these hypotheses alone."""
        place = self.view.placements[self.view.placements.owner[evidence[0].quantity]]
        if place.small or self.view.chosen is None:
            return self.message(evidence)
        weight, scale = place.likelihoods(tuple(evidence), place.which[self.view.chosen])
        states = self.view.charge_states
        return weight if states is None or weight.shape[1] == 1 else weight[:, states], scale

    def forget(self) -> None:
        """Drop what was worked out for readings; what no reading bears on is kept."""
        self.stages.clear()
        self.view.placements.forget()
        for variant in self.variants.values():
            variant.forget()

    def size(self) -> int:
        """What was worked out so far takes, here and in the same visit after acts [bytes]; see :meth:`rest`."""
        models = [self, *self.variants.values()]
        places = {id(p): p for m in models for p in m.view.placements.made()}
        stages = sum(weight.nbytes for m in models for weight, _ in m.stages.values())
        return stages + sum(p.bound.cache.size() for p in places.values())

    def trim(self) -> None:
        """Drop what is large and soon worked out again, once a question is answered; answers stay the same."""
        for model in (self, *self.variants.values()):
            model.stages.clear()
            model.charge.rest()
            for place in model.view.placements.made():
                place.bound.trim()
        self.network.let_go()

    def rest(self) -> None:
        """Drop all that takes room, as for a visit that is not the one being worked on; answers stay the same."""
        self.trim()
        for model in (self, *self.variants.values()):
            for place in model.view.placements.made():
                place.bound.rest()
        self.variants.clear()

    def with_node(self, node: Node) -> VisitModel:
        """The same visit with one hidden node's table replaced; kept for the next time."""

        def make() -> VisitModel:
            network = replace(self.network, nodes={**self.network.nodes, node.name: node})
            view = replace(self.view, placements=self.view.placements.with_node(network, node.name))
            return VisitModel(network, self.components, view, self.charge)

        return self.variants.get((node.name, node.axes, node.table.tobytes()), make)

    def for_modes(self, modes: IndexArray) -> VisitModel:
        """The same visit with other modes behind the hypotheses, as after a repair; kept for the next time."""

        def make() -> VisitModel:
            placements = Placements(self.view.placements.clusters, self.components, modes)
            view = View(placements, charge_states=self.view.charge_states)
            return VisitModel(self.network, self.components, view, self.charge)

        return self.variants.get(("modes", modes.tobytes()), make)

    def entered(self, modes: IndexArray) -> VisitModel:
        """A visit with other modes behind the hypotheses from its beginning, so that the charge has their history."""

        def make() -> VisitModel:
            return compile_visit(self.network, self.components, modes)

        return self.variants.get(("entered", modes.tobytes()), make)

    def subset(self, chosen: Index) -> VisitModel:
        """The same visit for some of the hypotheses only."""
        return VisitModel(self.network, self.components, self.view.focused(chosen), self.charge.focused(chosen))

    def focused(self, chosen: Index, charge_states: Index, expected: Index | None = None) -> VisitModel:
        """The same visit for some hypotheses and some states of charge only.

        Parameters
        ----------
        chosen : int array
            Rows of the hypotheses that are kept.
        charge_states : int array
            States of charge that are kept; what the others weigh is left out.
        expected : int array, optional
            Rows that may be asked about next, for which answers are kept ready where that costs little.
        """
        view = self.view.focused(chosen, charge_states, expected)
        return VisitModel(self.network, self.components, view, self.charge.focused(chosen, charge_states))

    def predict(
        self,
        evidence: Sequence[Evidence],
        tests: Mapping[str, Question],
        carried: Array | None = None,
        belief: Array | None = None,
    ) -> dict[str, Array]:
        """Chance of each outcome of each test given each hypothesis and the evidence, up to a factor for each row.

        Parameters
        ----------
        evidence : sequence of Evidence
            Entries of the present stage.
        tests : dict of test id to (quantity, outcome table, background table)
            Outcome table: shape (states, outcomes), chance of each outcome class given the quantity's state [-];
            background table: shape (outcomes,), the same under a fault the model does not know.
        carried : array, shape (hypotheses, charge states), optional
            Weight over the state of charge at the start of the stage; the prior when left out.
        belief : array, shape (hypotheses,), optional
            Where it is given, hidden states that hold all but a sliver of it are all that is looked at.

        Returns
        -------
        dict of test id to array, shape (hypotheses, outcomes)
            Rows are proportional to the chance of each outcome.
        """
        placements = self.view.placements
        start = self.charge_prior if carried is None else carried
        outlook = Outlook(self.view, placements.by_cluster(evidence), start, belief)
        by_cluster: dict[int, dict[str, Question]] = {}
        for name, test in tests.items():
            by_cluster.setdefault(placements.owner[test[0]], {})[name] = test
        found: dict[str, Array] = {}
        for k, asked in by_cluster.items():
            found |= outlook.of_cluster(k, asked)
        for name, joint in found.items():
            joint[self._strangers] = tests[name][2]
        return {name: found[name] for name in tests}


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
    view = View(Placements(find_clusters(network), components, modes))
    return VisitModel(network, components, view, _charge_prior(network, components, modes))


def _charge_prior(network: Network, components: tuple[str, ...], modes: IndexArray) -> Charges:
    """State of charge given each hypothesis before any reading."""
    if CHARGE not in network.nodes:
        return Charges(np.ones((1, 1)), np.zeros(len(modes), dtype=np.uint8))
    hidden = (*(n for n in network.nodes if n in history_of(network)), CHARGE)
    axes = {a for n in hidden for a in network.nodes[n].axes}
    mine = tuple(c for c in components if c in axes)
    place = bind(Cluster(network, hidden, (), mine, True), components, modes)
    table = Products(place.bound, place.bound.rows).joint([CHARGE])
    if not table.components:
        return Charges(table.arranged((CHARGE,))[None], np.zeros(len(modes), dtype=np.uint8))
    return Charges(np.ascontiguousarray(table.arranged((COMBINATION, CHARGE))), place.rows_of(table.components))
