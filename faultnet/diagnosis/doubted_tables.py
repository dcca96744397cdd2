"""Answers of a case whose symptom table is an estimate: how every hypothesis would weigh, were one number off.

The likelihood of an answer is linear in each number of its table, the other numbers of the row making room in
proportion. So is the weight of every hypothesis, and any odds are a ratio of two linear functions of the number: its
sensitivity function. What a fault that comes and goes does to an answer is parted into on and off by what the answer
weighed in the case.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Act, Reading, Visit
from faultnet.diagnosis.acts import is_check_up, mending_of
from faultnet.diagnosis.course import Entered
from faultnet.diagnosis.diagnose import Worked
from faultnet.diagnosis.evidence import evidence_of
from faultnet.inference.evidence import UNLISTED, Evidence
from faultnet.inference.posterior import TINY
from faultnet.model.network import Array, normalised
from faultnet.model.quantities import TABLE
from faultnet.model.symptoms import NEVER_RULED_OUT, all_combined
from faultnet.prior_set.types import SymptomTable

OTHERWISE = "otherwise"
NONE = ("", "")  # the cause whose row is that of all others
ESTIMATE = "estimate"
LEAST_BELIEF = 1e-5  # hypotheses below this are taken as they are [-]
LIKELY = 0.003  # causes below this are not looked at [-]


@dataclass(frozen=True, eq=False)
class Doubted:
    """One number of a symptom table at one end of its range.

    Parameters
    ----------
    test, choice : str
        The answer that was given.
    cause : (component, mode)
        Whose row it is; empty words for the row of all others.
    chance, end : float
        As it is taken, and at the end of the range [-].
    ratio : array, shape (hypotheses,)
        Weight of each hypothesis then over its weight now [-].
    """

    test: str
    choice: str
    cause: tuple[str, str]
    chance: float
    end: float
    ratio: Array = field(repr=False)


def doubted_answers(worked: Worked, causes: Sequence[tuple[str, str]]) -> Iterator[Doubted]:
    """Every number that bears on an answer of a case, is marked as an estimate and belongs to a likely cause.

    Parameters
    ----------
    worked : Worked
    causes : sequence of (component, mode)
    """
    marginals = worked.belief.marginals()
    nodes = worked.models[0].compiled.network.nodes
    likely = [(c, m) for c, m in causes if c and marginals[c][nodes[c].states.index(m)] >= LIKELY]
    for v, visit in enumerate(worked.case.visits):
        for k, entry in enumerate(visit.entries):
            if isinstance(entry, Reading) and _by_table(worked, visit, v, k):
                yield from _answer(worked, Entered(v, k), entry, likely)


def _by_table(worked: Worked, visit: Visit, v: int, k: int) -> bool:
    """Whether an entry is an answer by a table, of parts that nothing was done to before."""
    entry = visit.entries[k]
    assert isinstance(entry, Reading)
    test = worked.catalogue.test(entry.test)
    if test.quantity != TABLE or entry.not_measured is not None or is_check_up(entry):
        return False
    parts = worked.catalogue.symptoms[test.id].components()
    before = [e for w in worked.case.visits[:v] for e in w.entries] + list(visit.entries[:k])
    mended = [mending_of(worked.catalogue, e) for e in before if isinstance(e, Act)]
    return not any(m is not None and m.component in parts for m in mended)


def _answer(worked: Worked, place: Entered, reading: Reading, causes: Sequence[tuple[str, str]]) -> Iterator[Doubted]:
    table = worked.catalogue.symptoms[reading.test]
    choices = [c for c, _ in worked.catalogue.test(reading.test).choices]
    assert reading.state is not None
    answered = choices.index(reading.state)
    named = _Named(worked.catalogue.fingerprint, reading.test, table)
    over = _Over.of(worked, place, reading, named)
    if over is None:
        return
    wide = worked.catalogue.number("symptom_off_by")
    for cause in (NONE, *causes):
        name = OTHERWISE if cause == NONE else ":".join(cause)
        if name in table.sources and table.sources[name][1] == ESTIMATE:
            row = table.rows.get(cause, table.otherwise)
            chance = row[answered] / sum(row)
            for factor in (wide, 1.0 / wide):
                end = chance * factor / (1.0 - chance + chance * factor)
                moved = _with_chance(table, cause, answered, end)
                changed = replace(named, table=moved, cause=cause, choice=answered, end=end)
                yield Doubted(reading.test, reading.state, cause, chance, end, over.ratio(changed))


def _with_chance(table: SymptomTable, cause: tuple[str, str], choice: int, chance: float) -> SymptomTable:
    """A table with another chance in one row, the others of the row making room in proportion."""
    row = np.asarray(table.rows.get(cause, table.otherwise), dtype=np.float64)
    share = row / row.sum()
    left = share * (1.0 - chance) / max(1.0 - share[choice], TINY)
    left[choice] = chance
    if cause == NONE:
        return replace(table, otherwise=tuple(left.tolist()))
    return replace(table, rows={**table.rows, cause: tuple(left.tolist())})


@dataclass(frozen=True)
class _Named:
    """A symptom table, perhaps with one number moved, by what tells it from others: entry after entry asks for it."""

    fingerprint: str
    test: str
    table: SymptomTable = field(compare=False, repr=False)
    cause: tuple[str, str] = NONE
    choice: int = -1
    end: float = 0.0


@lru_cache(maxsize=256)
def _combined(named: _Named, components: tuple[str, ...], modes: tuple[tuple[str, ...], ...]) -> Array:
    """Chance of each answer for every combination of modes."""
    return normalised(all_combined(named.table, components, modes), NEVER_RULED_OUT)


@dataclass(frozen=True, eq=False)
class _Over:
    """One answer of a case, over the hypotheses that hold some belief."""

    worked: Worked
    components: tuple[str, ...]
    modes: list[tuple[str, ...]]
    on: tuple[NDArray[np.intp], ...]
    off: tuple[NDArray[np.intp], ...]
    rows: NDArray[np.intp]
    strange: NDArray[np.bool_]
    evidence: Evidence
    weight_on: Array
    weight_off: Array
    share_on: Array
    sound: float = 0.0

    @classmethod
    def of(cls, worked: Worked, place: Entered, reading: Reading, named: _Named) -> _Over | None:
        table = named.table
        network = worked.models[place.visit].compiled.network
        evidence = evidence_of(network, worked.catalogue, reading)
        without = worked.left_out.log_likelihood.get(place)
        if evidence is None or without is None:
            return None
        space, chosen = worked.space, worked.left_out.chosen
        strange = np.zeros(len(space), dtype=bool)
        if UNLISTED in space.components:
            strange = space.modes[:, space.components.index(UNLISTED)] > 0
        known = (worked.belief.posterior[chosen] >= LEAST_BELIEF) & ~strange[chosen]
        rows = chosen[known]
        seen = np.exp((worked.course.log_likelihood[chosen] - without)[known])
        components = table.components()
        on, modes, goes = [], [], []
        for component in components:
            column = space.modes[rows, space.components.index(component)]
            here = np.union1d([0], column).astype(np.intp)  # only modes that some hypothesis has
            states = network.nodes[component].states
            modes.append(tuple(states[i] for i in here))
            on.append(np.searchsorted(here, column))
            comes = np.array([table.today and (component, states[i]) in worked.catalogue.on_rates for i in here])
            goes.append(comes[on[-1]])
        off = tuple(np.where(g, 0, c) for g, c in zip(goes, on, strict=True))
        over = cls(worked, components, modes, tuple(on), off, rows, strange, evidence, *(np.empty(0),) * 3)
        weight_on, weight_off, sound = over.weights(named)
        apart = np.abs(weight_on - weight_off) > TINY
        share = np.where(apart, (seen - weight_off) / np.where(apart, weight_on - weight_off, 1.0), 1.0)
        share = np.clip(share, 0.0, 1.0)
        return replace(over, weight_on=weight_on, weight_off=weight_off, share_on=share, sound=sound)

    def weights(self, named: _Named) -> tuple[Array, Array, float]:
        """What the answer weighs in each hypothesis with its faults on, with those that come and go off, and sound."""
        values = _combined(named, self.components, tuple(self.modes))
        weight = np.tensordot(self.evidence.likelihood, values, axes=(0, 0))
        return np.asarray(weight[self.on]), np.asarray(weight[self.off]), float(weight.flat[0])

    def ratio(self, named: _Named) -> Array:
        """Weight of every hypothesis by another table over its weight now, shape (hypotheses,)."""
        on, off, sound = self.weights(named)
        now = self.share_on * self.weight_on + (1.0 - self.share_on) * self.weight_off
        then = self.share_on * on + (1.0 - self.share_on) * off
        ratio = np.ones(len(self.worked.space))
        ratio[self.rows] = then / np.maximum(now, TINY)
        # a fault that is not listed leaves part of the readings as those of a sound car
        unspoilt = 1.0 - self.worked.catalogue.number("unlisted_mixture")
        ratio[self.strange] = 1.0 + unspoilt * (sound - self.sound) / max(self.evidence.background, TINY)
        return ratio
