"""What would be believed without each entry of a case, from one pass forward and one back.

Leaving a reading out changes one likelihood, and leaving a repair out goes on with the rows in which it did not take;
both need only what was before and what came after. An act that moves the charge, a comparison that corrects later
readings, and what was read at several visits are left out by going through the case again. All this is done for the
hypotheses that hold all but a sliver of the belief.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis import acts
from faultnet.diagnosis.course import (
    Entered,
    Open,
    Traced,
    Walk,
    bare_at_the_end,
    case_key,
    left_out,
    moves_by_supply,
    table_for,
    weight_again,
)
from faultnet.diagnosis.evidence import COMPARISON_TEST
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.steps import Split, Weigh, Weights, log_sums
from faultnet.inference.configurations import Index
from faultnet.inference.evidence import Evidence, log_background, pooled, pooled_evidence
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.hypotheses import Hypotheses
from faultnet.inference.posterior import TINY, Belief
from faultnet.inference.repeated import MOST_TOGETHER
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

SLIVER = 1e-6
SLIVER_KEPT = 3e-7
FEW = 4
KEPT, KEPT_RATIOS = 8, 64
KEPT_OTHERS = 64


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
    places = [
        Entered(v, k)
        for v, visit in enumerate(visits)
        for k, e in enumerate(visit.entries)
        if isinstance(e, Act) or e.not_measured is None
    ]

    begun = _begun_for(models, visits, catalogue, space, belief)
    whole = begun.walk.resumed()
    whole.entries(visits[-1])
    whole.count_all()

    def once_more(without: Entered) -> Array:
        if without.visit == len(visits) - 1:
            walk, last = begun.walk.resumed(), left_out(visits[-1], without.entry)
        else:
            other, joins = begun.without(visits, without)
            if joins is not None:
                return behind.from_there(other, joins)
            walk, last = other.resumed(), visits[-1]
        walk.trace = None
        walk.entries(last)
        walk.count_all()
        return walk.weights_of_hypotheses()[chosen]

    behind = _Behind(whole, begun.chosen, chosen)
    again = _weighed_by_others(whole)
    found = {}
    for place in places:
        entry = visits[place.visit].entries[place.entry]
        if _is_simple(entry, catalogue, again.get(place.visit, frozenset()), place.entry):
            found[place] = behind.without(place)
        else:
            found[place] = once_more(place)
    begun.put_to_rest()
    return Without(chosen, found)


@dataclass(frozen=True, eq=False)
class _Begun:
    """A traced walk for some hypotheses up to the entries of the last visit.

    Parameters
    ----------
    models : tuple of Model
    chosen : int array, shape (hypotheses walked through,)
    before : tuple of Walk
        The walk as it was before each visit.
    walk : Walk
    others : Memo
        The walk without one of the entries of earlier visits, and the place in the trace where it joins the walk again.
    """

    models: tuple[Model, ...]
    chosen: Index
    before: tuple[Walk, ...] = field(repr=False)
    walk: Walk = field(repr=False)
    others: Memo[tuple[Walk, int | None]] = field(default_factory=lambda: Memo(KEPT_OTHERS), repr=False)

    def without(self, visits: Sequence[Visit], place: Entered) -> tuple[Walk, int | None]:
        """The walk without an entry of an earlier visit, up to where it joins the walk again, or to the last entries.

        It has joined as soon as it knows the same of the car: what is to come then bears on both alike.
        """

        def make() -> tuple[Walk, int | None]:
            walk = self.before[place.visit].copied()
            walk.trace = None
            walk.visit(self.models[place.visit], left_out(visits[place.visit], place.entry))
            for number in range(place.visit + 1, len(visits)):
                walk.finish()
                with_it = self.before[number]
                if walk.knows_the_same(with_it):
                    return walk.at_rest(), len(with_it.trace or ())
                walk.visit(self.models[number], bare_at_the_end(visits)[number])
            return walk.at_rest(), None

        return self.others.get(place, make)

    def put_to_rest(self) -> None:
        """Have models of earlier visits let go of what they worked out, where the visit's own does not know them."""
        for traced in self.walk.trace or ():
            own = self.models[traced.visit].compiled
            if traced.model is not None and all(traced.model is not model for model in (own, *own.variants.values())):
                traced.model.rest()


