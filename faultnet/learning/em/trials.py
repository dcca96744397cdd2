"""Cases laid out so that physical numbers can be tried on them: how likely each makes them, what is missing weighed in.

A case has some hypotheses: the confirmed one, or the likely ones of a case whose cause is missing, each with its share
of the belief. A number that is tried makes each of them more or less likely, and with it the case. That is the marginal
likelihood of the number, and not an expectation of its logarithm, so that intervals know what is missing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

import numpy as np

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.inference.configurations import Index
from faultnet.inference.evidence import Evidence
from faultnet.learning.em import on_rates
from faultnet.learning.em.activity import Fault
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.bands import physical
from faultnet.learning.em.chunk import UNKNOWN, Chunk, fetched
from faultnet.learning.em.e_step import TINY, Frame, Numbers, Pass
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.separable import is_plain, parted
from faultnet.model.network import Array
from faultnet.model.setting import Setting

MOST_OF_A_FAULT = 60
MOST_OPEN = 200
MOST_HYPOTHESES = 5
COVERED = 0.95
MOST_SETTINGS = 6
Ask = tuple[Key, int, list[Evidence]]


@dataclass(frozen=True, eq=False)
class Trial:
    """One case.

    Parameters
    ----------
    hypotheses : tuple of int
    shares : array, shape (hypotheses,)
        Belief in each by the tuned numbers; what is left is spread over others [-].
    weight : float
        By the age of the case [-].
    visits : tuple of (setting, list of Evidence, array of shape (faults,))
        What was read at each, and the chance of each fault to be on.
    """

    hypotheses: tuple[int, ...]
    shares: Array
    weight: float
    visits: tuple[tuple[Key, list[Evidence], Array], ...] = field(repr=False)


class Trials:
    """Cases that numbers are tried on, with every likelihood that is asked for laid out in a row.

    Parameters
    ----------
    encoder : Encoder
    trials : sequence of Trial
    """

    def __init__(self, encoder: Encoder, trials: Sequence[Trial]) -> None:
        self.encoder, self.trials = encoder, trials
        patterns = encoder.patterns
        asks: list[Ask] = []
        chances: list[Array] = []
        visits: list[int] = []
        slots: list[int] = []
        begins = [0]
        for trial in trials:
            for h in trial.hypotheses:
                span = slice(*patterns.starts[h : h + 2].tolist())
                rows, acts = patterns.row[span].tolist(), patterns.on[span]
                for setting, evidence, on in trial.visits:
                    visits.append(len(asks))
                    slots.append(len(begins) - 1)
                    asks += [(setting, row, evidence) for row in rows]
                    chances.append(np.where(acts > 0, on, np.where(acts < 0, 1.0 - on, 1.0)).prod(axis=1))
                begins.append(len(visits))
        self.asks = asks
        self._chance = np.log(np.maximum(np.concatenate([np.zeros(0), *chances]), TINY))
        self._visits, self._slots = np.array([*visits, len(asks)]), np.array(slots, dtype=np.intp)
        self.case = np.repeat(np.arange(len(trials)), [len(t.hypotheses) for t in trials])
        self.share = np.concatenate([np.zeros(0), *(t.shares for t in trials)])
        self.weight = np.array([t.weight for t in trials])
        self.modes = encoder.space.modes[[h for t in trials for h in t.hypotheses]]

    def __len__(self) -> int:
        return len(self.share)

    @property
    def settings(self) -> list[Key]:
        """Every setting that something was read in."""
        return list(dict.fromkeys(setting for setting, _, _ in self.asks))

    def having(self, fault: Fault) -> Index:
        """Places of the hypotheses with a fault."""
        component, mode = fault
        column = self.encoder.space.components.index(component)
        state = [m.id for m in self.encoder.catalogue.component(component).modes].index(mode)
        return np.flatnonzero(self.modes[:, column] == state)

    def of_cases(self, most: int) -> Index:
        """Places of the hypotheses of so many cases at most, evenly."""
        step = max(1, -(-len(self.trials) // most))
        return np.flatnonzero(self.case % step == 0)

    def logs(self, places: Index, logs_of: Callable[[Index], Array]) -> Array:
        """Log likelihood of its case under each of some hypotheses [nat], shape (places,).

        Parameters
        ----------
        places : int array, shape (places,)
        logs_of : callable
            Gives the log likelihoods of some of :attr:`asks`, by their places.
        """
        wanted = np.zeros(len(self), dtype=bool)
        wanted[places] = True
        visits = np.flatnonzero(wanted[self._slots])
        if not len(visits):
            return np.zeros(len(places))
        spans = [np.arange(self._visits[v], self._visits[v + 1]) for v in visits]
        at = np.concatenate(spans)
        logs = self._chance[at] + logs_of(at)
        each = np.logaddexp.reduceat(logs, np.cumsum([0, *(len(s) for s in spans[:-1])]))
        found = np.zeros(len(self))
        np.add.at(found, self._slots[visits], each)
        return np.asarray(found[places])

    def height(self, places: Index, gained: Array, share: Array) -> float:
        """Log likelihood that the cases gain where some of their hypotheses do [nat].

        Parameters
        ----------
        places : int array, shape (places,)
        gained : array, shape (places,)
            Log likelihood that each gains [nat].
        share : array, shape (hypotheses,)
            Belief in every one.
        """
        more = np.bincount(self.case[places], share[places] * np.expm1(gained), len(self.trials))
        return float(self.weight @ np.log(np.maximum(1.0 + more, TINY)))


def laid_out(
    encoder: Encoder, frame: Frame, numbers: Numbers, chunks: Sequence[Path], cases: Sequence[Case],
    weights: Sequence[float], faults: Sequence[Fault],
) -> Trials:  # fmt: skip
    """Take up cases to try numbers on: confirmed ones of each fault, and ones whose cause is missing, evenly.

    Parameters
    ----------
    encoder : Encoder
    frame : Frame
    numbers : Numbers
        As tuned: they weigh the hypotheses.
    chunks : sequence of Path
    cases : sequence of Case
    weights : sequence of float
    faults : sequence of (component, mode)
        Of which so many confirmed cases are wanted.
    """
    settings = {s for s, _ in Counter(encoder.settings[physical(c.car, v.conditions)] for c in cases for v in c.visits)
                .most_common(MOST_SETTINGS)}  # fmt: skip
    suited = [
        k for k, c in enumerate(cases)
        if c.visits and all(encoder.settings[physical(c.car, v.conditions)] in settings for v in c.visits)
    ]  # fmt: skip
    truth = {k: encoder.truth(cases[k]) for k in suited}
    found = []
    for k in _confirmed(suited, cases, truth, set(faults)):
        found.append(trial_of(encoder, numbers, cases[k], (truth[k],), np.ones(1), weights[k]))
    for k, shares in _beliefs([k for k in suited if truth[k] == UNKNOWN], chunks, frame, numbers):
        order = np.argsort(-shares, kind="stable")[:MOST_HYPOTHESES]
        enough = int(np.searchsorted(np.cumsum(shares[order]), COVERED)) + 1
        listed = [h for h in order[:enough].tolist() if not frame.unlisted[h]]
        found.append(trial_of(encoder, numbers, cases[k], tuple(listed), shares[listed], weights[k]))
    return Trials(encoder, [t for t in found if t.visits and t.hypotheses])


def _confirmed(
    suited: Sequence[int], cases: Sequence[Case], truth: dict[int, int], faults: set[Fault]
) -> Iterator[int]:
    """Confirmed cases, evenly over the history, until every fault has enough."""
    have: Counter[Fault] = Counter()
    known = [k for k in suited if truth[k] != UNKNOWN]
    for k in _spread_out(known):
        outcome = cases[k].outcome
        mine = faults.intersection(() if outcome is None else outcome.causes)
        if any(have[fault] < MOST_OF_A_FAULT for fault in mine):
            have.update(mine)
            yield k


def _spread_out(places: Sequence[int]) -> list[int]:
    """The same places in an order in which the first so many are spread over all of them.

    Examples
    --------
    >>> sorted(_spread_out(range(10))[:3])
    [0, 2, 6]
    """
    golden = (np.arange(len(places)) * 0.6180339887498949) % 1.0  # far from the ones before, as seeds in a sunflower
    nearest = np.argsort(np.argsort(golden, kind="stable"), kind="stable")
    return [places[i] for i in nearest.tolist()]


def _beliefs(
    places: Sequence[int], chunks: Sequence[Path], frame: Frame, numbers: Numbers
) -> Iterator[tuple[int, Array]]:
    """Belief in every hypothesis of some open cases."""
    wanted = sorted(_spread_out(places)[:MOST_OPEN])
    for path in chunks if wanted else ():
        first = int(path.name.rpartition("_")[2])
        if not wanted or wanted[0] < first:
            continue
        chunk = cast(Chunk, fetched(path))
        mine = [k for k in wanted if k < first + len(chunk)]
        wanted = wanted[len(mine) :]
        work = Pass(chunk, frame, numbers) if mine else None
        for k in mine:
            assert work is not None
            weight, _ = work.weight(k - first)
            yield k, weight / max(float(weight.sum()), TINY)


def trial_of(
    encoder: Encoder, numbers: Numbers, case: Case, hypotheses: tuple[int, ...], shares: Array, weight: float
) -> Trial:
    """What was read of a case before anything was changed."""
    catalogue, visits = encoder.catalogue, []
    apart = case if is_plain(case, catalogue) else parted(case, catalogue)[0]
    for visit in apart.visits:
        setting = encoder.settings[physical(case.car, visit.conditions)]
        network = encoder.bare(setting)
        readings = [e for e in visit.entries if isinstance(e, Reading)]
        told = []
        for k, reading in enumerate(readings):
            table = catalogue.symptoms.get(reading.test)
            if table is None or table.today:
                told.append(evidence_of(network, catalogue, reading, module_offset(catalogue, readings[: k + 1])))
        evidence = [e for e in told if e is not None]
        if evidence:
            brought_on = Setting(case.car, visit.conditions, catalogue).brought_on
            visits.append((setting, evidence, on_rates.chances(numbers.on, encoder.patterns.faults, brought_on)))
    return Trial(hypotheses, shares, weight, tuple(visits))
