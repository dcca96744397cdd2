"""Which tests tell most about one part: for somebody who suspects it and asks what to do about it."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.decision.value import DecisionState
from faultnet.diagnosis.result import NextTest
from faultnet.inference.posterior import TINY
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue


def telling_tests(
    state: DecisionState, tests: Sequence[NextTest], catalogue: Catalogue, *, most: int = 4
) -> dict[str, tuple[str, ...]]:
    """For each component the tests that tell most, for the time they take, about whether it is at fault by now.

    Parameters
    ----------
    state : DecisionState
        Of :func:`faultnet.decision.advice.weigh`.
    tests : sequence of NextTest
        That can be done now, with their minutes.
    catalogue : Catalogue
    most : int
        How many for each component.

    Returns
    -------
    dict of component to tuple of test ids
        Best first; tests that tell little about it beside the best are left out.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case, Visit
    >>> from faultnet.decision import load_costs
    >>> from faultnet.decision.advice import weigh
    >>> from faultnet.diagnosis.diagnose import work_through
    >>> from faultnet.prior_set import load_catalogue
    >>> catalogue = load_catalogue()
    >>> weighed = weigh(work_through(Case(Car(Battery(600.0)), (Visit(),)), catalogue), load_costs())
    >>> telling_tests(weighed.state, weighed.tests, catalogue)["negative_joint"][0]
    'negative_joint_moves'
    """
    if not tests:
        return dict.fromkeys(state.repairs.names[:-1], ())
    bits = bits_about(state, [t.test for t in tests])
    pace = bits / np.array([t.minutes for t in tests])
    found, least = {}, catalogue.number("telling_share")
    for name, row in zip(state.repairs.names[:-1], pace, strict=True):
        order = np.argsort(-row, kind="stable")[:most]
        found[name] = tuple(tests[k].test for k in order if row[k] > least * row[order[0]])
    return found


def bits_about(state: DecisionState, tests: Sequence[str]) -> Array:
    """Mutual information of tests with whether each component is at fault by now, shape (components, tests) [bit]."""
    chance = np.concatenate([state.chances[t] for t in tests], axis=1)
    starts = np.cumsum([0, *(state.chances[t].shape[1] for t in tests)])[:-1]
    share = state.belief[:, None] * state.repairs.at_fault[:, :-1]
    outcome, at_fault = state.belief @ chance, share.T @ chance
    prior = share.sum(axis=0)[:, None]
    told = _told(at_fault, prior, outcome) + _told(outcome - at_fault, 1.0 - prior, outcome)
    return np.asarray(np.maximum(np.add.reduceat(told, starts, axis=1), 0.0) / np.log(2.0))


def _told(joint: Array, prior: Array, outcome: Array) -> Array:
    """What each outcome adds to the information, from its chance together with a state of the part [nat]."""
    joint = np.maximum(joint, 0.0)
    return np.asarray(joint * np.log(np.maximum(joint, TINY) / np.maximum(prior * outcome, TINY)))
