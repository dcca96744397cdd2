"""What a history costs as it grows, in compact form: drawing, working out, passes to the end, disk and memory.

Cases are drawn, worked out and laid down a chunk at a time, each from a seed of its own, so that no history has to lie
in memory: a folder that is given keeps what is done, and the same command goes on from there. With `--to-the-end` the
rates are then tuned and held beside the truth, which the prior set has wrong by factors of up to two.
"""

from __future__ import annotations

import argparse
import json
import resource
import time
from collections.abc import Iterator
from contextlib import contextmanager, nullcontext
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import cast

import numpy as np

from faultnet.case.types import Case, CaseOutcome
from faultnet.learning.em import on_rates, symptoms
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.chunk import Chunk, fetched, kept
from faultnet.learning.em.compact import compacted
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import CHUNK, UNLISTED, Encoder, encoded
from faultnet.learning.em.m_step import climbed
from faultnet.learning.em.rates import RateForm, rate_form
from faultnet.learning.em.scale import ParallelMap, on_processes, pass_over, serially
from faultnet.learning.em.space import space_for
from faultnet.learning.result import Options
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import World, drawn_cases

CELLS = ((3.0, "temperate"), (7.0, "hot"))
FACTORS = (0.5, 0.7, 1.0, 1.4, 2.0)
OUTCOMES = "outcomes"
STRENGTH, LEAST, TOLERANCE, PASSES = 0.05, 0.01, 1e-6, 60


@lru_cache(maxsize=1)
def world(seed: int, confirmed: float) -> World:
    """Base rates that the prior set has wrong."""
    rng = np.random.default_rng(seed)
    return World({key: float(rng.choice(FACTORS)) for key in load_catalogue().base_rates}, confirmed)


def cases_of(seed: int, confirmed: float, number: int, count: int) -> list[Case]:
    """The cases of one chunk, the same whoever draws them."""
    return drawn_cases(load_catalogue(), count, world(seed, confirmed), np.random.default_rng([seed, number]), CELLS)


def outcomes_of(task: tuple[int, float, int, int]) -> set[CaseOutcome]:
    """Every outcome that a chunk confirms: each is a hypothesis for all cases."""
    return {c.outcome for c in cases_of(*task) if c.outcome is not None}


@lru_cache(maxsize=1)
def prepared_for(seed: int, confirmed: float, outcomes: Path) -> tuple[Encoder, Frame, Numbers]:
    """What chunks are worked out with, once in each process."""
    catalogue = load_catalogue()
    some = cases_of(seed, confirmed, 0, CHUNK)
    known = [replace(some[0], outcome=outcome) for outcome in cast(list[CaseOutcome], fetched(outcomes))]
    space = space_for([*some, *known], catalogue)
    encoder = Encoder(catalogue, space, settings_of(some))
    rates = rate_form(catalogue, space, STRENGTH, ("age", "climate"))
    forms = symptoms.symptom_forms(catalogue, space, STRENGTH)
    frame = Frame(encoder.patterns, rates, forms, space.modes[:, space.components.index(UNLISTED)] > 0)
    return encoder, frame, Numbers(rates.start(), symptoms.started(forms), on_rates.started(catalogue))


