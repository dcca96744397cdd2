"""What was read before a repair, a charge or a visit bears on what is read after it, as the car is one and the same.

Readings that are open count together: the parameters behind them are one. Once they have been counted, all would be
drawn anew, and what a car shows for reasons of its own would count again at every visit as if nobody had seen it. So
what is read later of one cluster is weighed against what was read of it before,

    P(later | before) = s P(later, before) / P(before) + (1 - s) P(later),

where the first term has one draw of all parameters behind both, and s is the chance that things stayed as they were:
that a fault that comes and goes is on both times or off both times, and that the charge is much the same. What a
renewed part was read by says nothing of the new one. Both terms hold at each state of charge. Of a quantity read often
it is the newest that is remembered, as a value in the same bin: parts wear and weather changes.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import IndexArray
from faultnet.inference.evidence import Evidence, as_one, pooled_evidence
from faultnet.inference.posterior import TINY
from faultnet.inference.visit import Stage
from faultnet.model.network import Array, Network

if TYPE_CHECKING:
    from faultnet.diagnosis.course import Open

BETWEEN_VISITS = "value_stays_between_visits"
ALIKE = "charge_alike_within"
Numbers = Callable[[str], float]
Memory = Mapping[str, Evidence]
Weigher = Callable[..., Stage]


def recalled(memory: Memory, open: Iterable[Open], quantities: Collection[str]) -> dict[str, Evidence]:
    """What is remembered of some quantities, the newest being what was open.

    Parameters
    ----------
    memory : mapping of quantity to Evidence
    open : iterable of Open
        Read after what is in the memory.
    quantities : collection of str
    """
    found = {q: e for q, e in memory.items() if q in quantities}
    return found | {o.evidence.quantity: as_one([o.evidence])[0] for o in open if o.evidence.quantity in quantities}


def together_over_apart(weigh: Weigher, before: Sequence[Evidence], now: Sequence[Evidence]) -> Array:
    """P(before, now) / (P(before) P(now)): how much likelier readings are as of one car than as of two.

    Parameters
    ----------
    weigh : callable
        Likelihood of evidence for every row.
    before, now : sequence of Evidence
        One piece for each quantity, all of one cluster.

    Returns
    -------
    array, shape (rows, charge states or 1)
        One where either alone is out of the question.
    """
    pieces, log_scale = pooled_evidence([*before, *now])
    (both, log_both), (first, log_first), (second, log_second) = weigh(pieces), weigh(before), weigh(now)
    scale = np.exp(log_scale + log_both - log_first - log_second)
    return np.asarray(
        np.where(
            np.minimum(first, second) > TINY, scale * both / np.maximum(first, TINY) / np.maximum(second, TINY), 1.0
        )
    )


def chance_it_stays(
    network: Network, quantities: Iterable[str], components: tuple[str, ...], modes: IndexArray, number: Numbers
) -> Array:
    """Chance that quantities have the values they had, if nothing touched them [-], shape (rows,)."""
    stays = np.full(len(modes), number(BETWEEN_VISITS))
    behind = frozenset[str]().union(*(behind_quantity(network, q)[0] for q in quantities))
    for component in sorted(behind):
        now = network.nodes.get(f"{component}_now")
        if now is not None:
            on = np.diagonal(now.table)[modes[:, components.index(component)]]
            stays *= on**2 + (1.0 - on) ** 2
    return stays


def chance_charge_is_alike(then: Array, now: Array, number: Numbers) -> Array:
    """Chance that the state of charge is much as it was [-], shape (rows,).

    Parameters
    ----------
    then, now : array, shape (rows,)
        Its mean after what was read before, and before what is read now [-].

    Examples
    --------
    >>> chance_charge_is_alike(np.array([0.7, 0.2]), np.array([0.75, 0.95]), lambda _: 0.1).round(2)
    array([0.88, 0.  ])
    """
    return np.asarray(np.exp(-0.5 * ((now - then) / number(ALIKE)) ** 2))


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
