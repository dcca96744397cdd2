"""Is the truth recovered, and what does a pass cost?

Cars are drawn from the network's own tables by base rates that the prior set has wrong by factors of up to two, brought
in with a complaint, read by a chart that goes by what was read before, and half of their causes are never confirmed.
Tuned from the wrong set, do the rates come back? A pass over 100,000 cases whose causes are all missing is timed too,
on two processes; chunks are taken again as often as it needs, so that their number is right and their making is not
waited for.
"""

from __future__ import annotations

import argparse
import json
import platform
import resource
import sys
import time
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from faultnet.learning.em.physical import WORTH, tried
from faultnet.learning.em.scale import on_processes, pass_over, serially
from faultnet.learning.result import Change, Options, Tuned
from faultnet.learning.tune import prepared, tune
from faultnet.prior_set import Catalogue, load_catalogue
from tests.bench.drawn_tables import intervals
from tests.bench.drift import drift
from tests.bench.own_history import World, drawn_cases, scaled

FACTORS = (0.5, 0.7, 1.0, 1.4, 2.0)
CELLS = ((3.0, "temperate"), (7.0, "hot"))
GROUPS = {"age=2-4;climate=temperate", "age=6-8;climate=hot"}
STRENGTH = 0.05
LEAST = 0.01
PASS_CASES = 100_000


def wrong_rates(catalogue: Catalogue, seed: int) -> dict[tuple[str, str], float]:
    """How far the prior set is off, by fault."""
    rng = np.random.default_rng(seed)
    return {key: float(rng.choice(FACTORS)) for key in catalogue.base_rates}


def judged(tuned: Tuned, true: dict[tuple[str, str], float]) -> list[tuple[Change, float]]:
    """Tuned base rates of the groups that cars were drawn from, with the true one where it is above one per cent."""
    found = []
    for change in tuned.changes:
        if change.table == "base_rates":
            component, mode, group = change.key
            of_cars = group in GROUPS if component == "battery" else group.startswith("climate=")
            truth = change.old * true[component, mode]
            if of_cars and truth > LEAST:
                found.append((change, truth))
    return found


def recovery(cases: int, confirmed: float, seed: int) -> dict[str, object]:
    """Tune from the wrong prior set and compare."""
    catalogue = load_catalogue()
    true = wrong_rates(catalogue, seed)
    drawn = drawn_cases(catalogue, cases, World(true, confirmed), np.random.default_rng(seed), CELLS)
    started = time.perf_counter()
    with on_processes(2) as mapped:
        tuned = tune(drawn, catalogue, Options(strength=STRENGTH, folds=0, passes=60), mapped=mapped)
    pairs = judged(tuned, true)
    near = [abs(c.new / t - 1.0) <= 0.1 for c, t in pairs]
    inside = [c.low <= t <= c.high for c, t in pairs]
    return {
        "cases": cases,
        "confirmed": confirmed,
        "rates": len(pairs),
        "recovered_within_10_percent": round(float(np.mean(near)), 3),
        "interval_coverage": round(float(np.mean(inside)), 3),
        "within_or_covered": round(float(np.mean(np.array(near) | np.array(inside))), 3),
        "mean_log_ratio": round(float(np.mean([np.log(c.new / t) for c, t in pairs])), 4),
        "passes": tuned.passes,
        "tuning_s": round(time.perf_counter() - started, 1),
        "missed": [[*c.key, round(c.new, 4), round(c.low, 4), round(c.high, 4), round(t, 4)]
                   for (c, t), n, i in zip(pairs, near, inside, strict=True) if not (n or i)],
    }  # fmt: skip


