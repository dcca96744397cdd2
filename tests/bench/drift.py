"""Advice decides what gets confirmed: do rates run away when tuning learns from what advice led to?

Each round draws cars from a world whose rates differ from the set's, believes what the set of that round makes of their
readings, mends the likeliest causes, and closes the cases that are cured by that. The set of the next round is tuned on
them. A case is confirmed only where the advice was right, so what is confirmed depends on the truth, not on readings
alone. Where the repair that did not help is written down, and that the car came back, the case says so itself; where it
is not, the case looks as if nobody had tried anything. Beside them, a shop that confirms as many cases by lot.
"""

from __future__ import annotations

import argparse
import json
import time
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Literal

import numpy as np

from faultnet.case.types import Act, Case, CaseOutcome
from faultnet.diagnosis.acts import CHARGING
from faultnet.learning.em.chunk import Chunk, fetched
from faultnet.learning.em.e_step import Pass
from faultnet.learning.result import Options
from faultnet.learning.tune import prepared, tune
from faultnet.learning.versions.write import applied
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.prior_set.sets import set_folder
from tests.bench.own_history import World, drawn_cases

Way = Literal["written down", "not written down", "by lot"]
WAYS: tuple[Way, ...] = ("written down", "not written down", "by lot")
FACTORS = {
    ("battery", "worn"): 0.4, ("battery", "sulphated"): 2.0, ("belt", "slips"): 3.0,
    ("engine_running", "no_fire"): 0.4, ("negative_joint", "corroded"): 2.0, ("use", "long_standing"): 2.0,
}  # fmt: skip
LEAST = 0.01
STRENGTH = 0.2


@dataclass(frozen=True)
class Round:
    """How far the rates are from the truth after a round.

    Parameters
    ----------
    off : float
        Mean of the absolute logarithm of tuned over true rate, for rates above one per cent [-].
    worst : float
        The largest of them, with its sign [-].
    confirmed : float
        Share of the cases that were closed as cured [-].
    """

    off: float
    worst: float
    confirmed: float


def rounds(way: Way, count: int, cases: int, seed: int, folder: Path) -> list[Round]:
    """So many rounds of advising, closing and tuning; the first entry is the set it begins with."""
    standard = load_catalogue()
    rng = np.random.default_rng(seed)
    factors = {key: f for key, f in FACTORS.items() if key in standard.base_rates}
    place, found = set_folder("standard"), [_distance(standard, standard, factors, 0.0)]
    for k in range(count):
        known = load_catalogue(folder=place)
        drawn = drawn_cases(standard, cases, World(factors, 1.0), rng)
        closed = _closed(drawn, known, way, rng, folder / f"work_{k}")
        strength = 1.0 if k else STRENGTH  # later rounds keep all that was counted; less would forget, not drift
        tuned = tune(closed, known, Options(strength=strength, folds=0, groups=(), passes=25, slips=False))
        place = applied(tuned, place, folder / f"set_{k}", "drift", str(k + 1), "drawn", "0" * 64)
        share = sum(c.outcome is not None for c in closed) / len(closed)
        found.append(_distance(load_catalogue(folder=place), standard, factors, share))
    return found


def _closed(drawn: list[Case], known: Catalogue, way: Way, rng: np.random.Generator, folder: Path) -> list[Case]:
    """What the shop writes down of each case, by what it believed."""
    folder.mkdir()
    ready = prepared([replace(c, outcome=None) for c in drawn], known, Options(folds=0), folder, [1.0] * len(drawn))
    space, found = ready.encoder.space, []
    nodes = space.networks[0].nodes
    for path in ready.chunks:
        chunk = fetched(path)
        assert isinstance(chunk, Chunk)
        work = Pass(chunk, ready.frame, ready.start)
        for i in range(len(chunk)):
            modes = space.modes[int(work.weight(i)[0].argmax())]
            advised = {(c, nodes[c].states[m]) for c, m in zip(space.components, modes, strict=True) if m}
            found.append(_end(drawn[int(chunk.number[i])], advised, known, way))
    if way == "by lot":
        share = sum(c.outcome is not None for c in found) / len(found)
        return [c if rng.random() < share else replace(c, outcome=None) for c in drawn]
    return found


def _end(case: Case, advised: set[tuple[str, str]], known: Catalogue, way: Way) -> Case:
    """A case that is cured by what was advised is closed; else it stays open, perhaps with what did not help."""
    assert case.outcome is not None
    if {c for c in case.outcome.causes if c[0] != "use"} == {c for c in advised if c[0] != "use"}:
        return replace(case, outcome=CaseOutcome(case.outcome.causes, "cured by what was advised"))
    tried: list[tuple[Act, Act]] = []  # a part was mended and the car driven, and it was as before
    for component, mode in sorted(advised):
        repair = next(m.repair for m in known.component(component).modes if m.id == mode)
        if repair and known.act(repair).effect not in CHARGING and way == "written down":
            cured = not {c for c in case.outcome.causes if c[0] != "use"} - {(component, mode)}
            if not cured:
                tried.append((Act(repair, component), Act("drive", None, "no_change")))
    visit = case.visits[-1]
    last = replace(visit, entries=(*visit.entries, *(tried[0] if tried else ())))
    return replace(case, outcome=None, visits=(*case.visits[:-1], last))


def _distance(now: Catalogue, standard: Catalogue, factors: dict[tuple[str, str], float], confirmed: float) -> Round:
    logs = []
    for key, rows in standard.base_rates.items():
        truth = rows["all"].value / rows["all"].of * factors.get(key, 1.0)
        if truth > LEAST:
            row = now.base_rates[key]["all"]
            logs.append(float(np.log(row.value / row.of / truth)))
    worst = max(logs, key=abs)
    return Round(float(np.mean(np.abs(logs))), worst, confirmed)


def drift(count: int = 10, cases: int = 200, seed: int = 11, ways: tuple[Way, ...] = WAYS) -> dict[str, object]:
    """Distance from the truth after no round, one, half of the rounds and all of them, by way of closing."""
    found: dict[str, object] = {"rounds": count, "cases_a_round": cases}
    for way in ways:
        with TemporaryDirectory() as folder:
            began = time.process_time()
            after = rounds(way, count, cases, seed, Path(folder))
        found[way] = {
            "off": [round(after[k].off, 3) for k in sorted({0, 1, count // 2, count})],
            "worst_log_ratio": [round(after[k].worst, 3) for k in sorted({0, 1, count // 2, count})],
            "confirmed": round(after[-1].confirmed, 3),
            "processor_s": round(time.process_time() - began, 1),
        }
    return found


def main() -> None:
    """Print the measurements as JSON."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rounds", type=int, default=10)
    parser.add_argument("--cases", type=int, default=200)
    parser.add_argument("--seed", type=int, default=11)
    parser.add_argument("--way", choices=WAYS, action="append")
    args = parser.parse_args()
    print(json.dumps(drift(args.rounds, args.cases, args.seed, tuple(args.way or WAYS)), indent=2))


if __name__ == "__main__":
    main()