def _begun_for(
    models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, belief: Belief
) -> _Begun:
    """What a case is begun with, for the hypotheses that matter.

    Where there are earlier visits it is kept for the next time, as most entries are made at the last visit, and is for
    more hypotheses, since after the next entry some others matter.
    """
    table, chosen = table_for(visits, catalogue, space), _holding_nearly_all(belief)

    def make(among: Index) -> _Begun:
        supplied = moves_by_supply(visits, catalogue)
        walk, before = Walk(catalogue, space, table, among, supplied=supplied, traced=True), []
        for number, visit in enumerate(bare_at_the_end(visits)):
            if number:
                walk.finish()
            before.append(walk.copied())
            walk.visit(models[number], visit)
        return _Begun(tuple(models), among, tuple(before), walk.at_rest())

    if len(visits) == 1:
        return make(chosen)
    kept = _begun.get(case_key(models, visits, catalogue, space, table), list)
    found = kept[0] if kept else None
    if found is None or not np.isin(chosen, found.chosen).all():
        found = make(_holding_nearly_all(belief, SLIVER_KEPT))
        kept[:] = [found]
    return found


_begun: Memo[list[_Begun]] = Memo(1)


def _holding_nearly_all(belief: Belief, sliver: float = SLIVER) -> Index:
    """The fewest hypotheses that hold all but a sliver of the belief, in their order."""
    order = np.argsort(-belief.posterior, kind="stable")
    count = int(np.searchsorted(np.cumsum(belief.posterior[order]), 1.0 - sliver)) + 1
    return np.sort(order[:count])


def _weighed_by_others(walk: Walk) -> dict[int, frozenset[int]]:
    """For each visit the entries that something is weighed by which is read after them, or of the car once mended."""
    assert walk.trace is not None
    counted: dict[tuple[int, int], set[int]] = {}
    cluster: dict[tuple[int, int], int] = {}
    for i, traced in enumerate(walk.trace):
        for o in traced.open:
            counted.setdefault((traced.visit, o.entry), set()).add(i)
            cluster[traced.visit, o.entry] = walk.owner[o.evidence.quantity]
    again = {k: {i for i, t in enumerate(walk.trace) if k in t.recalled} for k in set(cluster.values())}
    places = [p for p, steps in counted.items() if any(i > min(steps) for i in again[cluster[p]] - steps)]
    return {v: frozenset(k for w, k in places if w == v) for v, _ in places}


def _is_simple(entry: Entry, catalogue: Catalogue, again: frozenset[int], place: int) -> bool:
    """Whether an entry can be left out by what was before and what came after alone."""
    if isinstance(entry, Reading):
        return entry.test != COMPARISON_TEST and place not in again and not acts.is_check_up(entry)
    effect = catalogue.act(entry.act).effect
    if effect in acts.PASSING or not acts.changes_the_car(effect, entry.hours, catalogue.number):
        return True
    mending = acts.mending_of(catalogue, entry)
    renews_the_battery = mending is not None and mending.component == "battery" and mending.modes == acts.ALL_MODES
    return mending is not None and effect not in acts.CHARGING and not renews_the_battery


