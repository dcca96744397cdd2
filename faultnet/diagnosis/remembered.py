"""Readings of earlier visits: the true value behind a second reading is often that behind the first.

Within a visit readings of one quantity count together as long as what they were taken of stays as it is. From one visit
to the next all values are drawn anew; for a quantity that nothing touched that would count one odd car twice. So a
reading at a later visit is taken as one of the same value with some chance, and of a new one otherwise, wherever all
that the quantity depends on is as it was: the modes of its components, and a fault that comes and goes must be on both
times or off both times. A quantity that depends on the state of charge is taken as new. The same value is one in the
same bin: parts wear and weather changes from visit to visit, so that within the bin it is not held to be the very same.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from faultnet.diagnosis.rows import Flags
from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import IndexArray
from faultnet.inference.evidence import UNLISTED, Evidence, pooled
from faultnet.inference.posterior import TINY
from faultnet.inference.visit import Stage
from faultnet.model.network import Array, Network

BETWEEN_VISITS = "value_stays_between_visits"
Numbers = Callable[[str], float]
Memory = Mapping[str, Array]
Weigher = Callable[[Sequence[Evidence]], Stage]


def remembering(memory: Memory, evidence: Sequence[Evidence]) -> dict[str, Array]:
    """The memory after a visit with its readings: likelihood of each value, the largest at one, shape (states,)."""
    after = dict(memory)
    for quantity, likelihood in pooled(evidence)[0].items():
        before = memory.get(quantity)
        together = likelihood if before is None else likelihood * before
        top = float(together.max())
        after[quantity] = together / top if top > 0.0 else likelihood
    return after


def log_again(
    memory: Memory, evidence: Sequence[Evidence], again: Mapping[str, Flags], weigh: Weigher, network: Network,
    components: tuple[str, ...], modes: IndexArray, number: Numbers,
) -> Array | None:  # fmt: skip
    """What has to be added to the log likelihood of a visit for what was read before, shape (rows,); None for nothing.

    Parameters
    ----------
    memory : mapping of quantity to array
    evidence : sequence of Evidence
        Of the visit.
    again : mapping of quantity to bool array, shape (rows,)
        Whether all that the quantity depends on is as it was.
    weigh : callable
        Likelihood of evidence alone for every row.
    network : Network
        Of the visit.
    components : tuple of str
    modes : int array, shape (rows, components)
    number : callable
        Named numbers of the prior set.

    Notes
    -----
    With s the chance that the value stays, P(r2 | r1) = s P(r1, r2 of one value) / P(r1) + (1 - s) P(r2), so the
    visit's own P(r2) is multiplied by s P(r1, r2) / (P(r1) P(r2)) + 1 - s.
    """
    found = None
    for quantity, likelihood in pooled(evidence)[0].items():
        before = memory.get(quantity)
        if before is None:
            continue
        stays = again[quantity] * chance_it_stays(network, quantity, components, modes, number)
        if stays.any():
            one, two, both = (_alone(weigh, quantity, v) for v in (before, likelihood, before * likelihood))
            log = np.log(stays * both / np.maximum(one * two, TINY) + 1.0 - stays)
            found = log if found is None else found + log
    return found


def chance_it_stays(
    network: Network, quantity: str, components: tuple[str, ...], modes: IndexArray, number: Numbers
) -> Array:
    """Chance that a quantity has the value it had at an earlier visit, if nothing touched it [-], shape (rows,)."""
    stays = np.full(len(modes), number(BETWEEN_VISITS))
    for component in behind_quantity(network, quantity)[0]:
        now = network.nodes.get(f"{component}_now")
        if now is not None:
            on = np.diagonal(now.table)[modes[:, components.index(component)]]
            stays *= on**2 + (1.0 - on) ** 2
    if UNLISTED in components:
        stays[modes[:, components.index(UNLISTED)] > 0] = 0.0
    return stays


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


def _alone(weigh: Weigher, quantity: str, likelihood: Array) -> Array:
    """Likelihood of a value alone, which does not depend on the charge, shape (rows,)."""
    top = float(likelihood.max())
    if top <= 0.0:
        return np.array(TINY)
    weight, scale = weigh([Evidence(quantity, likelihood / top, 1.0)])
    return np.asarray(top * np.exp(scale) * weight[:, 0])
