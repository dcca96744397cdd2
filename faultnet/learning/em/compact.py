"""Likelihoods of what survives: the rows that a case's belief lies in by the old numbers, 2 kB a case at most.

A case whose cause is missing has one likelihood for each of some ten thousand rows, and nearly all of its belief in a
few hundred. The others count as impossible. So tuning must not move a rate so far that they would matter; what was
left out is kept with the case.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from faultnet.learning.em.chunk import Chunk, Compact
from faultnet.learning.em.e_step import TINY, Frame, Numbers, Pass

MOST_BYTES = 1920
BYTES_A_ROW = 6
ENOUGH = 1e-6


def compacted(chunk: Chunk, frame: Frame, numbers: Numbers, most_bytes: int = MOST_BYTES) -> Chunk:
    """Keep of each case the rows that hold the most belief.

    Parameters
    ----------
    chunk : Chunk
        With all its rows.
    frame : Frame
    numbers : Numbers
        The old prior set.
    most_bytes : int
        Of each case, shared by its visits.
    """
    work, count = Pass(chunk, frame, numbers), len(frame.patterns.rows)
    hypothesis = np.repeat(np.arange(len(frame.patterns.starts) - 1), np.diff(frame.patterns.starts))
    rows: list[np.ndarray] = []
    values: list[np.ndarray] = []
    left_out = np.zeros(len(chunk))
    for i in range(len(chunk)):
        visits = [j for j in range(work.visits[i], work.visits[i + 1]) if chunk.whole[j] >= 0]
        if not visits or len(visits) < work.visits[i + 1] - work.visits[i]:
            continue
        weight, mixed = work.weight(i)
        weight /= max(float(weight.sum()), TINY)
        for j, (_, each, one) in zip(visits, mixed, strict=True):
            share = each * (weight / np.maximum(one, TINY))[hypothesis]
            held = np.bincount(frame.patterns.row, share, count)
            order = np.argsort(-held, kind="stable")[: most_bytes // BYTES_A_ROW // len(visits)]
            order = np.sort(order[held[order] > ENOUGH * held.max()])
            left_out[i] += 1.0 - float(held[order].sum())
            rows.append(order.astype(np.uint16 if count < 2**16 else np.uint32))
            values.append(chunk.likelihood[chunk.whole[j]][order])
    first = np.cumsum([0, *(len(r) for r in rows)], dtype=np.intp)
    kind = np.uint16 if count < 2**16 else np.uint32
    compact = Compact(
        first, np.concatenate([np.zeros(0, kind), *rows]), np.concatenate([np.zeros(0, np.float32), *values]), left_out
    )
    return replace(chunk, likelihood=chunk.likelihood[:0], compact=compact)
