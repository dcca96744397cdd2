"""Bench of the detection of starts on invented recordings with known truth.

Run `python tests/bench/recordings.py` for a table, with `--json` for the sums, with `--write` to renew `recordings.md`.
Noise of 5 to 50 mV, 2 Hz to 100 kHz, good, failed and tried starts, with lamps, glow plugs, drop-outs, wild samples and
gaps between them.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import time
from dataclasses import asdict, dataclass
from datetime import date
from pathlib import Path

import numpy as np
import scipy

from faultnet import __version__
from faultnet.recordings import Start, Trace, find_events, lowest_uncertainty
from faultnet.recordings.synthetic.simulate import SimulatedLog, TrueStart, simulate_log

RATES = (2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 1e3, 1e4, 1e5)  # [Hz]
SEED = 20261125


@dataclass
class Score:
    """Counts over many recordings."""

    traces: int = 0
    starts: int = 0
    found: int = 0
    false: int = 0
    outcomes: int = 0
    within: int = 0
    below: int = 0
    seconds: float = 0.0


def matched(true: TrueStart, found: list[Start], interval: float) -> Start | None:
    """Find the detected start that overlaps a true one, and take it off the list."""
    for start in found:
        if start.begin <= true.end + 2 * interval and start.end >= true.begin - 2 * interval:
            found.remove(start)
            return start
    return None


def same_outcome(start: Start, true: TrueStart) -> bool:
    """Compare outcomes; below 50 samples a second "tried" and "failed" cannot be told apart and count as one."""
    alike = ("tried", "failed") if start.interval > 0.0205 else ()
    return start.outcome == true.outcome or (start.outcome in alike and true.outcome in alike)


def score_log(log: SimulatedLog, score: Score) -> list[str]:
    """Count what was found in one recording; give a line for every miss."""
    begin = time.perf_counter()
    found = [event for event in find_events(log.trace) if isinstance(event, Start)]
    score.seconds += time.perf_counter() - begin
    score.traces += 1
    misses = []
    for true in log.starts:
        score.starts += 1
        start = matched(true, found, log.trace.interval)
        if start is None:
            misses.append(f"missed {true}")
            continue
        score.found += 1
        score.outcomes += same_outcome(start, true)
        bounds = lowest_uncertainty(start)
        score.within += bounds.low <= true.lowest <= bounds.high
        score.below += true.lowest < bounds.low
    score.false += len(found)
    return misses + [f"false {start}" for start in found]


def pairs(count: int, seed: int) -> dict[str, float]:
    """Cover the same starts seen by a 10 kHz scope and by a 5 Hz adapter: shares whose 90 % bounds hold the truth."""
    seen, fast, slow, agree, k = 0, 0, 0, 0, 0
    while seen < count:
        rng = np.random.default_rng([seed, 5, k])
        k += 1
        log = simulate_log(rng, 1e-4, starts=1, nuisance=False)
        first = int(rng.integers(0, 2000))
        adapter = Trace(log.trace.time[first::2000], log.trace.volts[first::2000], "adapter")
        found = [[e for e in find_events(trace) if isinstance(e, Start)] for trace in (log.trace, adapter)]
        if [len(starts) for starts in found] != [1, 1]:
            continue  # a start that the slow one has missed has no bounds; the table counts it
        scope, slowly = (lowest_uncertainty(starts[0]) for starts in found)
        truth, seen = log.starts[0].lowest, seen + 1
        fast += scope.low <= truth <= scope.high
        slow += slowly.low <= truth <= slowly.high
        agree += slowly.low <= scope.median <= slowly.high
    return {"pairs": seen, "drawn": k, "coverage_90_scope": fast / seen, "coverage_90": slow / seen,
            "scope_within_adapter": agree / seen}  # fmt: skip


def run(traces: int, seed: int, verbose: bool) -> dict[float, Score]:
    """Score that many recordings, spread over the rates."""
    scores = {rate: Score() for rate in RATES}
    for k, child in enumerate(np.random.SeedSequence(seed).spawn(traces)):
        rate = RATES[k % len(RATES)]
        rng = np.random.default_rng(child)
        log = simulate_log(rng, 1.0 / rate, starts=1 if rate >= 1e5 else None)
        for line in score_log(log, scores[rate]):
            if verbose:
                print(k, rate, line)
    return scores


def summed(scores: dict[float, Score]) -> dict[str, float]:
    """Sum the scores as shares."""
    total = Score()
    for score in scores.values():
        for name, value in asdict(score).items():
            setattr(total, name, getattr(total, name) + value)
    return {
        "traces": total.traces,
        "starts": total.starts,
        "found": total.found / total.starts,
        "false": total.false / max(total.found + total.false, 1),
        "minima_within": total.within / max(total.found, 1),
        "outcome_right": total.outcomes / max(total.found, 1),
    }


def table(scores: dict[float, Score]) -> str:
    """Write the scores as a table, one row per rate."""
    lines = [
        "| samples per second | traces | starts | found | false | outcome right | minimum within 90 % | below it |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for rate, score in scores.items():
        each = max(score.found, 1)
        lines.append(
            f"| {rate:g} | {score.traces} | {score.starts} | {score.found} | {score.false} | "
            f"{score.outcomes / each:.3f} | {score.within / each:.3f} | {score.below / each:.3f} |"
        )
    return "\n".join(lines)


def machine() -> str:
    """Say what worked, with which versions and how busy it was."""
    load = f", load average {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"faultnet {__version__}, {date.today()}, {platform.machine()}, {os.cpu_count()} processors{load}, "
        f"Python {platform.python_version()}, numpy {np.__version__}, scipy {scipy.__version__}"
    )


REAL = "\n# Recordings of real cars\n"
"""Heading of what is written by hand below the table, and stays when the table is renewed."""

HEAD = """# Detection of starts on invented recordings

Written by `python tests/bench/recordings.py --write` ({traces} recordings, seed {seed}).
{machine}.

Noise of 5 to 50 mV; good, failed and tried starts; lamps, glow plugs, drop-outs, wild samples and gaps between them; no
recording comes from a real car, and the drawn starts are the ones from which the prior of the bounds was derived. A
start counts as found if a detected one overlaps it. Below 50 samples a second "failed" and "tried" count as one
outcome, because a turning engine cannot be told from a standing one there. "Minimum within 90 %": the true lowest
voltage lies inside the stated 90 % bounds; "below it": it lies under them. `coverage_90`: the same for {pairs} starts
that a scope (10 kHz) and an adapter (5 Hz) saw, the adapter's bounds; `coverage_90_scope`: the scope's.

"""


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=2000)
    parser.add_argument("--pairs", type=int, default=500)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    scores = run(options.traces, options.seed, options.verbose)
    sums = json.dumps(summed(scores) | pairs(options.pairs, options.seed))
    page = HEAD.format(**vars(options), machine=machine()) + f"{table(scores)}\n\n```json\n{sums}\n```\n"
    if options.write:
        path = Path(__file__).with_suffix(".md")
        _, mark, below = path.read_text(encoding="utf-8").partition(REAL)
        path.write_text(page + mark + below, encoding="utf-8")
    print(sums if options.json else page)


if __name__ == "__main__":
    main()
