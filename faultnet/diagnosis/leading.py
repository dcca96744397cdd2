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
from faultnet.diagnosis.remembered import Numbers, recalled, together_over_apart
from faultnet.inference.evidence import Evidence, pooled_evidence
from faultnet.inference.hypotheses import IndexArray
from faultnet.inference.posterior import TINY, Belief
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

ACTIVE_MASS = 0.998
CHARGE_MASS = 0.998
MOST_ACTIVE = 300
MOST_EXPECTED = 600  # the next reading mostly moves belief to hypotheses among these
LEAST_WAY = 0.01


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
    """The leading hypotheses with every way the repairs may have gone, and what tests would show under each.

    Parameters
    ----------
    course : Course
    belief : Belief
    ask : callable
        What tests would show under rows to whom the same readings are open.

    Notes
    -----
    A repair that did not take leaves the part at fault, and a test shows it; rows to whom other readings are open are
    followed as far as they hold a hundredth of the belief.
    """
    parts = [(share, ask(present, believed)) for share, present, believed in row_beliefs(course, belief)]
    if len(parts) == 1:
        return parts[0][1]
    return Leading(
        np.concatenate([way.chosen for _, way in parts]),
        _to_one(np.concatenate([share * way.posterior for share, way in parts])),
        {t: np.concatenate([way.chances[t] for _, way in parts]) for t in parts[0][1].chances},
        np.concatenate([way.modes for _, way in parts]),
    )


def row_beliefs(course: Course, belief: Belief) -> list[tuple[float, Present, Belief]]:
    """Belief over the rows of a course, in parts to whom the same readings are open, with what each part holds [-]."""
    present = course.present
    if np.array_equal(present.rows.origin, np.arange(len(belief.space))):
        posterior = belief.posterior
    else:
        with np.errstate(divide="ignore"):
            log = np.log(belief.space.prior)[present.rows.origin] + course.row_log
        posterior = _to_one(np.exp(log - log.max()))
    parts = [(float(posterior[rows].sum()), rows, part) for rows, part in present.alike()]
    least = min(LEAST_WAY, max(share for share, _, _ in parts))
    return [
        (share, part, Belief(belief.space, posterior[rows] / share, 0.0))
        for share, rows, part in parts
        if share >= least
    ]


def chances_once_prepared(
    present: Present, belief: Belief, model: Model, catalogue: Catalogue, needs: Mapping[str, tuple[str, ...]]
) -> Leading:
    """What each test would show under the leading hypotheses, once the acts it needs that change the car are done.

    Parameters
    ----------
    present : Present
        Of rows to whom the same readings are open.
    belief : Belief
        Over those rows.
    model : Model
        Of the last visit.
    catalogue : Catalogue
    needs : mapping of test id to tuple of str
        Unmet needs of every test.

    Notes
    -----
    A load test needs a charged battery: what it will read is what it reads after the charge, and that tells a bad
    battery from a flat one.
    """
    by_acts: dict[tuple[Act, ...], list[str]] = {(): []}
    for test, unmet in needs.items():
        by_acts.setdefault(acts_that_change_what_is_read(unmet), []).append(test)
    expected = belief.leading(ACTIVE_MASS, MOST_EXPECTED)
    here, posterior = present.cut(expected), belief.posterior[expected]
    whole = _chances(here, posterior, by_acts.pop(()), catalogue.number)
    chances = dict(whole.chances)
    for preparing, tests in by_acts.items():
        then = after_preparing(here, model, catalogue, belief.space, preparing)
        chances |= _chances(then, posterior, tests, catalogue.number).chances
    return replace(whole, chances={test: chances[test] for test in needs})


def leading_chances(present: Present, belief: Belief, tests: Collection[str], number: Numbers) -> Leading:
    """Chance of each outcome class of some tests for each of the leading rows, to whom the same readings are open."""
    expected = belief.leading(ACTIVE_MASS, MOST_EXPECTED)
    return _chances(present.cut(expected), belief.posterior[expected], tests, number)


