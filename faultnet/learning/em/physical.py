"""Physical spreads that are marked as estimates, tuned to confirmed cases: centre and spread of what a fault does.

A number of ``effects.csv`` sits inside the tables of a visit's network, so it is tried at a few values: the network is
built anew with it, and the readings of the confirmed cases of its mode say how likely each value is. Between the values
the log likelihood is a polynomial, and with the prior the posterior is summed over a grid. Centres go first, then
spreads at the centres found. Values of several modes are tried in one network where no case bears on two of them.

The old centre is taken as known as well as from :data:`WORTH` cars times the strength, and so is the old spread (an
estimate, no source); for so many draws the standard errors are those of a normal distribution. A number whose posterior
is hardly narrower than its prior could not be told from the data: it stays as it was, and that is said.

Covered are faults whose parameter bears on something that is read directly (:data:`READ`), in cases with one cause, all
read before anything was changed, and in the settings that occur most. Sound parts, uniform spreads and ``spreads.csv``
are not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.evidence import evidence_of, module_offset
from faultnet.inference.evidence import Evidence
from faultnet.learning.em import on_rates
from faultnet.learning.em.activity import conditioned_on_activity
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.bands import physical
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.given import Plans, given
from faultnet.learning.em.separable import is_plain
from faultnet.learning.result import Change
from faultnet.model.build import build_network
from faultnet.model.network import Array, Network
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect

READ = (
    "rest_loss", "resistance_factor", "acceptance_factor", "gravity_spread", "resistance", "contact_resistance",
    "output_factor", "ripple_factor", "set_point_shift", "leakage", "brush_resistance", "usual_charge",
)  # fmt: skip
WORTH = 20.0
CENTRES = (-1.5, -0.75, 0.0, 0.75, 1.5)
SPREADS = (-0.8, -0.4, 0.0, 0.4, 0.8)
FEWEST = 5
MOST_OF_A_MODE = 60
MOST_SETTINGS = 2
TOLD = 0.9
ESTIMATE = "estimate"
LEVELS = (0.025, 0.975)
EffectKey = tuple[str, str, str]
Visited = tuple[Key, list[Evidence], int, Array, float]


@dataclass(frozen=True)
class Physics:
    """What became of the numbers that were tried.

    Parameters
    ----------
    changes : tuple of Change
    untold : tuple of (component, mode, parameter, column)
        Numbers that the cases bear on but do not tell.
    """

    changes: tuple[Change, ...]
    untold: tuple[tuple[str, str, str, str], ...]


def tried(catalogue: Catalogue) -> dict[tuple[str, str], list[EffectKey]]:
    """The numbers that may be tuned, by fault."""
    found: dict[tuple[str, str], list[EffectKey]] = {}
    for (component, mode, parameter), effect in catalogue.effects.items():
        sound = catalogue.component(component).modes[0].id == mode
        if effect.mark == ESTIMATE and effect.shape != "uniform" and parameter in READ and not sound:
            found.setdefault((component, mode), []).append((component, mode, parameter))
    return found


def shifted(effect: Effect, by: float) -> Effect:
    """The same with its centre moved by so many spreads."""
    moved = (
        effect.centre * np.exp(by * effect.spread)
        if effect.shape == "lognormal"
        else effect.centre + by * effect.spread
    )
    return replace(effect, centre=float(moved))


def widened(effect: Effect, by: float) -> Effect:
    """The same with the logarithm of its spread raised.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> effect = load_catalogue().effects["belt", "slips", "output_factor"]
    >>> round(widened(effect, float(np.log(2.0))).spread, 6)
    0.7
    """
    return replace(effect, spread=float(effect.spread * np.exp(by)))


class Trier:
    """Tries values of physical numbers on the visits of confirmed cases with one cause."""

    def __init__(
        self, encoder: Encoder, frame: Frame, numbers: Numbers, cases: Sequence[Case], weights: Sequence[float]
    ) -> None:
        self.encoder, self.patterns = encoder, frame.patterns
        self.by_fault = tried(encoder.catalogue)
        self.visits: dict[tuple[str, str], list[Visited]] = {}
        self._plans: Plans = {}
        suited = [
            (case, weight) for case, weight in zip(cases, weights, strict=True)
            if case.outcome is not None and len(case.outcome.causes) == 1 and case.outcome.causes[0] in self.by_fault
            and case.outcome.proof is None and is_plain(case, encoder.catalogue)
        ]  # fmt: skip
        seen = Counter(encoder.settings[physical(c.car, v.conditions)] for c, _ in suited for v in c.visits)
        self.settings = [setting for setting, _ in seen.most_common(MOST_SETTINGS)]
        self.base = {s: encoder.network(s) for s in self.settings}
        for case, weight in suited:
            self._add(case, weight, numbers)
        self.by_fault = {f: keys for f, keys in self.by_fault.items() if len(self.visits.get(f, [])) >= FEWEST}

    def _add(self, case: Case, weight: float, numbers: Numbers) -> None:
        assert case.outcome is not None
        encoder, catalogue = self.encoder, self.encoder.catalogue
        mine = self.visits.setdefault(case.outcome.causes[0], [])
        for visit in case.visits:
            setting = encoder.settings[physical(case.car, visit.conditions)]
            if setting not in self.base or len(mine) >= MOST_OF_A_MODE:
                continue
            network = self.base[setting]
            readings = [e for e in visit.entries if isinstance(e, Reading)]
            told = []
            for k, reading in enumerate(readings):
                table = catalogue.symptoms.get(reading.test)
                if table is None or table.today:
                    told.append(evidence_of(network, catalogue, reading, module_offset(catalogue, readings[: k + 1])))
            evidence = [e for e in told if e is not None]
            if evidence:
                brought_on = Setting(case.car, visit.conditions, catalogue).brought_on
                on = on_rates.chances(numbers.on, self.patterns.faults, brought_on)
                mine.append((setting, evidence, encoder.truth(case), on, weight))

    def heights(self, effects: Mapping[EffectKey, Sequence[Effect]]) -> dict[EffectKey, Array]:
        """Log likelihood of the visits of each number's fault at each of its values [nat].

        Parameters
        ----------
        effects : mapping of key to sequence of Effect
            As many values for each.
        """
        slots: list[list[EffectKey]] = []
        for fault in self.by_fault:
            for k, key in enumerate(key for key in effects if key[:2] == fault):
                slots.extend([] for _ in range(k + 1 - len(slots)))
                slots[k].append(key)
        found: dict[EffectKey, Array] = {}
        for keys in slots:
            values = range(len(effects[keys[0]]))
            columns = [self._at({key: effects[key][v] for key in keys}) for v in values]
            found |= {key: np.array([column[key] for column in columns]) for key in keys}
        return found

    def _at(self, effects: Mapping[EffectKey, Effect]) -> dict[EffectKey, float]:
        """Log likelihood by number, each with its own value, on one network for each setting."""
        catalogue = self.encoder.catalogue
        tables = replace(catalogue, effects={**catalogue.effects, **effects})
        same = all(catalogue.effects[key] == effect for key, effect in effects.items())
        found = dict.fromkeys(effects, 0.0)
        for setting in self.settings:
            network = self.base[setting] if same else build_network(Setting(*setting, tables))
            network = conditioned_on_activity(network)
            for key in effects:
                for where, evidence, truth, on, weight in self.visits[key[:2]]:
                    if where == setting:
                        found[key] += weight * self._visit(network, evidence, truth, on)
        return found

    def _visit(self, network: Network, evidence: Sequence[Evidence], truth: int, on: Array) -> float:
        patterns = self.patterns
        span = slice(*patterns.starts[truth : truth + 2].tolist())
        acts = patterns.on[span]
        chance = np.where(acts > 0, on, np.where(acts < 0, 1.0 - on, 1.0)).prod(axis=1)
        logs = [
            given(network, patterns.columns, patterns.rows[row].tolist(), self._plans).log_likelihood(evidence)
            for row in patterns.row[span].tolist()
        ]
        return float(np.logaddexp.reduce(np.log(np.maximum(chance, 1e-300)) + np.array(logs)))


def physics(
    encoder: Encoder, frame: Frame, numbers: Numbers, cases: Sequence[Case], weights: Sequence[float], strength: float
) -> Physics:
    """Tune the physical numbers that confirmed cases bear on.

    Parameters
    ----------
    encoder : Encoder
    frame : Frame
    numbers : Numbers
        On-rates as tuned.
    cases : sequence of Case
    weights : sequence of float
    strength : float
        Weight of the old numbers [-].
    """
    trier = Trier(encoder, frame, numbers, cases, weights)
    old = {key: encoder.catalogue.effects[key] for keys in trier.by_fault.values() for key in keys}
    if not old:
        return Physics((), ())
    cars = WORTH * strength
    found, untold = [], []
    heights = trier.heights({key: [shifted(effect, x) for x in CENTRES] for key, effect in old.items()})
    now = dict(old)
    for key, effect in old.items():
        told = posterior(np.array(CENTRES), heights[key], 1.0 / np.sqrt(cars))
        if told is None:
            untold.append((*key, "centre"))
            continue
        new, low, high = (shifted(effect, x).centre for x in told)
        now[key] = replace(effect, centre=new)
        found.append(_change(key, "centre", effect, (effect.centre, new, low, high), effect.unit, trier, cars))
    heights = trier.heights({key: [widened(effect, x) for x in SPREADS] for key, effect in now.items()})
    for key, effect in old.items():
        told = posterior(np.array(SPREADS), heights[key], 1.0 / np.sqrt(2.0 * cars))
        if told is None:
            untold.append((*key, "spread"))
            continue
        new, low, high = (widened(effect, x).spread for x in told)
        unit = "-" if effect.shape == "lognormal" else effect.unit
        found.append(_change(key, "spread", effect, (effect.spread, new, low, high), unit, trier, cars))
    return Physics(tuple(sorted(found, key=lambda c: c.key)), tuple(untold))


def _change(
    key: EffectKey, column: str, effect: Effect, numbers: tuple[float, float, float, float], unit: str, trier: Trier,
    cars: float,
) -> Change:  # fmt: skip
    seen = float(sum(visit[4] for visit in trier.visits[key[:2]]))
    return Change("effects", (*key, column), *numbers, seen, unit, seen + cars)


def posterior(at: Array, heights: Array, prior_spread: float) -> tuple[float, float, float] | None:
    """Mean and 95 % interval of a number tried at a few values; None where it is hardly better known than before.

    Parameters
    ----------
    at, heights : array, shape (values,)
        Values and their log likelihoods [nat].
    prior_spread : float
        Standard deviation of its prior, whose middle is nought.

    Examples
    --------
    A normal likelihood as wide as the prior, around one: half of the way, and narrower by the root of two.

    >>> at = np.array([-2.0, -1.0, 0.0, 1.0, 2.0])
    >>> mean, low, high = posterior(at, -0.5 * ((at - 0.5) / 0.3) ** 2, 0.3)
    >>> round(mean, 3), round(low, 3), round(high, 3)
    (0.25, -0.166, 0.666)
    >>> posterior(at, np.zeros(5), 0.3)
    """
    grid = np.linspace(at[0], at[-1], 2001)
    curve = np.polynomial.Polynomial.fit(at, heights - heights.max(), len(at) - 1)
    prior = -0.5 * (grid / prior_spread) ** 2
    before, after = _shares(prior), _shares(prior + curve(grid))
    mean = float(after @ grid)
    spread = np.sqrt(after @ (grid - mean) ** 2)
    if spread > TOLD * np.sqrt(before @ grid**2):
        return None
    low, high = np.interp(LEVELS, np.cumsum(after) - 0.5 * after, grid)
    return mean, float(low), float(high)


def _shares(log: Array) -> Array:
    found = np.exp(log - log.max())
    return np.asarray(found / found.sum())


def untold_words(untold: Sequence[tuple[str, str, str, str]]) -> Iterator[str]:
    """What to say of numbers that could not be told."""
    if untold:
        names = ", ".join(" ".join(key).replace("_", " ") for key in untold)
        yield f"these physical numbers could not be told from the cases and stay as they were: {names}"
