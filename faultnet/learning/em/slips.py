"""How often each instrument, and each person who reads, slips: a probe in the wrong place, a figure misread.

Where the causes are confirmed, all other readings of the visit say what a reading should have shown. Its likelihood is
``(1 - slip) * clean + slip * flat``, linear in the instrument's chance of a slip, so the ratio of `clean` to `flat` is
all that is needed of it: the posterior of a chance is worked out on a grid, without any approximation by a bell curve.
The others' slips are taken as the set has them. What the tables of the set have wrong looks like a slip too.

The old chance is taken as worth :data:`WORTH` readings times the strength; a person's slips are those of the
instruments used times a factor, which leans on one with a spread of :data:`PERSON_SPREAD` (both estimates, no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.evidence import evidence_of, instrument_of, module_offset, slip_of
from faultnet.inference.evidence import Evidence
from faultnet.learning.em import on_rates, symptoms
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.bands import physical
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.separable import is_plain
from faultnet.learning.result import Change
from faultnet.model.network import Array, Network
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue

WORTH = 200.0
PERSON_SPREAD = 0.7
MOST_LOOKED_AT = 600
GRID = np.linspace(-14.0, 4.0, 2401)
TINY = 1e-300
QUANTILES = (0.025, 0.975)


@dataclass(frozen=True)
class Looked:
    """A reading held against all others of its visit.

    Parameters
    ----------
    instrument : str
    person : str
        Who read; empty where that is not told.
    ratio : float
        Likelihood of the reading if it is no slip over that if it is one [-].
    weight : float
        Of its case [-].
    """

    instrument: str
    person: str
    ratio: float
    weight: float


class Looker:
    """Holds the readings of confirmed cases against each other, by the tuned numbers.

    Parameters
    ----------
    encoder : Encoder
    frame : Frame
    numbers : Numbers
    """

    def __init__(self, encoder: Encoder, frame: Frame, numbers: Numbers) -> None:
        self.encoder, self.frame, self.numbers = encoder, frame, numbers

    def looked(self, case: Case, weight: float) -> Iterator[Looked]:
        """Every reading of a case whose cause is known and listed, and that was not changed between readings."""
        encoder = self.encoder
        truth = encoder.truth(case)
        if truth < 0 or self.frame.unlisted[truth] or not is_plain(case, encoder.catalogue):
            return
        for visit in case.visits:
            setting = encoder.settings[physical(case.car, visit.conditions)]
            network = encoder.bare(setting)
            readings = [e for e in visit.entries if isinstance(e, Reading)]
            told: list[tuple[Reading, Evidence]] = []
            for k, reading in enumerate(readings):
                table = encoder.catalogue.symptoms.get(reading.test)
                if table is not None and not table.today:
                    yield from self._answer(reading, truth, weight)
                    continue
                found = evidence_of(
                    network, encoder.catalogue, reading, module_offset(encoder.catalogue, readings[: k + 1])
                )
                if found is not None:
                    told.append((reading, found))
            if told:
                brought_on = Setting(case.car, visit.conditions, encoder.catalogue).brought_on
                chances = on_rates.chances(self.numbers.on, self.frame.patterns.faults, brought_on)
                logs = self._without([e for _, e in told], setting, truth, chances)
                for (reading, evidence), ratio in zip(told, logs, strict=True):
                    yield self._entry(reading, evidence, ratio, network, weight)

    def _without(self, evidence: Sequence[Evidence], setting: Key, truth: int, on: Array) -> Array:
        """Likelihood of the visit over that without each reading, what acts averaged over, shape (readings,)."""
        patterns = self.frame.patterns
        span = slice(*patterns.starts[truth : truth + 2].tolist())
        acts = patterns.on[span]
        chance = np.where(acts > 0, on, np.where(acts < 0, 1.0 - on, 1.0)).prod(axis=1)
        each = [self.encoder.cut(setting, row).without_each(evidence) for row in patterns.row[span].tolist()]
        together = np.logaddexp.reduce(np.log(np.maximum(chance, TINY))[:, None] + np.array(each), axis=0)
        return np.asarray(np.exp(np.minimum(together[0] - together[1:], 600.0)))

    def _entry(self, reading: Reading, evidence: Evidence, density: float, network: Network, weight: float) -> Looked:
        """A physical reading."""
        catalogue = self.encoder.catalogue
        instrument = instrument_of(catalogue, catalogue.test(reading.test), reading)
        flat = _flat(reading, evidence, network, catalogue)
        clean = (density - instrument.slip * flat) / (1.0 - instrument.slip)
        return Looked(instrument.id, reading.read_by, max(clean, 0.0) / flat, weight)

    def _answer(self, reading: Reading, truth: int, weight: float) -> Iterator[Looked]:
        """An answer to a lasting symptom: its table says what it should have been."""
        if reading.state is None or reading.roughly:
            return
        catalogue = self.encoder.catalogue
        form = self.frame.symptoms[reading.test]
        said = symptoms.leaked(form.answers(self.numbers.symptoms[reading.test]))[form.sort[truth]]
        ratio = float(said[form.choices.index(reading.state)]) * len(form.choices)
        yield Looked(instrument_of(catalogue, catalogue.test(reading.test), reading).id, reading.read_by, ratio, weight)


def _flat(reading: Reading, evidence: Evidence, network: Network, catalogue: Catalogue) -> float:
    """Likelihood of a reading that is a slip."""
    if not network.nodes[evidence.quantity].edges:
        return 1.0 / len(evidence.likelihood)
    return slip_of(network, catalogue, reading)


def evenly(confirmed: Sequence[int], most: int) -> list[int]:
    """So many of some cases at most, evenly over the history.

    Examples
    --------
    >>> evenly(range(7), 3)
    [0, 3, 6]
    """
    return list(confirmed[:: max(1, -(-len(confirmed) // most))])


def slip_changes(looked: Iterable[Looked], catalogue: Catalogue, strength: float) -> tuple[Change, ...]:
    """The chance of a slip of every instrument that was looked at, before and after."""
    by_instrument: dict[str, list[Looked]] = {}
    for one in looked:
        by_instrument.setdefault(one.instrument, []).append(one)
    found = []
    for name in [i.id for i in catalogue.instruments if i.id in by_instrument]:
        mine, old = by_instrument[name], catalogue.instrument(name).slip
        ratio, weight = np.array([m.ratio for m in mine]), np.array([m.weight for m in mine])
        new, low, high = slip_posterior(ratio, weight, old, strength * WORTH)
        seen = float(weight.sum())
        found.append(Change("instruments", (name, "slip"), old, new, low, high, seen, "-", seen + strength * WORTH))
    return tuple(found)


def slip_posterior(ratio: Array, weight: Array, old: float, worth: float) -> tuple[float, float, float]:
    """Mean and 95 % interval of a chance of a slip.

    Parameters
    ----------
    ratio, weight : array, shape (readings,)
        As of :class:`Looked` [-].
    old : float
        [-]
    worth : float
        Readings that the old one is worth; its prior is a Beta distribution of that many.

    Examples
    --------
    One slip for certain in ten readings, on a prior of one in ten readings: Beta(2, 18).

    >>> mean, low, high = slip_posterior(np.array([0.0] + [1e12] * 9), np.ones(10), 0.1, 10.0)
    >>> round(mean, 4), round(low, 4), round(high, 4)
    (0.1, 0.013, 0.2603)
    """
    chance = 1.0 / (1.0 + np.exp(-GRID))
    log = worth * old * np.log(chance) + worth * (1.0 - old) * np.log1p(-chance)  # of the log odds: no Jacobian left
    for r, w in zip(ratio, weight, strict=True):
        log += w * (np.log(chance + (1.0 - chance) * r) - np.log1p(r))
    return _summary(log, chance)


def person_factors(looked: Iterable[Looked], slips: Mapping[str, float]) -> tuple[Change, ...]:
    """By what factor each person who is named slips more or less often than others with the same instruments.

    Parameters
    ----------
    looked : iterable of Looked
    slips : mapping of instrument to float
        Tuned [-].
    """
    by_person: dict[str, list[Looked]] = {}
    for one in looked:
        if one.person:
            by_person.setdefault(one.person, []).append(one)
    found = []
    for name, mine in sorted(by_person.items()):
        new, low, high = person_factor(mine, slips)
        weight = float(sum(m.weight for m in mine))
        found.append(Change("people", (name,), 1.0, new, low, high, weight, "times", weight))
    return tuple(found)


def person_factor(mine: Sequence[Looked], slips: Mapping[str, float]) -> tuple[float, float, float]:
    """Median and 95 % interval of a person's factor on the odds of a slip.

    Examples
    --------
    Nothing was told: the prior alone.

    >>> [round(x, 2) for x in person_factor([], {})]
    [1.0, 0.25, 3.94]
    """
    at = np.linspace(-6.0, 6.0, 1201) * PERSON_SPREAD
    log = -0.5 * (at / PERSON_SPREAD) ** 2
    for one in mine:
        odds = slips[one.instrument] / (1.0 - slips[one.instrument]) * np.exp(at)
        log += one.weight * (np.log(odds + one.ratio) - np.log1p(odds) - np.log1p(one.ratio))
    share = np.exp(log - log.max())
    low, median, high = np.exp(
        np.interp((QUANTILES[0], 0.5, QUANTILES[1]), (np.cumsum(share) - 0.5 * share) / share.sum(), at)
    )
    return float(median), float(low), float(high)


def _summary(log: Array, value: Array) -> tuple[float, float, float]:
    """Mean and 95 % interval of a value by its log density over an even grid of something that grows with it."""
    share = np.exp(log - log.max())
    share /= share.sum()
    low, high = np.interp(QUANTILES, np.cumsum(share) - 0.5 * share, value)
    return float(share @ value), float(low), float(high)
