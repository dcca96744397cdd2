"""The same pass on one process, on several, or on a cluster: chunks go out, counts come back in a fixed order.

A task is one chunk's file and the present numbers; its answer does not depend on where it was worked out, and answers
are added up in the order of the chunks, so the sums are the same to the last bit. A worker that dies costs its task
once more. Workers of a cluster must see the folder that the chunks lie in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol, TypeVar, cast

import numpy as np

from faultnet.cluster import in_order
from faultnet.inference.configurations import Index
from faultnet.learning.em.chunk import UNKNOWN, Chunk, fetched
from faultnet.learning.em.e_step import NO_FOLD, Counts, Frame, Numbers, added, expectation
from faultnet.learning.em.scores import beliefs, marker, scored
from faultnet.learning.em.told import Layout, case_scores
from faultnet.model.network import Array

Answer = TypeVar("Answer")
Item = TypeVar("Item")


class ParallelMap(Protocol):
    """Works out a function for every item and gives the answers in the order of the items."""

    def __call__(self, function: Callable[[Item], Answer], items: Sequence[Item]) -> Iterator[Answer]:
        """Answers, one for each item."""


def serially(function: Callable[[Item], Answer], items: Sequence[Item]) -> Iterator[Answer]:
    """One after the other, here.

    Examples
    --------
    >>> list(serially(abs, [-1, 2]))
    [1, 2]
    """
    return map(function, items)


@contextmanager
def on_processes(workers: int) -> Iterator[ParallelMap]:
    """On so many processes of this machine."""
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        yield lambda function, items: pool.map(function, items)


def on_cluster(client: Any) -> ParallelMap:
    """On a running dask.distributed cluster, as :func:`faultnet.cluster.in_order` does it.

    Parameters
    ----------
    client : distributed.Client
    """
    return lambda function, items: in_order(client, function, items)


@lru_cache(maxsize=2)
def frame_of(path: Path) -> Frame:
    """What all chunks share, read once in each process."""
    return cast(Frame, fetched(path))


def counts_of_chunk(task: tuple[Path, Path, Numbers, int]) -> Counts:
    """Counts of one chunk: the task that is sent out."""
    chunk, frame, numbers, leave = task
    return expectation(cast(Chunk, fetched(chunk)), frame_of(frame), numbers, leave)


def pass_over(
    mapped: ParallelMap, chunks: Sequence[Path], frame: Path, numbers: Numbers, leave: int = NO_FOLD
) -> Counts:
    """One pass over the whole history."""
    return added(mapped(counts_of_chunk, [(c, frame, numbers, leave) for c in chunks]))


def _modes_of(task: tuple[Path, Path, Numbers]) -> tuple[Array, Index]:
    chunk, frame = cast(Chunk, fetched(task[0])), frame_of(task[1])
    marks = marker(frame.rates)
    found = np.zeros((len(chunk), marks.shape[1]))
    known = chunk.truth != UNKNOWN
    found[known] = marks[chunk.truth[known]]
    found[~known] = beliefs(chunk, frame, task[2], np.flatnonzero(~known).tolist(), marks)
    return found, chunk.cell


def expected_modes(
    chunks: Sequence[Path], frame: Path, numbers: Numbers, mapped: ParallelMap = serially
) -> tuple[Array, Index]:
    """Expected modes of every case, shape (cases, places), and its group of cars."""
    parts = list(mapped(_modes_of, [(c, frame, numbers) for c in chunks]))
    return np.concatenate([p for p, _ in parts]), np.concatenate([c for _, c in parts])


def _information_of(task: tuple[Path, Path, Numbers, Layout]) -> Array:
    chunk = cast(Chunk, fetched(task[0]))
    found = case_scores(chunk, frame_of(task[1]), task[2], task[3])
    return np.asarray((found * chunk.weight[:, None]).T @ found)


def information(
    chunks: Sequence[Path], frame: Path, numbers: Numbers, layout: Layout, mapped: ParallelMap = serially
) -> Array:
    """Sum of the products of all cases' scores, shape (parameters, parameters)."""
    total = np.zeros((layout.size, layout.size))
    for part in mapped(_information_of, [(c, frame, numbers, layout) for c in chunks]):
        total += part
    return total


def _held_out(task: tuple[Path, Path, Numbers, int]) -> tuple[Array, Array]:
    chunk, frame = cast(Chunk, fetched(task[0])), frame_of(task[1])
    marks = marker(frame.rates)
    cases = scored(chunk, task[3], frame.folds)
    return beliefs(chunk, frame, task[2], cases, marks), marks[chunk.truth[cases]].astype(np.float64)


def held_out(
    chunks: Sequence[Path], frame: Path, numbers: Numbers, fold: int, mapped: ParallelMap = serially
) -> tuple[Array, Array]:
    """Beliefs in every mode of the scored cases of a fold, and what was true, shape (cases, places) each."""
    parts = list(mapped(_held_out, [(c, frame, numbers, fold) for c in chunks]))
    return np.concatenate([f for f, _ in parts]), np.concatenate([t for _, t in parts])