def pass_cost(cases: int, seed: int) -> dict[str, object]:
    """Seconds of a pass over 100,000 cases whose causes are missing, and of working a case out once."""
    catalogue = load_catalogue()
    drawn = drawn_cases(catalogue, cases, World({}, 0.0), np.random.default_rng(seed), CELLS)
    with TemporaryDirectory() as folder:
        started = time.perf_counter()
        ready = prepared(drawn, catalogue, Options(folds=0), Path(folder), [1.0] * cases)
        made = time.perf_counter() - started
        size = sum(p.stat().st_size for p in ready.chunks)
        chunks = (list(ready.chunks) * -(-PASS_CASES // cases))[: -(-PASS_CASES * len(ready.chunks) // cases)]
        with on_processes(2) as mapped:
            pass_over(mapped, chunks[:2], ready.frame_path, ready.start)
            started = time.perf_counter()
            pass_over(mapped, chunks, ready.frame_path, ready.start)
            two = time.perf_counter() - started
        started = time.perf_counter()
        pass_over(serially, ready.chunks, ready.frame_path, ready.start)
        one = time.perf_counter() - started
    return {
        "pass_cases": PASS_CASES,
        "seconds_per_pass": round(two, 1),
        "one_process_ms_a_case": round(1e3 * one / cases, 3),
        "working_out_ms_a_case": round(1e3 * made / cases, 2),
        "kB_a_case": round(size / cases / 1e3, 1),
    }


def slips_recovered(cases: int, seed: int) -> dict[str, object]:
    """Share of instruments whose 95 % interval holds the true chance of a slip, when the set has them all wrong."""
    catalogue = load_catalogue()
    rng = np.random.default_rng(seed)
    known = {i.id: min(0.3, i.slip * float(rng.choice(FACTORS))) for i in catalogue.instruments}
    wrong = replace(
        catalogue, instruments=tuple(replace(i, slip=known[i.id]) for i in catalogue.instruments),
        fingerprint=catalogue.fingerprint + " slips",
    )  # fmt: skip
    tuned = tune(drawn_cases(catalogue, cases, World({}, 0.5), rng), wrong, Options(strength=STRENGTH, folds=0))
    rows = [(c, catalogue.instrument(c.key[0]).slip) for c in tuned.changes if c.key[-1] == "slip"]
    return {"slip_recovered": round(float(np.mean([c.low <= t <= c.high for c, t in rows])), 3), "slips": len(rows)}


def spreads_recovered(cases: int, seed: int, confirmed: float = 0.5) -> dict[str, object]:
    """Share of physical numbers whose 95 % interval holds the truth, drawn by what the old ones are worth."""
    catalogue = load_catalogue()
    rng = np.random.default_rng(seed)
    true, cars = catalogue, WORTH * STRENGTH * 4.0
    for one in tried(catalogue):
        wide = 1.0 / np.sqrt(cars if one.sort == "place" else 2.0 * cars)
        most = 1.2 if one.sort == "place" else 0.6
        true = one.moved(true, float(np.clip(wide * rng.standard_normal(), -most, most)))
    often = {one.fault: 4.0 for one in tried(catalogue) if one.fault is not None and one.fault[0] != "use"}
    true = replace(true, fingerprint=f"{catalogue.fingerprint} moved {seed}")
    drawn = drawn_cases(true, cases, World(often, confirmed), rng)
    began = time.process_time()
    tuned = tune(drawn, scaled(catalogue, often), Options(strength=STRENGTH * 4.0, folds=0, slips=False, physical=True))
    values = {one.key: one.value(true) for one in tried(catalogue)}
    rows = [(c, values[c.key]) for c in tuned.changes if c.table in ("effects", "spreads") and c.key in values]
    inside = [c.low <= t <= c.high for c, t in rows]
    missed = [[*c.key, *(round(x, 4) for x in (c.old, c.new, c.low, c.high, t))]
              for (c, t), i in zip(rows, inside, strict=True) if not i]  # fmt: skip
    return {
        "spread_recovered": round(float(np.mean(inside)), 3),
        "spreads": {table: sum(c.table == table for c, _ in rows) for table in ("effects", "spreads")},
        "spreads_nearer": round(float(np.mean([abs(c.new - t) < abs(c.old - t) for c, t in rows])), 3),
        "spreads_missed": missed,
        "spreads_s": round(time.process_time() - began, 1),
    }


def tables_covered(histories: int, cases: int, seed: int) -> dict[str, object]:
    """How often 95 % intervals of answers and of on-rates hold the truth, half of the causes missing."""
    found = []
    for k in range(histories):
        found += intervals(load_catalogue(), cases, 0.5, 0.2, np.random.default_rng(seed + k), visits=2)[0]
    by_table = {
        table: [i.holds for i in found if i.change.table == table] for table in ("symptoms", "on_rates")
    }  # fmt: skip
    return {"table_interval_coverage": {t: round(float(np.mean(h)), 3) for t, h in by_table.items() if h},
            "table_intervals": {t: len(h) for t, h in by_table.items()}}  # fmt: skip


def main() -> None:
    """Print the measurements."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="print JSON")
    parser.add_argument("--cases", type=int, default=20_000, help="cases to recover the truth from")
    parser.add_argument("--confirmed", type=float, default=0.5, help="share of cases with a confirmed cause")
    parser.add_argument("--pass-cases", type=int, default=4_000, help="cases worked out for timing a pass")
    parser.add_argument("--learning", type=int, default=600, help="cases for slips, spreads, intervals and drift")
    parser.add_argument("--only", choices=("rates", "learning"), help="half of it: the rates and a pass, or the rest")
    parser.add_argument("--histories", type=int, default=5, help="histories for the coverage of intervals")
    parser.add_argument("--seed", type=int, default=20)
    args = parser.parse_args()
    found: dict[str, object] = {}

    def keep(part: dict[str, object]) -> None:
        """Take a part, and show it at once: the whole takes long."""
        found.update(part)
        print(json.dumps(part), file=sys.stderr, flush=True)

    if args.only != "learning":
        keep(recovery(args.cases, args.confirmed, args.seed))
        keep(pass_cost(args.pass_cases, args.seed))
    if args.only != "rates":
        keep(slips_recovered(args.learning, args.seed))
        keep(tables_covered(args.histories, max(200, args.learning // 3), args.seed))
        keep(spreads_recovered(args.learning, args.seed))
        keep({"drift_after_ten_rounds": drift(10, max(100, args.learning // 5), args.seed)})
    usage = [resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    found |= {"peak_mb": round(max(usage) / 1e3), "machine": f"{platform.machine()}, {platform.python_version()}"}
    if args.json:
        print(json.dumps(found, indent=2))
    else:
        print("\n".join(f"{key:>28}  {value}" for key, value in found.items()))


if __name__ == "__main__":
    main()
