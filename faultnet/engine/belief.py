"""What is believed after the evidence: weights over hypotheses and what follows from them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.engine.hypotheses import Hypotheses
from faultnet.network.structure import Array

TINY = 1e-300


@dataclass(frozen=True, eq=False)
class Belief:
    """Posterior over hypotheses.

    Parameters
    ----------
    space : Hypotheses
    posterior : array, shape (hypotheses,)
        Sums to one.
    log_evidence : float
        Natural logarithm of the likelihood of all entries, averaged over the prior.
    """

    space: Hypotheses
    posterior: Array
    log_evidence: float

    def marginals(self) -> dict[str, Array]:
        """Probability of each mode of each component; that of mode 0 is what the others leave."""
        rows, places, starts = self.space.faults
        weight: Array = np.bincount(places, weights=self.posterior[rows], minlength=starts[-1]).astype(np.float64)
        whole = float(self.posterior.sum())
        result: dict[str, Array] = {}
        for name, start, end in zip(self.space.components, starts[:-1], starts[1:], strict=True):
            result[name] = weight[start:end].copy()
            result[name][0] = max(0.0, whole - float(result[name][1:].sum()))
        return result

    def leading(self, mass: float, most: int) -> NDArray[np.intp]:
        """Indices of the fewest hypotheses that hold so much mass, at most so many, likeliest first."""
        if len(self.posterior) > 4 * most:
            likely = np.argpartition(self.posterior, -most)[-most:]
        else:
            likely = np.arange(len(self.posterior))
        order = likely[np.argsort(-self.posterior[likely], kind="stable")][:most]
        count = int(np.searchsorted(np.cumsum(self.posterior[order]), mass)) + 1
        return order[:count]


def updated(space: Hypotheses, log_likelihood: Array) -> Belief | None:
    """Belief after evidence; None when no hypothesis explains it at all.

    Parameters
    ----------
    space : Hypotheses
    log_likelihood : array, shape (hypotheses,)
    """
    with np.errstate(divide="ignore"):
        log_weight = np.log(space.prior) + log_likelihood
    top = float(log_weight.max())
    if not np.isfinite(top):
        return None
    weight = np.exp(log_weight - top)
    total = float(weight.sum())
    return Belief(space, weight / total, top + float(np.log(total)) - float(np.log(space.prior.sum())))


def information(posterior: Array, joint: Array) -> float:
    """Expected information of a test about the hypotheses [bit].

    Parameters
    ----------
    posterior : array, shape (hypotheses,)
        Sums to one.
    joint : array, shape (hypotheses, outcomes)
        Proportional, row by row, to the chance of each outcome given the hypothesis.

    Returns
    -------
    float
        Mutual information, never negative.

    Examples
    --------
    >>> round(information(np.array([0.5, 0.5]), np.eye(2)), 6)
    1.0
    """
    chance = joint / np.maximum(joint @ np.ones(joint.shape[1]), TINY)[:, None]
    outcome = posterior @ chance
    given = np.log2(np.maximum(chance, TINY))
    given *= chance
    before = outcome @ np.log2(np.maximum(outcome, TINY))
    return max(0.0, float((posterior @ given).sum() - before))


def grouped_information(posterior: Array, joint: Array, groups: NDArray[np.integer]) -> float:
    """Information of a test about which group of hypotheses is true, such as the mode of one component [bit]."""
    chance = joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)
    size = int(groups.max()) + 1
    together = np.zeros((size, joint.shape[1]))
    np.add.at(together, groups, posterior[:, None] * chance)
    mass = together.sum(axis=1)
    return information(mass, np.where(mass[:, None] > 0, together, 1.0))
