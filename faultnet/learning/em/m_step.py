"""From expected counts to better numbers, pass after pass, up the log posterior."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import cast

from faultnet.learning.em import on_rates, rates, symptoms
from faultnet.learning.em.chunk import fetched, kept
from faultnet.learning.em.e_step import NO_FOLD, Counts, Frame, Numbers
from faultnet.learning.em.scale import ParallelMap, pass_over, serially
from faultnet.learning.result import Options


@dataclass(frozen=True, eq=False)
class Climb:
    """Where the passes ended.

    Parameters
    ----------
    numbers : Numbers
    counts : Counts
        Expected under `numbers`.
    log_posterior : tuple of float
        Before the first pass and after each [nat].
    settled : bool
        Whether the last pass gained less than was asked for.
    dropped : float
        Prior mass that the space leaves out by the new rates, worst group [-].
    """

    numbers: Numbers
    counts: Counts = field(repr=False)
    log_posterior: tuple[float, ...]
    settled: bool
    dropped: float

    @property
    def passes(self) -> int:
        """Passes made."""
        return len(self.log_posterior) - 1


def log_prior(frame: Frame, start: Numbers, numbers: Numbers, strength: float) -> float:
    """Logarithm of the prior of the numbers, up to a constant [nat]."""
    total = rates.log_prior(frame.rates, numbers.rates)
    total += on_rates.log_prior(start.on, numbers.on, strength)
    return total + sum(symptoms.log_prior(form, numbers.symptoms[test]) for test, form in frame.symptoms.items())


def improved(frame: Frame, start: Numbers, numbers: Numbers, counts: Counts, strength: float) -> Numbers:
    """Numbers that raise the expected log posterior.

    Parameters
    ----------
    frame : Frame
    start : Numbers
        The old prior set.
    numbers : Numbers
        Those the counts were expected under.
    counts : Counts
    strength : float
    """
    tables = dict(numbers.symptoms)
    for test, answered in counts.symptoms.items():
        tables[test] = symptoms.improved(frame.symptoms[test], tables[test], answered)
    return Numbers(
        rates.improved(frame.rates, numbers.rates, counts.cells),
        tables,
        on_rates.improved(start.on, numbers.on, counts.on, strength),
    )


def climbed(
    chunks: Sequence[Path], frame_path: Path, frame: Frame, start: Numbers, options: Options,
    mapped: ParallelMap = serially, *, leave: int = NO_FOLD, progress: Path | None = None,
    passed: Callable[[], None] = lambda: None,
) -> Climb:  # fmt: skip
    """Pass after pass until a pass gains too little, or there were enough.

    Parameters
    ----------
    chunks : sequence of Path
    frame_path, frame : Path, Frame
    start : Numbers
    options : Options
    mapped : callable
    leave : int
        Fold that is left out.
    passed : callable
        Called after each pass.
    progress : Path, optional
        File that keeps how far it came; what it holds already is gone on from, with the same result to the last bit.
    """
    numbers, before = _reached(progress) or (start, [])
    counts = pass_over(mapped, chunks, frame_path, numbers, leave)
    passed()
    cases = max(float(counts.cells.sum()), 1.0)
    heights = [*before, counts.log_likelihood + log_prior(frame, start, numbers, options.strength)]
    settled = _settled(heights, options.tolerance * cases)
    while len(heights) <= options.passes and not settled:
        numbers = improved(frame, start, numbers, counts, options.strength)
        if progress is not None:
            kept((numbers, heights), progress)
        counts = pass_over(mapped, chunks, frame_path, numbers, leave)
        passed()
        heights.append(counts.log_likelihood + log_prior(frame, start, numbers, options.strength))
        settled = _settled(heights, options.tolerance * cases)
    dropped = float((1.0 - rates.prior(frame.rates, numbers.rates).sum(axis=1)).max())
    return Climb(numbers, counts, tuple(heights), settled, dropped)


def _reached(progress: Path | None) -> tuple[Numbers, list[float]] | None:
    """How far an earlier run came: the numbers of its next pass, and the heights before it."""
    return cast(tuple[Numbers, list[float]], fetched(progress)) if progress is not None and progress.exists() else None


def _settled(heights: Sequence[float], least: float) -> bool:
    return len(heights) > 1 and heights[-1] - heights[-2] < least
