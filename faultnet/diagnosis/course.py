"""The course of a case: what its readings and acts say, carried forward through its visits.

Carried is a weight for every row (a hypothesis with the modes that it has by now) and every state of charge. Readings
stay open as long as what they were taken of stays as it is, and count together: the parameters behind them are one and
the same. They are counted when the state of charge moves, when a part that bears on them was mended in a row, and when
the visit ends. A mending act parts the rows in which it has something to mend. Where the charge moves by what the
charging side supplies, rows whose modes leave that open are parted by it: it stays what it is from drive to drive.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import partial

import numpy as np

from faultnet.case.types import Act, Entry, Reading, Visit
from faultnet.diagnosis import acts
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.remembered import (
    BETWEEN_VISITS,
    Memory,
    Numbers,
    behind_quantity,
    chance_charge_is_alike,
    chance_it_stays,
    recalled,
    together_over_apart,
)
from faultnet.diagnosis.rows import Flags, Rows
from faultnet.diagnosis.steps import Factor, Move, Moved, Split, Step, Weigh, Weights, gathered, log_sums
from faultnet.inference.configurations import Index, IndexArray, distinct_rows
from faultnet.inference.evidence import Evidence, as_one, evidence_key, pooled_evidence
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.hypotheses import Hypotheses, ModeTable
from faultnet.inference.visit import Stage, VisitModel
from faultnet.model import balance, source
from faultnet.model.at_clamps import BEHAVIOURS
from faultnet.model.balance import ONCE, Interval
from faultnet.model.network import Array, Network, Node
from faultnet.prior_set.catalogue import Catalogue

LEAST_SHARE = float(np.log(1e-14))  # of a hypothesis; rows that hold less are dropped, and what they held is said
SURE_OF_SUPPLY = 0.95  # share of one state of supply [-] from which on a row is not parted by it
LEAST_SUPPLY = 1e-3  # [-] of a row; a state of supply that holds less is left out
CRANKS = "crank_behaviour"
DAY = 10  # characters of a date without a time


@dataclass(frozen=True)
class Entered:
    """An entry with the place it stands at, for leaving it out."""

    visit: int
    entry: int


@dataclass(frozen=True)
class Open:
    """A reading, or the outcome of an act, that has not been counted yet.

    Parameters
    ----------
    entry : int
        Where it stands in its visit.
    evidence : Evidence
    """

    entry: int
    evidence: Evidence


@dataclass(frozen=True, eq=False)
class Present:
    """Where the last visit stands: what the next test would be taken under.

    Parameters
    ----------
    model : VisitModel
        As it is now.
    table : ModeTable
        Configurations that rows may have.
    rows : Rows
    weights : Weights
        All that has been counted.
    open : tuple of Open
        Readings not counted yet.
    acts_done : tuple of str
        Effects of the acts of this visit, in order.
    memory : mapping of quantity to Evidence
        Of what has been counted.
    visit : int
        Which visit it is.
    fed : float or None
        Hours since the battery was last charged, by driving or by a charger; None when nobody knows [h].
    shed : bool
        Whether the surface charge was shed since.
    """

    model: VisitModel
    table: ModeTable
    rows: Rows
    weights: Weights
    open: tuple[Open, ...]
    acts_done: tuple[str, ...]
    memory: Memory = field(repr=False)
    visit: int
    fed: float | None
    shed: bool

    @property
    def modes(self) -> IndexArray:
        """Modes of all components by now, shape (rows, components)."""
        return modes_by_now(self.model.network, self.table, self.rows.at, self.visit)

    @property
    def carried(self) -> Array:
        """Shares of the state of charge before what is open is counted, shape (rows, charge states)."""
        return self.weights.charge

    @property
    def evidence(self) -> tuple[Evidence, ...]:
        """All that is open, quantity by quantity."""
        return pooled_evidence([o.evidence for o in self.open])[0]

    def cut(self, rows: Index) -> Present:
        """Some of the rows."""
        return replace(self, rows=self.rows.cut(rows), weights=self.weights.cut(rows))

    def alike(self) -> Iterator[tuple[Index, Present]]:
        """Rows for whom the same readings are open, and the present of these rows with no other reading in it."""
        owner = self.model.view.placements.owner
        for starts, rows in self.rows.patterns({owner[o.evidence.quantity] for o in self.open}):
            mine = tuple(o for n, o in enumerate(self.open) if n >= starts.get(owner[o.evidence.quantity], 0))
            chosen = np.arange(len(self.rows)) if rows is None else rows
            part = self if rows is None else self.cut(rows)
            earlier = [o for n, o in enumerate(self.open) if n < starts.get(owner[o.evidence.quantity], 0)]
            memory = {**self.memory, **recalled({}, earlier, self.model.network.nodes)}
            yield chosen, replace(part, rows=replace(part.rows, since={}), open=mine, memory=memory)

    def stage(self) -> Stage:
        """Likelihood of what is open, the same for all rows: shape (rows, charge states or 1), and its log scale."""
        return self.weigh(self.evidence)

    def weigh(self, evidence: Sequence[Evidence]) -> Stage:
        """The same for other evidence."""
        return stage_of(self.model, self.table, evidence, self.rows.at)

    def stays(self, k: int, quantities: Iterable[str], number: Numbers) -> Array:
        """Chance that what is behind quantities of a cluster is as it was when they were read [-], shape (rows,)."""
        return chance_as_before(self.model, self.table, self.rows, (k, quantities), number)


@dataclass(frozen=True, eq=False)
class Course:
    """What a case's visits say.

    Parameters
    ----------
    log_likelihood : array, shape (hypotheses,)
    present : Present
    row_log : array, shape (rows,)
        Log likelihood of everything, with the chance of the way the repairs went, for each row of `present`.
    dropped : float
        Belief dropped with rows in which repair after repair of one part did not take [-].
    """

    log_likelihood: Array
    present: Present
    row_log: Array
    dropped: float


def course(
    models: Sequence[Model],
    visits: Sequence[Visit],
    catalogue: Catalogue,
    space: Hypotheses,
    without: Entered | None = None,
) -> Course:
    """Work through all visits for every hypothesis.

    Parameters
    ----------
    models : sequence of Model
        One for each visit.
    visits : sequence of Visit
    catalogue : Catalogue
    space : Hypotheses
    without : Entered, optional
        An entry to leave out.
    """
    walk = _in_last_visit(models, visits, catalogue, space, without)
    walk.entries(_without(visits[-1], len(visits) - 1, without))
    present = walk.present()
    walk.count_all()
    total = walk.weights.log
    whole = walk.weights_of_hypotheses() if walk.parted else total
    return Course(whole, present, total, walk.dropped)


def _in_last_visit(
    models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, without: Entered | None
) -> Walk:
    """A walk up to the entries of the last visit; kept for the next time, as most entries are made there."""
    table = table_for(visits, catalogue, space)

    def make() -> Walk:
        walk = Walk(catalogue, space, table, supplied=moves_by_supply(visits, catalogue))
        walk.case(models, bare_at_the_end(visits), without)
        return walk

    if len(visits) == 1 or not (without is None or without.visit == len(visits) - 1):
        return make()
    key = case_key(models, visits, catalogue, space, table)
    kept, held = _begun.get(key, lambda: (make().at_rest(), tuple(models)))
    assert len(held) == len(models)  # while they are held, nothing else can have their place in the key
    return kept.resumed()


def bare_at_the_end(visits: Sequence[Visit]) -> tuple[Visit, ...]:
    """Visits, the last of them without its entries."""
    return (*visits[:-1], replace(visits[-1], entries=()))


def case_key(
    models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, table: ModeTable
) -> Hashable:
    """What a walk up to the entries of the last visit is known by; only as long as the models are held."""
    supplied = moves_by_supply(visits, catalogue)
    return (*(id(m) for m in models), bare_at_the_end(visits), id(catalogue), id(space), id(table), supplied)


def _without(visit: Visit, index: int, out: Entered | None) -> Visit:
    return visit if out is None or out.visit != index else left_out(visit, out.entry)


def left_out(visit: Visit, entry: int) -> Visit:
    """A visit without one of its entries."""
    return replace(visit, entries=tuple(e for k, e in enumerate(visit.entries) if k != entry))


def table_for(visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses) -> ModeTable:
    """Configurations that can come about in a case: those of the hypotheses, and what its acts make of them."""
    sets: list[tuple[str, ...]] = []
    for entry in (e for v in visits for e in v.entries if isinstance(e, Act)):
        mending = acts.mending_of(catalogue, entry)
        if mending is not None:
            sets.append((mending.component,))
        sets += [acts.PASSING[e] for e in (catalogue.act(entry.act).effect,) if e in acts.PASSING]
    return space.table.closed(sets)


def moves_by_supply(visits: Sequence[Visit], catalogue: Catalogue) -> bool:
    """Whether the charge moves by what the charging side supplies in a case: a drive, or use between visits."""
    done = (e for v in visits for e in v.entries if isinstance(e, Act))
    return len(visits) > 1 or any(catalogue.act(act.act).effect == "drive" for act in done)


KEPT_BEGUN = 3
_begun: Memo[tuple[Walk, tuple[Model, ...]]] = Memo(KEPT_BEGUN)


def after_preparing(
    present: Present, model: Model, catalogue: Catalogue, space: Hypotheses, preparing: Sequence[Act]
) -> Present:
    """Where a visit would stand after some acts that mend nothing, their outcome not being asked.

    Parameters
    ----------
    present : Present
    model : Model
        Of the visit.
    catalogue : Catalogue
    space : Hypotheses
    preparing : sequence of Act
    """
    walk = Walk.standing_at(present, model, catalogue, space)
    for act in preparing:
        walk.act(0, act)
    return walk.present()


@dataclass(frozen=True, eq=False)
class Traced:
    """A step of a walk with what it started from.

    Parameters
    ----------
    step : Step
    before : Weights
    visit : int
    entry : int or None
        The act it follows from, where leaving that out is leaving out the step.
    model : VisitModel or None
        For evidence: what it was weighed by,
    open : tuple of Open
        what was counted,
    rows : Rows or None
        and the rows it was counted for.
    recalled : mapping of cluster to mapping of quantity to Evidence
        What was known before of clusters of which something was counted.
    """

    step: Step
    before: Weights
    visit: int
    entry: int | None = None
    model: VisitModel | None = None
    open: tuple[Open, ...] = ()
    rows: Rows | None = None
    recalled: Mapping[int, Mapping[str, Evidence]] = field(default_factory=dict, repr=False)


class Walk:
    """A case worked through entry by entry; the only mutable thing here, and it never leaves this room.

    Parameters
    ----------
    catalogue : Catalogue
    space : Hypotheses
    table : ModeTable
        Of :func:`table_for`.
    among : int array, optional
        Hypotheses that are worked through; all when left out.
    supplied : bool
        Whether the charge is going to move by what the charging side supplies (:func:`moves_by_supply`).
    traced : bool
        Whether every step is kept.
    """

    def __init__(
        self, catalogue: Catalogue, space: Hypotheses, table: ModeTable, among: Index | None = None, *,
        supplied: bool = False, traced: bool = False,
    ) -> None:  # fmt: skip
        self.catalogue, self.space, self.table = catalogue, space, table
        chosen = np.arange(len(space)) if among is None else among
        self.rows = Rows(chosen, chosen, np.zeros(len(chosen)))
        self.weights = Weights(np.zeros(len(chosen)), np.ones((len(chosen), 1)))
        self.number, self.date = -1, ""
        self.fed: float | None = None
        self.shed = False
        self.supplied, self.parted, self.dropped = supplied, False, 0.0
        self.memory: Memory = {}
        self.trace: list[Traced] | None = [] if traced else None
        self.open: list[Open] = []
        self.effects: list[str] = []
        self.readings: list[Reading] = []

    @classmethod
    def standing_at(cls, present: Present, model: Model, catalogue: Catalogue, space: Hypotheses) -> Walk:
        """Where a visit stands."""
        walk = cls(catalogue, space, present.table)
        walk.rows, walk.weights, walk.number, walk.memory = (
            present.rows, present.weights, present.visit, present.memory,
        )  # fmt: skip
        walk._enter(model)
        walk.model, walk.open, walk.effects = present.model, list(present.open), list(present.acts_done)
        walk.fed, walk.shed = present.fed, present.shed
        return walk

    def _enter(self, model: Model) -> None:
        self.whole, self.setting = model, model.setting
        self.model = model.compiled_for(self.table)
        self.owner = self.model.view.placements.owner
        self.open, self.effects, self.readings = [], [], []

    def case(self, models: Sequence[Model], visits: Sequence[Visit], without: Entered | None = None) -> None:
        """All visits of a case; what is open in the last one stays so."""
        for number, visit in enumerate(visits):
            if number:
                self.finish()
            self.visit(models[number], _without(visit, number, without))

    def visit(self, model: Model, visit: Visit) -> None:
        """The next visit, with all its entries."""
        self.number += 1
        self._enter(model)
        if self.number == 0:
            prior, at = self.model.charge_prior, self.rows.at
            whole = np.array_equal(at, np.arange(len(prior)))
            self.weights = Weights(np.zeros(len(at)), prior if whole else prior[at])
            self.rows = replace(self.rows, charge=self.weights.charge @ self._middles)
            if self.supplied:
                self._part_by_supply()
        else:
            self._pass_time(interval(self.date, visit.date, visit.conditions.hours_standing))
        self.date = visit.date
        self.fed, self.shed = visit.conditions.hours_standing, False
        self.entries(visit)

    def _part_by_supply(self) -> None:
        """Part the rows whose modes leave the state of supply open, each part with the charge that goes with it."""
        network, components, modes = self.model.network, self.space.components, self.table.modes[self.rows.at]
        share = supply_of(network, components, modes)
        is_open = share.max(axis=1) < SURE_OF_SUPPLY
        share = np.where(share > LEAST_SUPPLY, share, 0.0) / share.sum(axis=1, where=share > LEAST_SUPPLY)[:, None]
        sure, (row, state) = np.flatnonzero(~is_open), np.nonzero(share * is_open[:, None])
        if not len(row):
            return
        parent = np.concatenate([sure, row])
        supply = np.concatenate([np.zeros(len(sure), dtype=np.intp), state + 1])
        charge = charge_supplied(network, components, modes[row], state)
        self.weights = Weights(
            np.concatenate([np.zeros(len(sure)), np.log(share[row, state])]),
            np.concatenate([gathered(self.weights.charge, sure), charge]),
        )
        self.rows = replace(self.rows.cut(parent), supply=supply, charge=self.weights.charge @ self._middles)
        self.parted = True

    def entries(self, visit: Visit) -> None:
        """All entries of the visit the walk has come to."""
        for k, entry in enumerate(visit.entries):
            self.entry(k, entry)

    def copied(self) -> Walk:
        """A walk that goes on from here while this one stays."""
        walk = copy(self)
        walk.open, walk.effects, walk.readings = list(self.open), list(self.effects), list(self.readings)
        walk.trace = None if self.trace is None else list(self.trace)
        return walk

    def knows_the_same(self, other: Walk) -> bool:
        """Whether whatever comes bears on both walks alike, whatever their rows weigh; between two visits."""
        return (
            self.rows.are_as(other.rows)
            and (self.fed, self.shed) == (other.fed, other.shed)
            and self.memory.keys() == other.memory.keys()
            and evidence_key(list(self.memory.values())) == evidence_key([other.memory[q] for q in self.memory])
        )

    def at_rest(self) -> Walk:
        """The same, before the entries of a visit: it holds nothing worked out for questions about the visit."""
        self.model = self.whole.compiled
        return self

    def resumed(self) -> Walk:
        """A walk that goes on from one at rest."""
        walk = self.copied()
        walk.model = walk.whole.compiled_for(walk.table)
        return walk

    def _pass_time(self, time: Interval) -> None:
        """From one visit to the next: the car was used and then it stood."""
        self._move(balance.after_use, (time,), ("battery", None, "use"))
        self._move(balance.after_standing, (time,), ("battery", "drain", "rectifier", "use"))

    def _move(self, what: Callable[..., Array], known: tuple[object, ...], parts: tuple[str | None, ...]) -> None:
        """The charge moves by a table of these components' modes, and of the state of supply where None stands."""
        self._count(self._charged())
        table = self.whole.charge_after(what, *known)
        modes, supply = self.table.modes[self.rows.at], self.rows.supply
        self._apply(moved(table, parts, self.model.network, self.space.components, modes, supply))

    def entry(self, k: int, entry: Entry) -> None:
        """One entry of the visit."""
        if isinstance(entry, Act):
            self.act(k, entry)
        else:
            self.reading(k, entry)

    def reading(self, k: int, reading: Reading) -> None:
        """Something was read; it stays open."""
        self.readings.append(reading)
        offset = module_offset(self.catalogue, self.readings)
        if acts.is_check_up(reading):
            self._no_complaint()
            return
        found = evidence_of(self.model.network, self.catalogue, reading, offset)
        if found is not None:
            self._opened(k, found)

    def _no_complaint(self) -> None:
        """It was brought in without a complaint: its own chance of that, and no evidence besides."""
        if self.number == 0:
            brought_in = self.space.modes[self.rows.origin]
            self._apply(Factor(np.log(acts.no_complaint_chance(self.setting.number, brought_in))))

    def _opened(self, k: int, evidence: Evidence) -> None:
        self.open.append(Open(k, evidence))

    def act(self, k: int, act: Act) -> None:
        """Something was done."""
        spec = self.catalogue.act(act.act)
        mending = acts.mending_of(self.catalogue, act)
        if spec.effect in acts.PASSING:
            self._passing(k, spec.effect, act)
        elif acts.changes_the_car(spec.effect, act.hours, self.setting.number):
            self._move_charge(spec.effect, act)
            if mending is not None:
                self._mend(k, mending, act)
            elif act.outcome is not None and spec.effect in acts.CHARGING:
                self._opened(k, _cranking(self.setting.number, act.outcome))
            elif act.outcome is not None and spec.effect == "drive":
                modes = modes_by_now(self.model.network, self.table, self.rows.at, self.number)
                stands = acts.after_driving(self.setting.number, self.space, modes, act.outcome, self.rows.origin)
                self._apply(Factor(np.log(stands)))
        self.effects.append(spec.effect)

    def _move_charge(self, effect: str, act: Act) -> None:
        if effect in acts.CHARGING:
            self._move(balance.after_charger, (act.hours, effect == "desulphate"), ("battery",))
            self._forget(lambda _, charged: charged)  # it was read of another charge
        elif effect == "drive":
            self._move(balance.after_drive, (act.hours,), ("battery", None))
        elif effect == "wait":
            self._move(balance.after_waiting, (act.hours,), ("battery", "drain", "rectifier", "use"))
        surface = self._surface_after(effect, act.hours)
        if surface is not None:
            self._count({k for k, c in enumerate(self.model.view.placements.clusters) if "surface" in c.hidden})
            self.model = self.model.with_node(surface)

    def _surface_after(self, effect: str, hours: float | None) -> Node | None:
        """Surface charge from now on, if the act bears on it; once shed it stays so until the battery is charged."""
        if effect in acts.FEEDING:
            self.fed, self.shed = 0.0, False
        elif effect == "wait":
            waited = self.catalogue.number("overnight_hours") if hours is None else hours
            self.fed = waited if self.fed is None else self.fed + waited
        elif effect == "shed_surface_charge":
            self.shed = True
        else:
            return None
        return source.surface_shed(self.setting) if self.shed else source.surface_after(self.setting, self.fed)

    def _charged(self) -> set[int]:
        """Clusters of which something is open that depends on the state of charge; the others can stay open."""
        network = self.model.network
        read = {o.evidence.quantity for o in self.open}
        return {self.owner[q] for q in read if behind_quantity(network, q)[1]}

    def _mend(self, k: int, mending: acts.Mending, act: Act) -> None:
        if mending.component == "battery" and mending.modes == acts.ALL_MODES:
            self._count(self._charged())
            self._forget(lambda components, _: "battery" in components)
            new = nearly_full(self.weights.charge.shape[1])
            every = np.ones((len(self.rows), 1))
            self._apply(Move((Moved(None, every, np.broadcast_to(new[:, None], (1, len(new), len(new)))),)))
        column = self.space.components.index(mending.component)
        states = self.model.network.nodes[mending.component].states
        modes = self.table.modes[self.rows.at]
        took = np.flatnonzero(acts.affected(self.space, modes, states, mending))
        before = len(self.rows)
        log_chance = np.zeros(before + len(took))
        log_chance[took] = np.log1p(-mending.success) if mending.success < 1.0 else -np.inf
        log_chance[before:] = np.log(mending.success)
        if act.outcome is not None:
            after = modes[took].copy()
            after[:, column] = 0
            mended = np.arange(len(log_chance)) >= before
            chance = acts.outcome_chance(
                self.setting.number, self.space, np.concatenate([modes, after]), mended, act.outcome
            )
            log_chance += np.log(chance)
        parent = np.concatenate([np.arange(before), took])
        split = Split(before, parent, log_chance, np.arange(len(parent)), len(parent))
        self._apply(split, entry=k, rows=self.rows)
        self.rows = self.rows.cut(parent)
        self._renew(np.arange(before, len(parent)), mending.component)

    def _renew(self, took: Index, component: str) -> None:
        """A part is sound from now on in some rows; what was read of it before is counted in them."""
        if not len(took):
            return
        self.parted = True
        clusters = self.model.view.placements.clusters
        touched = {
            k for k in {self.owner[o.evidence.quantity] for o in self.open} if component in clusters[k].components
        }
        self._count(touched, took)
        since = dict(self.rows.since)
        for k in touched:
            since[k] = since.get(k, np.zeros(len(self.rows), dtype=np.intp)).copy()
            since[k][took] = len(self.open)
        at = self.rows.at.copy()
        at[took] = self.table.with_sound((component,))[at[took]]
        again = self._still_said(touched, took, component)
        supply = self.rows.supply
        if supply is not None and component in self.model.network.nodes["supply"].parents:
            supply = supply.copy()
            supply[took] = 0
        self.rows = replace(self.rows, at=at, since=since, again=again, supply=supply)
        self._put_together()

    def _forget(self, changed: Callable[[frozenset[str], bool], bool]) -> None:
        """Forget quantities by the components they depend on, and whether they depend on the charge."""
        network = self.model.network
        self.memory = {q: e for q, e in self.memory.items() if not changed(*behind_quantity(network, q))}

    def _still_said(self, touched: set[int], took: Index, component: str) -> dict[str, Flags]:
        """Whether the newest reading of each quantity is of the car as it is, once a part was renewed in some rows."""
        newest = {o.evidence.quantity: n for n, o in enumerate(self.open) if self.owner[o.evidence.quantity] in touched}
        again = dict(self.rows.again)
        for quantity in {*self.memory, *newest}:
            behind = component in behind_quantity(self.model.network, quantity)[0]
            flags = again.get(quantity)
            if not behind and (flags is None or quantity not in newest):
                continue
            flags = np.ones(len(self.rows), dtype=np.bool_) if flags is None else flags.copy()
            since = self.rows.since.get(self.owner[quantity])
            if quantity in newest:
                flags[took] |= True if since is None else since[took] <= newest[quantity]
            if behind:
                flags[took] = False
            again[quantity] = flags
        return again

    def _put_together(self) -> None:
        """Make one of rows that are the same, and drop those that hold next to nothing of their hypothesis."""
        if not self.parted:
            return
        before = len(self.rows)
        share = self.weights.log - self.weights_of_hypotheses()[self.rows.origin]
        kept = np.flatnonzero(share >= LEAST_SHARE)
        self.dropped += float(self.space.prior[self.rows.origin] @ np.where(share < LEAST_SHARE, np.exp(share), 0.0))
        self.rows, target = self.rows.cut(kept).merged()
        if len(self.rows) < before:
            self._apply(Split(before, kept, np.zeros(len(kept)), target, len(self.rows)))

    def weights_of_hypotheses(self) -> Array:
        """Natural logarithm of what each hypothesis weighs by what has been counted, shape (hypotheses,)."""
        return log_sums(self.weights.log, self.rows.origin, len(self.space))

    def _count(self, clusters: set[int], only: Index | None = None) -> None:
        """Count what is open of some clusters, for all rows or for some; for all it is then no longer open."""
        mine = [o for o in self.open if self.owner[o.evidence.quantity] in clusters]
        if mine:
            rows = self.rows if only is None else self.rows.cut(only)
            for starts, part in rows.patterns(clusters):
                chosen = part if only is None else only if part is None else only[part]
                self._weigh(starts, chosen, clusters)
        if only is None and mine:
            self._remember({self.owner[o.evidence.quantity] for o in mine})
            stays = [self.owner[o.evidence.quantity] not in clusters for o in self.open]
            self.open = [o for o, stay in zip(self.open, stays, strict=True) if stay]
            self.rows = self.rows.counted(clusters, np.cumsum([0, *stays]))

    def _weigh(self, starts: dict[int, int], chosen: Index | None, clusters: set[int]) -> None:
        counted = tuple(
            o for n, o in enumerate(self.open)
            if (k := self.owner[o.evidence.quantity]) in clusters and n >= starts.get(k, 0)
        )  # fmt: skip
        if not counted:
            return
        rows = self.rows if chosen is None else self.rows.cut(chosen)
        evidence, log_scale = pooled_evidence([o.evidence for o in counted])
        weight, scale = stage_of(self.model, self.table, evidence, rows.at)
        known = dict(self._known(starts, {self.owner[e.quantity] for e in evidence}))
        for k, before in known.items():
            now = [e for e in evidence if self.owner[e.quantity] == k]
            weight = weight * weight_again(self.model, self.table, rows, k, before, now, self.setting.number)
        step = Weigh(chosen, weight, scale + log_scale)
        self._apply(step, model=self.model, open=counted, rows=rows, recalled=known)

    def _known(self, starts: Mapping[int, int], clusters: set[int]) -> Iterator[tuple[int, dict[str, Evidence]]]:
        """What was read before of clusters, some of whose open readings are of the car as it was before a repair."""
        if self.setting.number(BETWEEN_VISITS):
            for k in sorted(clusters):
                quantities = self.model.view.placements.clusters[k].quantities
                known = recalled(self.memory, self.open[: starts.get(k, 0)], quantities)
                if known:
                    yield k, known

    def _remember(self, clusters: set[int]) -> None:
        """What was read of some clusters has been counted, and is remembered."""
        read: dict[str, list[tuple[int, Evidence]]] = {}
        for n, o in enumerate(self.open):
            if self.owner[o.evidence.quantity] in clusters:
                read.setdefault(o.evidence.quantity, []).append((n, o.evidence))
        again, memory, then = dict(self.rows.again), dict(self.memory), dict(self.rows.then)
        for quantity, mine in read.items():
            since = self.rows.since.get(self.owner[quantity])
            latest = 0 if since is None else int(since.max())
            newest = [(n, e) for n, e in mine if n >= latest] or mine[-1:]
            memory[quantity] = as_one([e for _, e in newest])[0]
            flags = again.pop(quantity, None)
            if since is not None and since.any():
                valid = since <= newest[0][0]
                again[quantity] = valid if flags is None else valid | flags
        for k in clusters:
            if self.model.view.placements.clusters[k].charged:
                then[k] = self.rows.charge
        self.memory, self.rows = memory, replace(self.rows, again=again, then=then)

    def _passing(self, k: int, effect: str, act: Act) -> None:
        if act.outcome is None:
            return
        bridged = self.table.with_sound(acts.PASSING[effect])[self.rows.at]
        weight, scale = stage_of(self.model, self.table, [_cranking(self.setting.number, act.outcome)], bridged)
        if effect == "jump_start" and weight.shape[1] > 1:
            weight = (weight @ nearly_full(weight.shape[1]))[:, None]
        self._apply(Weigh(None, weight, scale), entry=k, rows=self.rows)

    def count_all(self) -> None:
        """Count all that is open."""
        self._count({self.owner[o.evidence.quantity] for o in self.open})

    def finish(self) -> None:
        """The visit ends."""
        self.count_all()
        self._put_together()

    def _apply(
        self, step: Step, *, entry: int | None = None, model: VisitModel | None = None, open: tuple[Open, ...] = (),
        rows: Rows | None = None, recalled: Mapping[int, Mapping[str, Evidence]] | None = None,
    ) -> None:  # fmt: skip
        if self.trace is not None:
            self.trace.append(Traced(step, self.weights, self.number, entry, model, open, rows, recalled or {}))
        self.weights = step.forward(self.weights)
        if isinstance(step, Move):
            self.rows = replace(self.rows, charge=step.mean_after(self.rows.charge, self._middles))

    @property
    def _middles(self) -> Array:
        """Middles of the states of charge [-]."""
        edges = np.asarray(self.model.network.nodes["charge"].edges)
        return np.asarray(0.5 * (edges[:-1] + edges[1:]))

    def present(self) -> Present:
        """Where the visit stands."""
        return Present(
            self.model, self.table, self.rows, self.weights, tuple(self.open), tuple(self.effects), self.memory,
            self.number, self.fed, self.shed,
        )  # fmt: skip


