"""Closed cases become chunks: the one step of tuning that needs networks and the engine, done once.

Cases are taken a chunk at a time; within it, visits that share a setting go through the engine's batch form together.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from faultnet.case.types import Act, Case, CaseOutcome, Reading
from faultnet.diagnosis.course import course
from faultnet.diagnosis.diagnose import as_counted, check_case
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.diagnosis.models import Model
from faultnet.inference.batch import log_likelihoods
from faultnet.inference.evidence import Evidence
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.learning.em.activity import ANSWER, ActivationPatterns, conditioned_on_activity, patterns_of
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.bands import physical
from faultnet.learning.em.chunk import UNKNOWN, Answer, Chunk
from faultnet.learning.em.given import Given, Plans, given, logs_given
from faultnet.learning.em.on_rates import When
from faultnet.learning.em.proof import proof_factor
from faultnet.learning.em.rates import prior, rate_form
from faultnet.learning.em.separable import acts_only, is_plain, parted
from faultnet.learning.em.space import Space, cell_of, modes_of
from faultnet.model.cache import network_for
from faultnet.model.network import Array, Network
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue

CHUNK = 500
KEPT_MODELS = 12
KEPT_NETWORKS = 64
KEPT_CUTS = 16
LEAST_LOG = -600.0
UNLISTED = "unlisted"


@dataclass(frozen=True, eq=False)
class Encoder:
    """What cases of a history are encoded with.

    Parameters
    ----------
    catalogue : Catalogue
        The old prior set.
    space : Space
    settings : dict of setting to setting
        Of :func:`faultnet.learning.em.bands.settings_of`.
    """

    catalogue: Catalogue
    space: Space
    settings: dict[Key, Key]
    _networks: Memo[Network] = field(default_factory=lambda: Memo(KEPT_NETWORKS), repr=False)
    _models: Memo[VisitModel] = field(default_factory=lambda: Memo(KEPT_MODELS), repr=False)
    _whole: Memo[Model] = field(default_factory=lambda: Memo(KEPT_MODELS), repr=False)
    _acts: Memo[Array] = field(default_factory=lambda: Memo(4096), repr=False)
    _bare: Memo[Network] = field(default_factory=lambda: Memo(KEPT_MODELS), repr=False)
    _cuts: Memo[Given] = field(default_factory=lambda: Memo(KEPT_CUTS), repr=False)
    plans: Plans = field(default_factory=dict, repr=False)

    @cached_property
    def patterns(self) -> ActivationPatterns:
        """ActivationPatterns of the space; the parents of nodes are the same in every setting's network."""
        network = conditioned_on_activity(self.network(next(iter(self.settings.values()))))
        return patterns_of(self.catalogue, network, self.space.components, self.space.modes)

    @cached_property
    def places(self) -> dict[tuple[int, ...], int]:
        """Where each combination of modes stands among the hypotheses."""
        return {tuple(row): i for i, row in enumerate(self.space.modes.tolist())}

    def first_setting(self, case: Case) -> int:
        """Place among the settings of what a case's first visit was in, to take those of one network together."""
        return self._order[self.settings[physical(case.car, case.visits[0].conditions)]] if case.visits else -1

    @cached_property
    def _order(self) -> dict[Key, int]:
        return {setting: k for k, setting in enumerate(dict.fromkeys(self.settings.values()))}

    def network(self, setting: Key) -> Network:
        """Network of a setting, kept in memory: a history has few."""
        return self._networks.get(setting, lambda: network_for(Setting(*setting, self.catalogue)))

    def model(self, setting: Key) -> VisitModel:
        """Compiled for the rows of the patterns, with what acts now given."""
        return self._models.get(
            setting,
            lambda: compile_visit(self.bare(setting), self.patterns.columns, self.patterns.rows),
        )

    def bare(self, setting: Key) -> Network:
        """Network of a setting with what acts now given."""
        return self._bare.get(setting, lambda: conditioned_on_activity(self.network(setting)))

    def cut(self, setting: Key, row: int) -> Given:
        """The same, cut at one row of the patterns."""
        patterns = self.patterns
        return self._cuts.get(
            (setting, row),
            lambda: given(self.bare(setting), patterns.columns, patterns.rows[row].tolist(), self.plans),
        )

    def whole(self, setting: Key) -> Model:
        """Compiled for the hypotheses, with old on-rates and symptom tables inside."""

        def make() -> Model:
            compiled = compile_visit(self.network(setting), self.space.components, self.space.modes)
            return Model(Setting(*setting, self.catalogue), self.space.hypotheses(), compiled)

        return self._whole.get(setting, make)

    def truth(self, case: Case) -> int:
        """Hypothesis that was confirmed and is taken as true, or -1."""
        return UNKNOWN if case.outcome is None or case.outcome.proof is not None else self.named(case.outcome)

    def named(self, outcome: CaseOutcome) -> int:
        """Hypothesis that an outcome names."""
        return self.places[tuple(modes_of(self.space.components, self.space.networks[0], outcome.causes))]

    @cached_property
    def before(self) -> Array:
        """Prior of every hypothesis by the old set, shape (cells, hypotheses)."""
        form = rate_form(self.catalogue, self.space, 1.0, ())
        return prior(form, form.start())

    def factor(self, case: Case, *, readings: bool) -> Array:
        """Log likelihood of a case's acts, or of all of it, by the old prior set, for every hypothesis."""
        visits = case.visits if readings else acts_only(case)
        settings = [self.settings[physical(case.car, v.conditions)] for v in case.visits]

        def make() -> Array:
            found = course([self.whole(s) for s in settings], visits, self.catalogue, self.space.hypotheses())
            return found.log_likelihood

        return make() if readings else self._acts.get((tuple(v.entries for v in visits), tuple(settings)), make)


