"""Tuning the numbers of a prior set to closed cases by expectation and maximisation.

Cases are encoded once (:mod:`~faultnet.learning.em.encode`); every pass then adds up expected counts by the present
numbers (:mod:`~faultnet.learning.em.e_step`) and raises the log posterior (:mod:`~faultnet.learning.em.m_step`).
The start is the old prior set itself and every number leans on it, so no two faults can trade places.

What was chosen to be measured depends on what had been read, not on what is hidden beyond that; so tests that were not
done say nothing about the causes and are left out (missing at random: Rubin 1976, Inference and missing data,
Biometrika 63: 581-592, from memory). A case whose cause was never found counts by its readings.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast

import numpy as np

from faultnet.cache import code_hash
from faultnet.case.types import Case
from faultnet.errors import system_words
from faultnet.learning.em import changes, on_rates, symptoms
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.chunk import Chunk, fetched, kept
from faultnet.learning.em.compact import compacted
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import CHUNK, UNLISTED, Encoder, encoded
from faultnet.learning.em.intervals import certainty, moved, scores_of
from faultnet.learning.em.m_step import Climb, climbed
from faultnet.learning.em.offsets import comparisons, offset_changes
from faultnet.learning.em.physical import Physics, physics, untold_words
from faultnet.learning.em.rates import rate_form
from faultnet.learning.em.recency import recency
from faultnet.learning.em.scale import ParallelMap, expected_modes, held_out, information, serially
from faultnet.learning.em.scores import score
from faultnet.learning.em.separable import is_plain
from faultnet.learning.em.slips import MOST_LOOKED_AT, Looked, Looker, evenly, person_factors, slip_changes
from faultnet.learning.em.space import space_for
from faultnet.learning.em.told import layout_of, sure
from faultnet.learning.progress import Gauge, Told, nobody
from faultnet.learning.result import Change, HistoryError, Options, Score, Tuned
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.whole import written_whole

CODE = ("learning", "inference", "model", "physics", "prior_set", "instruments.py", "case", "units")
MOST_SCORED = 2000
FOLD_PASSES = 12
MOST_INFLUENTIAL = 12
FEW_CASES = 30.0
LOST_SAID = 0.01
LOOKED_TOGETHER = 50


@dataclass(frozen=True, eq=False)
class Ready:
    """A history worked out once, in files.

    Parameters
    ----------
    chunks : tuple of Path
    frame_path : Path
    frame : Frame
    start : Numbers
        The old prior set.
    encoder : Encoder
    """

    chunks: tuple[Path, ...]
    frame_path: Path
    frame: Frame = field(repr=False)
    start: Numbers = field(repr=False)
    encoder: Encoder = field(repr=False)

    @property
    def lost(self) -> float:
        """The most belief that compact likelihoods leave out of a case, by the old numbers [-]."""
        left = [cast(Chunk, fetched(p)).compact for p in self.chunks]
        return max((float(c.left_out.max(initial=0.0)) for c in left if c is not None), default=0.0)


def tune(
    cases: Iterable[Case],
    catalogue: Catalogue,
    options: Options | None = None,
    *,
    mapped: ParallelMap = serially,
    folder: Path | None = None,
    told: Told = nobody,
) -> Tuned:
    """Tune base rates, symptom tables, on-rates and offsets to closed cases.

    Parameters
    ----------
    cases : iterable of Case
        With an outcome where the causes were confirmed (all of them, use included), without where they are not known.
    catalogue : Catalogue
        The old prior set; it is not changed.
    options : Options, optional
    mapped : callable
        Where passes are worked out; see :mod:`faultnet.learning.em.scale`.
    folder : Path, optional
        Keeps what was worked out, so that the same tuning goes on from there when it is begun again, with the same
        numbers to the last bit. It is one's own: what lies in it is believed. A temporary one when left out.
    told : callable
        Told after each step how far it has come and how long it will take; may raise
        :class:`~faultnet.learning.progress.Cancelled`, and nothing is left behind.

    Returns
    -------
    Tuned

    Raises
    ------
    HistoryError
        If there is no case, or a confirmed cause is unknown.
    EntryError
        If an entry makes no sense to the catalogue.
    """
    options, history = options or Options(), list(cases)
    if history:  # that there is none is said by what asks for one
        options.check_cases(len(history))
    weights = recency(history, options.recency_half_life)
    sure_of = [i for i, case in enumerate(history) if case.outcome is not None and case.outcome.proof is None]
    chosen = evenly(sure_of, MOST_LOOKED_AT) if options.slips else []
    most = min(options.passes, FOLD_PASSES)
    gauge = Gauge(len(history), options.passes, options.folds, most, told, looks=len(chosen), tries=options.physical)
    with _disk(), _workplace(folder, history, catalogue, options) as place:
        ready = prepared(history, catalogue, options, place, weights, gauge=gauge)
        climb = climbed(
            ready.chunks, ready.frame_path, ready.frame, ready.start, options, mapped,
            progress=place / "passes", passed=gauge.passed,
        )  # fmt: skip
        gauge.climbed()
        rows, influential = _rows(ready, climb, history, catalogue, options, weights, mapped)
        seen = _looked_over(ready, climb, history, weights, chosen, gauge)
        slips = slip_changes(seen, catalogue, options.strength)
        tried = Physics(())
        if options.physical:
            tried = physics(
                ready.encoder, ready.frame, climb.numbers, ready.chunks, history, weights, options.strength,
                gauge.tried,
            )  # fmt: skip
        rows = (*rows, *slips, *tried.changes)
        people = person_factors(seen, {c.key[0]: c.new for c in slips}) if options.by_person else ()
        old_score, new_score = _held_out(ready, options, mapped, place, gauge)
        said = (*_warnings(history, catalogue, climb, ready, rows, options), *untold_words(tried))
    return Tuned(
        f"{catalogue.name} {catalogue.version}", options, len(history), climb.passes, climb.log_posterior, rows,
        old_score, new_score, influential, said, people,
    )  # fmt: skip


@contextmanager
def _workplace(folder: Path | None, cases: Sequence[Case], catalogue: Catalogue, options: Options) -> Iterator[Path]:
    """A folder to work in: one that goes away, or one that is kept and belongs to this tuning alone.

    Raises
    ------
    HistoryError
        If it holds another tuning.
    """
    if folder is None:
        with TemporaryDirectory(prefix="faultnet-tuning-") as place:
            yield Path(place)
        return
    key = _key(cases, catalogue, options)
    mark = folder / "tuning"
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        here = mark.read_text(encoding="utf-8") if mark.exists() else "something else" if any(folder.iterdir()) else ""
    except (OSError, ValueError) as error:
        raise HistoryError(
            "the folder cannot be used", where=str(folder), got=system_words(error),
            to_do="name a folder of this tuning, or one that is not there yet",
        ) from None  # fmt: skip
    if here and here != key:
        raise HistoryError(
            "the folder holds another tuning: other cases, options, prior set or program", where=str(folder),
            to_do="give the folder of this tuning, or an empty one",
        )  # fmt: skip
    with written_whole(mark) as file:
        file.write(key.encode())
    yield folder


def _key(cases: Sequence[Case], catalogue: Catalogue, options: Options) -> str:
    """Tell a tuning from any other by all that its numbers depend on."""
    digest = hashlib.sha256(repr((catalogue.fingerprint, options, code_hash(*CODE))).encode())
    for case in cases:
        digest.update(repr(case).encode())
    return digest.hexdigest()


@contextmanager
def _disk() -> Iterator[None]:
    """Say in our words when what lies between passes cannot be written or read."""
    try:
        yield
    except OSError as error:
        reason = system_words(error)
        to_do = "free some space, or name another folder"
        raise HistoryError("the files of the tuning cannot be used", got=reason, to_do=to_do) from None


def prepared(
    cases: Sequence[Case], catalogue: Catalogue, options: Options, folder: Path, weights: Sequence[float],
    *, most_scored: int = MOST_SCORED, chunk: int = CHUNK, gauge: Gauge | None = None,
) -> Ready:  # fmt: skip
    """Work a history out once and lay it down in a folder.

    Parameters
    ----------
    cases : sequence of Case
    catalogue : Catalogue
    options : Options
    folder : Path
        Some 40 kB for every case whose cause is missing, or that is scored.
    weights : sequence of float
    most_scored : int
        Confirmed cases kept for held-out scores.
    chunk : int
        Cases in a file; a pass holds one file in memory.
    gauge : Gauge, optional
        Told after each file.
    """
    space = space_for(cases, catalogue)
    encoder = Encoder(catalogue, space, settings_of(cases))
    unlisted = space.modes[:, space.components.index(UNLISTED)] > 0
    frame = Frame(
        encoder.patterns, rate_form(catalogue, space, options.strength, options.groups),
        symptoms.symptom_forms(catalogue, space, options.strength), unlisted, options.folds,
    )  # fmt: skip
    start = Numbers(frame.rates.start(), symptoms.started(frame.symptoms), on_rates.started(catalogue))
    wanted = _scored_cases(cases, most_scored if options.folds else 0)
    paths = []
    for first in range(0, len(cases), chunk):
        some = slice(first, first + chunk)
        path = folder / f"chunk_{first:09d}"
        if not path.exists():
            chunk_of = encoded(encoder, cases[some], weights[some], first, wanted[some])
            kept(compacted(chunk_of, frame, start) if options.compact else chunk_of, path)
        paths.append(path)
        if gauge is not None:
            gauge.worked_out(first + len(cases[some]))
    return Ready(tuple(paths), kept(frame, folder / "frame"), frame, start, encoder)


def _scored_cases(cases: Sequence[Case], most: int) -> list[bool]:
    """Which confirmed cases are scored: evenly over the history, so many at most."""
    confirmed = [i for i, c in enumerate(cases) if c.outcome is not None and c.outcome.proof is None]
    step = max(1, -(-len(confirmed) // most)) if most else len(confirmed) + 1
    chosen = set(confirmed[::step]) if most else set()
    return [i in chosen for i in range(len(cases))]


def _looked_over(
    ready: Ready, climb: Climb, history: Sequence[Case], weights: Sequence[float], chosen: Sequence[int], gauge: Gauge
) -> list[Looked]:
    """The readings of some confirmed cases, each held against all others of its visit."""
    looker = Looker(ready.encoder, ready.frame, climb.numbers)
    seen: list[Looked] = []
    alike = sorted(chosen, key=lambda i: (ready.encoder.first_setting(history[i]), ready.encoder.truth(history[i])))
    for done, i in enumerate(alike, start=1):
        seen += looker.looked(history[i], weights[i])
        if done % LOOKED_TOGETHER == 0 or done == len(chosen):
            gauge.looked_over(done)
    return seen


def _rows(
    ready: Ready, climb: Climb, history: Sequence[Case], catalogue: Catalogue, options: Options,
    weights: Sequence[float], mapped: ParallelMap,
) -> tuple[tuple[Change, ...], tuple[tuple[str, str, float], ...]]:  # fmt: skip
    frame, numbers = ready.frame, climb.numbers
    expected, cell = expected_modes(ready.chunks, ready.frame_path, numbers, mapped)
    weight = np.asarray(weights)
    told = scores_of(frame.rates, numbers.rates, expected, cell)
    certain = certainty(frame.rates, told, weight, cell)
    layout = layout_of(frame, numbers, climb.counts)
    told_all = information(ready.chunks, ready.frame_path, numbers, layout, mapped)
    known = sure(frame, numbers, layout, told_all, options.strength)
    rows = (
        *changes.rate_changes(catalogue, frame.rates, numbers.rates, climb.counts, certain),
        *changes.on_changes(ready.start.on, numbers, climb.counts, options.strength, known),
        *changes.symptom_changes(frame, numbers, climb.counts, known),
        *offset_changes(comparisons(history, weights, catalogue), catalogue, options.strength),
    )
    return rows, _influential(moved(certain, told, weight), ready, history)


def _influential(shift: Array, ready: Ready, history: Sequence[Case]) -> tuple[tuple[str, str, float], ...]:
    """The cases that moved a base rate most, each with the rate it moved most."""
    place = np.abs(shift).argmax(axis=1)
    size = shift[np.arange(len(shift)), place]
    order = np.argsort(-np.abs(size), kind="stable")[:MOST_INFLUENTIAL]
    names = [f"{c}:{m}" for c, m in ready.frame.rates.places]
    return tuple((history[i].name or f"case {i + 1}", names[place[i]], float(size[i])) for i in order)


def _held_out(
    ready: Ready, options: Options, mapped: ParallelMap, place: Path, gauge: Gauge
) -> tuple[Score | None, Score | None]:
    """Scores of the old and the tuned numbers on folds that the tuned ones were not learnt from."""
    if not options.folds:
        return None, None
    brief = replace(options, passes=min(options.passes, FOLD_PASSES))
    old: list[Array] = []
    new: list[Array] = []
    true: list[Array] = []
    for fold in range(options.folds):
        climb = climbed(
            ready.chunks, ready.frame_path, ready.frame, ready.start, brief, mapped,
            leave=fold, progress=place / f"passes_without_{fold}", passed=gauge.passed,
        )  # fmt: skip
        for numbers, into in ((ready.start, old), (climb.numbers, new)):
            found, was = held_out(ready.chunks, ready.frame_path, numbers, fold, mapped)
            into.append(found)
        true.append(was)
        gauge.climbed()
    was = np.concatenate(true)
    if not len(was):
        return None, None
    first = ready.frame.rates.first
    return score(np.concatenate(old), was, first), score(np.concatenate(new), was, first)


def _warnings(
    history: Sequence[Case], catalogue: Catalogue, climb: Climb, ready: Ready, rows: Sequence[Change], options: Options
) -> tuple[str, ...]:
    said = []
    groups = {c.key[2]: c.effective_cases for c in rows if c.table == "base_rates" and c.key[2] != "all"}
    few = sorted(g for g, n in groups.items() if 0.0 < n < FEW_CASES)
    said += [f"group {g}: only {groups[g]:.0f} cases; its rates follow the whole" for g in few]
    mixed = sum(not is_plain(c, catalogue) for c in history)
    if mixed:
        said.append(
            f"{mixed} cases were read again after something was changed: what was read then informs base rates only"
        )
    if not any(c.outcome is not None for c in history):
        said.append("no case has a confirmed cause: what is learnt depends on the old numbers alone, and is not scored")
    if options.compact and ready.lost > LOST_SAID:
        said.append(f"of one case {ready.lost:.1%} of the belief lies in what was left out of its likelihoods")
    if not climb.settled:
        said.append(f"not settled after {climb.passes} passes: allow more")
    if climb.dropped > 0.02:
        said.append(f"combinations of faults that were left out would weigh {climb.dropped:.1%} by the new rates")
    return tuple(said)