def _cranking(number: Callable[[str], float], outcome: str) -> Evidence:
    """What is told of an outcome, as how the engine would have been heard to turn."""
    chances = np.array([number(f"cranking_{outcome}_{heard}") for heard in BEHAVIOURS])
    return Evidence(CRANKS, chances, 1.0 / len(BEHAVIOURS))


def interval(before: str, date: str, standing: float | None) -> Interval:
    """What two dates, either of which may be empty or without a time, and the hours standing say of the time between.

    Examples
    --------
    >>> interval("2026-11-20", "2026-11-23", None), interval("", "2026-11-23", 8.0)
    (Interval(days=(2.5, 3.5), standing=None), Interval(days=None, standing=8.0))
    """
    if not before or not date:
        return Interval(None, standing)
    days = (datetime.fromisoformat(date) - datetime.fromisoformat(before)).total_seconds() / 86400.0
    slack = 0.0 if len(before) > DAY and len(date) > DAY else 0.5
    return Interval((max(0.0, days - slack), max(0.0, days + slack)), standing)


def modes_by_now(network: Network, table: ModeTable, at: Index, visit: int) -> IndexArray:
    """Modes of rows at a visit, counted from nought: what happened once was over when the car came again."""
    modes = table.modes[at]
    if visit and "use" in table.components:
        column, states = table.components.index("use"), network.nodes["use"].states
        modes[np.isin(modes[:, column], [states.index(m) for m in ONCE if m in states]), column] = 0
    return modes


