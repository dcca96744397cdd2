"""How long beliefs and the ranking of all tests take, by this engine, by pyAgrum and by pgmpy.

``python tests/bench/compare.py`` prints tables; ``--json`` the figures; ``--no-peers`` and ``--no-growth`` leave parts
out; ``--peer-tests N`` asks all three libraries about N tests only, evenly spread over the open ones. All parts of a
ratio are measured in the same run. Cars and readings are the invented demo cases.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import resource
import statistics
import sys
import warnings
from dataclasses import asdict, dataclass, replace
from importlib.metadata import version
from itertools import pairwise
from pathlib import Path
from typing import Any

# one thread: the products are small, and a second thread costs more than it brings (README.md beside this file)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from faultnet.diagnosis.leading import Leading
from faultnet.model.build import build_network
from faultnet.prior_set.catalogue import Catalogue
from tests.bench import work

PEER_CASE, PEER_READINGS = "healthy_car", 4
LIBRARIES = ("numpy", "networkx", "pgmpy", "pyagrum", "opt-einsum")


@dataclass(frozen=True)
class Ratio:
    """One state of one case by three libraries: times [ms] and how far the others' figures lie from ours."""

    readings: int
    tests: int
    ours_ms: float
    ours_all_ms: float
    pyagrum_ms: float
    pgmpy_ms: float
    marginals_differ: float
    gains_differ: float
    gains_differ_all: float


def ratio(tables: Catalogue, readings: int, most: int = 0, repeats: int = 7) -> Ratio:
    """Beliefs of all components, and for each open test (or so many of them) its information summed over components."""
    from tests.bench import peers

    models, visits = work.demo(PEER_CASE, tables)
    before, after = list(work.prefixes(visits))[readings - 1 : readings + 1]
    tests = work.open_tests(after[-1], tables)
    if most:
        tests = [tests[int(i * len(tests) / most)] for i in range(min(most, len(tests)))]

    def earlier() -> None:
        work.forget(models)
        work.worked(models, before, tables, work.open_tests(before[-1], tables), work.component_bits)

    def now() -> work.Worked:
        return work.worked(models, after, tables, tests, work.component_bits)

    ours = work.median_ms(now, earlier, repeats)
    found = now()
    whole = _for_all_hypotheses(found, tests)
    ours_all = work.median_ms(lambda: _for_all_hypotheses(now(), tests), earlier, 3)
    network, when_sound = models[0].compiled.network, models[0].setting.number("brought_in_when_sound")
    seen = found.course.present.evidence
    agrum = peers.by_pyagrum(network, seen, tests, when_sound)
    pgmpy = peers.by_pgmpy(network, seen, tests, when_sound)
    return Ratio(
        readings, len(tests), ours, ours_all,
        *(1e3 * (p.seconds_beliefs + sum(p.seconds_gains.values())) for p in (agrum, pgmpy)),
        max(float(np.abs(p.marginals[c] - m).max()) for p in (agrum, pgmpy) for c, m in found.marginals.items()),
        max(abs(p.gains[t] - found.bits[t]) for p in (agrum, pgmpy) for t in tests),
        max(abs(p.gains[t] - whole[t]) for p in (agrum, pgmpy) for t in tests),
    )  # fmt: skip


def _for_all_hypotheses(found: work.Worked, tests: list[str]) -> dict[str, float]:
    """The same gains with no hypothesis and no state of charge left out of the ranking."""
    present, network = found.course.present, found.course.present.model.network
    nodes = {t: network.nodes[f"reading_{t}"] for t in tests}
    asked = {t: (n.parents[0], n.table[:, :, 0].T, n.table[:, 0, 1]) for t, n in nodes.items()}
    chances = present.model.predict(present.evidence, asked, present.carried)
    everyone = np.arange(len(found.belief.posterior))
    return work.component_bits(
        replace(found, leading=Leading(everyone, found.belief.posterior, chances, present.modes))
    )


def one_visit(tables: Catalogue) -> tuple[float, float, float, int]:
    """Median and worst of all readings of the single-visit cases [ms], median of the very first pass [ms], readings."""
    first, *later = work.new_readings(work.SINGLE_VISIT, tables)
    each = [statistics.median(times) for times in zip(*later, strict=True)]
    return statistics.median(each), max(each), statistics.median(first), len(each)


