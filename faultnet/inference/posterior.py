"""What is believed after the evidence: weights over hypotheses and what follows from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.hypotheses import Hypotheses
from faultnet.model.network import Array

TINY = 1e-300
Name = TypeVar("Name")


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
    chance = joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)
    return informations(posterior, {"test": chance})["test"]


def informations(posterior: Array, chances: Mapping[Name, Array]) -> dict[Name, float]:
    """The same for many tests at once.

    Parameters
    ----------
    posterior : array, shape (hypotheses,)
        Sums to one.
    chances : mapping of name to array, shape (hypotheses, outcomes)
        For each test the chance of each outcome given the hypothesis; rows sum to one.

    Returns
    -------
    dict of name to float
        Mutual information of each test with the hypotheses, never negative [bit].

    Examples
    --------
    >>> found = informations(np.array([0.5, 0.5]), {"tells": np.eye(2), "silent": np.full((2, 4), 0.25)})
    >>> {name: round(bits, 6) for name, bits in found.items()}
    {'tells': 1.0, 'silent': 0.0}
    """
    if not chances:
        return {}
    chance = np.concatenate(list(chances.values()), axis=1)
    starts = np.cumsum([0, *(c.shape[1] for c in chances.values())])[:-1]
    outcome = posterior @ chance
    given = np.log(np.maximum(chance, TINY))
    given *= chance
    gained = posterior @ given - outcome * np.log(np.maximum(outcome, TINY))
    bits = np.maximum(np.add.reduceat(gained, starts), 0.0) / np.log(2.0)
    return dict(zip(chances, bits.tolist(), strict=True))


def grouped_information(posterior: Array, joint: Array, groups: NDArray[np.integer]) -> float:
    """Information of a test about which group of hypotheses is true, such as the mode of one component [bit]."""
    chance = joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)
    size = int(groups.max()) + 1
    together = np.zeros((size, joint.shape[1]))
    np.add.at(together, groups, posterior[:, None] * chance)
    mass = together.sum(axis=1)
    return information(mass, np.where(mass[:, None] > 0, together, 1.0))