def moved(
    table: Array, parts: tuple[str | None, ...], network: Network, components: tuple[str, ...], modes: IndexArray,
    supply: Index | None = None,
) -> Move:  # fmt: skip
    """A move of the charge by the modes of rows.

    Parameters
    ----------
    table : array, shape (states after, *cards, states before)
        One axis for each part, which may be of length one.
    parts : tuple of str or None
        Components; None for the state of supply, which follows from the modes by the network.
    network : Network
        A component that it does not have is sound.
    components : tuple of str
    modes : int array, shape (rows, components)
    supply : int array, shape (rows,), optional
        One more than the state of supply of rows that stay in one, nought of the others.
    """
    columns = [
        modes[:, components.index(p)] if p in components and table.shape[k + 1] > 1 else np.zeros(len(modes), np.int16)
        for k, p in enumerate(parts)
        if p is not None
    ]
    first, which = distinct_rows(np.stack(columns, axis=1))
    order = np.argsort(which, kind="stable")
    groups = np.split(order, np.searchsorted(which[order], np.arange(1, len(first))))
    share = supply_of(network, components, modes) if None in parts else None
    if share is not None and supply is not None:
        share = np.where(supply[:, None] == 0, share, supply[:, None] == np.arange(1, share.shape[1] + 1))
    found = []
    for rows in groups:
        at = iter(int(c[rows[0]]) for c in columns)
        matrices = table[(slice(None), *(slice(None) if p is None else next(at) for p in parts))]
        if share is None:
            found.append(Moved(rows, np.ones((len(rows), 1)), matrices[None]))
        else:
            found.append(Moved(rows, share[rows], np.moveaxis(matrices, 1, 0)))
    return Move(tuple(found))


