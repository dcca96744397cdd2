"""One pass over a chunk: how likely each hypothesis is in each case by the present numbers, added up as counts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.learning.em import on_rates, symptoms
from faultnet.learning.em.activity import ActivationPatterns, Fault
from faultnet.learning.em.chunk import UNKNOWN, Chunk
from faultnet.learning.em.on_rates import OnRates, When
from faultnet.learning.em.rates import RateForm, Rates, prior
from faultnet.learning.em.symptoms import SymptomForm, Tables
from faultnet.model.network import Array

TINY = 1e-300
NO_FOLD = -1


@dataclass(frozen=True, eq=False)
class Frame:
    """What does not change from pass to pass, shared by all chunks.

    Parameters
    ----------
    patterns : ActivationPatterns
    rates : RateForm
    symptoms : dict of test to SymptomForm
    unlisted : bool array, shape (hypotheses,)
    folds : int
        Parts of the history for held-out scores.
    """

    patterns: ActivationPatterns
    rates: RateForm
    symptoms: Mapping[str, SymptomForm]
    unlisted: np.ndarray
    folds: int = 0

    @cached_property
    def several(self) -> tuple[Index, Index]:
        """ActivationPatterns of hypotheses that have more than one, and their hypotheses."""
        spans = np.diff(self.patterns.starts)
        hypothesis = np.repeat(np.arange(len(spans)), spans)
        at = np.flatnonzero(spans[hypothesis] > 1)
        return at, hypothesis[at]


@dataclass(frozen=True, eq=False)
class Numbers:
    """The numbers that are tuned."""

    rates: Rates
    symptoms: Tables = field(repr=False)
    on: OnRates = field(repr=False)


@dataclass(frozen=True, eq=False)
class Counts:
    """What a pass adds up.

    Parameters
    ----------
    log_likelihood : float
        Sum over cases by weight [nat].
    cells : array, shape (cells, hypotheses)
        Expected cases.
    symptoms : dict of test to array, shape (sorts, choices)
        Expected true answers that came from the table.
    on : dict of (fault, conditions) to array (on, off)
        Expected visits.
    """

    log_likelihood: float
    cells: Array = field(repr=False)
    symptoms: dict[str, Array] = field(repr=False)
    on: dict[tuple[Fault, When], Array] = field(repr=False)


def added(parts: Iterable[Counts]) -> Counts:
    """Sum of counts, in the order they are given, so that it is the same wherever they were worked out."""
    total, cells = 0.0, np.zeros(())
    answered: dict[str, Array] = {}
    on: dict[tuple[Fault, When], Array] = {}
    for part in parts:
        total += part.log_likelihood
        cells = cells + part.cells
        for test, counts in part.symptoms.items():
            answered[test] = answered[test] + counts if test in answered else counts
        for key, seen in part.on.items():
            on[key] = on[key] + seen if key in on else seen
    return Counts(total, cells, answered, on)


def expectation(chunk: Chunk, frame: Frame, numbers: Numbers, leave: int = NO_FOLD) -> Counts:
    """Expected counts of one chunk.

    Parameters
    ----------
    chunk : Chunk
    frame : Frame
    numbers : Numbers
    leave : int
        Fold whose cases are left out; none by default.
    """
    work = Pass(chunk, frame, numbers)
    for i in range(len(chunk)):
        if leave == NO_FOLD or chunk.number[i] % frame.folds != leave:
            work.count(i)
    return work.counts()


class Pass:
    """A chunk under one set of numbers; used within one call and then dropped."""

    def __init__(self, chunk: Chunk, frame: Frame, numbers: Numbers) -> None:
        self.chunk, self.frame = chunk, frame
        self.prior = prior(frame.rates, numbers.rates)
        self.chances = [
            frame.patterns.chance(on_rates.chances(numbers.on, frame.patterns.faults, when)) for when in chunk.whens
        ]
        answers = {t: f.answers(numbers.symptoms[t]) for t, f in frame.symptoms.items()}
        self.tables = [answers[a.test] for a in chunk.answers]
        self.said = [self._said(k) for k in range(len(chunk.answers))]
        n = np.arange(len(chunk) + 1)
        self.visits, self.answers, self.fixed = (
            np.searchsorted(c, n).tolist() for c in (chunk.visit_case, chunk.answer_case, chunk.fixed_case)
        )
        hypotheses = self.prior.shape[1]
        self.total = 0.0
        self.cells = np.zeros(self.prior.shape)
        self.heard = np.zeros((len(chunk.answers), hypotheses))
        self.pattern = np.zeros((len(chunk.whens), len(frame.patterns.row)))

    def _said(self, k: int) -> Array:
        """What an answer says of every hypothesis, shape (hypotheses,)."""
        answer = self.chunk.answers[k]
        said = symptoms.leaked(self.tables[k]) @ np.array(answer.likelihood)
        found: Array = said[self.frame.symptoms[answer.test].sort]
        found[self.frame.unlisted] = answer.background
        return found

    def weight(self, i: int) -> tuple[Array, list[tuple[int, Array, Array]]]:
        """Prior times likelihood of a case for every hypothesis, and for each visit its patterns and their sums."""
        chunk, patterns = self.chunk, self.frame.patterns
        weight = self.prior[chunk.cell[i]].copy()
        mixed = []
        for j in range(self.visits[i], self.visits[i + 1]):
            when = int(chunk.visit_when[j])
            each = chunk.rows(j, len(patterns.rows))[patterns.row] * self.chances[when]
            one = np.add.reduceat(each, patterns.starts[:-1])
            weight *= one
            mixed.append((when, each, one))
        for k in self.keys(i):
            weight *= self.said[k]
        for f in range(self.fixed[i], self.fixed[i + 1]):
            weight *= chunk.fixed[chunk.fixed_key[f]]
        return weight, mixed

    def keys(self, i: int) -> list[int]:
        """Answers of a case."""
        return self.chunk.answer_key[self.answers[i] : self.answers[i + 1]].tolist()  # type: ignore[no-any-return]

    def count(self, i: int) -> None:
        """Add one case."""
        if self.chunk.truth[i] != UNKNOWN:
            self._confirmed(i, int(self.chunk.truth[i]))
            return
        share = float(self.chunk.weight[i])
        weight, mixed = self.weight(i)
        total = max(float(weight.sum()), TINY)
        self.total += share * (np.log(total) + self.chunk.offset[i])
        weight *= share / total
        self.cells[self.chunk.cell[i]] += weight
        for k in self.keys(i):
            self.heard[k] += weight
        at, hypothesis = self.frame.several
        for when, each, one in mixed:
            self.pattern[when, at] += each[at] * (weight / np.maximum(one, TINY))[hypothesis]

    def _confirmed(self, i: int, truth: int) -> None:
        """Add a case whose hypothesis is known: only which of its faults were on is not."""
        chunk, share = self.chunk, float(self.chunk.weight[i])
        total = float(self.prior[chunk.cell[i], truth])
        span = slice(*self.frame.patterns.starts[truth : truth + 2].tolist())
        for j in range(self.visits[i], self.visits[i + 1]):
            when = int(chunk.visit_when[j])
            each = chunk.narrow[j, : span.stop - span.start] * self.chances[when][span]
            total *= max(float(each.sum()), TINY)
            if len(each) > 1:
                self.pattern[when, span] += share * each / max(float(each.sum()), TINY)
        for k in self.keys(i):
            total *= float(self.said[k][truth])
            self.heard[k, truth] += share
        for f in range(self.fixed[i], self.fixed[i + 1]):
            total *= float(chunk.fixed[chunk.fixed_key[f], truth])
        self.total += share * (np.log(max(total, TINY)) + chunk.offset[i])
        self.cells[chunk.cell[i], truth] += share

    def counts(self) -> Counts:
        """Everything added so far."""
        return Counts(self.total, self.cells, self._answered(), self._on())

    def _answered(self) -> dict[str, Array]:
        found: dict[str, Array] = {}
        for k, answer in enumerate(self.chunk.answers):
            form, table = self.frame.symptoms[answer.test], self.tables[k]
            likelihood = np.array(answer.likelihood)
            listed = np.where(self.frame.unlisted, 0.0, self.heard[k])
            heard = np.bincount(form.sort, listed, len(table))
            said = symptoms.leaked(table) @ likelihood
            told = (heard / np.maximum(said, TINY))[:, None] * (1.0 - symptoms.LEAK) * table * likelihood
            found[answer.test] = found[answer.test] + told if answer.test in found else told
        return found

    def _on(self) -> dict[tuple[Fault, When], Array]:
        patterns, found = self.frame.patterns, {}
        for when, row in zip(self.chunk.whens, self.pattern, strict=True):
            on, off = row @ (patterns.on > 0), row @ (patterns.on < 0)
            for k, fault in enumerate(patterns.faults):
                if on[k] + off[k] > 0.0:
                    found[fault, when] = np.array([on[k], off[k]])
        return found