class _Behind:
    """What lies behind and before each step of a walk; it never leaves this module."""

    def __init__(self, walk: Walk, among: Index, chosen: Index) -> None:
        assert walk.trace is not None
        self.trace, self.among = walk.trace, among
        self.chosen, self.total = chosen, walk.weights_of_hypotheses()[chosen]
        self.table, self.number = walk.table, walk.setting.number
        states = walk.weights.charge.shape[1]
        after = [Weights(np.zeros(len(walk.rows)), np.ones((len(walk.rows), states)))]
        for traced in reversed(walk.trace):
            after.append(traced.step.back(after[-1]))
        self.to_come = after[::-1]  # before each step, and after the last
        self.states: Memo[tuple[Array, float]] = Memo(KEPT)
        self.ratios: Memo[Array] = Memo(KEPT_RATIOS)
        self.clusters: Memo[_Over] = Memo(KEPT)
        self.agains: Memo[Array] = Memo(KEPT)
        self.wholes: dict[int, tuple[Array, Array]] = {}

    def without(self, place: Entered) -> Array:
        """Log likelihood without an entry, shape (chosen,)."""
        parts = list(self._parts(place))
        if not parts:
            return self.total
        rows = np.searchsorted(self.among, np.concatenate([origin for origin, _ in parts]))
        found = log_sums(np.concatenate([log for _, log in parts]), rows, len(self.among))
        return np.asarray(found[np.searchsorted(self.among, self.chosen)])

    def from_there(self, walk: Walk, joins: int) -> Array:
        """Log likelihood by another walk and what is to come from a place in the trace on, shape (chosen,)."""
        rest, mine = self.to_come[joins], walk.weights
        log = mine.log + rest.log + _log((mine.charge * rest.charge).sum(axis=1))
        found = log_sums(log, np.searchsorted(self.among, walk.rows.origin), len(self.among))
        return np.asarray(found[np.searchsorted(self.among, self.chosen)])

    def _parts(self, place: Entered) -> Iterator[tuple[Index, Array]]:
        for i, (traced, after) in enumerate(zip(self.trace, self.to_come[1:], strict=True)):
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
        known = traced.recalled.get(traced.model.view.placements.owner[evidence.quantity])
        if known:
            return traced.rows.origin, log_whole + self._log_again(i, traced, share, mine[0], known)
        read = [o for o in traced.open if o.evidence.quantity == evidence.quantity]
        rest, rest_scale = _rest(read, entry)
        few = len({o.evidence.likelihood.tobytes() for o in read}) <= FEW
        log_with = self._log_with if few else self._log_in_place
        log_ratio = self.ratios.get(
            (i, evidence.quantity, rest.tobytes()), lambda: log_with(i, traced, share, evidence.quantity, rest)
        )
        log = log_whole + rest_scale + log_ratio
        strangers = np.flatnonzero(traced.model.subset(traced.rows.at).unlisted)
        without = log_background([o.evidence for o in read if o.entry != entry])
        log[strangers] = (log_whole + without - log_background([o.evidence for o in read]))[strangers]
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

    def _log_with(self, i: int, traced: Traced, share: Array, quantity: str, rest: Array) -> Array:
        """Log likelihood with something else read of a quantity, less that of the whole case, shape (rows,)."""
        over = self._over_cluster(i, traced, share, quantity)
        others, scale = over.but(quantity)
        evidence = [*others, Evidence(quantity, rest, 1.0)] if rest.min() < 1.0 else others
        weight, log_scale = over.model.message_of_some(evidence) if evidence else (np.ones((1, 1)), 0.0)
        return log_scale + scale + _log((over.share * weight).sum(axis=1))

    def _log_again(
        self, i: int, traced: Traced, share: Array, left_out: Open, known: Mapping[str, Evidence]
    ) -> Array:  # fmt: skip
        """The same of a cluster of which more was known: what is left is weighed by that as well, shape (rows,)."""
        model, rows = traced.model, traced.rows
        assert model is not None
        assert rows is not None
        owner = model.view.placements.owner
        over = self._over_cluster(i, traced, share, left_out.evidence.quantity)
        k = owner[left_out.evidence.quantity]
        mine = [o for o in traced.open if owner[o.evidence.quantity] == k]
        rest = [o.evidence for o in mine if o.entry != left_out.entry]
        now, (pieces, scale) = pooled_evidence(over.read)[0], pooled_evidence(rest)

        def again(evidence: Sequence[Evidence]) -> Array:
            return weight_again(model, self.table, rows, k, known, evidence, self.number)

        before = self.agains.get((i, k), lambda: again(now))
        after = again(pieces) if pieces else np.ones((1, 1))
        weight, log_scale = over.model.message_of_some(pieces) if pieces else (np.ones((1, 1)), 0.0)
        log = log_scale + scale - over.log_scale + _log((over.share / before * weight * after).sum(axis=1))
        strangers = np.flatnonzero(over.model.unlisted)
        heard = log_background(rest) - log_background([o.evidence for o in mine])
        times = np.broadcast_to(after / before, (len(log), (after / before).shape[1]))[:, 0]
        log[strangers] = heard + _log(times[strangers])
        return log

    def _log_in_place(self, i: int, traced: Traced, share: Array, quantity: str, rest: Array) -> Array:
        """The same from what each value of the quantity would make of it, of which all its readings take their part."""
        by_state, log_scale = self._by_state(i, traced, share, quantity)
        return log_scale + _log(by_state @ rest)

    def _by_state(self, i: int, traced: Traced, share: Array, quantity: str) -> tuple[Array, float]:
        """Likelihood with each value of a quantity over the whole likelihood, shape (rows, states), and its scale."""

        def make() -> tuple[Array, float]:
            over = self._over_cluster(i, traced, share, quantity)
            others, scale = over.but(quantity)
            weight, log_scale = over.model.by_state(quantity, others, over.share)
            return weight, log_scale + scale

        return self.states.get((i, quantity), make)

    def _over_cluster(self, i: int, traced: Traced, share: Array, quantity: str) -> _Over:
        """What is needed to put something else in the place of what was read of a quantity."""
        assert traced.model is not None
        assert traced.rows is not None
        model, at = traced.model, traced.rows.at
        owner = model.view.placements.owner
        mine = owner[quantity]

        def make() -> _Over:
            some = model.subset(at)
            cluster = tuple(o.evidence for o in traced.open if owner[o.evidence.quantity] == mine)
            evidence, scale = pooled_evidence(cluster)
            message, message_scale = some.message(evidence)
            return _Over(some, share / np.maximum(message, TINY), cluster, message_scale + scale)

        return self.clusters.get((i, mine), make)


