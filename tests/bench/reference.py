"""The likelihood of readings in the continuous physics, with the error of the estimate.

Where the readings leave many of 30,000 cars drawn from the prior, their mean likelihood is the answer. Where they leave
few, cars are moved in steps to where the likelihood lies (sequential Monte Carlo): the instruments' errors are taken as
so wide at first that many cars fit, and narrowed step by step; the steps' weights give the answer without bias. Several
such runs with streams of their own give its error.

References
----------
P. Del Moral, A. Doucet, A. Jasra, Sequential Monte Carlo samplers, J. R. Statist. Soc. B 68 (2006) 411 (from memory).
S. L. Cotter et al., MCMC methods for functions, Statistical Science 28 (2013) 424: moves that keep a normal prior (from
memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Reading
from faultnet.instruments import reading_spread
from faultnet.model.network import Array
from faultnet.model.setting import Setting
from tests.bench.many_cars import CHOICES, Cars, Rows, as_met

DRAWN = 30_000
MOVED = 6_000
RUNS = 4
MOVES = 6
SMOOTH = 0.1  # [nat] error that a reference may have
MOST_RUNS = 12
LEFT_AT_A_STEP = 0.5  # of the cars, as effective number
WIDEST = 1e5
NARROWER = 0.25  # logarithm of the steps in which a width is looked for
BOOTSTRAPS = 200
MOSTLY = 0.9  # share of the likelihood that drawn cars have to carry by fitting every reading
Scale = Callable[[Reading], tuple[tuple[float, ...], float]]


@dataclass(frozen=True)
class Estimate:
    """Logarithm of a likelihood [nat], its standard error, and how many cars carry it."""

    log: float
    error: float
    cars: float
    moved: bool = False


@dataclass(frozen=True)
class Fit:
    """How readings fit each car.

    Parameters
    ----------
    off : array, shape (readings, cars)
        Distance of a reading from what it would be without error, in standard deviations.
    height : array, shape (readings, 1)
        Density of the reading at no distance, times the chance that it is no slip.
    floor : array, shape (readings, 1)
        Density of a slip.
    choices : array, shape (cars,)
        Log likelihood of all that is a word and not a number.
    """

    off: Array
    height: Array
    floor: Array
    choices: Array

    def log(self, width: float = 1.0) -> Array:
        """Log likelihood of each car, every error so many times as wide but no lower at its top, shape (cars,)."""
        dense = self.height * np.exp(-0.5 * (self.off / width) ** 2)
        return np.asarray(self.choices / width + np.log(dense + self.floor).sum(axis=0))

    def fits(self) -> NDArray[np.bool_]:
        """Cars by which every number is rather read than slipped, shape (cars,)."""
        dense = self.height * np.exp(-0.5 * self.off**2)
        return np.asarray(np.all(dense > self.floor, axis=0))

    def taken(self, kept: NDArray[np.intp]) -> Fit:
        """Some of the cars."""
        return Fit(self.off[:, kept], self.height, self.floor, self.choices[kept])

    def where(self, better: NDArray[np.bool_], other: Fit) -> Fit:
        """The other one's cars where they are better."""
        off, choices = np.where(better, other.off, self.off), np.where(better, other.choices, self.choices)
        return Fit(off, self.height, self.floor, choices)


def fit_of(cars: Cars, readings: Sequence[Reading], scale: Scale, count: int, first: int = 0) -> Fit:
    """How readings fit so many cars.

    Parameters
    ----------
    cars : Cars
    readings : sequence of Reading
    scale : callable
        Edges of what a reading's quantity may be, and how likely a slip reads this; what lies beyond counts as just
        inside, as in the model.
    count : int
        Of the cars.
    first : int
        Number of the first of these readings, by which what is drawn anew at each is told apart.
    """
    rows: list[tuple[Array, float, float]] = []
    choices: Array = np.zeros(count)
    for number, reading in enumerate(readings, first):
        test = cars.setting.catalogue.test(reading.test)
        instrument = cars.setting.catalogue.instrument(reading.instrument or test.instruments[0])
        slip = instrument.slip
        if reading.state is not None:
            chances = CHOICES[test.quantity](cars)
            choices = choices + np.log((1.0 - slip) * chances[reading.state] + slip / len(test.choices))
            continue
        assert reading.value is not None
        (low, *_, high), slipped = scale(reading)
        value = min(max(reading.value, low), high)
        error = reading_spread(instrument, reading.value)
        expected, scatter = as_met(cars, test, instrument, reading.interval, f"reading {number}")
        spread = float(np.hypot(scatter, error))
        off = np.broadcast_to((value - np.clip(expected, low, high)) / spread, (count,))
        rows.append((off, (1.0 - slip) / (spread * np.sqrt(2.0 * np.pi)), slip * slipped))
    off, height, floor = (np.array([row[k] for row in rows]) for k in range(3))
    return Fit(off.reshape(-1, count), height[:, None], floor[:, None], choices)


