"""What readings say: one likelihood for each, and one for all readings of the same quantity."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from math import prod

import numpy as np

from faultnet.inference.repeated import MOST_TOGETHER, Number, together
from faultnet.model.network import Array

UNLISTED = "unlisted"
LEAST_BACKGROUND = 1e-250


@dataclass(frozen=True)
class Evidence:
    """What one reading says about its quantity.

    Parameters
    ----------
    quantity : str
    likelihood : array, shape (states,)
        Proportional to the chance of the reading given each state [-].
    background : float
        The same under a fault the model does not know [-].
    number : Number, optional
        The reading itself, for when the same quantity is read again.
    stranger : array, shape (states,), optional
        What the quantity may be under a fault the model does not know [-], for the same.
    """

    quantity: str
    likelihood: Array = field(repr=False)
    background: float
    number: Number | None = field(default=None, repr=False, compare=False)
    stranger: Array | None = field(default=None, repr=False, compare=False)


def evidence_key(evidence: Sequence[Evidence]) -> Hashable:
    """What evidence is known by among the results kept."""
    strangers = [None if e.stranger is None else e.stranger.tobytes() for e in evidence]
    said = [(e.quantity, e.likelihood.tobytes(), e.background, e.number) for e in evidence]
    return tuple(zip(said, strangers, strict=True))


def log_background(evidence: Sequence[Evidence]) -> float:
    """Log likelihood of the evidence under a fault the model does not know.

    Notes
    -----
    Such a fault stays what it is as any other: what was read of a quantity once is read of it again.

    Examples
    --------
    >>> sure = np.array([0.98, 0.01, 0.01])
    >>> once = Evidence("q", sure, 1.0 / 3.0, stranger=np.full(3, 1.0 / 3.0))
    >>> np.exp([log_background([once]), log_background([once, once])]).round(2)
    array([0.33, 0.32])
    """
    read: dict[str, list[Evidence]] = {}
    for e in evidence:
        read.setdefault(e.quantity, []).append(e)
    return sum(_log_of_stranger(mine) for mine in read.values())


def _log_of_stranger(mine: Sequence[Evidence]) -> float:
    """The same for what was read of one quantity."""
    stranger = mine[0].stranger
    if len(mine) == 1 or stranger is None or any(e.stranger is None for e in mine):
        return float(sum(np.log(e.background) for e in mine))
    likelihoods, log_scale = pooled(mine)
    return float(np.log(stranger @ likelihoods[mine[0].quantity])) + log_scale


def pooled(evidence: Sequence[Evidence]) -> tuple[dict[str, Array], float]:
    """Likelihood of all readings of each quantity together: the true value behind them is one and the same.

    Returns
    -------
    likelihoods : dict of quantity to array, shape (states,)
        Largest entry one.
    log_scale : float
        Natural logarithm of what was divided out.

    Examples
    --------
    >>> once = Evidence("q", np.array([1.0, 0.5]), 0.5)
    >>> pooled([once, once])[0]["q"]
    array([1.  , 0.25])
    """
    found: dict[str, Array] = {}
    log_scale = 0.0
    for e in _joined(evidence):
        values = found[e.quantity] * e.likelihood if e.quantity in found else e.likelihood
        top = float(values.max())
        if top > 0.0:
            values = values / top
            log_scale += float(np.log(top))
        found[e.quantity] = values
    return found, log_scale


def pooled_evidence(evidence: Sequence[Evidence]) -> tuple[tuple[Evidence, ...], float]:
    """One piece of evidence for each quantity, and the natural logarithm of what was divided out of all.

    Notes
    -----
    A background that would leave the range of a number is held at the end of it: it is that of a stranger among faults
    which explain the readings far better.
    """
    read: dict[str, list[Evidence]] = {}
    for e in evidence:
        read.setdefault(e.quantity, []).append(e)
    found, log_scale = [], 0.0
    for mine in read.values():
        if len(mine) == 1:
            found.append(mine[0])
            continue
        whole, scale = as_one(mine)
        found.append(whole)
        log_scale += scale
    return tuple(found), log_scale


def as_one(evidence: Sequence[Evidence]) -> tuple[Evidence, float]:
    """What was read of one quantity, as of a value anywhere in a bin, and the logarithm of what was divided out."""
    likelihoods, scale = pooled(evidence)
    first = evidence[0]
    background = max(float(np.exp(log_background(evidence) - scale)), LEAST_BACKGROUND)
    return Evidence(first.quantity, likelihoods[first.quantity], background, stranger=first.stranger), scale


def _joined(evidence: Sequence[Evidence]) -> list[Evidence]:
    """The same evidence with numbers read of one quantity taken together, some at a time where these are many."""
    read: dict[str, list[Evidence]] = {}
    for e in evidence:
        if e.number is not None:
            read.setdefault(e.quantity, []).append(e)
    again = {q: mine for q, mine in read.items() if len(mine) > 1}
    if not again:
        return list(evidence)
    once = [
        Evidence(q, together([e.number for e in some if e.number is not None]), prod(e.background for e in some))
        for q, mine in again.items()
        for some in (mine[k : k + MOST_TOGETHER] for k in range(0, len(mine), MOST_TOGETHER))
    ]
    return [e for e in evidence if e.number is None or e.quantity not in again] + once
