"""How sure tuned answers and chances of being on are, from what the cases really told.

Expected counts as if they had been seen make intervals too narrow where causes are missing: a case whose cause might be
either of two tells little of either's answers. Each case's *score* is the slope of its log likelihood in the numbers,
base rates among them; the sum of their squares is the information that the cases gave, as in
:mod:`faultnet.learning.em.intervals`. A share keeps its Beta distribution, as sure as the information makes it and
never surer than the completed counts would.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.learning.em import on_rates, symptoms
from faultnet.learning.em.chunk import UNKNOWN, Chunk, Single
from faultnet.learning.em.e_step import TINY, Counts, Frame, Numbers, Pass
from faultnet.learning.em.intervals import prior_information, rate_numbers
from faultnet.learning.em.on_rates import Key
from faultnet.learning.em.scores import marker
from faultnet.learning.em.symptoms import SymptomForm
from faultnet.model.network import Array

STEP = 1e-4


@dataclass(frozen=True, eq=False)
class Layout:
    """Which number is which parameter: logarithms of base rates, then of answers, then log odds of being on.

    Parameters
    ----------
    rates : int array, shape (factors + 1, places)
        -1 where there is none.
    answers : dict of test to int array, shape (rows, choices)
        -1 in rows that no case bears on.
    on : dict of key to int
    size : int
    """

    rates: Index = field(repr=False)
    answers: Mapping[str, Index] = field(repr=False)
    on: Mapping[Key, int] = field(repr=False)
    size: int


def layout_of(frame: Frame, numbers: Numbers, counts: Counts) -> Layout:
    """Lay out the numbers that cases bear on."""
    rates = rate_numbers(frame.rates)
    size = int(rates.max()) + 1
    answers = {}
    for test, told in counts.symptoms.items():
        form = frame.symptoms[test]
        seen = symptoms.row_counts(form, numbers.symptoms[test], told).sum(axis=1) > 0.0
        at = np.full(form.counts.shape, -1)
        at[seen] = size + np.arange(int(seen.sum()) * form.counts.shape[1]).reshape(-1, form.counts.shape[1])
        size += int((at >= 0).sum())
        answers[test] = at
    on = {key: size + k for k, key in enumerate(on_rates.by_row(numbers.on, counts.on))}
    return Layout(rates, answers, on, size + len(on))


def slopes(form: SymptomForm, rows: Array) -> Array:
    """Slope of the log chance of each answer in the log weights of the rows, shape (sorts, choices, rows, choices).

    By central differences; a row's weights are normed, so its slopes sum to nought.
    """
    found = np.empty((*form.answers(rows).shape, *rows.shape))
    for r, s in np.ndindex(*rows.shape):
        up, down = rows.copy(), rows.copy()
        up[r, s] *= np.exp(STEP)
        down[r, s] *= np.exp(-STEP)
        ends = [np.log(np.maximum(form.answers(x / x.sum(axis=1, keepdims=True)), TINY)) for x in (up, down)]
        found[:, :, r, s] = (ends[0] - ends[1]) / (2.0 * STEP)
    return found


def case_scores(chunk: Chunk, frame: Frame, numbers: Numbers, layout: Layout) -> Array:
    """Score of every case of a chunk, shape (cases, parameters)."""
    work, marks = Pass(chunk, frame, numbers), marker(frame.rates)
    usual = (work.prior @ marks) / work.prior.sum(axis=1, keepdims=True)
    bent = {test: slopes(frame.symptoms[test], numbers.symptoms[test]) for test in layout.answers}
    found = np.zeros((len(chunk), layout.size))
    for i in range(len(chunk)):
        weight, visits = _given(work, i)
        _rates(found[i], layout, frame, int(chunk.cell[i]), _modes(weight, marks, chunk, i) - usual[chunk.cell[i]])
        for k in work.keys(i):
            _answer(found[i], layout, work, k, weight, bent[chunk.answers[k].test])
        for when, on, off in visits:
            for f in np.flatnonzero(on + off > 0.0):
                key = on_rates.holding(numbers.on, frame.patterns.faults[f], chunk.whens[when])
                if key in layout.on:
                    found[i, layout.on[key]] += on[f] - (on[f] + off[f]) * numbers.on[key]
    return found


def _given(work: Pass, i: int) -> tuple[Array, list[tuple[int, Array, Array]]]:
    """Belief in every hypothesis after a case, and for each visit how often each fault was on and off."""
    chunk, patterns = work.chunk, work.frame.patterns
    visits = []
    truth = int(chunk.truth[i])
    if truth != UNKNOWN:
        weight = np.zeros(work.prior.shape[1])
        weight[truth] = 1.0
        span = slice(*patterns.starts[truth : truth + 2].tolist())
        for j in range(work.visits[i], work.visits[i + 1]):
            when = int(chunk.visit_when[j])
            each = chunk.narrow[j, : span.stop - span.start] * work.chances[when][span]
            each = each / max(float(each.sum()), TINY)
            visits.append((when, each @ (patterns.on[span] > 0), each @ (patterns.on[span] < 0)))
        return weight, visits
    weight, mixed = work.weight(i)
    weight /= max(float(weight.sum()), TINY)
    at, hypothesis = work.frame.several
    for when, each, one in mixed:
        share = each[at] * (weight / np.maximum(one, TINY))[hypothesis]
        visits.append((when, share @ (patterns.on[at] > 0), share @ (patterns.on[at] < 0)))
    return weight, visits


def _modes(weight: Array, marks: Single, chunk: Chunk, i: int) -> Array:
    truth = int(chunk.truth[i])
    return np.asarray(marks[truth] if truth != UNKNOWN else weight.astype(np.float32) @ marks, dtype=np.float64)


def _rates(score: Array, layout: Layout, frame: Frame, cell: int, told: Array) -> None:
    at = np.arange(len(told))
    for row in (layout.rates[0], np.where(frame.rates.own[cell] > 0, layout.rates[frame.rates.own[cell], at], -1)):
        score[row[row >= 0]] += told[row >= 0]


def _answer(score: Array, layout: Layout, work: Pass, k: int, weight: Array, bent: Array) -> None:
    """What one answer told of the rows of its table."""
    answer = work.chunk.answers[k]
    form, table = work.frame.symptoms[answer.test], work.tables[k]
    likelihood = np.array(answer.likelihood)
    heard = np.bincount(form.sort, np.where(work.frame.unlisted, 0.0, weight), len(table))
    said = symptoms.leaked(table) @ likelihood
    told = (heard / np.maximum(said, TINY))[:, None] * (1.0 - symptoms.LEAK) * table * likelihood
    at = layout.answers[answer.test]
    score[at[at >= 0]] += np.tensordot(told, bent, axes=2)[at >= 0]


@dataclass(frozen=True, eq=False)
class Sure:
    """How many cases' worth of knowledge stands behind each answer and each chance of being on.

    Parameters
    ----------
    layout : Layout
    covariance : array, shape (parameters, parameters)
    """

    layout: Layout
    covariance: Array = field(repr=False)

    def answer(self, test: str, row: int, choice: int, shares: Array, completed: float) -> float:
        """Cases' worth behind an answer; `completed` is what the completed counts would say [-].

        Parameters
        ----------
        shares : array, shape (choices,)
            The tuned row.
        """
        at = self.layout.answers[test][row]
        slope = shares[choice] * (np.arange(len(shares)) == choice) - shares[choice] * shares
        return _worth(float(shares[choice]), float(slope @ self.covariance[np.ix_(at, at)] @ slope), completed)

    def on(self, key: Key, chance: float, completed: float) -> float:
        """Visits' worth behind a chance of being on [-]."""
        k = self.layout.on[key]
        return _worth(chance, float(self.covariance[k, k]) * (chance * (1.0 - chance)) ** 2, completed)