def encoded(
    encoder: Encoder, cases: Sequence[Case], weights: Sequence[float], first: int, whole: Sequence[bool]
) -> Chunk:
    """Work out the likelihoods of some cases.

    Parameters
    ----------
    encoder : Encoder
    cases : sequence of Case
    weights : sequence of float
        Of each case [-].
    first : int
        Place of the first one in the history.
    whole : sequence of bool
        Whether the likelihoods of a case with a confirmed outcome are kept for all hypotheses, for scoring.

    Raises
    ------
    EntryError
        If an entry makes no sense to the catalogue.
    """
    draft = _Draft(encoder)
    for case in cases:
        check_case(case, encoder.catalogue)
        draft.add(case)
    keep = [w or t == UNKNOWN for w, t in zip(whole, draft.truth, strict=True)]
    return draft.chunk(np.asarray(weights, dtype=np.float64), first, keep)


class _Draft:
    """A chunk in the making; it never leaves this module."""

    def __init__(self, encoder: Encoder) -> None:
        self.encoder = encoder
        self.cell: list[int] = []
        self.truth: list[int] = []
        self.visits: list[tuple[int, Key, list[Evidence], int]] = []
        self.answers: list[tuple[int, int]] = []
        self.keys: dict[Answer, int] = {}
        self.whens: dict[When, int] = {}
        self.fixed: list[tuple[int, int]] = []
        self.factors: dict[bytes, tuple[int, Array]] = {}

    def add(self, case: Case) -> None:
        i = len(self.cell)
        encoder = self.encoder
        case = as_counted(case, encoder.catalogue)
        self.cell.append(encoder.space.cells.index(cell_of(case.car)))
        self.truth.append(encoder.truth(case))
        if case.outcome is not None and case.outcome.proof is not None:
            named = encoder.named(case.outcome)
            self._fix(i, proof_factor(encoder.catalogue, case.outcome.proof, encoder.before[self.cell[i]], named))
        if not is_plain(case, encoder.catalogue):
            case, rest = parted(case, encoder.catalogue)
            self._fix(i, encoder.factor(rest, readings=True))
        elif any(isinstance(e, Act) for v in case.visits for e in v.entries):
            self._fix(i, encoder.factor(case, readings=False))
        for v in range(len(case.visits)):
            self._visit(i, case, v)

    def _fix(self, i: int, logs: Array) -> None:
        if np.ptp(logs) > 0.0:
            key = logs.tobytes()
            self.factors.setdefault(key, (len(self.factors), logs))
            self.fixed.append((i, self.factors[key][0]))

    def _visit(self, i: int, case: Case, v: int) -> None:
        visit, catalogue = case.visits[v], self.encoder.catalogue
        setting = self.encoder.settings[physical(case.car, visit.conditions)]
        network = self.encoder.model(setting).network
        readings = [e for e in visit.entries if isinstance(e, Reading)]
        seen: list[Evidence] = []
        asked: dict[str, list[Evidence]] = {}
        for k, reading in enumerate(readings):
            table = catalogue.symptoms.get(reading.test)
            symptom = table is not None and not table.today
            where = self.encoder.network(setting) if symptom else network
            found = evidence_of(where, catalogue, reading, module_offset(catalogue, readings[: k + 1]))
            if found is None:
                continue
            if symptom:
                asked.setdefault(found.quantity.removeprefix(ANSWER), []).append(found)
            else:
                seen.append(found)
        for test, said in asked.items():
            together = np.prod([e.likelihood for e in said], axis=0)
            answer = Answer(test, tuple(together.tolist()), float(np.prod([e.background for e in said])))
            self.answers.append((i, self.keys.setdefault(answer, len(self.keys))))
        if seen:
            brought_on = Setting(case.car, visit.conditions, catalogue).brought_on
            self.visits.append((i, setting, seen, self.whens.setdefault(brought_on, len(self.whens))))

    def chunk(self, weights: Array, first: int, keep: Sequence[bool]) -> Chunk:
        patterns, n = self.encoder.patterns, len(self.cell)
        spans = np.diff(patterns.starts)
        used = [v for v in self.visits if keep[v[0]] or spans[self.truth[v[0]]] > 1]
        whole = np.full(len(used), UNKNOWN, dtype=np.intp)
        mine = [j for j, v in enumerate(used) if keep[v[0]]]
        whole[mine] = np.arange(len(mine))
        likelihood = np.empty((len(mine), len(patterns.rows)), dtype=np.float32)
        narrow, offset = np.zeros((len(used), int(spans.max()))), np.zeros(n)
        for places, logs in self._worked_out(used, mine):
            for j, row in zip(places, logs, strict=True):
                top = float(row.max())
                scaled, case = np.exp(np.maximum(row - top, LEAST_LOG)), used[j][0]
                offset[case] += top
                likelihood[whole[j]] = scaled
                if self.truth[case] >= 0:
                    span = slice(patterns.starts[self.truth[case]], patterns.starts[self.truth[case] + 1])
                    narrow[j, : span.stop - span.start] = scaled[patterns.row[span]]
        for j, row in self._confirmed(used, np.flatnonzero(whole == UNKNOWN).tolist()):
            top = float(row.max())
            offset[used[j][0]] += top
            narrow[j, : len(row)] = np.exp(np.maximum(row - top, LEAST_LOG))
        factors, tops = self._factors()
        for case, key in self.fixed:
            offset[case] += tops[key]
        return Chunk(
            np.arange(first, first + n), np.array(self.cell, dtype=np.intp), weights,
            np.array(self.truth, dtype=np.intp), np.array(keep, dtype=np.bool_), offset,
            _column([v[0] for v in used]), _column([v[3] for v in used]),
            likelihood, whole, narrow, _column([a for a, _ in self.answers]), _column([k for _, k in self.answers]),
            _column([a for a, _ in self.fixed]), _column([k for _, k in self.fixed]), factors,
            tuple(self.whens), tuple(self.keys),
        )  # fmt: skip

    def _worked_out(
        self, used: Sequence[tuple[int, Key, list[Evidence], int]], wanted: Sequence[int]
    ) -> Iterator[tuple[list[int], Array]]:
        groups: dict[Key, list[int]] = {}
        for j in wanted:
            groups.setdefault(used[j][1], []).append(j)
        for setting, places in groups.items():
            for start in range(0, len(places), 64):
                some = places[start : start + 64]
                yield some, log_likelihoods(self.encoder.model(setting), [used[j][2] for j in some])

    def _confirmed(
        self, used: Sequence[tuple[int, Key, list[Evidence], int]], wanted: Sequence[int]
    ) -> Iterator[tuple[int, Array]]:
        """Visits of which only the confirmed hypothesis matters: log likelihoods of its patterns."""
        patterns = self.encoder.patterns
        rows = {}
        for j in wanted:
            truth = self.truth[used[j][0]]
            rows[j] = patterns.row[patterns.starts[truth] : patterns.starts[truth + 1]].tolist()
        asked = [(used[j][1], row, used[j][2]) for j in wanted for row in rows[j]]
        found, at = logs_given(self.encoder.cut, asked), 0
        for j in wanted:
            yield j, found[at : at + len(rows[j])]
            at += len(rows[j])

    def _factors(self) -> tuple[np.ndarray, list[float]]:
        logs = [f for _, f in self.factors.values()]
        tops = [float(f.max()) for f in logs]
        table = np.zeros((len(logs), len(self.encoder.space)), dtype=np.float32)
        for k, (f, top) in enumerate(zip(logs, tops, strict=True)):
            table[k] = np.exp(np.maximum(f - top, LEAST_LOG))
        return table, tops


def _column(values: Sequence[int]) -> np.ndarray:
    return np.array(values, dtype=np.intp)
