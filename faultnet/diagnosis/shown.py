"""What quantities show given the modes alone, kept for the visits that are over.

The last visit's model has its answers at hand; those of earlier visits are at rest, and waking each of them to say how
odd its readings were would make an entry dearer with every visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array

MOST_ROWS = 600


def shown(model: VisitModel, quantities: Sequence[str], rows: Index) -> dict[str, Array]:
    """Chance of each state of some quantities under some hypotheses before any reading.

    Parameters
    ----------
    model : VisitModel
    quantities : sequence of str
    rows : int array, shape (rows,)
        Hypotheses.

    Returns
    -------
    dict of quantity to array, shape (rows, states)
        Rows sum to one.
    """
    cards = {q: model.network.nodes[q].card for q in quantities}
    asked = {q: (q, np.eye(card), np.full(card, 1.0 / card)) for q, card in cards.items()}
    every_charge = np.arange(model.charge_prior.shape[1])
    chances = model.focused(rows, every_charge).predict([], asked) if asked else {}
    return {q: c / c.sum(axis=1, keepdims=True) for q, c in chances.items()}


@dataclass(eq=False)
class Shown:
    """The same for one visit, kept for the hypotheses asked about so far."""

    _kept: tuple[Index, dict[str, Array]] = field(default=(np.empty(0, dtype=np.intp), {}), repr=False)

    def get(self, model: VisitModel, quantities: Sequence[str], rows: Index, expected: Index) -> dict[str, Array]:
        """What quantities show under some hypotheses, as :func:`shown`.

        Parameters
        ----------
        model : VisitModel
            Of the visit; the same whenever this is asked.
        quantities : sequence of str
        rows : int array, shape (rows,)
        expected : int array
            Hypotheses that may be asked about next; worked out along with others that are missing, never alone.
        """
        known, chances = self._kept  # read and set in one go each, as threads share it
        if not (chances.keys() >= set(quantities) and np.isin(rows, known).all()):
            wanted = np.union1d(rows, expected)
            together = np.union1d(wanted, known)
            known = together if len(together) <= MOST_ROWS else wanted
            chances = shown(model, sorted({*chances, *quantities}), known)
            self._kept = known, chances
        return {q: chances[q][np.searchsorted(known, rows)] for q in quantities}
