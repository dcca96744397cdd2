"""How good beliefs were: log loss, Brier score and calibration, on cases that were not learnt from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.inference.configurations import Index
from faultnet.learning.em.chunk import UNKNOWN, Chunk, Single
from faultnet.learning.em.e_step import TINY, Frame, Numbers, Pass
from faultnet.learning.em.rates import RateForm
from faultnet.learning.result import Score
from faultnet.model.network import Array

BANDS = (0.0, 0.01, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 1.0)
BLOCK = 64


def marker(form: RateForm) -> Single:
    """Which modes each hypothesis has, shape (hypotheses, places), zeros and ones."""
    found: Single = np.zeros((len(form.index), len(form.places)), dtype=np.float32)
    found[np.arange(len(form.index))[:, None], form.index] = 1.0
    return found


def beliefs(chunk: Chunk, frame: Frame, numbers: Numbers, cases: Sequence[int], marks: Single) -> Array:
    """Belief in every mode as if no cause were confirmed, shape (cases, places)."""
    work = Pass(chunk, frame, numbers)
    found = np.empty((len(cases), marks.shape[1]))
    for start in range(0, len(cases), BLOCK):
        weights = np.array([work.weight(i)[0] for i in cases[start : start + BLOCK]])
        weights /= np.maximum(weights.sum(axis=1, keepdims=True), TINY)
        found[start : start + BLOCK] = weights.astype(np.float32) @ marks
    return found


def scored(chunk: Chunk, fold: int, folds: int) -> list[int]:
    """Cases of a fold whose cause is confirmed and whose likelihoods were kept for all hypotheses."""
    seen = np.zeros(len(chunk), dtype=bool)
    seen[chunk.visit_case] = True
    seen[chunk.answer_case] = True
    chosen = chunk.complete & seen & (chunk.truth != UNKNOWN) & (chunk.number % folds == fold)
    return np.flatnonzero(chosen).tolist()


def score(found: Array, true: Array, first: Index) -> Score:
    """Score beliefs against what was true.

    Parameters
    ----------
    found : array, shape (cases, places)
        Belief in every mode of every component [-].
    true : array, shape (cases, places)
        Ones and zeros.
    first : int array, shape (components + 1,)
        Where each component's modes begin; the first of them is the sound one.

    Examples
    --------
    >>> said, was = np.array([[0.25, 0.75]]), np.array([[0.0, 1.0]])
    >>> result = score(said, was, np.array([0, 2]))
    >>> round(result.log_loss, 4), result.brier
    (0.2877, 0.0625)
    """
    log_loss = -np.log(np.clip(found[true > 0.5], 1e-12, 1.0)).sum() / (len(found) * (len(first) - 1))
    faults = np.ones(found.shape[1], dtype=bool)
    faults[first[:-1]] = False
    said, was = found[:, faults].ravel(), true[:, faults].ravel()
    return Score(float(log_loss), float(((said - was) ** 2).mean()), _calibration(said, was), len(found))


def _calibration(said: Array, was: Array) -> tuple[tuple[float, float, int], ...]:
    band = np.clip(np.searchsorted(BANDS, said, side="right") - 1, 0, len(BANDS) - 2)
    rows = []
    for b in range(len(BANDS) - 1):
        mine = band == b
        if mine.any():
            rows.append((float(said[mine].mean()), float(was[mine].mean()), int(mine.sum())))
    return tuple(rows)
