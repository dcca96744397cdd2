"""Bench of the detection of starts on invented recordings with known truth.

Run `python tests/bench/recordings.py` for a table, with `--json` for the sums. Noise of 5 to 50 mV, 2 Hz to 100 kHz,
good, failed and tried starts, with lamps, glow plugs, drop-outs, wild samples and gaps between them.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import asdict, dataclass

import numpy as np

from faultnet.recordings import Start, find_events, lowest_uncertainty
from faultnet.recordings.simulation import SimulatedLog, TrueStart, simulate_log

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
        "coverage_90": total.within / max(total.found, 1),
        "outcome_right": total.outcomes / max(total.found, 1),
    }


def table(scores: dict[float, Score]) -> str:
    """Write the scores as a table, one row per rate."""
    lines = [
        "| samples per second | traces | starts | found | false | outcome right | minimum within 90 % | below it | s |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for rate, score in scores.items():
        each = max(score.found, 1)
        lines.append(
            f"| {rate:g} | {score.traces} | {score.starts} | {score.found} | {score.false} | "
            f"{score.outcomes / each:.3f} | {score.within / each:.3f} | {score.below / each:.3f} | "
            f"{score.seconds:.1f} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--traces", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--verbose", action="store_true")
    options = parser.parse_args()
    scores = run(options.traces, options.seed, options.verbose)
    print(json.dumps(summed(scores)) if options.json else f"{table(scores)}\n\n{json.dumps(summed(scores))}")


if __name__ == "__main__":
    main()