def supply_of(network: Network, components: tuple[str, ...], modes: IndexArray) -> Array:
    """Chance of each state of supply [-], shape (rows, states)."""
    node = network.nodes["supply"]
    chosen = tuple(modes[:, components.index(p)] for p in node.parents)
    return np.asarray(np.moveaxis(node.table, 0, -1)[chosen])


def charge_supplied(network: Network, components: tuple[str, ...], modes: IndexArray, supply: Index) -> Array:
    """State of charge a car is brought in with, given its state of supply, shape (rows, charge states)."""
    node = network.nodes["charge"]
    chosen = tuple(
        supply if p == "supply" else modes[:, components.index(p)] if p in components else np.zeros_like(supply)
        for p in node.parents
    )
    return np.asarray(np.moveaxis(node.table, 0, -1)[chosen])


def weight_again(
    model: VisitModel, table: ModeTable, rows: Rows, k: int, known: Mapping[str, Evidence], now: Sequence[Evidence],
    number: Numbers,
) -> Array:  # fmt: skip
    """What was read of a cluster before bears on what is read of it now: shape (rows, charge states or 1)."""
    found: Array = np.ones((len(rows), 1))
    for said, some in rows.said(known):
        if not said:
            continue
        part = rows if some is None else rows.cut(some)
        before = [known[q] for q in said]
        stays = chance_as_before(model, table, part, (k, {e.quantity for e in (*before, *now)}), number)
        at, which = _distinct(table, part.at)
        times = together_over_apart(partial(stage_of, model, table, at=at), before, now)
        weight = 1.0 + stays[:, None] * gathered(times - 1.0, which)
        if some is None:
            return weight
        if weight.shape[1] > found.shape[1]:
            found = np.ones((weight.shape[1], len(rows))).T * found
        found[some] = weight
    return found