def many_visits(tables: Catalogue, count: int) -> float:
    """Median over the readings of the last of so many visits [ms]."""
    models, visits = work.eight_visits(tables, count)
    entered = list(work.prefixes(visits))
    taken = []
    for before, after in pairwise(entered):
        tests = work.open_tests(after[-1], tables)

        def earlier(before: Any = before) -> None:
            work.forget(models)
            work.worked(models, before, tables, work.open_tests(before[-1], tables))

        def now(after: Any = after, tests: Any = tests) -> work.Worked:
            return work.worked(models, after, tables, tests)

        taken.append(work.median_ms(now, earlier))
    return statistics.median(taken)


def build_seconds(tables: Catalogue) -> float:
    """Building a car's network from nothing [s]."""
    models, _ = work.demo(PEER_CASE, tables)
    return work.median_ms(lambda: build_network(models[0].setting), times=3) / 1e3


def expected_cost_ms(tables: Catalogue) -> float:
    """Ranking all open tests by expected cost of repair, one step, from a belief at hand [ms]."""
    from faultnet.case.file import load_case
    from faultnet.case.types import Case
    from faultnet.decision import load_costs
    from faultnet.decision.advice import decision_state
    from faultnet.decision.value import one_step
    from faultnet.diagnosis.diagnose import ranked, work_through
    from faultnet.shipped import shipped

    case: Case = load_case(shipped("cases") / f"{PEER_CASE}.json")
    found = work_through(case, tables)
    tests, leading = ranked(found, None)
    return work.median_ms(lambda: one_step(decision_state(found, load_costs(), tests, leading)))


def growth(tables: Catalogue) -> dict[str, dict[int, float]]:
    """Time of a new reading [ms] against the number of visits, tests asked about, components and faults at once."""
    return {
        "visits": {n: many_visits(tables, n) for n in (1, 2, 4, 8, 16)},
        "tests": {n: _with_tests(tables, n) for n in (5, 10, 20, 40, len(tables.tests))},
        "components": {n: _with_components(tables, n) for n in (5, 10, 15, 20)},
        "max_faults": {n: _with_faults(tables, n) for n in (1, 2, 3, 4, 5)},
    }


def _with_tests(tables: Catalogue, count: int) -> float:
    models, visits = work.demo(PEER_CASE, tables)
    after = list(work.prefixes(visits))[PEER_READINGS]
    step = len(tables.tests) / count
    tests = [tables.tests[int(i * step)].id for i in range(count)]
    return work.median_ms(lambda: work.worked(models, after, tables, tests), lambda: work.forget(models))


def _with_faults(tables: Catalogue, most: int) -> float:
    models, visits = work.demo(PEER_CASE, tables, most)
    after = list(work.prefixes(visits))[PEER_READINGS]
    tests = work.open_tests(after[-1], tables)
    work.worked(models, after, tables, tests)
    return work.median_ms(lambda: work.worked(models, after, tables, tests), lambda: work.forget(models))


def _with_components(tables: Catalogue, count: int) -> float:
    """With only so many components that can be at fault: beliefs and all tests, by the engine alone."""
    from faultnet.diagnosis.models import MAY_DROP, UNCOUNTED
    from faultnet.inference.hypotheses import enumerate_hypotheses
    from faultnet.inference.visit import compile_visit
    from tests.inference.demo import reduced

    models, visits = work.demo(PEER_CASE, tables)
    whole, sound = models[0].compiled.network, models[0].setting.number("brought_in_when_sound")
    first = ("battery", "use", "solenoid", "alternator", "unlisted")
    kept = [*first, *(c for c in whole.components if c not in first)][:count]
    network = reduced(whole, kept)
    space = enumerate_hypotheses(
        network, max_faults=work.MAX_FAULTS, uncounted=UNCOUNTED, brought_in_when_sound=sound, may_drop=MAY_DROP
    )
    small = replace(models[0], space=space, compiled=compile_visit(network, space.components, space.modes))
    after = list(work.prefixes(visits))[PEER_READINGS]
    tests = work.open_tests(after[-1], tables)
    work.worked([small], after, tables, tests)
    return work.median_ms(lambda: work.worked([small], after, tables, tests), lambda: work.forget([small]))


