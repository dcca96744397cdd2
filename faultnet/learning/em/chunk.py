"""A few hundred cases with the likelihoods of their readings worked out once, as they lie on disk between passes."""

from __future__ import annotations

import pickle
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.configurations import Index
from faultnet.learning.em.on_rates import When
from faultnet.whole import written_whole

Single = NDArray[np.float32]
UNKNOWN = -1


@dataclass(frozen=True)
class Answer:
    """What was answered to a symptom at a visit: the chance of the entry for each true answer, and if not listed."""

    test: str
    likelihood: tuple[float, ...]
    background: float


@dataclass(frozen=True, eq=False)
class Compact:
    """Likelihoods of the rows that survive; of all others nought.

    Parameters
    ----------
    first : int array, shape (visits kept whole + 1,)
        Where the rows of each visit begin.
    row : unsigned int array, shape (rows kept,)
    value : float32 array, shape (rows kept,)
    left_out : array, shape (cases,)
        Belief that was in what does not survive, by the old numbers [-].
    """

    first: Index
    row: NDArray[np.unsignedinteger]
    value: Single
    left_out: NDArray[np.float64]

    def dense(self, visit: int, count: int) -> Single:
        """All rows of a visit."""
        found: Single = np.zeros(count, dtype=np.float32)
        span = slice(self.first[visit], self.first[visit + 1])
        found[self.row[span]] = self.value[span]
        return found


@dataclass(frozen=True, eq=False)
class Chunk:
    """Cases in the order of the history.

    Parameters
    ----------
    number : int array, shape (cases,)
        Place in the history.
    cell : int array, shape (cases,)
        Group of cars.
    weight : array, shape (cases,)
        By age of the case [-].
    truth : int array, shape (cases,)
        Hypothesis that was confirmed; -1 where the causes are missing.
    complete : bool array, shape (cases,)
        Whether everything that was read was kept for all hypotheses; else only what bears on the confirmed one.
    offset : array, shape (cases,)
        Logarithm of what the likelihoods were divided by.
    visit_case, visit_when : int array, shape (visits,)
        Case and conditions of each visit that something physical was read at.
    likelihood : float32 array, shape (visits kept whole, rows)
        Of the readings for every row of the patterns, largest one.
    whole : int array, shape (visits,)
        Row of `likelihood`; -1 where only the patterns of the confirmed hypothesis were kept.
    narrow : array, shape (visits, most patterns of a hypothesis)
        Likelihood for the patterns of the confirmed hypothesis.
    answer_case, answer_key : int array, shape (answers,)
    fixed_case, fixed_key : int array, shape (factors,)
        Cases with a factor over hypotheses that tuning does not change.
    fixed : float32 array, shape (distinct factors, hypotheses)
    whens : tuple of set of str
    answers : tuple of Answer
    compact : Compact, optional
        In place of `likelihood`.
    """

    number: Index
    cell: Index
    weight: NDArray[np.float64]
    truth: Index
    complete: NDArray[np.bool_]
    offset: NDArray[np.float64]
    visit_case: Index
    visit_when: Index
    likelihood: Single = field(repr=False)
    whole: Index = field(repr=False)
    narrow: NDArray[np.float64] = field(repr=False)
    answer_case: Index = field(repr=False)
    answer_key: Index = field(repr=False)
    fixed_case: Index = field(repr=False)
    fixed_key: Index = field(repr=False)
    fixed: Single = field(repr=False)
    whens: tuple[When, ...]
    answers: tuple[Answer, ...]
    compact: Compact | None = field(default=None, repr=False)

    def rows(self, visit: int, count: int) -> Single:
        """Likelihood of a visit that was kept whole, for every row of the patterns, shape (count,)."""
        if self.compact is None:
            found: Single = self.likelihood[self.whole[visit]]
            return found
        return self.compact.dense(int(self.whole[visit]), count)

    def __len__(self) -> int:
        return len(self.cell)


def kept(value: object, path: Path) -> Path:
    """Write a chunk, or what all chunks share, to a file of our own, which appears whole or not at all."""
    with written_whole(path, private=False) as file:
        pickle.dump(value, file, protocol=pickle.HIGHEST_PROTOCOL)
    return path


def fetched(path: Path) -> object:
    """Read what :func:`kept` wrote in this run, or in an earlier one of the same tuning."""
    with path.open("rb") as file:
        return pickle.load(file)
