"""What a test may spare: of all that is expected to be spent in vain, what it makes smaller by most.

Spent in vain is a part that is fitted although it was not at fault (with its labour and the trust that it costs), a
call-back because the car was given back with a fault in it, and starting over. Getting at a part is left out, as
several repairs share it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.decision.repair import GIVE_BACK, Repairs, chance_in_vain
from faultnet.decision.value import DecisionState
from faultnet.model.network import Array

START_OVER = "start_over"


def expected_waste(repairs: Repairs, weights: Array) -> Array:
    """What is expected to be spent in vain for each belief [money], shape (beliefs, repairs + 1); last, starting over.

    Parameters
    ----------
    repairs : Repairs
    weights : array, shape (beliefs, hypotheses)
        Each row proportional to a belief.

    Examples
    --------
    >>> two = Repairs(("a", "b"), np.array([10.0, 50.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    >>> expected_waste(two, np.array([[0.5, 0.5]]))  # a is done first, and does not help one time in two
    array([[5., 0., 0.]])
    """
    vain, over = chance_in_vain(repairs, weights)
    itself = np.where(np.array(repairs.names) == GIVE_BACK, 0.0, repairs.cost)
    start_over = repairs.start_over if np.isfinite(repairs.start_over) else 0.0
    return np.column_stack([vain * (itself + repairs.at_stake), over * start_over])


def spared(state: DecisionState, tests: Sequence[str], least: float) -> dict[str, str]:
    """What each test makes smaller by most: a component, "give_back" or "start_over"; left out where that is little.

    Parameters
    ----------
    state : DecisionState
    tests : sequence of str
    least : float
        A smaller fall than this is not worth a word [money].
    """
    if not tests:
        return {}
    names = (*state.repairs.names, START_OVER)
    weights = np.concatenate([(state.belief[:, None] * state.chances[t]).T for t in tests])
    weighed = weights.sum(axis=1, keepdims=True) * expected_waste(state.repairs, weights)
    now = expected_waste(state.repairs, state.belief[None])[0]
    first = np.cumsum([0, *(state.chances[t].shape[1] for t in tests[:-1])])
    fall = now - np.add.reduceat(weighed, first, axis=0)
    most = fall.argmax(axis=1)
    return {t: names[k] for t, k, much in zip(tests, most, fall.max(axis=1), strict=True) if much > least}