def _chances(present: Present, belief: Array, tests: Collection[str], number: Numbers) -> Leading:
    """The same for rows that may be asked about next, likeliest first; the first of them are asked about."""
    chosen = present.cut(np.arange(min(MOST_ACTIVE, len(belief))))
    posterior = belief[:MOST_ACTIVE]
    network = present.model.network
    asked = {}
    for name in tests:
        reading = network.nodes[f"reading_{name}"]
        asked[name] = (reading.parents[0], reading.table[:, :, 0].T, reading.table[:, 0, 1])
    charge = likely_charge(chosen, posterior)
    model = present.model.focused(chosen.rows.at, charge, present.rows.at)
    carried = chosen.carried[:, charge]
    evidence = present.evidence
    shown = _rows_to_one(model.predict(evidence, asked, carried, posterior))
    owner = model.view.placements.owner
    for k in sorted({owner[q] for q, _, _ in asked.values()}):
        share, said = _share_as_before(chosen, posterior, k, number)
        if not share.any():
            continue
        again = {t: question for t, question in asked.items() if owner[question[0]] == k}
        both = pooled_evidence([*said, *evidence])[0]
        for test, chances in _rows_to_one(model.predict(both, again, carried, posterior)).items():
            shown[test] = share[:, None] * chances + (1.0 - share)[:, None] * shown[test]
    return Leading(chosen.rows.origin, _to_one(posterior), shown, chosen.modes)


def _share_as_before(present: Present, posterior: Array, k: int, number: Numbers) -> tuple[Array, tuple[Evidence, ...]]:
    """Chance that a cluster is as it was when it was last read, shape (rows,), and what was read of it then.

    Notes
    -----
    Left out is what was read of something that was renewed since in most of what is believed; where it was renewed in a
    row that is believed less, nothing is as it was in that row.
    """
    known = recalled(present.memory, (), present.model.view.placements.clusters[k].quantities)
    rows = present.rows
    holds = {q: rows.again.get(q, np.ones(len(rows), dtype=np.bool_)) for q in known}
    kept = [q for q, flags in holds.items() if 2.0 * (posterior @ flags) >= posterior.sum()]
    if not kept:
        return np.zeros(len(rows)), ()
    now = [e for e in present.evidence if present.model.view.placements.owner[e.quantity] == k]
    before = tuple(known[q] for q in kept)
    share = present.stays(k, [e.quantity for e in (*before, *now)], number)
    share *= np.logical_and.reduce([holds[q] for q in kept])
    if now and share.any():
        times = 1.0 + share[:, None] * (together_over_apart(present.weigh, before, now) - 1.0)
        share = 1.0 - (1.0 - share) / np.maximum((present.carried * times).sum(axis=1), TINY)
    return np.clip(share, 0.0, 1.0), before


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


def charge_shares(present: Present, posterior: Array) -> Array:
    """Belief in each state of charge, not summing to one, shape (charge states,)."""
    weight, _ = present.stage()
    joint = present.carried * weight
    return np.asarray(posterior @ (joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)))


def likely_charge(present: Present, posterior: Array) -> NDArray[np.intp]:
    """States of charge that hold all but a sliver of the belief, so that the others need not be worked out."""
    share = charge_shares(present, posterior)
    order = np.argsort(-share)
    count = int(np.searchsorted(np.cumsum(share[order]) / share.sum(), CHARGE_MASS)) + 1
    return np.sort(order[:count])


def is_surely_charged(course: Course, belief: Belief, catalogue: Catalogue) -> bool:
    """Whether a load test may be taken without a charger first: the battery is believed to be charged."""
    enough, sure = catalogue.number("charged_enough"), catalogue.number("surely_charged")
    return chance_charged(course, belief, enough) >= sure


def chance_charged(course: Course, belief: Belief, enough: float) -> float:
    """Belief that the battery is charged to so much or more [-]."""
    share = np.zeros(course.present.carried.shape[1])
    for held, present, believed in row_beliefs(course, belief):
        chosen = believed.leading(ACTIVE_MASS, MOST_ACTIVE)
        share = share + held * charge_shares(present.cut(chosen), believed.posterior[chosen])
    edges = np.asarray(course.present.model.network.nodes["charge"].edges)
    return float(share[edges[:-1] >= enough].sum() / share.sum())