def machine() -> str:
    """Processor and number of cores."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
        name = next(line.split(":", 1)[1].strip() for line in lines if line.startswith("model name"))
    except (OSError, StopIteration):
        name = platform.processor() or platform.machine()
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    return f"{name}, {os.cpu_count()} cores, load average {load:.1f}"


def _peak_mb() -> float:
    """Largest size of this process so far [MB]."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def measured(peers: bool, with_growth: bool, peer_tests: int = 0) -> dict[str, Any]:
    """All figures; ours first, so that the peak of memory is ours alone."""
    tables = work.catalogue()
    told = machine()
    work.new_readings([PEER_CASE], tables, passes=1)
    peak = _peak_mb()
    visit, worst, first, readings = one_visit(tables)
    found: dict[str, Any] = {
        "one_visit_ms": visit, "one_visit_worst_ms": worst, "one_visit_first_pass_ms": first, "readings": readings,
        "eight_visits_ms": many_visits(tables, 8), "build_s": build_seconds(tables),
        "expected_cost_ms": expected_cost_ms(tables),
        "peak_mb": peak, "peak_sixteen_models_mb": _peak_mb(),
        "pyagrum_ratio": None, "pgmpy_ratio": None, "machine": told,
        "versions": {"python": platform.python_version()} | {name: version(name) for name in LIBRARIES},
    }  # fmt: skip
    if with_growth:
        found["growth"] = growth(tables)
    if peers:
        ratios = [ratio(tables, n, peer_tests) for n in (2, PEER_READINGS)]
        # same work: every hypothesis in our ranking too; what the product does, cut to the leading, stands apart
        found["pyagrum_ratio"] = statistics.median(r.pyagrum_ms / r.ours_all_ms for r in ratios)
        found["pgmpy_ratio"] = statistics.median(r.pgmpy_ms / r.ours_all_ms for r in ratios)
        found["pyagrum_ratio_ranking_cut"] = statistics.median(r.pyagrum_ms / r.ours_ms for r in ratios)
        found["pgmpy_ratio_ranking_cut"] = statistics.median(r.pgmpy_ms / r.ours_ms for r in ratios)
        found["same_work"] = [asdict(r) for r in ratios]
    return found


def shown(found: dict[str, Any]) -> str:
    """The figures as plain text."""
    lines = [
        found["machine"], ", ".join(f"{k} {v}" for k, v in found["versions"].items()), "",
        f"new reading, one visit: median {found['one_visit_ms']:.1f} ms, worst {found['one_visit_worst_ms']:.0f} ms "
        f"({found['readings']} readings); on a first pass with the car {found['one_visit_first_pass_ms']:.0f} ms",
        f"new reading, eight visits: median {found['eight_visits_ms']:.1f} ms",
        f"building a network: {found['build_s']:.2f} s; ranking by expected cost: {found['expected_cost_ms']:.1f} ms; "
        f"peak memory with one case {found['peak_mb']:.0f} MB, with all sixteen models "
        f"{found['peak_sixteen_models_mb']:.0f} MB",
    ]  # fmt: skip
    for r in found.get("same_work", ()):
        lines += [
            "", f"same work, {r['readings']} readings, {r['tests']} tests, {PEER_CASE}:",
            f"  ours {r['ours_ms']:.1f} ms; with every hypothesis in the ranking {r['ours_all_ms']:.0f} ms",
            f"  pyAgrum {r['pyagrum_ms']:.0f} ms ({r['pyagrum_ms'] / r['ours_ms']:.0f} x; "
            f"{r['pyagrum_ms'] / r['ours_all_ms']:.0f} x)",
            f"  pgmpy {r['pgmpy_ms']:.0f} ms ({r['pgmpy_ms'] / r['ours_ms']:.0f} x; "
            f"{r['pgmpy_ms'] / r['ours_all_ms']:.0f} x)",
            f"  largest difference: beliefs {r['marginals_differ']:.1e}, gains {r['gains_differ']:.1e} bit; "
            f"with every hypothesis {r['gains_differ_all']:.1e} bit",
        ]  # fmt: skip
    for name, rows in found.get("growth", {}).items():
        lines += [
            "",
            f"new reading against number of {name}:",
            "  ".join(f"{n}: {ms:.1f} ms" for n, ms in rows.items()),
        ]
    return "\n".join(lines)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--no-peers", action="store_true")
    parser.add_argument("--no-growth", action="store_true")
    parser.add_argument("--peer-tests", type=int, default=0, metavar="N")
    asked = parser.parse_args()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        found = measured(not asked.no_peers, not asked.no_growth, asked.peer_tests)
    print(json.dumps(found, indent=1) if asked.json else shown(found))


if __name__ == "__main__":
    main()
