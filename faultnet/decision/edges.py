"""Another criterion for the next test: how much it tells apart hypotheses that need different repairs.

References
----------
D. Golovin, A. Krause, D. Ray, Near-optimal Bayesian active learning with noisy observations, NIPS 2010 (from memory):
equivalence class edge cutting, with each hypothesis split by the outcomes it may give.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from faultnet.decision.value import DecisionState
from faultnet.model.network import Array


def edges_cut(state: DecisionState, test: str) -> float:
    """Expected weight of the edges that a test cuts between hypotheses of different repairs [-].

    Parameters
    ----------
    state : DecisionState
    test : str
        Id of one of its tests.

    Returns
    -------
    float
        From 0 for a test that tells nothing to the whole weight of edges for one that settles the repair.

    Notes
    -----
    An edge weighs the product of its ends' beliefs. Seeing an outcome scales each end by its chance of that outcome;
    what is left is averaged over the outcomes.

    Examples
    --------
    >>> from faultnet.decision.repair import Repairs
    >>> two = Repairs(("a", "b"), np.ones(2), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0)
    >>> state = DecisionState(np.array([0.5, 0.5]), {"look": np.eye(2)}, {"look": 1.0}, two)
    >>> edges_cut(state, "look")
    0.5
    """
    classes = state.repairs.classes
    weight = state.belief[:, None] * state.chances[test]
    chance = weight.sum(axis=0)
    before = float(_edges(state.belief[:, None], classes)[0])
    return before - float(chance @ _edges(weight, classes))


def _edges(weight: Array, classes: NDArray[np.intp]) -> Array:
    """Twice the weight of edges between classes, shape (outcomes,)."""
    together = np.zeros((int(classes.max()) + 1, weight.shape[1]))
    np.add.at(together, classes, weight)
    return np.asarray(weight.sum(axis=0) ** 2 - (together**2).sum(axis=0))
