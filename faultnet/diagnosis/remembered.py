"""Readings of earlier stages and visits: the true value behind a second reading is mostly that behind the first.

Within a stage a quantity has one value, and readings of it are pooled. After an act that changes the car the next
stage draws all values anew; for a quantity that the act did not touch that would count one odd car twice. So a later
reading is taken as one of the same value with some chance, and of a new one otherwise, wherever all that the quantity
depends on is as it was: the modes of its components in a hypothesis, and the battery's charge. From one visit to the
next a fault that comes and goes must also be on both times or off both times.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import IndexArray
from faultnet.inference.fast.messages import pooled
from faultnet.inference.posterior import TINY
from faultnet.inference.visit import Evidence, VisitModel
from faultnet.model.network import Array, Network

IN_VISIT, BETWEEN_VISITS = "value_stays_in_visit", "value_stays_between_visits"
Spread = Callable[[str], float]


@dataclass(frozen=True, eq=False)
class Remembered:
    """What earlier readings say of the value of a quantity.

    Parameters
    ----------
    likelihood : array, shape (states,)
        Largest entry one.
    modes : int array, shape (hypotheses, components)
        Modes when it was last read.
    visit, charges : int
        In which visit, and after how many changes of the charge or the surface charge in it.
    """

    likelihood: Array
    modes: IndexArray = field(repr=False)
    visit: int
    charges: int


Memory = Mapping[str, Remembered]


@dataclass(frozen=True, eq=False)
class Standing:
    """Where a walk through a case stands.

    Parameters
    ----------
    model : VisitModel
        Of the stage.
    modes : int array, shape (hypotheses, components)
        Modes by now.
    carried : array, shape (hypotheses, charge states)
        Weight over the state of charge.
    visit, charges : int
        As for :class:`Remembered`.
    """

    model: VisitModel
    modes: IndexArray = field(repr=False)
    carried: Array = field(repr=False)
    visit: int
    charges: int


def remembering(memory: Memory, evidence: Sequence[Evidence], standing: Standing) -> dict[str, Remembered]:
    """The memory after a stage with its readings."""
    after = dict(memory)
    for quantity, likelihood in pooled(evidence)[0].items():
        before = memory.get(quantity)
        together = likelihood if before is None else likelihood * before.likelihood
        top = float(together.max())
        kept = together / top if top > 0.0 else likelihood
        after[quantity] = Remembered(kept, standing.modes, standing.visit, standing.charges)
    return after


def log_again(memory: Memory, evidence: Sequence[Evidence], standing: Standing, spread: Spread) -> Array:
    """What has to be added to the log likelihood of a stage for what was read before, shape (hypotheses,).

    Notes
    -----
    With s the chance that the value stays, P(r2 | r1) = s P(r1, r2 of one value) / P(r1) + (1 - s) P(r2), so the
    stage's own P(r2) is multiplied by s P(r1, r2) / (P(r1) P(r2)) + 1 - s.
    """
    found = np.zeros(len(standing.modes))
    for quantity, likelihood in pooled(evidence)[0].items():
        before = memory.get(quantity)
        if before is None:
            continue
        stays = chance_it_stays(before, quantity, standing, spread)
        if stays.any():
            one, two = (_likelihood(standing, quantity, values) for values in (before.likelihood, likelihood))
            both = _likelihood(standing, quantity, before.likelihood * likelihood)
            found += np.log(stays * both / np.maximum(one * two, TINY) + 1.0 - stays)
    return found


def chance_it_stays(before: Remembered, quantity: str, standing: Standing, spread: Spread) -> Array:
    """Chance that a quantity has the value it had when it was read before [-], shape (hypotheses,)."""
    network, components = standing.model.network, standing.model.components
    behind, charged = behind_quantity(network, quantity)
    another_visit = before.visit != standing.visit
    if charged and (another_visit or before.charges != standing.charges):
        return np.zeros(len(standing.modes))
    columns = [k for k, c in enumerate(components) if c in behind]
    as_it_was = (before.modes[:, columns] == standing.modes[:, columns]).all(axis=1) & ~standing.model.unlisted
    if not another_visit:
        return np.asarray(as_it_was * spread(IN_VISIT))
    return np.asarray(as_it_was * spread(BETWEEN_VISITS) * _acts_alike(network, components, standing.modes, behind))


def _acts_alike(network: Network, components: tuple[str, ...], modes: IndexArray, behind: frozenset[str]) -> Array:
    """Chance that what comes and goes is on at both of two visits or at neither [-], shape (hypotheses,)."""
    alike = np.ones(len(modes))
    for component in behind:
        now = network.nodes.get(f"{component}_now")
        if now is not None:
            on = np.diagonal(now.table)[modes[:, components.index(component)]]
            alike *= on**2 + (1.0 - on) ** 2
    return alike


def behind_quantity(network: Network, quantity: str) -> tuple[frozenset[str], bool]:
    """Components a quantity depends on, the charge being given, and whether it depends on the charge.

    Examples
    --------
    >>> from faultnet.model.network import Node
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> volts = Node("volts", "quantity", ("low", "high"), ("part",), np.array([[0.2, 0.7], [0.8, 0.3]]))
    >>> behind_quantity(Network({"part": part, "volts": volts}), "volts")
    (frozenset({'part'}), False)
    """
    seen: set[str] = set()
    pending = [quantity]
    while pending:
        name = pending.pop()
        if name not in seen:
            seen.add(name)
            node = network.nodes[name]
            pending += () if name == CHARGE or node.layer == "component" else node.parents
    return frozenset(n for n in seen if network.nodes[n].layer == "component"), CHARGE in seen


def _likelihood(standing: Standing, quantity: str, likelihood: Array) -> Array:
    """Likelihood of a value alone, shape (hypotheses,)."""
    top = float(likelihood.max())
    if top <= 0.0:
        return np.full(len(standing.modes), TINY)
    weight, scale = standing.model.stage([Evidence(quantity, likelihood / top, 1.0)])
    share = standing.carried / np.maximum(standing.carried.sum(axis=1, keepdims=True), TINY)
    return np.asarray(top * np.exp(scale) * (weight * share).sum(axis=1))
