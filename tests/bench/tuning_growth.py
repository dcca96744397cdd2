"""What a history costs as it grows: processor time and disk to work it out in compact form, and time of a pass."""

from __future__ import annotations

import argparse
import json
import resource
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from faultnet.learning.em.scale import pass_over, serially
from faultnet.learning.result import Options
from faultnet.learning.tune import prepared
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import World, drawn_cases

CELLS = ((3.0, "temperate"), (7.0, "hot"))


def grown(cases: int, confirmed: float, seed: int) -> dict[str, float]:
    """Costs of one history [s of processor, kB, MB]."""
    catalogue = load_catalogue()
    began = time.process_time()
    drawn = drawn_cases(catalogue, cases, World({}, confirmed), np.random.default_rng(seed), CELLS)
    made = time.process_time()
    with TemporaryDirectory() as folder:
        ready = prepared(drawn, catalogue, Options(folds=0, compact=True), Path(folder), [1.0] * cases)
        worked = time.process_time()
        pass_over(serially, ready.chunks, ready.frame_path, ready.start)
        passed = time.process_time()
        size = sum(p.stat().st_size for p in ready.chunks)
        lost = ready.lost
    return {
        "cases": cases,
        "confirmed": confirmed,
        "drawing_s": round(made - began, 1),
        "working_out_s": round(worked - made, 1),
        "pass_s": round(passed - worked, 1),
        "kB_a_case": round(size / cases / 1e3, 2),
        "kB_an_open_case": round(size / cases / (1.0 - confirmed) / 1e3, 2) if confirmed < 1.0 else 0.0,
        "most_belief_left_out": round(lost, 4),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3),
    }


def main() -> None:
    """Print the measurements as JSON, a line each."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, nargs="+", default=[10_000, 20_000, 40_000])
    parser.add_argument("--confirmed", type=float, default=0.9)
    parser.add_argument("--seed", type=int, default=7)
    args = parser.parse_args()
    for cases in args.cases:
        print(json.dumps(grown(cases, args.confirmed, args.seed)), flush=True)


if __name__ == "__main__":
    main()
