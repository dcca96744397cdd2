"""Physical numbers that are marked as estimates, tuned to closed and open cases: what faults do, and what differs.

A number of ``effects.csv`` or ``spreads.csv`` sits inside the tables of a visit's network, so it is tried at a few
values: what was made from it is built anew (:mod:`faultnet.model.rebuild`), and the readings of the cases that it
bears on say how likely each value is (:mod:`~faultnet.learning.em.trials`), cases whose cause is missing by the belief
in each hypothesis. Between the values the log likelihood is a polynomial, and with the prior the posterior is summed
over a grid. Where numbers lie goes first, then how wide they are, each with all others at what was found so far, and
then the same once more: so intervals do not know that two numbers may make up for each other.

A median or mean may move by so many of its own spreads, a spread by a factor. The old one is taken as known as well as
from :data:`WORTH` cars times the strength (an estimate, no source); for so many draws the standard errors are those of
a normal distribution. A number whose posterior is hardly narrower than its prior could not be told from the data: it
stays as it was, and that is said.

Covered are all effects of faults, and those numbers of ``spreads.csv`` that are a spread, or have one of their own;
thresholds and chances are not. Readings count that were taken before anything was changed, in the settings that occur
most.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

import numpy as np

from faultnet.case.types import Case
from faultnet.inference.configurations import Index
from faultnet.learning.em.activity import Fault
from faultnet.learning.em.bands import Setting as Key
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.pieces import Pieces
from faultnet.learning.em.trials import Trials, laid_out
from faultnet.learning.result import Change
from faultnet.model.network import Array, Network
from faultnet.model.rebuild import Number, Rebuilt
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect

WORTH = 20.0
PLACES = (-1.5, -0.75, 0.0, 0.75, 1.5)
WIDTHS = (-0.8, -0.4, 0.0, 0.4, 0.8)
SWEEPS = 2
FEWEST = 5.0
MOST_FOR_ALL = 100
TOLD = 0.9
HARDLY = 0.1
ESTIMATE = "estimate"
LEVELS = (0.025, 0.975)
SPREADS = ("_ln_spread", "_spread", "_sd", "_width")
CENTRES = ("", "_mean", "_median")
Sort = Literal["place", "width"]


@dataclass(frozen=True)
class Tried:
    """A number that may be tuned.

    Parameters
    ----------
    table : {"effects", "spreads"}
    number : tuple of str
        Key of its row.
    sort : {"place", "width"}
        Whether it is a median or mean, which moves by its own spreads, or a spread, whose logarithm moves.
    fault : (component, mode), optional
        Whose effect it is; None for what differs from car to car whatever is at fault.
    own : str
        Of a median or mean of ``spreads.csv``, the name of its spread.
    """

    table: Literal["effects", "spreads"]
    number: Number
    sort: Sort
    fault: Fault | None = None
    own: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """As in :class:`~faultnet.learning.result.Change`."""
        column = "centre" if self.sort == "place" else "spread"
        return self.number if self.table == "spreads" else (*self.number, column)

    def value(self, catalogue: Catalogue) -> float:
        """What a prior set has for it."""
        if self.table == "spreads":
            return catalogue.number(self.number[0])
        effect = _effect(catalogue, self.number)
        return effect.centre if self.sort == "place" else effect.spread

    def unit(self, catalogue: Catalogue) -> str:
        """Unit of the value."""
        if self.table == "spreads":
            return catalogue.spreads[self.number[0]].unit
        effect = _effect(catalogue, self.number)
        return "-" if self.sort == "width" and effect.shape == "lognormal" else effect.unit

    def moved(self, catalogue: Catalogue, by: float, old: Catalogue | None = None) -> Catalogue:
        """The prior set with the number moved by so many spreads, or a spread's logarithm raised by so much.

        Parameters
        ----------
        catalogue : Catalogue
        by : float
        old : Catalogue, optional
            Whose spreads are meant; those of `catalogue` when left out.
        """
        old = old or catalogue
        if self.table == "effects":
            effect = _effect(catalogue, self.number)
            if self.sort == "width":
                effect = widened(effect, by)
            else:
                effect = shifted(effect, by * _effect(old, self.number).spread / effect.spread)
            return replace(catalogue, effects={**catalogue.effects, _key(self.number): effect})
        row = catalogue.spreads[self.number[0]]
        if self.sort == "width":
            value = row.value * float(np.exp(by))
        else:
            own = old.spreads[self.own]
            relative = own.unit != row.unit or self.own.endswith("_ln_spread")
            value = row.value * float(np.exp(by * own.value)) if relative else row.value + by * own.value
        return replace(catalogue, spreads={**catalogue.spreads, row.name: replace(row, value=value)})


@dataclass(frozen=True)
class Physics:
    """What became of the numbers that were tried.

    Parameters
    ----------
    changes : tuple of Change
    untold : tuple of tuple of str
        Keys of numbers that the cases bear on but do not tell.
    unseen : int
        Further numbers that fewer than five cases bear on.
    """

    changes: tuple[Change, ...]
    untold: tuple[tuple[str, ...], ...] = ()
    unseen: int = 0


def tried(catalogue: Catalogue) -> tuple[Tried, ...]:
    """Every number that may be tuned.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> found = tried(load_catalogue())
    >>> [t.key for t in found if t.number == ("brush_drop_mean",)], found[0].key
    ([('brush_drop_mean',)], ('battery', 'weak_cell', 'resistance_factor', 'centre'))
    """
    found: list[Tried] = []
    for number, effect in catalogue.effects.items():
        component, mode, _ = number
        sound = catalogue.component(component).modes[0].id == mode
        if effect.mark == ESTIMATE and effect.shape != "uniform" and not sound:
            found += [Tried("effects", number, sort, (component, mode)) for sort in ("place", "width")]
    for name, row in catalogue.spreads.items():
        if row.mark != ESTIMATE or row.value == 0.0:
            continue
        if name.endswith(SPREADS):
            found.append(Tried("spreads", (name,), "width"))
        elif own := _own_spread(catalogue, name):
            found.append(Tried("spreads", (name,), "place", own=own))
    return tuple(found)


def _own_spread(catalogue: Catalogue, name: str) -> str:
    """The spread that goes with a mean or median by its name; empty where there is none."""
    for ending in CENTRES:
        stem = name.removesuffix(ending)
        for spread in SPREADS:
            if stem + spread in catalogue.spreads and stem + ending == name:
                return stem + spread
    return ""


def _key(number: Number) -> tuple[str, str, str]:
    component, mode, parameter = number
    return component, mode, parameter


def _effect(catalogue: Catalogue, number: Number) -> Effect:
    return catalogue.effects[_key(number)]


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


class _Bench:
    """The cases with the networks of their settings, at the numbers found so far."""

    def __init__(self, encoder: Encoder, trials: Trials) -> None:
        self.encoder, self.trials = encoder, trials
        self.catalogue = encoder.catalogue
        self.parts = {s: Rebuilt(Setting(*s, self.catalogue)) for s in trials.settings}
        self.networks = {s: encoder.bare(s) for s in trials.settings}
        read: dict[Key, set[str]] = {s: set() for s in trials.settings}
        for setting, _, evidence in trials.asks:
            read[setting].update(e.quantity for e in evidence)
        self.wanted = {s: _above(self.networks[s], names) for s, names in read.items()}
        self.pieces = Pieces(encoder.patterns, self.networks, trials.asks)
        self.share, self.base = trials.share, self.logs(np.arange(len(trials)), self.networks, ())

    def bears(self, number: Number) -> bool:
        """Whether anything that was read depends on a number."""
        return any(self.parts[s].bears_on(number) & self.wanted[s] for s in self.parts)

    def logs(self, places: Index, networks: Mapping[Key, Network], changed: Collection[str]) -> Array:
        """Log likelihoods under networks in which some nodes are changed."""
        return self.trials.logs(places, lambda asked: self.pieces.logs(asked, networks, changed))

    def at(self, catalogue: Catalogue, numbers: set[Number]) -> tuple[dict[Key, Network], set[str]]:
        """The networks with some numbers changed, beside those that were changed for good; and which nodes change."""
        found: dict[Key, Network] = {}
        changed: set[str] = set()
        for setting, network in self.networks.items():
            parts, unwanted = self.parts[setting], set(network.nodes) - self.wanted[setting]
            nodes = parts.nodes(catalogue, numbers, unwanted)
            found[setting] = replace(network, nodes={n: nodes.get(n, node) for n, node in network.nodes.items()})
            changed.update(nodes)
        return found, changed

    def places(self, one: Tried) -> Index:
        """The hypotheses that a number bears on."""
        return self.trials.of_cases(MOST_FOR_ALL) if one.fault is None else self.trials.having(one.fault)

    def heights(self, together: Sequence[Tried], by: float) -> list[float]:
        """Log likelihood that the cases gain by each of some numbers that no hypothesis has two of [nat]."""
        catalogue = self.catalogue
        for one in together:
            catalogue = one.moved(catalogue, by, self.encoder.catalogue)
        networks, changed = self.at(catalogue, {one.number for one in together})
        found = []
        for one in together:
            places = self.places(one)
            gained = self.logs(places, networks, changed) - self.base[places]
            found.append(self.trials.height(places, gained, self._share(one, places)))
        return found

    def _share(self, one: Tried, places: Index) -> Array:
        """Belief in the hypotheses; what bears on all of them is not diluted by those that were not taken up."""
        if one.fault is not None:
            return self.share
        held = np.bincount(self.trials.case[places], self.share[places], len(self.trials.trials))
        return np.asarray(self.share / np.maximum(held, 1e-12)[self.trials.case])

    def keep(self, catalogue: Catalogue, numbers: set[Number]) -> None:
        """Go on from other numbers, with the beliefs that follow from them."""
        (self.networks, _), self.catalogue = self.at(catalogue, numbers), catalogue
        self.pieces.keep(self.networks)
        base = self.logs(np.arange(len(self.trials)), self.networks, ())
        weight = self.share * np.exp(base - self.base)
        total = 1.0 + np.bincount(self.trials.case, weight - self.share, len(self.trials.trials))
        self.share, self.base = np.asarray(weight / total[self.trials.case]), base

    def seen(self, one: Tried) -> float:
        """Cases that bear on a number, by weight and belief [-]."""
        places = self.places(one)
        return float(self.trials.weight[self.trials.case[places]] @ self._share(one, places)[places])


def _above(network: Network, names: set[str]) -> set[str]:
    """Some nodes with all that they depend on."""
    found, todo = set(names), list(names)
    while todo:
        for parent in network.nodes[todo.pop()].parents:
            if parent not in found:
                found.add(parent)
                todo.append(parent)
    return found


def physics(
    encoder: Encoder, frame: Frame, numbers: Numbers, chunks: Sequence[Path], cases: Sequence[Case],
    weights: Sequence[float], strength: float, told: Callable[[int, int], None] = lambda done, of: None,
) -> Physics:  # fmt: skip
    """Tune the physical numbers that cases bear on.

    Parameters
    ----------
    encoder : Encoder
    frame : Frame
    numbers : Numbers
        Base rates and on-rates as tuned.
    chunks : sequence of Path
    cases : sequence of Case
    weights : sequence of float
    strength : float
        Weight of the old numbers [-].
    told : callable
        Told after each number how many are done, of how many.
    """
    every = tried(encoder.catalogue)
    faults = sorted({one.fault for one in every if one.fault is not None})
    trials = laid_out(encoder, frame, numbers, chunks, cases, weights, faults)
    if not len(trials):
        return Physics((), (), len(every))
    bench = _Bench(encoder, trials)
    open_ones = [one for one in every if bench.bears(one.number) and bench.seen(one) >= FEWEST]
    cars, steps = WORTH * strength, len(open_ones) * SWEEPS
    by: dict[Tried, float] = dict.fromkeys(open_ones, 0.0)
    found: dict[Tried, Change] = {}
    done = 0
    for sort, at, wide in SWEEPS * (("place", PLACES, 1.0 / cars**0.5), ("width", WIDTHS, 1.0 / (2.0 * cars) ** 0.5)):
        catalogue = bench.catalogue
        for together in _slots([one for one in open_ones if one.sort == sort]):
            from_here = [by[one] for one in together]
            for one, what in zip(together, _posteriors(bench, together, at, from_here, wide), strict=True):
                done += 1
                found.pop(one, None)
                new = 0.0 if what is None else what[0]
                if what is not None:
                    found[one] = _change(bench, one, [x - by[one] for x in what], cars)
                catalogue = one.moved(catalogue, new - by[one], encoder.catalogue)
                by[one] = new
            told(done, steps)
        bench.keep(catalogue, {one.number for one in open_ones if one.sort == sort})
    untold = tuple(one.key for one in open_ones if one not in found)
    return Physics(tuple(found[one] for one in open_ones if one in found), untold, len(every) - len(open_ones))


def _change(bench: _Bench, one: Tried, steps: Sequence[float], cars: float) -> Change:
    """A number before and after, with its interval, by how far each is from where it stands now."""
    old = bench.encoder.catalogue
    new, low, high = (one.value(one.moved(bench.catalogue, x, old)) for x in steps)
    seen = bench.seen(one)
    return Change(one.table, one.key, one.value(old), new, low, high, seen, one.unit(old), seen + cars)


def _slots(some: Sequence[Tried]) -> list[list[Tried]]:
    """Numbers that can be tried in one network: those of the modes of one component, of which a car has one."""
    found: dict[tuple[str, ...], list[Tried]] = {}
    for one in some:
        found.setdefault(one.number if one.fault is None else (one.fault[0], one.number[2]), []).append(one)
    return list(found.values())


def _posteriors(
    bench: _Bench, together: Sequence[Tried], at: Sequence[float], from_here: Sequence[float], wide: float
) -> list[tuple[float, float, float] | None]:
    """Posteriors of some numbers: near values first, and the far ones where these told anything."""
    heights = {0.0: [0.0] * len(together)}
    for by in at[1:-1]:
        if by:
            heights[by] = bench.heights(together, by)
    curious = [k for k in range(len(together)) if _tells([heights[by][k] for by in at[1:-1]], at[-2], wide)]
    some = [together[k] for k in curious]
    ends = {by: bench.heights(some, by) for by in (at[0], at[-1])} if some else {}
    found: list[tuple[float, float, float] | None] = [None] * len(together)
    for n, k in enumerate(curious):
        told = [ends[at[0]][n], *(heights[by][k] for by in at[1:-1]), ends[at[-1]][n]]
        found[k] = posterior(np.array(at) + from_here[k], np.array(told), wide)
    return found


def _tells(heights: Sequence[float], step: float, wide: float) -> bool:
    """Whether three log likelihoods tell anything beside a prior so wide, by their slope and their bend.

    Examples
    --------
    >>> _tells([0.0, 0.0, 0.001], 0.4, 0.3), _tells([-1.0, 0.0, -1.0], 0.4, 0.3)
    (False, True)
    """
    below, here, above = heights
    slope, bend = (above - below) / (2.0 * step), abs(above - 2.0 * here + below) / step**2
    return abs(slope) * wide > HARDLY or bend * wide**2 > HARDLY


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


def untold_words(found: Physics) -> Iterator[str]:
    """What to say of numbers that could not be told."""
    if found.untold:
        names = ", ".join(" ".join(key).replace("_", " ") for key in found.untold)
        yield f"these physical numbers could not be told from the cases and stay as they were: {names}"
    if found.unseen:
        many = f"{found.unseen} more physical number{'s' * (found.unseen > 1)}"
        yield f"{many} stay as before: next to no case bears on them"
