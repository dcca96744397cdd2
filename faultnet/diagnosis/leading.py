"""The leading hypotheses by now, and what each test would show under them once what it needs has been done."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Act
from faultnet.diagnosis.course import Course, Present, after_preparing
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.needs import acts_that_change_what_is_read
from faultnet.diagnosis.remembered import Spread, chance_it_stays
from faultnet.inference.hypotheses import IndexArray
from faultnet.inference.posterior import TINY, Belief
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

ACTIVE_MASS = 0.998
CHARGE_MASS = 0.998
MOST_ACTIVE = 300
MOST_EXPECTED = 600  # the next reading mostly moves belief to hypotheses among these
LEAST_WAY = 0.01
THREE_QUARTERS = 0.75
SURELY_CHARGED = 0.9


@dataclass(frozen=True, eq=False)
class Leading:
    """The leading hypotheses and what each test would show under them.

    Parameters
    ----------
    chosen : int array, shape (leading hypotheses,)
        Their rows.
    posterior : array, shape (leading hypotheses,)
        Sums to one.
    chances : dict of test id to array, shape (leading hypotheses, outcomes)
        Chance of each outcome class; rows sum to one.
    modes : int array, shape (leading hypotheses, components)
        Modes by now. A hypothesis stands there once for each way the repairs may have gone that is not unlikely.
    """

    chosen: NDArray[np.intp]
    posterior: Array
    chances: dict[str, Array]
    modes: IndexArray


Ask = Callable[[Present, Belief], Leading]


def leading_by_now(course: Course, belief: Belief, ask: Ask) -> Leading:
    """The leading hypotheses over every way the repairs may have gone, and what tests would show under each.

    Parameters
    ----------
    course : Course
    belief : Belief
    ask : callable
        What tests would show in one such way.

    Notes
    -----
    A repair that did not take leaves the part at fault, and a test shows it; the ways in which one did not are
    followed as far as they hold a hundredth of the belief.
    """
    if len(course.ways) == 1:
        return ask(course.present, belief)
    found = []
    for (log_weight, _), present in zip(course.ways, course.presents, strict=True):
        with np.errstate(divide="ignore"):
            weight = np.exp(log_weight - course.log_likelihood) * belief.posterior
        share = float(weight.sum())
        if share >= LEAST_WAY:
            found.append((share, ask(present, Belief(belief.space, weight / share, 0.0))))
    return Leading(
        np.concatenate([way.chosen for _, way in found]),
        _to_one(np.concatenate([share * way.posterior for share, way in found])),
        {t: np.concatenate([way.chances[t] for _, way in found]) for t in found[0][1].chances},
        np.concatenate([way.modes for _, way in found]),
    )


def chances_once_prepared(
    present: Present, belief: Belief, model: Model, catalogue: Catalogue, needs: Mapping[str, tuple[str, ...]]
) -> Leading:
    """What tests would show for each leading hypothesis, each test after what it needs has been done.

    Parameters
    ----------
    present : Present
    belief : Belief
    model : Model
        Of the visit.
    catalogue : Catalogue
    needs : mapping of test id to tuple of str
        What does not hold yet.

    Notes
    -----
    A load test needs a charged battery: what it will read is what it reads after the charge, and that tells a bad
    battery from a flat one.
    """
    by_acts: dict[tuple[Act, ...], list[str]] = {(): []}
    for test, unmet in needs.items():
        by_acts.setdefault(acts_that_change_what_is_read(unmet), []).append(test)
    whole = leading_chances(present, belief, by_acts.pop(()), catalogue.spread)
    chances = dict(whole.chances)
    for preparing, tests in by_acts.items():
        then = after_preparing(present, model, catalogue, belief.space, preparing)
        chances |= leading_chances(then, belief, tests, catalogue.spread).chances
    return replace(whole, chances={test: chances[test] for test in needs})


def leading_chances(present: Present, belief: Belief, tests: Collection[str], spread: Spread) -> Leading:
    """Chance of each outcome class of some tests for each of the leading hypotheses."""
    expected = belief.leading(ACTIVE_MASS, MOST_EXPECTED)
    chosen = expected[:MOST_ACTIVE]
    network = present.model.network
    asked = {}
    for name in tests:
        reading = network.nodes[f"reading_{name}"]
        asked[name] = (reading.parents[0], reading.table[:, :, 0].T, reading.table[:, 0, 1])
    posterior = belief.posterior[chosen]
    charge = likely_charge(present, posterior, chosen)
    model = present.model.focused(chosen, charge, expected)
    carried = present.carried[chosen][:, charge]
    shown = _rows_to_one(model.predict(present.evidence, asked, carried, posterior))
    stays = _values_that_stay(present, {quantity for quantity, _, _ in asked.values()}, spread)
    again = {
        t: (q, present.memory[q].likelihood[:, None] * table, background)
        for t, (q, table, background) in asked.items()
        if q in stays
    }
    for test, chances in _rows_to_one(model.predict(present.evidence, again, carried, posterior)).items():
        share = stays[asked[test][0]][chosen, None]
        shown[test] = share * chances + (1.0 - share) * shown[test]
    return Leading(chosen, _to_one(posterior), shown, present.modes[chosen])


def _values_that_stay(present: Present, quantities: Collection[str], spread: Spread) -> dict[str, Array]:
    """For what was read in an earlier stage and not in this one: chance that it reads as then, where there is any."""
    now = {e.quantity for e in present.evidence}
    earlier = [q for q in quantities if q in present.memory and q not in now]
    stays = {q: chance_it_stays(present.memory[q], q, present.standing(), spread) for q in earlier}
    return {q: chance for q, chance in stays.items() if chance.any()}


def _to_one(weights: Array) -> Array:
    return np.asarray(weights / weights.sum())


def _rows_to_one(weights: Mapping[str, Array]) -> dict[str, Array]:
    """For each test rows that sum to one; a row of nothing becomes even."""
    if not weights:
        return {}
    sizes = [w.shape[1] for w in weights.values()]
    starts = np.cumsum([0, *sizes])
    together = np.concatenate(list(weights.values()), axis=1)
    total = np.add.reduceat(together, starts[:-1], axis=1)
    if not total.all():
        together = np.where(np.repeat(total == 0.0, sizes, axis=1), 1.0, together)
        total = np.add.reduceat(together, starts[:-1], axis=1)
    together /= np.repeat(total, sizes, axis=1)
    return {t: together[:, a:b] for t, (a, b) in zip(weights, pairwise(starts.tolist()), strict=True)}


def charge_shares(present: Present, posterior: Array, chosen: NDArray[np.intp]) -> Array:
    """Belief in each state of charge, not summing to one, shape (charge states,)."""
    weight, _ = present.model.stage(present.evidence)
    joint = present.carried[chosen] * weight[chosen]
    return np.asarray(posterior @ (joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)))


def likely_charge(present: Present, posterior: Array, chosen: NDArray[np.intp]) -> NDArray[np.intp]:
    """States of charge that hold all but a sliver of the belief, so that the others need not be worked out."""
    share = charge_shares(present, posterior, chosen)
    order = np.argsort(-share)
    count = int(np.searchsorted(np.cumsum(share[order]) / share.sum(), CHARGE_MASS)) + 1
    return np.sort(order[:count])


def chance_charged(course: Course, belief: Belief) -> float:
    """Belief that the battery is charged to three quarters or more [-]."""
    present = course.present
    chosen = belief.leading(ACTIVE_MASS, MOST_ACTIVE)
    share = charge_shares(present, belief.posterior[chosen], chosen)
    edges = np.asarray(present.model.network.nodes["charge"].edges)
    return float(share[edges[:-1] >= THREE_QUARTERS].sum() / share.sum())
