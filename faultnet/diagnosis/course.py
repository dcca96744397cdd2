"""The course of a case: visits, the stages that acts cut them into, and their likelihood for every hypothesis.

Visits are independent given the modes, so each gives one vector over hypotheses and past visits are folded into one.
Within a visit the state of charge is carried from stage to stage. Mending acts change the modes from then on; with a
chance that a repair did not take, the course is worked out for each way the repairs may have gone and averaged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import product

import numpy as np

from faultnet.case.types import Act, Reading, Visit
from faultnet.diagnosis import acts
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.remembered import Memory, Standing, log_again, remembering
from faultnet.inference.hypotheses import Hypotheses, IndexArray
from faultnet.inference.visit import Evidence, VisitModel
from faultnet.model import source
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

MOST_BRANCHES = 3


@dataclass(frozen=True, eq=False)
class Present:
    """Where the last visit stands: what the next test would be taken under.

    Parameters
    ----------
    model : VisitModel
        Of the last stage.
    evidence : tuple of Evidence
        Of the last stage.
    carried : array, shape (hypotheses, charge states)
        Weight over the state of charge at the start of the last stage.
    acts_done : tuple of str
        Effects of the acts of this visit, in order.
    modes : int array, shape (hypotheses, components)
        Modes of all components by now, repairs taken into account.
    memory : mapping of quantity to Remembered
        Of earlier stages and visits.
    visit, charges : int
        Which visit it is, and how often the charge or the surface charge was changed in it.
    """

    model: VisitModel
    evidence: tuple[Evidence, ...]
    carried: Array = field(repr=False)
    acts_done: tuple[str, ...]
    modes: IndexArray = field(repr=False)
    memory: Memory = field(repr=False)
    visit: int
    charges: int

    def standing(self) -> Standing:
        """Where this stands, for what is remembered."""
        return Standing(self.model, self.modes, self.carried, self.visit, self.charges)


@dataclass(frozen=True, eq=False)
class Course:
    """What a case's visits say.

    Parameters
    ----------
    log_likelihood : array, shape (hypotheses,)
    present : Present
        If all repairs took.
    ways : tuple of (array, int array)
        For each way the repairs may have gone: log likelihood with its chance, and the modes by now.
    presents : tuple of Present
        Where the last visit stands in each of those ways; the first is `present`.
    """

    log_likelihood: Array
    present: Present
    ways: tuple[tuple[Array, IndexArray], ...]
    presents: tuple[Present, ...]


@dataclass(frozen=True)
class Entered:
    """An entry with the place it stands at, for leaving it out."""

    visit: int
    entry: int


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
    kept = [_without(v, i, without) for i, v in enumerate(visits)]
    mendings = [m for v in kept for e in v.entries if isinstance(e, Act) and (m := acts.mending_of(catalogue, e))]
    ways, presents = [], []
    for took, chance in _branches(mendings):
        log_likelihood, now = _one_way(models, kept, catalogue, space, took)
        ways.append((np.log(chance) + log_likelihood, now.modes))
        presents.append(now)
    total = ways[0][0] if len(ways) == 1 else np.logaddexp.reduce([w for w, _ in ways])
    return Course(total, presents[0], tuple(ways), tuple(presents))


def _without(visit: Visit, index: int, out: Entered | None) -> Visit:
    if out is None or out.visit != index:
        return visit
    return replace(visit, entries=tuple(e for k, e in enumerate(visit.entries) if k != out.entry))


def _branches(mendings: Sequence[acts.Mending]) -> list[tuple[tuple[bool, ...], float]]:
    """Every way the last few repairs may have gone, likeliest (all took) first; older ones count as having taken."""
    open_ones = mendings[-MOST_BRANCHES:]
    settled = (True,) * (len(mendings) - len(open_ones))
    ways = []
    for took in product((True, False), repeat=len(open_ones)):
        chance = float(np.prod([m.success if t else 1.0 - m.success for m, t in zip(open_ones, took, strict=True)]))
        ways.append(((*settled, *took), chance))
    return ways


def _one_way(
    models: Sequence[Model], visits: Sequence[Visit], catalogue: Catalogue, space: Hypotheses, took: tuple[bool, ...]
) -> tuple[Array, Present]:
    total = np.zeros(len(space))
    modes = space.modes
    done = 0
    present = None
    memory: Memory = {}
    for number, (model, visit) in enumerate(zip(models, visits, strict=True)):
        walk = _Walk(model, catalogue, space, modes, took[done:], memory, number)
        for entry in visit.entries:
            if isinstance(entry, Act):
                walk.act(entry)
            else:
                walk.reading(entry)
        total = total + walk.log_likelihood()
        modes = walk.modes
        memory = walk.remembered()
        done += walk.mended
        present = walk.present()
    assert present is not None
    return total, present


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
    walk = _Walk(model, catalogue, space, present.modes, (), present.memory, present.visit)
    walk.model, walk.carried, walk.evidence = present.model, present.carried, list(present.evidence)
    walk.charges = present.charges
    for act in preparing:
        walk.act(act)
    return walk.present()


class _Walk:
    """One visit worked through entry by entry; the only mutable thing here, and it never leaves this module."""

    def __init__(
        self, model: Model, catalogue: Catalogue, space: Hypotheses, modes: IndexArray, took: tuple[bool, ...],
        memory: Memory, visit: int,
    ) -> None:  # fmt: skip
        self.setting, self.catalogue, self.space, self.took = model.setting, catalogue, space, took
        self.charged_for = model.charge_after_charging
        self.model = model.compiled if modes is space.modes else model.compiled.entered(modes)
        self.modes = modes
        self.carried = self.model.charge_prior
        self.log = np.zeros(len(space))
        self.evidence: list[Evidence] = []
        self.readings: list[Reading] = []
        self.effects: list[str] = []
        self.mended = 0
        self.memory, self.visit, self.charges = memory, visit, 0

    def reading(self, reading: Reading) -> None:
        self.readings.append(reading)
        offset = module_offset(self.catalogue, self.readings)
        found = evidence_of(self.model.network, self.catalogue, reading, offset)
        if found is not None:
            self.evidence.append(found)

    def act(self, act: Act) -> None:
        spec = self.catalogue.act(act.act)
        mending = acts.mending_of(self.catalogue, act)
        if spec.effect in acts.PASSING:
            self._passing(spec.effect, act)
        elif acts.changes_the_car(spec.effect, act.hours):
            self._close_stage()
            self._move_charge(spec.effect, act)
            if mending is not None:
                self._mend(mending, act)
            elif act.outcome is not None and spec.effect in acts.CHARGING:
                self.evidence.append(self._cranking(act.outcome))
            elif act.outcome is not None and spec.effect == "drive":
                stands = acts.after_driving(self.setting.spread, self.space, self.modes, act.outcome)
                self.log = self.log + np.log(stands)
        self.effects.append(spec.effect)

    def _close_stage(self) -> None:
        if not self.evidence:
            return
        weight, scale = self.model.stage(self.evidence)
        self.log = self.log + log_again(self.memory, self.evidence, self._standing(), self.setting.spread)
        self.memory = self.remembered()
        self.carried = self.carried * weight
        top = self.carried.sum(axis=1)
        self.log = self.log + scale + np.log(np.maximum(top, 1e-300))
        self.carried = self.carried / np.maximum(top, 1e-300)[:, None]
        self.evidence = []

    def _move_charge(self, effect: str, act: Act) -> None:
        if effect in acts.CHARGING:
            hours = act.hours if act.hours is not None else self.catalogue.spread("charger_hours")
            moved = self.charged_for(hours)
            battery = self.modes[:, self.space.components.index("battery")]
            self.carried = _moved(self.carried, battery, moved)
        elif effect == "drive":
            self.carried = self.carried.sum(axis=1, keepdims=True) * self.model.charge_prior
        state = acts.SURFACE_AFTER.get(effect)
        if effect == "wait":
            state = "rested"
        self.charges += state is not None or effect in acts.CHARGING or effect == "drive"
        if state is not None:
            self.model = self.model.with_node(source.surface_node(self.setting, state))

    def _mend(self, mending: acts.Mending, act: Act) -> None:
        states = self.model.network.nodes[mending.component].states
        rows = acts.affected(self.space, self.modes, states, mending)
        took = self.took[self.mended]
        self.mended += 1
        if took:
            self.modes = acts.with_sound(self.space, self.modes, (mending.component,), rows)
            self.model = self.model.for_modes(self.modes)
            if mending.component == "battery" and mending.modes == acts.ALL_MODES:
                self.carried = self.carried.sum(axis=1, keepdims=True) * _nearly_full(self.carried.shape[1])
                self.charges += 1
        if act.outcome is not None:
            fixed = rows if took else np.zeros(len(rows), dtype=bool)
            chance = acts.outcome_chance(self.setting.spread, self.space, self.modes, fixed, act.outcome)
            self.log = self.log + np.log(chance)

    def _cranking(self, outcome: str) -> Evidence:
        return Evidence("crank_behaviour", np.array(acts.CRANKING_AFTER[outcome]), 0.2)

    def _passing(self, effect: str, act: Act) -> None:
        if act.outcome is None:
            return
        bridged = acts.with_sound(self.space, self.modes, acts.PASSING[effect])
        charge = self.carried / np.maximum(self.carried.sum(axis=1, keepdims=True), 1e-300)
        if effect == "jump_start":
            charge = np.broadcast_to(_nearly_full(charge.shape[1]), charge.shape)
        weight, scale = self.model.for_modes(bridged).stage([self._cranking(act.outcome)])
        self.log = self.log + scale + np.log(np.maximum((weight * charge).sum(axis=1), 1e-300))

    def log_likelihood(self) -> Array:
        """Log likelihood of everything entered in this visit."""
        if not self.evidence:
            return np.asarray(self.log + np.log(np.maximum(self.carried.sum(axis=1), 1e-300)))
        weight, scale = self.model.stage(self.evidence)
        total = (self.carried * weight).sum(axis=1)
        again = log_again(self.memory, self.evidence, self._standing(), self.setting.spread)
        return np.asarray(self.log + again + scale + np.log(np.maximum(total, 1e-300)))

    def remembered(self) -> Memory:
        """What is remembered once this stage is over."""
        return remembering(self.memory, self.evidence, self._standing())

    def _standing(self) -> Standing:
        return Standing(self.model, self.modes, self.carried, self.visit, self.charges)

    def present(self) -> Present:
        return Present(
            self.model, tuple(self.evidence), self.carried, tuple(self.effects), self.modes, self.memory, self.visit,
            self.charges,
        )  # fmt: skip


def _moved(carried: Array, battery: IndexArray, moved: Array) -> Array:
    """Weight over the state of charge after a charge, shape (hypotheses, states): most batteries are in mode 0."""
    after = moved[:, 0] @ carried.T
    for mode in range(1, moved.shape[1]):
        rows = np.flatnonzero(battery == mode)
        after[:, rows] = moved[:, mode] @ carried.T.take(rows, axis=1)
    return np.asarray(after.T)


def _nearly_full(states: int) -> Array:
    full = np.full(states, 1e-3)
    full[-2:] = (0.3, 0.7)
    return np.asarray(full / full.sum())
