"""Expected cost of repair: in which order to mend, and what that costs until the last true fault is gone.

For one fault and independent costs, mending in the order of probability over cost is optimal (Heckerman, Breese and
Rommelse 1995). With several faults the same order is replayed on every hypothesis: the bill runs until the last of
its faults is mended. At some point it is cheaper to stop fitting parts and to start over with fresh tests, for a flat
price on top of what has to be mended after all; where, is found for each belief. Repairs behind the same cover share
the work of opening it (cost clusters, Ottosen and Jensen 2010), giving the car back although a fault is left costs a
call-back, and a part fitted in vain costs trust beyond its price. The way a car is used counts as something to mend
only where no part is at fault beside it.

References
----------
D. Heckerman, J. S. Breese, K. Rommelse, Decision-theoretic troubleshooting, Communications of the ACM 38(3), 1995
(from memory). T. J. Ottosen, F. V. Jensen, The cost of troubleshooting cost clusters with inside information,
UAI 2010 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from faultnet.decision.costs import Costs
from faultnet.model.network import Array

GIVE_BACK = "give_back"
CONTRIBUTING = ("use",)
BATCH = 256


@dataclass(frozen=True, eq=False)
class Repairs:
    """The repairs that could be done, one for each component, and giving the car back as it is.

    Parameters
    ----------
    names : tuple of str
        Component ids, last ``"give_back"``.
    cost : array, shape (repairs,)
        Without access [money].
    access_cost : array, shape (accesses,)
        [money].
    access : int array, shape (repairs,)
        Which access a repair is behind; -1 for none.
    at_fault : bool array, shape (hypotheses, repairs)
        Whether a repair mends something in a hypothesis; giving back is right where nothing is at fault.
    call_back, start_over : float
        [money].
    in_vain : array, shape (repairs,), or float
        What mending a component that is not at fault costs beyond the repair itself [money].
    """

    names: tuple[str, ...]
    cost: Array
    access_cost: Array
    access: NDArray[np.intp]
    at_fault: NDArray[np.bool_]
    call_back: float
    start_over: float = float("inf")
    in_vain: Array | float = 0.0

    @cached_property
    def at_stake(self) -> Array:
        """What each repair costs in vain beyond itself, giving back included, shape (repairs,) [money]."""
        lost = np.array(np.broadcast_to(self.in_vain, self.cost.shape), dtype=float)
        if GIVE_BACK in self.names:
            lost[self.names.index(GIVE_BACK)] = self.call_back
        return lost

    def price_in_vain(self, name: str) -> float:
        """What a repair costs that mends nothing, getting at it and the trust lost included [money]."""
        place = self.names.index(name)
        return float((self.cost + self.at_stake + self.opening)[place])

    @cached_property
    def opening(self) -> Array:
        """What it costs to get at each repair, shape (repairs,) [money]; nought for those behind nothing."""
        return np.append(self.access_cost, 0.0)[self.access]

    @cached_property
    def classes(self) -> NDArray[np.intp]:
        """Class of each hypothesis, shape (hypotheses,): those that need the same repairs share one."""
        return np.asarray(np.unique(self._codes, return_inverse=True)[1].ravel(), dtype=np.intp)

    @cached_property
    def member(self) -> Array:
        """Whether a hypothesis is of a class, shape (hypotheses, classes)."""
        return np.eye(int(self.classes.max()) + 1)[self.classes]

    @cached_property
    def by_class(self) -> Repairs:
        """The same repairs for one hypothesis of each class."""
        return replace(self, at_fault=self.at_fault[np.unique(self._codes, return_index=True)[1]])

    @cached_property
    def _codes(self) -> NDArray[np.void]:
        """What each hypothesis needs in one piece, for finding those that need the same."""
        packed = np.packbits(self.at_fault, axis=1)
        return np.ascontiguousarray(packed).view(np.dtype((np.void, packed.shape[1]))).ravel()


def repairs_for(
    components: tuple[str, ...],
    at_fault: NDArray[np.bool_],
    costs: Costs,
    was_at_fault: NDArray[np.bool_] | None = None,
) -> Repairs:
    """Put the repairs of some hypotheses together.

    Parameters
    ----------
    components : tuple of str
    at_fault : bool array, shape (hypotheses, components)
        By now.
    costs : Costs
    was_at_fault : bool array, shape (hypotheses, components), optional
        When the car was brought in, if something was mended since: a part that was at fault and was mended still
        frees one from mending how the car is used.
    """
    accesses = tuple(costs.access)
    access = [accesses.index(costs.behind[c]) if c in costs.behind else -1 for c in components]
    cost = [costs.repair(c) for c in components] + [costs.money(costs.overhead_minutes)]
    at_fault = at_fault.copy()
    contributing = [i for i, c in enumerate(components) if c in CONTRIBUTING]
    parts = [i for i, c in enumerate(components) if c not in CONTRIBUTING]
    with_parts = (at_fault if was_at_fault is None else at_fault | was_at_fault)[:, parts].any(axis=1)
    for column in contributing:
        at_fault[with_parts, column] = False
    nothing = ~at_fault.any(axis=1, keepdims=True)
    return Repairs(
        (*components, GIVE_BACK),
        np.array(cost),
        np.array([costs.money(m) for m in costs.access.values()]),
        np.array([*access, -1], dtype=np.intp),
        np.hstack([at_fault, nothing]),
        costs.call_back,
        costs.start_over,
        np.array([*(costs.in_vain.get(c, 0.0) for c in components), 0.0]),
    )


def order_of_repair(repairs: Repairs, weights: Array) -> NDArray[np.intp]:
    """Order of probability over cost, shape (beliefs, repairs).

    Parameters
    ----------
    repairs : Repairs
    weights : array, shape (beliefs, hypotheses)
        Each row proportional to a belief.

    Notes
    -----
    Step by step: the cost of a repair falls once its cover is off, so the quotient is formed anew after each choice.
    Giving the car back costs the call-back that is to be expected of it. What a part costs when fitted in vain counts
    in full: with single faults, swapping two neighbours of an order changes its cost by p_j (c_i + v_i) -
    p_i (c_j + v_j).
    """
    chance = (weights @ repairs.at_fault) / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    risk = np.zeros_like(chance) + repairs.in_vain
    if GIVE_BACK in repairs.names:
        risk[:, -1] = repairs.call_back * (1.0 - chance[:, -1])
    rows = np.arange(len(weights))
    behind = repairs.access == np.arange(-1, len(repairs.access_cost))[:, None]
    opened = chance / np.maximum(repairs.cost + risk, 1e-9)
    quotient = chance / np.maximum(repairs.cost + risk + repairs.opening, 1e-9)
    order = np.empty(chance.shape, dtype=np.intp)
    for step in range(chance.shape[1]):
        best = quotient.argmax(axis=1)
        order[:, step] = best
        quotient[rows, best] = opened[rows, best] = -1.0
        np.copyto(quotient, opened, where=behind[repairs.access[best] + 1])
    return order


def running_bill(repairs: Repairs, order: NDArray[np.intp]) -> Array:
    """Money spent after each step of an order, as if every part were fitted in vain, shape as `order`."""
    cost = (repairs.cost + repairs.in_vain)[order]
    for access, price in enumerate(repairs.access_cost):
        here = repairs.access[order] == access
        first = here & (np.cumsum(here, axis=1) == 1)
        cost = cost + np.where(first, price, 0.0)
    return np.asarray(np.cumsum(cost, axis=1))


def expected_cost(repairs: Repairs, weights: Array, order: NDArray[np.intp] | None = None) -> Array:
    """Expected cost of repair of each belief [money], shape (beliefs,).

    Parameters
    ----------
    repairs : Repairs
    weights : array, shape (beliefs, hypotheses)
        Each row proportional to a belief.
    order : int array, shape (beliefs, repairs), optional
        The order of probability over cost when left out.

    Examples
    --------
    >>> two = Repairs(("a", "b"), np.array([10.0, 50.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    >>> expected_cost(two, np.array([[0.5, 0.5]]))
    array([35.])
    """
    weights, repairs = weights @ repairs.member, repairs.by_class
    order = order_of_repair(repairs, weights) if order is None else order
    result = np.empty(len(weights))
    for start in range(0, len(weights), BATCH):
        part = slice(start, start + BATCH)
        result[part] = _cheapest_stop(repairs, weights[part], order[part])
    return result


def _cheapest_stop(repairs: Repairs, weights: Array, order: NDArray[np.intp]) -> Array:
    """Expected cost when the order is broken off for a fresh start where that is cheapest, shape (beliefs,)."""
    return np.asarray(ways_to_stop(repairs, weights, order).min(axis=1))


def ways_to_stop(repairs: Repairs, weights: Array, order: NDArray[np.intp]) -> Array:
    """Expected cost of every way to go through an order [money], shape (beliefs, 1) or (beliefs, 2 + repairs).

    The order is gone through to its end, or broken off for a fresh start after each of its steps, or not begun; the
    first alone where starting over has no price. `repairs` and `weights` are those of the classes.
    """
    bill = running_bill(repairs, order)
    position, last = last_needed(repairs, order)
    cost = np.take_along_axis(bill, last, axis=1) + _call_backs(repairs, position, last)
    share = weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    steps = order.shape[1]
    place = (last + steps * np.arange(len(order))[:, None]).ravel()
    mended_at, paid_at = (
        np.bincount(place, what.ravel(), minlength=order.size).reshape(order.shape) for what in (share, share * cost)
    )
    chance = share @ repairs.at_fault
    not_in_vain = np.take_along_axis(chance * repairs.in_vain, order, axis=1)
    mended, paid = np.cumsum(mended_at, axis=1), np.cumsum(paid_at - not_in_vain, axis=1)
    whole = paid[:, -1]
    if not np.isfinite(repairs.start_over):
        return np.asarray(whole[:, None])
    needed = np.take_along_axis(chance * repairs.cost, order, axis=1)
    still_needed = needed.sum(axis=1, keepdims=True) - np.cumsum(needed, axis=1)
    broken_off = paid + (1.0 - mended) * (bill + repairs.start_over) + still_needed
    return np.column_stack([whole, broken_off, _starting_over(repairs, weights)])


def chance_in_vain(repairs: Repairs, weights: Array) -> tuple[Array, Array]:
    """Chance that each repair is done in vain before the last fault is mended, and of starting over [-].

    Parameters
    ----------
    repairs : Repairs
    weights : array, shape (beliefs, hypotheses)
        Each row proportional to a belief.

    Returns
    -------
    (array, array), shapes (beliefs, repairs), (beliefs,)

    Notes
    -----
    The order of repair is that of :func:`expected_cost`, broken off where that is cheapest. A repair is done when it
    stands before the last one that a hypothesis needs; it is in vain where it mends nothing.

    Examples
    --------
    >>> two = Repairs(("a", "b"), np.array([10.0, 50.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    >>> chance_in_vain(two, np.array([[0.5, 0.5]]))[0]  # a is done first, and does not help one time in two
    array([[0.5, 0. ]])
    """
    share = weights @ repairs.member
    share = share / np.maximum(share.sum(axis=1, keepdims=True), 1e-300)
    repairs = repairs.by_class
    order = order_of_repair(repairs, share)
    position, last = last_needed(repairs, order)
    beliefs, steps = order.shape
    chosen = ways_to_stop(repairs, share, order).argmin(axis=1)
    until = np.where(chosen == 0, steps - 1, np.where(chosen > steps, -1, chosen - 1))
    place = (last + steps * np.arange(beliefs)[:, None]).ravel()
    ended = np.cumsum(np.bincount(place, share.ravel(), minlength=order.size).reshape(order.shape), axis=1)
    reached = 1.0 - np.column_stack([np.zeros(beliefs), ended[:, :-1]])
    within = position <= until[:, None]
    done = np.take_along_axis(reached, position, axis=1) * within
    vain = np.maximum(done - (share @ repairs.at_fault) * within, 0.0)
    mended = np.where(until < 0, 0.0, ended[np.arange(beliefs), until])
    over = np.where(until == steps - 1, 0.0, 1.0 - mended) if np.isfinite(repairs.start_over) else np.zeros(beliefs)
    return vain, over


def starting_over(repairs: Repairs, weights: Array) -> Array:
    """Expected cost of starting over at once: its own price and the repairs that are needed, shape (beliefs,)."""
    return _starting_over(repairs.by_class, weights @ repairs.member)


def _starting_over(repairs: Repairs, weights: Array) -> Array:
    share = weights / np.maximum(weights.sum(axis=1, keepdims=True), 1e-300)
    return np.asarray(repairs.start_over + (share @ repairs.at_fault) @ repairs.cost)


def last_needed(repairs: Repairs, order: NDArray[np.intp]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Where each repair stands in an order, and the last one each hypothesis needs."""
    position = np.argsort(order, axis=1)
    last = np.zeros((len(order), len(repairs.at_fault)), dtype=np.intp)
    for column in range(order.shape[1]):
        concerned = repairs.at_fault[:, column]
        last[:, concerned] = np.maximum(last[:, concerned], position[:, column : column + 1])
    return position, last


def _call_backs(repairs: Repairs, position: NDArray[np.intp], last: NDArray[np.intp]) -> Array:
    """What giving the car back too early costs, shape (beliefs, hypotheses)."""
    if GIVE_BACK not in repairs.names:
        return np.zeros(last.shape)
    given = position[:, repairs.names.index(GIVE_BACK)][:, None]
    return np.where(given < last, repairs.call_back, 0.0)