def sure(frame: Frame, numbers: Numbers, layout: Layout, information: Array, strength: float) -> Sure:
    """What the cases and the old prior set say together.

    Parameters
    ----------
    frame : Frame
    numbers : Numbers
    layout : Layout
    information : array, shape (parameters, parameters)
        Sum over cases, by weight, of the products of their scores.
    strength : float
        Weight of the old chances of being on [-].
    """
    whole = information.copy()
    rates = int(layout.rates.max()) + 1
    whole[:rates, :rates] += prior_information(frame.rates, layout.rates)
    for test, places in layout.answers.items():
        for row, at in enumerate(places):
            if at[0] >= 0:
                shares = numbers.symptoms[test][row]
                total = float(frame.symptoms[test].counts[row].sum())
                whole[np.ix_(at, at)] += total * (np.diag(shares) - np.outer(shares, shares))
    for key, k in layout.on.items():
        whole[k, k] += strength * on_rates.WORTH * numbers.on[key] * (1.0 - numbers.on[key])
    return Sure(layout, np.asarray(np.linalg.pinv(whole, hermitian=True), np.float64))


def _worth(share: float, variance: float, completed: float) -> float:
    """Cases' worth of a share by its variance, at most what the completed counts would say.

    Examples
    --------
    >>> _worth(0.5, 0.0025, 400.0), _worth(0.5, 0.0001, 400.0)
    (100.0, 400.0)
    """
    return completed if variance <= 0.0 else min(completed, share * (1.0 - share) / variance)
