"""Base rates: old rate, times a factor of the whole, times a factor of the group of cars.

The weight of a fault mode in a cell of cars is ``old * whole * own``. Each factor has a Dirichlet prior that is worth
as many cars as the prior set says times `strength`, with its mode at one: so the whole leans on the old prior set and
a group leans on the whole, the more the fewer cases it has. With one group it is the textbook's Dirichlet update.

Two things make the update more than counting, and both are met by a bound whose maximum is in closed form (a minorant
of -log S; Hunter and Lange 2004, A tutorial on MM algorithms, The American Statistician 58: 30-37, from memory):

* the battery's modes depend on use, drain and charging through factors, which are left as they are;
* cars are brought in with a complaint: one with nothing wrong seldom is. The sound cars that stayed away are added at
  their expected number (Dempster, Laird and Rubin 1977 treat truncated samples so, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.configurations import Index, distinct_rows
from faultnet.learning.em.space import Cell, Space
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

BATTERY = "battery"
INNER_STEPS = 40
FEWEST = 1e-3
TINY = 1e-300


@dataclass(frozen=True, eq=False)
class RateForm:
    """What base rates look like before any case is seen.

    Parameters
    ----------
    places : tuple of (component, mode)
        All modes of all components, sound ones too, in the order of the space's components.
    first : int array, shape (components + 1,)
        Where each component's modes begin.
    old : array, shape (cells, places)
        Weights by the old prior set; those of a component sum to one [-].
    old_whole : array, shape (places,)
        The same for the group "all".
    whole_counts : array, shape (places,)
        What the old prior is worth for the whole [cars].
    own : int array, shape (cells, places)
        Which factor of a group a cell takes; 0 is none.
    own_names : tuple of (component, group)
        Of factors 1 and on.
    own_counts : array, shape (factors + 1, places)
        What the pull towards the whole is worth [cars].
    factors : array, shape (configurations of the battery's parents, battery modes)
        How use, drain and charging raise the weights; the first row is ones.
    of_hypothesis : int array, shape (hypotheses,)
        Row of `factors`.
    index : int array, shape (hypotheses, components)
        Places of the modes of each hypothesis.
    brought_in_when_sound : float
    """

    places: tuple[tuple[str, str], ...]
    first: Index
    old: Array = field(repr=False)
    old_whole: Array = field(repr=False)
    whole_counts: Array = field(repr=False)
    own: Index = field(repr=False)
    own_names: tuple[tuple[str, str], ...]
    own_counts: Array = field(repr=False)
    factors: Array = field(repr=False)
    of_hypothesis: Index = field(repr=False)
    index: Index = field(repr=False)
    brought_in_when_sound: float

    @property
    def battery(self) -> slice:
        """Places of the battery's modes."""
        at = next(i for i, (c, _) in enumerate(self.places) if c == BATTERY)
        return slice(at, at + self.factors.shape[1])

    def start(self) -> Rates:
        """The old prior set itself."""
        return Rates(np.ones(len(self.places)), np.ones(self.own_counts.shape))


@dataclass(frozen=True, eq=False)
class Rates:
    """Factors on the old base rates: of the whole, shape (places,), and of groups, shape (factors + 1, places)."""

    whole: Array
    own: Array


def rate_form(catalogue: Catalogue, space: Space, strength: float, groups: Sequence[str]) -> RateForm:
    """Lay out the base rates of a space.

    Parameters
    ----------
    catalogue : Catalogue
    space : Space
    strength : float
        Weight of the old counts [-].
    groups : sequence of str
        "age", "climate": what groups may differ by. A group of climate is made even where the old set has one row
        for all climates, once a history has cars of several.
    """
    nodes = space.networks[0].nodes
    places = tuple((c, m) for c in space.components for m in nodes[c].states)
    first = np.cumsum([0, *(nodes[c].card for c in space.components)], dtype=np.intp)
    old = np.array([np.concatenate([_base(n.nodes[c].table) for c in space.components]) for n in space.networks])
    old_whole = np.array([share_of(catalogue, c, m, "all") for c, m in places])
    of = np.array([next(iter(catalogue.base_rates[c, nodes[c].states[1]].values())).of for c, _ in places])
    names = [[_group(catalogue, c, cell, groups, space.cells) for c, _ in places] for cell in space.cells]
    own_names = tuple(sorted({(c, n) for row in names for (c, _), n in zip(places, row, strict=True) if n}))
    own = np.array([
        [own_names.index((c, n)) + 1 if n else 0 for (c, _), n in zip(places, row, strict=True)] for row in names
    ])  # fmt: skip
    own_counts = np.zeros((len(own_names) + 1, len(places)))
    for k in range(1, len(own_counts)):
        cells, at = np.nonzero(own == k)
        own_counts[k] = np.bincount(at, old[cells, at], len(places)) / max(len(set(cells.tolist())), 1)
    factors, of_hypothesis = _links(space)
    return RateForm(
        places, first, old, old_whole, strength * of * old_whole, own, own_names, strength * of * own_counts, factors,
        of_hypothesis, (first[:-1] + space.modes).astype(np.intp), catalogue.number("brought_in_when_sound"),
    )  # fmt: skip


def share_of(catalogue: Catalogue, component: str, mode: str, group: str) -> float:
    """Share of cars of a group with a mode, by a row of the old prior set or what its fault modes leave [-]."""
    modes = [m.id for m in catalogue.component(component).modes]
    rows = {m: catalogue.base_rates[component, m] for m in modes[1:]}
    shares = {m: r[group].value / r[group].of if group in r else r["all"].value / r["all"].of for m, r in rows.items()}
    return max(shares.get(mode, 1.0 - sum(shares.values())), FEWEST / 1000.0)


def _base(table: Array) -> Array:
    """A component's own distribution: with nothing wrong elsewhere, where it depends on other components."""
    return np.asarray(table.reshape(len(table), -1)[:, 0])


def _group(catalogue: Catalogue, component: str, cell: Cell, groups: Sequence[str], cells: Sequence[Cell]) -> str:
    """Name of the group whose factor a cell takes for a component; empty where it takes none."""
    age, climate = cell
    known = {g for (c, _), rows in catalogue.base_rates.items() if c == component for g in rows}
    parts = []
    if "age" in groups and f"age={age};climate={climate}" in known:
        parts.append(f"age={age}")
    if "climate" in groups and (f"climate={climate}" in known or len({c for _, c in cells}) > 1):
        parts.append(f"climate={climate}")
    return ";".join(parts)


def _links(space: Space) -> tuple[Array, Index]:
    """Factors on the battery's weights by its parents' modes, and which of them each hypothesis has."""
    node = space.networks[0].nodes[BATTERY]
    columns = [space.components.index(p) for p in node.parents]
    first, which = distinct_rows(space.modes[:, columns])
    parents = space.modes[first][:, columns]
    odds = np.array([node.table[:, *modes] / node.table[0, *modes] for modes in parents])
    base = node.table.reshape(node.card, -1)[:, 0]
    factors, merged = np.unique((odds * base[0] / base).round(9), axis=0, return_inverse=True)
    plain = int(merged.reshape(-1)[np.flatnonzero(~parents.any(axis=1))[0]])
    order = np.array([plain, *(i for i in range(len(factors)) if i != plain)])
    return factors[order], np.argsort(order)[merged.reshape(-1)][which]


def weights(form: RateForm, rates: Rates) -> Array:
    """Weights of all modes in every cell, not normed, shape (cells, places)."""
    return form.old * rates.whole * rates.own[form.own, np.arange(len(form.places))]


def prior(form: RateForm, rates: Rates) -> Array:
    """Prior of every hypothesis given that the car was brought in, shape (cells, hypotheses).

    Sums to one less what the space leaves out.
    """
    weight = weights(form, rates)
    log_share = np.log(np.maximum(weight / _sums(form, weight), TINY))
    battery = log_share[:, form.battery]
    joint = battery[:, None, :] + np.log(form.factors)
    joint -= np.log(np.exp(joint).sum(axis=2, keepdims=True))
    component = _column(form)
    others = np.delete(form.index, component, axis=1)
    mode = form.index[:, component] - form.battery.start
    found = np.exp(log_share[:, others].sum(axis=2) + joint[:, form.of_hypothesis, mode])
    nothing = (form.index == form.first[:-1]).all(axis=1)
    sound = all_sound(form, rates)[:, None]
    found[:, nothing] *= form.brought_in_when_sound
    return np.asarray(found / (1.0 - sound + sound * form.brought_in_when_sound))


def all_sound(form: RateForm, rates: Rates) -> Array:
    """Share of cars with nothing wrong, before the complaint, shape (cells,)."""
    weight = weights(form, rates)
    return np.asarray((weight / _sums(form, weight))[:, form.first[:-1]].prod(axis=1))


def _column(form: RateForm) -> int:
    return int(np.flatnonzero(form.first[:-1] == form.battery.start)[0])


def _sums(form: RateForm, weight: Array) -> Array:
    """Sum over each component's modes, spread over its places again."""
    sums = np.add.reduceat(weight, form.first[:-1], axis=-1)
    return np.repeat(sums, np.diff(form.first), axis=-1)


def improved(form: RateForm, rates: Rates, counts: Array, steps: int = INNER_STEPS) -> Rates:
    """Rates that raise the expected log posterior.

    Parameters
    ----------
    form : RateForm
    rates : Rates
    counts : array, shape (cells, hypotheses)
        Expected cases.

    Returns
    -------
    Rates
    """
    sound = all_sound(form, rates)
    away = sound * (1.0 - form.brought_in_when_sound)
    stayed_away = counts.sum(axis=1) * away / (1.0 - away)
    seen = np.zeros_like(form.old)
    linked = np.zeros((len(form.old), len(form.factors)))
    for g, row in enumerate(counts):
        seen[g] = np.bincount(form.index.ravel(), np.repeat(row, form.index.shape[1]), seen.shape[1])
        linked[g] = np.bincount(form.of_hypothesis, row, linked.shape[1])
    linked[:, 0] += stayed_away
    for _ in range(steps):
        rates = _step(form, rates, seen, linked)
    return rates


def _step(form: RateForm, rates: Rates, seen: Array, linked: Array) -> Rates:
    """One round of closed-form updates: the whole's factors, then the groups'."""
    sound = np.zeros(len(form.places), dtype=bool)
    sound[form.first[:-1]] = True
    at = np.arange(len(form.places))
    lean = _sums(form, form.whole_counts) * form.old_whole / _sums(form, form.old_whole * rates.whole)
    exposed = _exposure(form, rates, linked) * form.old * rates.own[form.own, at]
    whole = (form.whole_counts + seen.sum(axis=0)) / (lean + exposed.sum(axis=0))
    rates = Rates(np.where(sound, 1.0, whole), rates.own)
    exposed = _exposure(form, rates, linked) * form.old * rates.whole
    gained, met = np.zeros(rates.own.shape), np.zeros(rates.own.shape)
    np.add.at(gained, (form.own, at), seen)
    np.add.at(met, (form.own, at), exposed)
    lean = form.own_counts * _sums(form, form.own_counts) / np.maximum(_sums(form, form.own_counts * rates.own), TINY)
    own = np.divide(form.own_counts + gained, lean + met, out=np.ones_like(met), where=form.own_counts > 0.0)
    own[0] = 1.0
    return Rates(rates.whole, np.where(sound, 1.0, own))


def _exposure(form: RateForm, rates: Rates, linked: Array) -> Array:
    """Cars over the sum of weights they were drawn by, for each mode, shape (cells, places)."""
    weight = weights(form, rates)
    exposed = linked.sum(axis=1, keepdims=True) / _sums(form, weight)
    battery = weight[:, form.battery]
    exposed[:, form.battery] = (linked / (battery @ form.factors.T)) @ form.factors
    return np.asarray(exposed)


def log_prior(form: RateForm, rates: Rates) -> float:
    """Logarithm of the Dirichlet priors of all factors, up to a constant [nat]."""
    total = _dirichlet(form, form.whole_counts, form.old_whole * rates.whole)
    for k in range(1, len(form.own_counts)):
        total += _dirichlet(form, form.own_counts[k], np.maximum(form.own_counts[k] * rates.own[k], TINY))
    return total


def _dirichlet(form: RateForm, counts: Array, weight: Array) -> float:
    shares = weight / _sums(form, weight)
    return float(counts @ np.log(np.maximum(shares, TINY)))
