"""The likelihood of readings in the continuous physics, with the error of the estimate.

Where the readings leave many of 30,000 cars drawn from the prior, their mean likelihood is the answer. Where they leave
few, cars are tempered: from the prior they are moved in steps to where the likelihood lies (sequential Monte Carlo),
and the steps' weights give the answer without bias. Several tempered runs of their own streams give its error.

References
----------
P. Del Moral, A. Doucet, A. Jasra, Sequential Monte Carlo samplers, J. R. Statist. Soc. B 68 (2006) 411 (from memory).
S. L. Cotter et al., MCMC methods for functions, Statistical Science 28 (2013) 424: moves that keep a normal prior (from
memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from faultnet.case.types import Reading
from faultnet.instruments import reading_spread
from faultnet.model.network import Array
from faultnet.model.setting import Setting
from tests.bench.many_cars import CHOICES, Cars, Modes, Rows, frozen, offset, true_value

DRAWN = 30_000
TEMPERED = 3_000
RUNS = 4
MOVES = 5
SMOOTH = 0.1  # [nat] error that a reference may have
MOST_RUNS = 16
LEFT_AT_A_STEP = 0.5  # of the cars, as effective number
BOOTSTRAPS = 200
LogLikelihood = Callable[[Array], Array]
Edges = Callable[[Reading], tuple[float, ...]]


@dataclass(frozen=True)
class Estimate:
    """Logarithm of a likelihood [nat], its standard error, and how many cars carry it."""

    log: float
    error: float
    cars: float
    tempered: bool = False


def log_density(cars: Cars, readings: Sequence[Reading], edges: Edges) -> Array:
    """Log likelihood of readings for each car, shape (cars,).

    Parameters
    ----------
    cars : Cars
    readings : sequence of Reading
    edges : callable
        First and last edge of what a reading's quantity may be: a slip may show anything in between, and what lies
        beyond counts as just inside, as in the model.
    """
    found: Array = np.zeros(1)
    for reading in readings:
        test = cars.setting.catalogue.test(reading.test)
        instrument = cars.setting.catalogue.instrument(reading.instrument or test.instruments[0])
        if reading.state is not None:
            chances = CHOICES[test.quantity](cars)
            slip = instrument.slip
            found = found + np.log((1.0 - slip) * chances[reading.state] + slip / len(test.choices))
            continue
        assert reading.value is not None
        first, *_, last = edges(reading)
        value = min(max(reading.value, first), last)
        error = reading_spread(instrument, reading.value)
        middle, scatter = true_value(cars, test, instrument, reading.interval)
        shift = offset(cars, instrument) if test.quantity != "module_offset" else 0.0
        density = _normal(value, np.clip(middle + shift, first, last), np.hypot(scatter, error))
        freeze = frozen(cars, test, instrument)
        if freeze is not None:
            chance, shown = freeze
            density = (1.0 - chance) * density + chance * _normal(value, shown + shift, error)
        found = found + np.log((1.0 - instrument.slip) * density + instrument.slip / (last - first))
    return np.asarray(found)


def _normal(value: float, middle: Array, spread: Array | float) -> Array:
    return np.asarray(np.exp(-0.5 * ((value - middle) / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi)))


@dataclass(frozen=True, eq=False)
class Question:
    """How likely readings are when the components are in these modes."""

    setting: Setting
    modes: Modes
    readings: tuple[Reading, ...]
    edges: Edges

    def numbers(self) -> int:
        """How many standard normal numbers a car has that matter here."""
        names: dict[str, int] = {}
        self._log(np.zeros((400, 1)), names)
        return len(names)

    def _log(self, values: Array, names: dict[str, int]) -> Array:
        cars = Cars(self.setting, self.modes, Rows(values, names))
        return np.broadcast_to(log_density(cars, self.readings, self.edges), values.shape[1:])

    def log_likelihood(self, values: Array) -> Array:
        """Log likelihood of each car, values of shape (numbers, cars)."""
        return self._log(values, {})


def estimate(question: Question, rng: np.random.Generator, *, drawn: int = DRAWN, smooth: float = SMOOTH) -> Estimate:
    """The likelihood of readings: from cars drawn, and where they are too few from tempered ones.

    Parameters
    ----------
    question : Question
    rng : numpy.random.Generator
    drawn : int
        Cars drawn from the prior.
    smooth : float
        Error above which cars are tempered, and more of them as long as it stays above [nat].
    """
    numbers = question.numbers()
    if numbers == 0:
        return Estimate(float(question.log_likelihood(np.zeros((1, 1)))[0]), 0.0, np.inf)
    plain = _mean(question.log_likelihood(rng.standard_normal((numbers, drawn))), rng)
    if plain.error <= smooth and plain.cars >= 0.3 / smooth**2:
        return plain
    logs = [tempered(question.log_likelihood, numbers, rng) for _ in range(RUNS)]
    found = _of_runs(logs)
    while found.error > smooth and len(logs) < MOST_RUNS:
        logs += [tempered(question.log_likelihood, numbers, rng, moves=2 * MOVES) for _ in range(RUNS)]
        found = _of_runs(logs)
    return found


def _mean(logs: Array, rng: np.random.Generator) -> Estimate:
    """Mean likelihood of cars, its bootstrap error, and the effective number of cars behind it."""
    top = float(logs.max())
    weight = np.exp(logs - top)
    effective = float(weight.sum() ** 2 / (weight**2).sum())
    counts = np.sort(weight)[::-1][:2000]  # the others are alike: their sum is taken as it is
    rest = float(weight.sum() - counts.sum())
    times = rng.poisson(1.0, (BOOTSTRAPS, len(counts)))
    totals = np.maximum(times @ counts + rest, 1e-300)
    return Estimate(top + float(np.log(weight.mean())), float(np.log(totals).std()), effective)


def _of_runs(logs: Sequence[float]) -> Estimate:
    each = np.array(logs)
    top = float(each.max())
    weight = np.exp(each - top)
    error = float(weight.std(ddof=1) / weight.mean() / np.sqrt(len(each)))
    return Estimate(top + float(np.log(weight.mean())), error, float(len(each) * TEMPERED), True)


def tempered(log_likelihood: LogLikelihood, numbers: int, rng: np.random.Generator, *, moves: int = MOVES) -> float:
    """Log of the mean likelihood over the prior by one tempered run."""
    values = rng.standard_normal((numbers, TEMPERED))
    logs = log_likelihood(values)
    power, found, step = 0.0, 0.0, 0.7
    while power < 1.0:
        more = _next_step(logs, 1.0 - power)
        weight = np.exp(more * (logs - logs.max()))
        found += more * float(logs.max()) + float(np.log(weight.mean()))
        power += more
        if power >= 1.0:
            break
        kept = _resampled(weight, rng)
        values, logs = values[:, kept], logs[kept]
        for number in range(moves):
            few = number % 2 == 1
            values, logs, taken = _moved(log_likelihood, values, logs, power, step, few, rng)
            if not few:
                step = float(np.clip(step * np.exp(taken - 0.3), 0.03, 1.0))
    return found


def _next_step(logs: Array, most: float) -> float:
    """The largest step after which the weights still count as half of the cars."""
    def effective(step: float) -> float:
        weight = np.exp(step * (logs - logs.max()))
        return float(weight.sum() ** 2 / (weight**2).sum() / len(logs))

    if effective(most) >= LEFT_AT_A_STEP:
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if effective(middle) >= LEFT_AT_A_STEP else (low, middle)
    return max(low, 1e-9)


def _resampled(weight: Array, rng: np.random.Generator) -> Array:
    places = (rng.random() + np.arange(len(weight))) / len(weight)
    return np.searchsorted(np.cumsum(weight) / weight.sum(), places).clip(max=len(weight) - 1)


def _moved(
    log_likelihood: LogLikelihood, values: Array, logs: Array, power: float, step: float, few: bool,
    rng: np.random.Generator,
) -> tuple[Array, Array, float]:  # fmt: skip
    """Cars moved so that the tempered distribution stays: all numbers a little, or a few of them anew."""
    fresh = rng.standard_normal(values.shape)
    if few:
        chosen = rng.random(values.shape) < 1.5 / len(values)
        proposed = np.where(chosen, fresh, values)
    else:
        proposed = np.sqrt(1.0 - step**2) * values + step * fresh
    new = log_likelihood(proposed)
    taken = np.log(rng.random(len(logs))) < power * (new - logs)
    return np.where(taken, proposed, values), np.where(taken, new, logs), float(taken.mean())