@dataclass(frozen=True, eq=False)
class Question:
    """How likely readings are when the components are in these modes."""

    setting: Setting
    modes: Mapping[str, str]
    readings: tuple[Reading, ...]
    scale: Scale

    def numbers(self) -> int:
        """How many standard normal numbers a car has that matter here."""
        names: dict[str, int] = {}
        self._fit(np.zeros((400, 1)), names)
        return len(names)

    def _fit(self, values: Array, names: dict[str, int]) -> Fit:
        cars = Cars(self.setting, self.modes, Rows(values, names))
        return fit_of(cars, self.readings, self.scale, values.shape[1])

    def fit(self, values: Array) -> Fit:
        """How each car fits, values of shape (numbers, cars)."""
        return self._fit(values, {})


def estimate(question: Question, rng: np.random.Generator, *, drawn: int = DRAWN, smooth: float = SMOOTH) -> Estimate:
    """The likelihood of readings: from cars drawn, and where they are too few from cars moved to where they fit.

    Parameters
    ----------
    question : Question
    rng : numpy.random.Generator
    drawn : int
        Cars drawn from the prior.
    smooth : float
        Error above which cars are moved, and more of them as long as it stays above [nat].
    """
    numbers = question.numbers()
    if numbers == 0:
        return Estimate(float(question.fit(np.zeros((1, 1))).log()[0]), 0.0, np.inf)
    fit = question.fit(rng.standard_normal((numbers, drawn)))
    plain = _mean(fit.log(), rng)
    weight = np.exp(fit.log() - fit.log().max())
    told = float(weight[fit.fits()].sum() / weight.sum())  # the others know only that no drawn car is near
    if plain.error <= smooth and plain.cars >= 1.0 / smooth**2 and told >= MOSTLY:
        return plain
    logs: list[float] = []
    moves = MOVES
    found = plain
    while len(logs) < RUNS or (found.error > smooth and len(logs) < MOST_RUNS):
        if logs:
            moves *= 3
        logs = [*logs, *(narrowed(question.fit, numbers, rng, moves=moves) for _ in range(RUNS))]
        found = _of_runs(logs[-2 * RUNS :])
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
    return Estimate(top + float(np.log(weight.mean())), error, float(len(each) * MOVED), True)


def narrowed(fit: Callable[[Array], Fit], numbers: int, rng: np.random.Generator, *, moves: int = MOVES) -> float:
    """Log of the mean likelihood over the prior by one run in which the errors are narrowed."""
    values = rng.standard_normal((numbers, MOVED))
    now = fit(values)
    logs: Array = np.zeros(MOVED)
    width, found, step = WIDEST, 0.0, 0.7
    while True:
        width = _next_width(now, logs, width)
        change = now.log(width) - logs
        top = float(change.max())
        weight = np.exp(change - top)
        found += top + float(np.log(weight.mean()))
        if width <= 1.0:
            return found
        kept = _resampled(weight, rng)
        values, now = values[:, kept], now.taken(kept)
        logs = now.log(width)
        for number in range(moves):
            few = number % 2 == 1
            values, now, logs, taken = _moved(fit, values, now, logs, width, step, few, rng)
            if not few:
                step = float(np.clip(step * np.exp(taken - 0.3), 0.03, 1.0))


def _next_width(now: Fit, logs: Array, width: float) -> float:
    """The narrowest width at which the weights still count as so many of the cars."""

    def effective(narrower: float) -> float:
        change = now.log(narrower) - logs
        weight = np.exp(change - change.max())
        return float(weight.sum() ** 2 / (weight**2).sum() / len(logs))

    # step by step: where no car fits yet, the weights of the narrowest are alike, at the slips' floor
    high = low = float(np.log(width))
    while low > 0.0:
        low = max(low - NARROWER, 0.0)
        if effective(float(np.exp(low))) < LEFT_AT_A_STEP:
            break
        high = low
    if high == low:
        return 1.0
    for _ in range(8):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if effective(float(np.exp(middle))) >= LEFT_AT_A_STEP else (middle, high)
    return float(np.exp(min(high, np.log(width) - 1e-4)))


def _resampled(weight: Array, rng: np.random.Generator) -> NDArray[np.intp]:
    places = (rng.random() + np.arange(len(weight))) / len(weight)
    return np.searchsorted(np.cumsum(weight) / weight.sum(), places).clip(max=len(weight) - 1)


def _moved(
    fit: Callable[[Array], Fit], values: Array, now: Fit, logs: Array, width: float, step: float, few: bool,
    rng: np.random.Generator,
) -> tuple[Array, Fit, Array, float]:  # fmt: skip
    """Cars moved so that their distribution stays: all numbers a little, or a few of them anew."""
    fresh = rng.standard_normal(values.shape)
    if few:
        proposed = np.where(rng.random(values.shape) < 1.5 / len(values), fresh, values)
    else:
        proposed = np.sqrt(1.0 - step**2) * values + step * fresh
    other = fit(proposed)
    new = other.log(width)
    taken = np.log(rng.random(len(logs))) < new - logs
    return np.where(taken, proposed, values), now.where(taken, other), np.where(taken, new, logs), float(taken.mean())