def made(task: tuple[Path, int, float, int, int]) -> tuple[float, float, float, int]:
    """Draw and work out one chunk unless it is there; processor time of either, belief left out, memory."""
    path, seed, confirmed, number, count = task
    drawing = working = 0.0
    if not path.exists():
        encoder, frame, start = prepared_for(seed, confirmed, path.parent / OUTCOMES)
        began = time.process_time()
        cases = cases_of(seed, confirmed, number, count)
        drawn = time.process_time()
        chunk = encoded(encoder, cases, np.ones(count), number * CHUNK, [False] * count)
        kept(compacted(chunk, frame, start), path)
        drawing, working = drawn - began, time.process_time() - drawn
    compact = cast(Chunk, fetched(path)).compact
    lost = 0.0 if compact is None else float(compact.left_out.max(initial=0.0))
    return drawing, working, lost, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def grown(
    cases: int, confirmed: float, seed: int, folder: Path, mapped: ParallelMap, *, to_the_end: bool
) -> dict[str, object]:
    """Costs of one history [s, kB, MB], and with `to_the_end` how near its rates come to the truth."""
    began = time.perf_counter()
    sizes = [min(CHUNK, cases - first) for first in range(0, cases, CHUNK)]
    if not (folder / OUTCOMES).exists():
        known = mapped(outcomes_of, [(seed, confirmed, k, size) for k, size in enumerate(sizes)])
        kept(sorted(set().union(*known), key=lambda outcome: outcome.causes), folder / OUTCOMES)
    _, frame, start = prepared_for(seed, confirmed, folder / OUTCOMES)
    frame_path = kept(frame, folder / "frame")
    paths = [folder / f"chunk_{CHUNK * k:09d}" for k in range(len(sizes))]
    tasks = [(path, seed, confirmed, k, size) for k, (path, size) in enumerate(zip(paths, sizes, strict=True))]
    told = list(mapped(made, tasks))
    worked = time.perf_counter()
    pass_over(mapped, paths, frame_path, start)
    passed = time.perf_counter()
    size = sum(p.stat().st_size for p in paths)
    found: dict[str, object] = {
        "cases": cases,
        "confirmed": confirmed,
        "hypotheses": len(frame.unlisted),
        "drawing_cpu_s": round(sum(t[0] for t in told), 1),
        "working_out_cpu_s": round(sum(t[1] for t in told), 1),
        "until_worked_out_s": round(worked - began, 1),
        "pass_s": round(passed - worked, 1),
        "kB_a_case": round(size / cases / 1e3, 2),
        "most_belief_left_out": round(max(t[2] for t in told), 4),
        "worker_mb": round(max(t[3] for t in told) / 1e3),
    }
    if to_the_end:
        options = Options(strength=STRENGTH, passes=PASSES, tolerance=TOLERANCE)
        climb = climbed(paths, frame_path, frame, start, options, mapped, progress=folder / "passes")
        off = np.abs(_off(frame.rates, climb.numbers, world(seed, confirmed)))
        found |= {
            "passes": climb.passes, "tuning_s": round(time.perf_counter() - passed, 1), "rates": len(off),
            "within_10_percent": round(float(np.mean(off <= 0.1)), 3), "mean_off": round(float(off.mean()), 4),
        }  # fmt: skip
    return found | {"peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3)}


def _off(form: RateForm, numbers: Numbers, true: World) -> np.ndarray:
    """How far tuned rates of each group of cars are from the truth, as a share of it; above one per cent."""
    weights = form.old * numbers.rates.whole * numbers.rates.own[form.own, np.arange(len(form.places))]
    sums = np.add.reduceat(weights, form.first[:-1], axis=1)
    now = weights / np.repeat(sums, np.diff(form.first), axis=1)
    truth = form.old * np.array([true.rates.get(place, 0.0) for place in form.places])
    at = truth > LEAST
    return np.asarray(now[at] / truth[at] - 1.0)


@contextmanager
def place(folder: Path | None) -> Iterator[Path]:
    """A folder that is given, or one that goes away."""
    with TemporaryDirectory() if folder is None else nullcontext(str(folder)) as where:
        Path(where).mkdir(parents=True, exist_ok=True)
        yield Path(where)


def main() -> None:
    """Print the measurements as JSON, a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, nargs="+", default=[10_000, 20_000, 40_000])
    parser.add_argument("--confirmed", type=float, default=0.9)
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--workers", type=int, default=1, help="processes")
    parser.add_argument("--folder", type=Path, help="keeps what is done; of one number of cases")
    parser.add_argument("--to-the-end", action="store_true", help="tune the rates, too")
    args = parser.parse_args()
    for cases in args.cases:
        several = on_processes(args.workers) if args.workers > 1 else nullcontext(serially)
        with place(args.folder) as folder, several as mapped:
            found = grown(cases, args.confirmed, args.seed, folder, mapped, to_the_end=args.to_the_end)
        print(json.dumps(found), flush=True)


if __name__ == "__main__":
    main()
