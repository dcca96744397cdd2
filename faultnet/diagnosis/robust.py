"""Whether a verdict holds when the numbers behind it are off: base rates and estimated symptom tables.

A base rate only weighs the hypotheses that have its fault: "off by a factor" is taken of the fault's odds beside a
sound part in cars otherwise alike, so that odds between verdicts are a ratio of two sums, each linear in every rate
alone (:mod:`faultnet.inference.corners`). Where a fault makes another likelier, as a drain does sulphation, the rate of
the one that follows is moved in every such car alike. A number of a symptom table weighs the hypotheses by how likely
they make the answer that was given, which is linear in it as well (:mod:`faultnet.diagnosis.doubted_tables`).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from faultnet.diagnosis.diagnose import Worked, nothing_wrong
from faultnet.diagnosis.doubted_tables import Doubted, doubted_answers
from faultnet.inference.corners import Doubtful, cannot_turn, least_odds, level_at, needed
from faultnet.inference.hypotheses import Hypotheses, IndexArray
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import BaseRate

NOTHING = ("", "")  # that no part is at fault, as a cause
SLIVER = 1e-2  # of the least the others can hold: what rows that are left out can hold at most [-]
BEYOND = 1.001  # a number just past the value at which two verdicts are level
TUNED_INTERVAL = re.compile(r"now ([\d.e+-]+) \(([\d.e+-]+) to ([\d.e+-]+)\)")

Key = tuple[str, str]


@dataclass(frozen=True)
class Rate:
    """A base rate that may be off.

    Parameters
    ----------
    component, mode : str
        Both empty: how often a car with nothing wrong is brought in.
    count, of : float
        Cars out of cars.
    off_by : float
        It may be so many times larger or smaller [-].
    """

    component: str
    mode: str
    count: float
    of: float
    off_by: float


@dataclass(frozen=True)
class Off:
    """One number that is off.

    Parameters
    ----------
    component, mode : str
        Whose base rate it is, or whose row of a symptom table; both empty for a car with nothing wrong.
    factor : float
        So many times what it is taken to be [-]; of a symptom table, its chance.
    value, of : float
        What it is taken to be: cars out of cars; of a symptom table, the chance [-] and 1.
    test, choice : str
        Of a symptom table; empty for a base rate.
    """

    component: str
    mode: str
    factor: float
    value: float
    of: float
    test: str = ""
    choice: str = ""


@dataclass(frozen=True)
class Turn:
    """Numbers that are off, and the verdict that would come of it."""

    off: tuple[Off, ...]
    leads_to: str


@dataclass(frozen=True)
class Claim:
    """A verdict, and what would turn it.

    Parameters
    ----------
    about : {"cause", "repair", "next"}
    said : str
        The verdict: "component:mode" or "nothing"; a component or "give_back"; "test:..." or "repair:...".
    turns : tuple of Turn
        One number alone for each verdict that would come of it, the one that has to be off least first; where there is
        none, the fewest base rates that do it together.
    chance : float
        Belief in the cause, or chance that the repair is the whole cure [-].
    """

    about: str
    said: str
    turns: tuple[Turn, ...] = ()
    chance: float = 0.0

    @property
    def holds(self) -> bool:
        """Whether nothing within the ranges was found to turn it."""
        return not self.turns

    @property
    def holds_alone(self) -> bool:
        """Whether no single number turns it."""
        return all(len(turn.off) > 1 for turn in self.turns)

    @property
    def grade(self) -> str:
        """How far it holds: "robust", "one at a time", or "fragile"."""
        if self.holds:
            return "robust"
        return "one at a time" if self.holds_alone else "fragile"


@dataclass(frozen=True, eq=False)
class Doubt:
    """A case's rows with the base rates that weigh them.

    Parameters
    ----------
    rates : tuple of Rate
    doubtful : Doubtful
    chosen : int array, shape (rows,)
        Which of the rows asked about are kept: the others hold next to nothing, whatever the rates.
    origin : int array, shape (rows,)
        Hypothesis of each.
    """

    rates: tuple[Rate, ...]
    doubtful: Doubtful = field(repr=False)
    chosen: NDArray[np.intp] = field(repr=False)
    origin: NDArray[np.intp] = field(repr=False)

    def off(self, k: int, factor: float) -> Off:
        """One of the rates, so many times what it is taken to be."""
        rate = self.rates[k]
        return Off(rate.component, rate.mode, factor, rate.count, rate.of)


def rates_of(catalogue: Catalogue, age: float | None, climate: str) -> tuple[Rate, ...]:
    """Every base rate with what it may be off by, and last that of cars with nothing wrong.

    Parameters
    ----------
    catalogue : Catalogue
    age : float, optional
        Of the battery [years].
    climate : str

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> rate = rates_of(load_catalogue(), None, "temperate")[0]
    >>> rate.component, rate.mode, rate.off_by
    ('battery', 'sulphated', 3.0)
    """
    found = []
    for component in catalogue.components:
        for mode in component.modes[1:]:
            row = catalogue.base_rate(component.id, mode.id, age, climate)
            found.append(Rate(component.id, mode.id, row.value, row.of, off_by(row, catalogue)))
    sound = catalogue.spreads["brought_in_when_sound"]
    wide = catalogue.number("published_rate_off_by" if sound.mark == "published" else "base_rate_off_by")
    return (*found, Rate(*NOTHING, sound.value, 1.0, wide))


def off_by(row: BaseRate, catalogue: Catalogue) -> float:
    """How many times larger or smaller a base rate may be, by its mark or by its interval where it was tuned [-].

    Examples
    --------
    >>> from dataclasses import replace
    >>> from faultnet.prior_set import load_catalogue
    >>> catalogue = load_catalogue()
    >>> row = catalogue.base_rate("belt", "slips", None, "temperate")
    >>> tuned = replace(row, source="tuned on 80 cases", note="was 0.009, now 0.02 (0.016 to 0.024); as before")
    >>> off_by(row, catalogue), round(off_by(tuned, catalogue), 3)
    (3.0, 1.25)
    """
    widest = catalogue.number("published_rate_off_by" if row.mark == "published" else "base_rate_off_by")
    interval = TUNED_INTERVAL.search(row.note) if row.source.startswith("tuned on ") else None
    if interval is None:
        return widest
    now, low, high = (float(text) for text in interval.groups())
    return min(catalogue.number("base_rate_off_by"), max(1.0, now / max(low, 1e-9), high / max(now, 1e-9)))


def doubt_of(worked: Worked, weights: Array, origin: NDArray[np.intp], sliver: float = SLIVER) -> Doubt:
    """Some weighted hypotheses with the base rates that weigh them.

    Parameters
    ----------
    worked : Worked
    weights : array, shape (rows,)
        Belief in each.
    origin : int array, shape (rows,)
        The hypothesis of each.
    sliver : float
        Rows are left out that can hold no more than this share of the least that the others can hold [-].
    """
    battery = worked.case.car.battery
    rates = rates_of(worked.catalogue, battery.age, worked.case.car.climate)
    modes = worked.space.modes[origin]
    wide = np.array([rate.off_by for rate in rates])
    nodes = worked.models[0].compiled.network.nodes
    most = _at_most(worked.space, tuple(nodes[c].states for c in worked.space.components), rates)[origin]
    order = np.argsort(-(weights * most), kind="stable")
    held = np.cumsum((weights * most)[order][::-1])[::-1]
    least = float((weights / most).sum())
    chosen = np.sort(order[: max(1, int((held > sliver * least).sum()))])
    doubtful = Doubtful(weights[chosen], _rows_of_rates(worked, modes[chosen], rates), wide)
    return Doubt(rates, doubtful, chosen, origin[chosen])


def _rows_of_rates(worked: Worked, modes: IndexArray, rates: Sequence[Rate]) -> tuple[NDArray[np.intp], ...]:
    network, place = worked.models[0].compiled.network, {c: i for i, c in enumerate(worked.space.components)}
    found = [
        np.flatnonzero(modes[:, place[r.component]] == network.nodes[r.component].states.index(r.mode))
        for r in rates[:-1]
    ]
    return (*found, np.flatnonzero(~modes.any(axis=1)))


@lru_cache(maxsize=4)
def _at_most(space: Hypotheses, states: tuple[tuple[str, ...], ...], rates: tuple[Rate, ...]) -> Array:
    """How many times larger each hypothesis can become, shape (hypotheses,)."""
    log = np.zeros(len(space))
    for column, (component, mine) in enumerate(zip(space.components, states, strict=True)):
        wide = {r.mode: r.off_by for r in rates if r.component == component}
        log += np.log(np.array([wide.get(state, 1.0) for state in mine]))[space.modes[:, column]]
    log[~space.modes.any(axis=1)] = np.log(rates[-1].off_by)
    return np.asarray(np.exp(log))


def cause_claim(worked: Worked) -> Claim:
    """Whether the leading cause still leads, be it that no part is at fault.

    Parameters
    ----------
    worked : Worked
    """
    doubt = doubt_of(worked, worked.belief.posterior, np.arange(len(worked.space)))
    members = members_of(doubt)
    held = {key: float(doubt.doubtful.weights @ rows) for key, rows in members.items()}
    first = max((key for key in held if key != NOTHING), key=lambda key: held[key])
    if nothing_wrong(worked) > max(worked.catalogue.number("nothing_wrong_from"), held[first]):
        first = NOTHING
    rivals = [key for key in members if key != first]
    ahead, behind = sides(np.stack([members[first]] * len(rivals)), np.stack([members[key] for key in rivals]))
    names = [name_of(key) for key in rivals]
    turns = turns_of(worked, doubt, names, ahead, behind, [first, *rivals])
    return Claim("cause", name_of(first), turns, held[first])


def name_of(key: Key) -> str:
    """A cause in one word: "component:mode", or "nothing"."""
    return ":".join(key) if key != NOTHING else "nothing"


def members_of(doubt: Doubt) -> dict[Key, Array]:
    """For each cause, no part at fault being the last, the rows that have it as ones, shape (rows,)."""
    found = {}
    for rate, rows in zip(doubt.rates, doubt.doubtful.rows, strict=True):
        found[rate.component, rate.mode] = np.zeros(len(doubt.origin))
        found[rate.component, rate.mode][rows] = 1.0
    return found


def sides(first: Array, second: Array) -> tuple[Array, Array]:
    """What counts for one verdict beyond what counts for another, and the reverse."""
    return np.maximum(first - second, 0.0), np.maximum(second - first, 0.0)


Arbiter = Callable[[Array, int], str | None]


def turns_of(
    worked: Worked,
    doubt: Doubt,
    names: Sequence[str],
    ahead: Array,
    behind: Array,
    causes: Sequence[Key],
    arbiter: Arbiter | None = None,
) -> tuple[Turn, ...]:
    """What turns a verdict over, against each of some others.

    Parameters
    ----------
    worked : Worked
    doubt : Doubt
    names : sequence of str
        Of the other verdicts.
    ahead, behind : array, shape (others, rows)
        How each row counts for the verdict and for the other one.
    causes : sequence of (component, mode)
        Those whose rows in symptom tables matter; the likely ones of them are looked at.
    arbiter : callable, optional
        Which verdict there is with other weights of the rows, and the one expected; None where it is the same. The one
        expected when left out.
    """
    says: Arbiter = (lambda weights, k: names[k]) if arbiter is None else arbiter
    open_ones = np.flatnonzero(~cannot_turn(doubt.doubtful, ahead, behind))
    found = _single_rates(doubt, ahead[open_ones], behind[open_ones], open_ones, says) if len(open_ones) else []
    found += _symptoms(worked, doubt, ahead, behind, causes, says)
    nearest: dict[str, Turn] = {}
    for _, turn in sorted(found, key=lambda pair: pair[0]):
        nearest.setdefault(turn.leads_to, turn)
    if nearest or not len(open_ones):
        return tuple(nearest.values())
    return _together(doubt, ahead[open_ones], behind[open_ones], open_ones, says)


def _single_rates(
    doubt: Doubt, ahead: Array, behind: Array, others: NDArray[np.intp], says: Arbiter
) -> list[tuple[float, Turn]]:
    """Rates that turn the verdict over alone, with how far they have to be off."""
    found, level = [], level_at(doubt.doubtful, ahead, behind)
    wide = doubt.doubtful.off_by
    inside = (level >= 1.0 / wide) & (level <= wide) & (np.abs(np.log(np.where(level > 0, level, 1.0))) > 0.0)
    for s, k in np.argwhere(inside).tolist():
        at = float(level[s, k])
        past = float(np.clip(at * (BEYOND if at > 1.0 else 1.0 / BEYOND), 1.0 / wide[k], wide[k]))
        factors = np.ones(len(wide))
        factors[k] = past
        leads_to = says(doubt.doubtful.at(factors), int(others[s]))
        if leads_to is not None:
            found.append((abs(float(np.log(at))), Turn((doubt.off(k, at),), leads_to)))
    return found


def _together(doubt: Doubt, ahead: Array, behind: Array, others: NDArray[np.intp], says: Arbiter) -> tuple[Turn, ...]:
    """The fewest rates that turn the verdict over together."""
    found = least_odds(doubt.doubtful, ahead, behind)
    turns = []
    for s in np.flatnonzero(found.odds < 1.0).tolist():
        fewest = needed(doubt.doubtful, ahead[s], behind[s], found.factors[s])
        for factors in (fewest, found.factors[s]):
            leads_to = says(doubt.doubtful.at(factors), int(others[s]))
            if leads_to is not None:
                off = tuple(doubt.off(k, float(factors[k])) for k in np.flatnonzero(factors != 1.0).tolist())
                turns.append(Turn(off, leads_to))
                break
    return tuple(sorted(turns, key=lambda turn: len(turn.off)))[:1]


def _symptoms(
    worked: Worked, doubt: Doubt, ahead: Array, behind: Array, causes: Sequence[Key], says: Arbiter
) -> list[tuple[float, Turn]]:
    """Numbers of symptom tables that turn the verdict over alone, by the sensitivity function of each.

    Odds that are off by a factor move the chance of an answer in a hypothesis by that factor at most, and odds between
    verdicts by its square; where answers are combined from several rows, by a little more.
    """
    weights = doubt.doubtful.weights
    n, d = ahead @ weights, behind @ weights
    if (n > worked.catalogue.number("symptom_off_by") ** 3 * d).all():
        return []
    found = []
    for doubted in doubted_answers(worked, causes):
        moved = weights * doubted.ratio[doubt.origin]
        n1, d1 = ahead @ moved, behind @ moved
        for k in np.flatnonzero((n1 < d1) & (n >= d)).tolist():
            leads_to = says(moved, k)
            if leads_to is not None:
                share = float((n[k] - d[k]) / ((n[k] - d[k]) - (n1[k] - d1[k])))
                found.append(_turned_by(doubted, share, leads_to))
    return found


def _turned_by(doubted: Doubted, share: float, leads_to: str) -> tuple[float, Turn]:
    factor = 1.0 + share * (doubted.end / doubted.chance - 1.0)
    off = Off(*doubted.cause, factor, doubted.chance, 1.0, doubted.test, doubted.choice)
    return abs(float(np.log(max(factor, 1e-9)))), Turn((off,), leads_to)