@dataclass(frozen=True, eq=False)
class _Over:
    """Weights of a step without what was read of one cluster.

    Parameters
    ----------
    model : VisitModel
        For the rows the evidence was counted for.
    share : array, shape (rows, charge states)
        Shares of the charge over the likelihood of the cluster.
    read : tuple of Evidence
        Of the cluster.
    log_scale : float
        Natural logarithm of what the shares were divided by.
    """

    model: VisitModel
    share: Array = field(repr=False)
    read: tuple[Evidence, ...]
    log_scale: float

    def but(self, quantity: str) -> tuple[tuple[Evidence, ...], float]:
        """What else was read of the cluster, and the natural logarithm of what the ratio has to be multiplied by."""
        others, scale = pooled_evidence([e for e in self.read if e.quantity != quantity])
        return others, scale - self.log_scale


def _rest(read: Sequence[Open], entry: int) -> tuple[Array, float]:
    """Likelihood of what was read of a quantity but for one entry, its largest at one, and the log of what it lacks.

    Notes
    -----
    Numbers are taken together as :func:`pooled` takes them; where they are so many that they go some at a time, the
    others of them stay together as they were.
    """
    numbers = [o for o in read if o.evidence.number is not None]
    others = [o for o in read if o.evidence.number is None]
    some = MOST_TOGETHER if len(numbers) > MOST_TOGETHER + 1 else MOST_TOGETHER + 1
    groups = [others, *(numbers[k : k + some] for k in range(0, len(numbers), some))]
    log, log_scale = np.zeros_like(read[0].evidence.likelihood), 0.0
    for group in groups:
        kept = [o.evidence for o in group if o.entry != entry]
        if kept:
            likelihoods, scale = pooled(kept)
            log = log + _log(likelihoods[kept[0].quantity])
            log_scale += scale
    top = float(log.max())
    return np.exp(log - top), top + log_scale


def _log(values: Array) -> Array:
    return np.log(np.maximum(values, TINY))
