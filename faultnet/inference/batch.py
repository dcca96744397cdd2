"""The same elimination for many cases at once: cases are one more axis that is kept.

Cases in which the same quantities were read share every product that does not depend on what was read, and the order of
elimination; only the likelihood factors differ, so these carry an axis of cases. Their messages meet, case by case, in
the state of charge. The answer is that of :meth:`faultnet.inference.visit.VisitModel.stage`, summed over the charge.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Components
from faultnet.inference.contraction import Tensor
from faultnet.inference.evidence import Evidence, log_background, pooled
from faultnet.inference.fast.messages import Placed
from faultnet.inference.fast.products import Products
from faultnet.inference.fast.schedule import OUTCOME
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array

TOGETHER = 4
TINY = 1e-300
Reads = Sequence[Evidence]


def log_likelihoods(model: VisitModel, cases: Sequence[Reads], *, together: int = TOGETHER) -> Array:
    """Log likelihood of one stage of many cases, for every hypothesis of a model.

    Parameters
    ----------
    model : VisitModel
        Shared by the cases.
    cases : sequence of sequence of Evidence
        What was read in each; none is allowed.
    together : int
        Most cases eliminated at once; memory grows with it, the answer does not change.

    Returns
    -------
    array, shape (cases, hypotheses)
        Natural logarithm.

    Examples
    --------
    >>> from faultnet.inference.visit import compile_visit
    >>> from faultnet.model.network import Network, Node
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> seen = Node("seen", "quantity", ("low", "high"), ("part",), np.array([[0.2, 0.7], [0.8, 0.3]]))
    >>> model = compile_visit(Network({"part": part, "seen": seen}), ("part",), np.array([[0], [1]], dtype=np.int16))
    >>> low, high = (Evidence("seen", likelihood, 0.5) for likelihood in np.eye(2))
    >>> np.exp(log_likelihoods(model, [[low], [high], []])).round(6).tolist()
    [[0.2, 0.7], [0.8, 0.3], [1.0, 1.0]]
    """
    found = np.empty((len(cases), len(model.charge_prior)))
    for places in _alike(cases, together):
        found[places] = _batch(model, [cases[i] for i in places])
    return found


def _alike(cases: Sequence[Reads], together: int) -> Iterator[list[int]]:
    """Places of cases in which the same quantities were read, a few at a time."""
    groups: dict[tuple[str, ...], list[int]] = {}
    for i, case in enumerate(cases):
        groups.setdefault(tuple(sorted({e.quantity for e in case})), []).append(i)
    for places in groups.values():
        for start in range(0, len(places), together):
            yield places[start : start + together]


def _batch(model: VisitModel, cases: list[Reads]) -> Array:
    placements = model.view.placements
    by_cluster = [placements.by_cluster(case) for case in cases]
    scale = np.zeros(len(cases))
    charged: list[tuple[int, Tensor]] = []
    logs = np.zeros((len(cases), len(model.charge_prior)))
    for k in by_cluster[0]:
        message, log_scale = _message(placements[k], [mine[k] for mine in by_cluster])
        scale += log_scale
        if CHARGE in message.axes:
            charged.append((k, message))
        else:
            logs += _spread(model, k, np.log(np.maximum(_by_case(message, len(cases)), TINY)), message.components)
    logs += _over_charge(model, charged, len(cases)) + scale[:, None]
    strangers = np.flatnonzero(model.unlisted)
    logs[:, strangers] = np.array([log_background(case) for case in cases])[:, None]
    return logs


def _message(place: Placed, evidence: Sequence[tuple[Evidence, ...]]) -> tuple[Tensor, Array]:
    """A cluster's message for all cases, and for each the logarithm of what was divided out."""
    together = [pooled(mine) for mine in evidence]
    scale = np.array([log_scale for _, log_scale in together])
    groups: dict[tuple[tuple[str, ...], Components], Array] = {}
    for quantity in together[0][0]:
        factor = place.bound.factor(quantity, np.stack([likelihoods[quantity] for likelihoods, _ in together]))
        key = (factor.axes, factor.components)
        values = groups[key] * factor.values if key in groups else factor.values
        groups[key], log_top = _topped(values, factor.axes.index(OUTCOME))
        scale += log_top
    factors = [Tensor(values, *key) for key, values in groups.items()]
    return Products(place.bound, place.bound.rows).contract(factors), scale


def _topped(values: Array, cases: int) -> tuple[Array, Array]:
    """Values with the largest of each case at one, and the logarithm of what that took."""
    others = tuple(i for i in range(values.ndim) if i != cases)
    top = values.max(axis=others, keepdims=True)
    return values / np.maximum(top, TINY), np.log(np.maximum(top, TINY)).reshape(-1)


def _by_case(message: Tensor, cases: int) -> Array:
    """A message with its cases first, shape (cases, ...)."""
    if OUTCOME not in message.axes:
        return np.broadcast_to(message.values, (cases, *message.values.shape))
    return np.moveaxis(message.values, message.axes.index(OUTCOME), 0)


def _spread(model: VisitModel, k: int, values: Array, components: Components) -> Array:
    """For each hypothesis the row of a message it finds itself in, shape (cases, hypotheses)."""
    if not components:
        return np.broadcast_to(values.reshape(len(values), 1), (len(values), len(model.charge_prior)))
    return np.asarray(values[:, model.view.rows_of(k, components)])


def _over_charge(model: VisitModel, charged: Sequence[tuple[int, Tensor]], cases: int) -> Array:
    """Log of the messages multiplied and summed over the state of charge, shape (cases, hypotheses)."""
    found = np.empty((cases, len(model.charge_prior)))
    prior = np.ascontiguousarray(model.charge_prior.T)
    values = [(k, _by_case(message, cases), message) for k, message in charged]
    for i in range(cases):
        weight = prior
        for k, rows, message in values:
            axes = tuple(a for a in message.axes if a != OUTCOME)
            weight = weight * model.view.each(k, Tensor(rows[i], axes, message.components))
        found[i] = np.log(np.maximum(weight.sum(axis=0), TINY))
    return found