def _distinct(table: ModeTable, at: Index) -> tuple[Index, Index]:
    """Rows of a table without repetition, all of them where they are many, and which one each row has."""
    has: Flags = np.zeros(len(table), dtype=np.bool_)
    has[at] = True
    some = np.flatnonzero(has)
    if 2 * len(some) >= len(table):
        return np.arange(len(table)), at
    place = np.empty(len(table), dtype=np.intp)
    place[some] = np.arange(len(some))
    return some, place[at]


def chance_as_before(
    model: VisitModel, table: ModeTable, rows: Rows, read: tuple[int, Iterable[str]], number: Numbers
) -> Array:
    """Chance that what is behind some quantities of a cluster is as it was when they were read [-], shape (rows,)."""
    k, quantities = read
    stays = chance_it_stays(model.network, quantities, table.components, table.modes[rows.at], number)
    then = rows.then.get(k)
    if then is not None and any(behind_quantity(model.network, q)[1] for q in quantities):
        stays *= chance_charge_is_alike(then, rows.charge, number)
    return stays


def stage_of(model: VisitModel, table: ModeTable, evidence: Sequence[Evidence], at: Index) -> Stage:
    """Likelihood of evidence for rows of a table of modes: shape (rows, charge states or 1), and its log scale."""
    if len(at) == len(table) and np.array_equal(at, np.arange(len(table))):
        return model.stage(evidence)
    if 2 * len(at) < len(table):
        return model.subset(at).stage(evidence)
    weight, scale = model.stage(evidence)
    return gathered(weight, at), scale


def nearly_full(states: int) -> Array:
    """Shares of the charge of a new battery, or of one that is helped by another, shape (charge states,)."""
    full = np.full(states, 1e-3)
    full[-2:] = (0.3, 0.7)
    return np.asarray(full / full.sum())
