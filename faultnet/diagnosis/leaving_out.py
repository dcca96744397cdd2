"""What would be believed without each entry of a case, from one pass forward and one back.

Leaving a reading out changes one likelihood, and leaving a repair out goes on with the rows in which it did not take;
both need only what was before and what came after. An act that moves the charge, a comparison that corrects later
readings, and what was read at several visits are left out by going through the case again. All this is done for the
hypotheses that hold all but a sliver of the belief.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from copy import copy
from dataclasses import dataclass

import numpy as np

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis import acts
from faultnet.diagnosis.course import Entered, Open, Traced, Walk, pooled_evidence, table_for
from faultnet.diagnosis.evidence import COMPARISON_TEST
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.steps import Split, Weigh, Weights, log_sums
from faultnet.inference.configurations import Index
from faultnet.inference.evidence import Evidence, log_background
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.hypotheses import Hypotheses
from faultnet.inference.posterior import TINY, Belief
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

SLIVER = 1e-6
FEW = 4
KEPT = 8


@dataclass(frozen=True, eq=False)
class Without:
    """Log likelihoods of a case without each of its entries, for the hypotheses that matter.

    Parameters
    ----------
    chosen : int array, shape (chosen,)
        These hypotheses.
    log_likelihood : dict of Entered to array, shape (chosen,)
        An entry that says nothing is not among them.
    """

    chosen: Index
    log_likelihood: dict[Entered, Array]


def without_each(
    models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, belief: Belief
) -> Without:
    """Leave out every entry of a case, one at a time.

    Parameters
    ----------
    models : sequence of Model
        One for each visit.
    visits : sequence of Visit
    catalogue : Catalogue
    space : Hypotheses
    belief : Belief
        After all entries.
    """
    chosen = _holding_nearly_all(belief)
    places = [Entered(v, k) for v, visit in enumerate(visits) for k, e in enumerate(visit.entries) if _says(e)]

    whole = Walk(catalogue, space, table_for(visits, catalogue, space), chosen, traced=True)
    begun = []
    for number in range(len(visits)):
        begun.append(copy(whole))
        whole.case(models, visits, first=number, last=number)
    whole.count_all()

    def once_more(without: Entered) -> Array:
        walk = copy(begun[without.visit])
        walk.trace = None
        walk.case(models, visits, without, first=without.visit)
        walk.count_all()
        return walk.weights_of_hypotheses()[chosen]

    behind = _Behind(whole, chosen)
    again = _read_at_several_visits(whole)
    found = {}
    for place in places:
        entry = visits[place.visit].entries[place.entry]
        if _is_simple(entry, catalogue, again.get(place.visit, frozenset()), place.entry):
            found[place] = behind.without(place)
        else:
            found[place] = once_more(place)
    return Without(chosen, found)


def _holding_nearly_all(belief: Belief) -> Index:
    """The fewest hypotheses that hold all but a sliver of the belief, in their order."""
    order = np.argsort(-belief.posterior, kind="stable")
    count = int(np.searchsorted(np.cumsum(belief.posterior[order]), 1.0 - SLIVER)) + 1
    return np.sort(order[:count])


def _says(entry: Entry) -> bool:
    return isinstance(entry, Act) or entry.not_measured is None


def _read_at_several_visits(walk: Walk) -> dict[int, frozenset[int]]:
    """For each visit the entries at which a quantity was read that is remembered from one visit to another."""
    assert walk.trace is not None
    read: dict[str, set[tuple[int, int]]] = {}
    for traced in walk.trace:
        for o in traced.open:
            if o.evidence.quantity in walk.rows.again:
                read.setdefault(o.evidence.quantity, set()).add((traced.visit, o.entry))
    several = [places for places in read.values() if len({v for v, _ in places}) > 1]
    together = {place for places in several for place in places}
    return {v: frozenset(k for w, k in together if w == v) for v, _ in together}


def _is_simple(entry: Entry, catalogue: Catalogue, again: frozenset[int], place: int) -> bool:
    """Whether an entry can be left out by what was before and what came after alone."""
    if isinstance(entry, Reading):
        return entry.test != COMPARISON_TEST and place not in again
    effect = catalogue.act(entry.act).effect
    if effect in acts.PASSING or not acts.changes_the_car(effect, entry.hours, catalogue.spread):
        return True
    mending = acts.mending_of(catalogue, entry)
    renews_the_battery = mending is not None and mending.component == "battery" and mending.modes == acts.ALL_MODES
    return mending is not None and effect not in acts.CHARGING and not renews_the_battery


class _Behind:
    """What lies behind and before each step of a walk; it never leaves this module."""

    def __init__(self, walk: Walk, chosen: Index) -> None:
        assert walk.trace is not None
        self.trace, self.origin = walk.trace, walk.rows.origin
        self.count, self.chosen = len(walk.space), chosen
        self.total = walk.weights_of_hypotheses()[chosen]
        states = walk.weights.charge.shape[1]
        after = [Weights(np.zeros(len(walk.rows)), np.ones((len(walk.rows), states)))]
        for traced in reversed(walk.trace):
            after.append(traced.step.back(after[-1]))
        self.after = after[-2::-1]
        self.kept: Memo[tuple[Array, float]] = Memo(KEPT)
        self.wholes: dict[int, tuple[Array, Array]] = {}

    def without(self, place: Entered) -> Array:
        """Log likelihood without an entry, shape (chosen,)."""
        parts = list(self._parts(place))
        if not parts:
            return self.total
        rows = np.concatenate([origin for origin, _ in parts])
        return log_sums(np.concatenate([log for _, log in parts]), rows, self.count)[self.chosen]

    def _parts(self, place: Entered) -> Iterator[tuple[Index, Array]]:
        for i, (traced, after) in enumerate(zip(self.trace, self.after, strict=True)):
            if traced.visit != place.visit:
                continue
            if traced.entry == place.entry:
                yield from self._skipped(traced, after)
            elif any(o.entry == place.entry for o in traced.open):
                yield self._reading(i, traced, after, place.entry)

    def _skipped(self, traced: Traced, after: Weights) -> Iterator[tuple[Index, Array]]:
        """A step that was not taken: of rows that were parted, those in which nothing was done go on."""
        assert isinstance(traced.step, Split | Weigh)
        assert traced.rows is not None
        before = traced.before
        rest = after.cut(np.arange(len(before.log)))
        yield traced.rows.origin, before.log + rest.log + _log((before.charge * rest.charge).sum(axis=1))

    def _reading(self, i: int, traced: Traced, after: Weights, entry: int) -> tuple[Index, Array]:
        """A reading that was not counted, for the rows it was counted for."""
        mine = [o for o in traced.open if o.entry == entry]
        assert len(mine) == 1
        evidence = mine[0].evidence
        assert isinstance(traced.step, Weigh)
        assert traced.rows is not None
        assert traced.model is not None
        share, log_whole = self._whole(i, traced, after)
        read = [o for o in traced.open if o.evidence.quantity == evidence.quantity]
        rest, rest_scale = _rest(read, entry)
        if len({o.evidence.likelihood.tobytes() for o in read}) <= FEW:
            ratio, log_scale = self._with(i, traced, share, evidence.quantity, rest)
        else:
            by_state, log_scale = self._by_state(i, traced, share, evidence.quantity)
            ratio = by_state @ rest
        log = log_whole + log_scale + rest_scale + _log(ratio)
        strangers = np.flatnonzero(traced.model.subset(traced.rows.at).unlisted)
        log[strangers] = (log_whole - log_background([evidence]))[strangers]
        return traced.rows.origin, log

    def _whole(self, i: int, traced: Traced, after: Weights) -> tuple[Array, Array]:
        """Shares of the charge after the whole case, as a step saw it, and log likelihood of the whole case."""
        found = self.wholes.get(i)
        if found is None:
            assert isinstance(traced.step, Weigh)
            chosen = traced.step.rows
            before, rest = (traced.before, after) if chosen is None else (traced.before.cut(chosen), after.cut(chosen))
            joint = before.charge * traced.step.weight * rest.charge
            whole = np.maximum(joint.sum(axis=1), TINY)
            log_whole = before.log + rest.log + traced.step.scale + np.log(whole)
            found = self.wholes[i] = joint / whole[:, None], log_whole
        return found

    def _with(self, i: int, traced: Traced, share: Array, quantity: str, rest: Array) -> tuple[Array, float]:
        """Likelihood with something else read of a quantity over the whole likelihood, shape (rows,), and its scale."""

        def make() -> tuple[Array, float]:
            model, over, others, scale = _over_cluster(traced, share, quantity)
            evidence = [*others, Evidence(quantity, rest, 1.0)] if rest.min() < 1.0 else others
            weight, log_scale = model.message(evidence) if evidence else (np.ones((1, 1)), 0.0)
            return (over * weight).sum(axis=1), log_scale + scale

        return self.kept.get((i, quantity, rest.tobytes()), make)

    def _by_state(self, i: int, traced: Traced, share: Array, quantity: str) -> tuple[Array, float]:
        """The same with each value of the quantity, shape (rows, states)."""

        def make() -> tuple[Array, float]:
            model, over, others, scale = _over_cluster(traced, share, quantity)
            weight, log_scale = model.by_state(quantity, others, over)
            return weight, log_scale + scale

        return self.kept.get((i, quantity), make)


def _over_cluster(traced: Traced, share: Array, quantity: str) -> tuple[VisitModel, Array, tuple[Evidence, ...], float]:
    """What is needed to put something else in the place of what was read of a quantity.

    Returns
    -------
    model : VisitModel
        For the rows the evidence was counted for.
    over : array, shape (rows, charge states)
        Shares of the charge over the likelihood of the quantity's cluster.
    others : tuple of Evidence
        What else was read of the cluster.
    log_scale : float
        Natural logarithm of what the ratio has to be multiplied by.
    """
    assert traced.model is not None
    assert traced.rows is not None
    model = traced.model.subset(traced.rows.at)
    owner = model.view.placements.owner
    cluster = [o.evidence for o in traced.open if owner[o.evidence.quantity] == owner[quantity]]
    evidence, scale = pooled_evidence(cluster)
    message, message_scale = model.message(evidence)
    others, others_scale = pooled_evidence([e for e in cluster if e.quantity != quantity])
    return model, share / np.maximum(message, TINY), others, others_scale - message_scale - scale


def _rest(read: Sequence[Open], entry: int) -> tuple[Array, float]:
    """Likelihood of what was read of a quantity but for one entry, its largest at one, and the log of what it lacks."""
    if len(read) == 1:
        return np.ones_like(read[0].evidence.likelihood), 0.0
    together = np.sum([_log(o.evidence.likelihood) for o in read if o.entry != entry], axis=0)
    top = float(together.max())
    return np.exp(together - top), top


def _log(values: Array) -> Array:
    return np.log(np.maximum(values, TINY))
