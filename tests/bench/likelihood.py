"""How far the log odds of the model lie from those of the continuous physics its tables stand for.

``python tests/bench/likelihood.py`` draws random cars with one fault, measures each by one, two, three or six tests,
and compares the log likelihood ratio of the truth against a rival (the sound car, or another fault that the readings
bear on) as the network gives it with that of the virtual cars themselves (``reference.py``): at least 30,000 cars for
each hypothesis, and where these are too few, cars moved to where they fit. Errors are net of the reference's own.
``--quick`` takes a few pairs, ``--json`` prints the figures as JSON, ``--each`` every pair, ``--apart`` the worst pairs
reading by reading, ``--seed`` draws others. References depend on prior
set, physics and virtual cars, not on the network: they are kept in the cache folder, so that after a change of the
model only its own side is worked out anew.

Errors of instruments, slips and what differs between two readings are those of the prior set and the virtual cars.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the products are small
sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from faultnet.cache import cache_folder, code_hash
from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.evidence import evidence_of, instrument_of, module_offset, slip_of
from faultnet.inference.evidence import log_background
from faultnet.inference.visit import compile_visit
from faultnet.model.build import build_network, quantity_of
from faultnet.model.network import Array, Network
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test
from faultnet.simulation.car.world import draw_car, draw_conditions, draw_vehicle, measure
from tests.bench.many_cars import CHOICES, Cars, Rows
from tests.bench.reference import SMOOTH, Estimate, Question, estimate, fit_of

SEED = 20261127
SIZES = (1, 2, 3, 6)
PAIRS, QUICK_PAIRS = 80, 12  # of each size
MAY_STAY_ROUGH = 0.05  # share of the pairs whose reference may stay above the error it should have
REPEATED = (0.85, 0.90, 0.87)  # [V] from the engine to the negative clamp
DIESEL = Car(Battery(730.0, "EN"), "diesel", 2.1)
COOL = Conditions(air_temperature=7.0)
REPEATS_DRAWN = 400_000  # cars for each mode of the ground path
FAR_OUT = 3.0  # standard deviations from a sound ground path to one that drops so much


@dataclass(frozen=True)
class Pair:
    """Two hypotheses about one car that was measured.

    Parameters
    ----------
    seed, number : int
        Of the case; they make its random stream.
    readings : tuple of Reading
    truth, rival : tuple of (component, mode)
        The fault; empty for a sound car.
    """

    seed: int
    number: int
    car: Car
    conditions: Conditions
    readings: tuple[Reading, ...]
    truth: tuple[str, ...]
    rival: tuple[str, ...]


@dataclass(frozen=True)
class Compared:
    """A pair with both log likelihood ratios [nat] and the error of the reference."""

    size: int
    number: int
    tests: tuple[str, ...]
    truth: str
    rival: str
    model: float
    reference: float
    error: float
    moved: bool

    @property
    def net(self) -> float:
        """Distance of the two, net of the reference's error [nat]."""
        return float(np.sqrt(max((self.model - self.reference) ** 2 - self.error**2, 0.0)))


def tests_of(catalogue: Catalogue) -> list[Test]:
    """Tests whose answers the physics gives; what comes from a table of counts is the same on both sides."""
    return [t for t in catalogue.tests if t.kind == "number" or t.quantity in CHOICES]


def bears_on(network: Network, quantity: str) -> frozenset[str]:
    """Components that a quantity depends on, also through the charge the car came with."""
    seen: set[str] = set()
    pending = [quantity]
    while pending:
        name = pending.pop()
        if name not in seen:
            seen.add(name)
            pending += () if network.nodes[name].layer == "component" else network.nodes[name].parents
    return frozenset(n for n in seen if network.nodes[n].layer == "component")


def drawn_pair(catalogue: Catalogue, seed: int, number: int) -> tuple[Pair, Network]:
    """Draw a car with one fault, measure it, and draw a rival."""
    size = SIZES[number % len(SIZES)]
    rng = np.random.default_rng([seed, number])
    car = draw_vehicle(rng)
    conditions = draw_conditions(rng, car)
    network = build_network(Setting(car, conditions, catalogue))
    faults = [(c.id, m.id) for c in catalogue.components if c.id != "unlisted" for m in c.modes[1:]]
    truth = faults[int(rng.integers(len(faults)))]
    tests = tests_of(catalogue)
    quantities = {t.id: quantity_of(t, catalogue.instrument(t.instruments[0])) for t in tests}
    behind = {t.id: bears_on(network, quantities[t.id]) for t in tests}
    telling = [t for t in tests if truth[0] in behind[t.id]] or tests
    chosen: list[Test] = []
    while len(chosen) < size:
        among = telling if not chosen or rng.random() < 0.5 else tests
        test = among[int(rng.integers(len(among)))]
        if all(quantities[test.id] != quantities[other.id] for other in chosen):
            chosen.append(test)
        elif len(telling) <= len(chosen):
            telling = tests
    vehicle = draw_car(rng, catalogue, car, {truth[0]: truth[1]}, conditions)
    readings = tuple(measure(vehicle, t.id, None, rng) for t in chosen)
    concerned = frozenset[str]().union(*(behind[t.id] for t in chosen))
    rivals = [f for f in faults if f[0] in concerned and f != truth]
    rival = () if rng.random() < 0.5 or not rivals else rivals[int(rng.integers(len(rivals)))]
    return Pair(seed, number, car, conditions, readings, truth, rival), network


def model_logs(catalogue: Catalogue, network: Network, pair: Pair) -> tuple[float, float]:
    """Log likelihood of the readings under truth and rival as the network gives it [nat]."""
    names = network.components
    modes = np.zeros((2, len(names)), dtype=np.int16)
    for row, fault in enumerate((pair.truth, pair.rival)):
        if fault:
            modes[row, names.index(fault[0])] = network.nodes[fault[0]].states.index(fault[1])
    visit = compile_visit(network, names, modes)
    before = [pair.readings[: k + 1] for k in range(len(pair.readings))]
    evidence = [evidence_of(network, catalogue, some[-1], module_offset(catalogue, some)) for some in before]
    weight, scale = visit.stage([e for e in evidence if e is not None])
    truth, rival = np.log((visit.charge_prior * weight).sum(axis=1)) + scale
    return float(truth), float(rival)


def reference_logs(catalogue: Catalogue, network: Network, pair: Pair) -> tuple[Estimate, Estimate]:
    """The same in the continuous physics."""
    setting = Setting(pair.car, pair.conditions, catalogue)
    rng = np.random.default_rng([pair.seed, pair.number, 1])

    def of(fault: tuple[str, ...]) -> Estimate:
        modes = {c: setting.modes(c)[0] for c in network.components}
        if fault:
            modes[fault[0]] = fault[1]
        question = Question(setting, modes, pair.readings, lambda r: _scale(catalogue, network, r))
        return estimate(question, rng, smooth=SMOOTH / np.sqrt(2.0))

    return of(pair.truth), of(pair.rival)


def reference_odds(catalogue: Catalogue, network: Network, pair: Pair) -> tuple[float, float, bool]:
    """Log likelihood ratio in the continuous physics [nat], its error, and whether cars had to be moved."""
    truth, rival = reference_logs(catalogue, network, pair)
    return truth.log - rival.log, float(np.hypot(truth.error, rival.error)), truth.moved or rival.moved


def _scale(catalogue: Catalogue, network: Network, reading: Reading) -> tuple[tuple[float, ...], float]:
    slipped = 0.0 if reading.value is None else slip_of(network, catalogue, reading)
    return _edges(catalogue, network, reading), slipped


def _edges(catalogue: Catalogue, network: Network, reading: Reading) -> tuple[float, ...]:
    test = catalogue.test(reading.test)
    return network.nodes[quantity_of(test, instrument_of(catalogue, test, reading), reading.interval)].edges


class Kept:
    """References worked out before, by what they depend on."""

    def __init__(self, catalogue: Catalogue) -> None:
        here = Path(__file__).parent
        text = "".join((here / f"{n}.py").read_text() for n in ("many_cars", "reference"))
        self.path = cache_folder() / "likelihood_references.jsonl"
        self.made_of = [catalogue.fingerprint, code_hash("physics", "simulation", "instruments.py"), hash_of(text)]
        self.found: dict[str, list[float]] = {}
        if self.path.exists():
            for line in self.path.read_text().splitlines():
                made_of, key, value = json.loads(line)
                if made_of == self.made_of:
                    self.found[key] = value

    def get(self, catalogue: Catalogue, network: Network, pair: Pair) -> tuple[float, float, bool]:
        """The reference of a pair, worked out if need be."""
        edges = [_edges(catalogue, network, r) for r in pair.readings]
        ends = [e[:: max(len(e) - 1, 1)] for e in edges]
        key = hash_of(repr((pair, ends)))
        if key not in self.found:
            self.found[key] = list(reference_odds(catalogue, network, pair))
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with self.path.open("a") as file:
                file.write(json.dumps([self.made_of, key, self.found[key]]) + "\n")
        odds, error, moved = self.found[key]
        return odds, error, bool(moved)


def hash_of(text: str) -> str:
    """A short hash of a text."""
    import hashlib

    return hashlib.sha256(text.encode()).hexdigest()[:24]


def compared(catalogue: Catalogue, seed: int, pairs: int) -> Iterator[Compared]:
    """So many pairs of each size, one after the other."""
    kept = Kept(catalogue)
    for number in range(pairs * len(SIZES)):
        pair, network = drawn_pair(catalogue, seed, number)
        odds, error, moved = kept.get(catalogue, network, pair)
        names = tuple(r.test for r in pair.readings)
        words = [":".join(f) or "sound" for f in (pair.truth, pair.rival)]
        truth, rival = model_logs(catalogue, network, pair)
        yield Compared(len(names), number, names, *words, truth - rival, odds, error, moved)


def reading_by_reading(catalogue: Catalogue, seed: int, number: int) -> Iterator[str]:
    """Lines that say of a pair what each reading alone, and all together, weigh under truth and rival on both sides."""
    pair, network = drawn_pair(catalogue, seed, number)
    alone = [replace(pair, readings=(r,)) for r in pair.readings]
    for some in [*alone, *([pair] if len(alone) > 1 else [])]:
        model, cars = model_logs(catalogue, network, some), reference_logs(catalogue, network, some)
        first = some.readings[0]
        what = f"{first.test} {first.state or first.value}" if len(some.readings) == 1 else "together"
        yield (
            f"    {what:32} truth: model {model[0]:7.2f}, cars {cars[0].log:7.2f}; "
            f"rival: model {model[1]:7.2f}, cars {cars[1].log:7.2f}; "
            f"off by {model[0] - model[1] - cars[0].log + cars[1].log:5.2f}"
        )


def repeats(catalogue: Catalogue) -> dict[str, list[float]]:
    """Belief in a bad ground path after one, two and three readings of its drop: by the model, and continuous.

    By the model within one visit, and with a visit for each, three days apart: the car is the same.
    """
    readings = tuple(Reading("ground_path_drop", value=v) for v in REPEATED)

    def believed(*visits: Visit) -> float:
        return float(work_through(Case(DIESEL, visits), catalogue).belief.marginals()["ground_path"][1:].sum())

    counts = range(1, len(readings) + 1)
    days = [Visit((r,), COOL, f"2026-11-{10 + 3 * k}") for k, r in enumerate(readings)]
    return {
        "model": [believed(Visit(readings[:count], COOL)) for count in counts],
        "model_day_by_day": [believed(*days[:count]) for count in counts],
        "continuous": repeated_in_cars(catalogue, readings),
    }


def repeated_in_cars(catalogue: Catalogue, readings: Sequence[Reading]) -> list[float]:
    """The same belief from cars drawn with any number of faults by the base rates, brought in."""
    setting = Setting(DIESEL, COOL, catalogue)
    network = build_network(setting)
    rng = np.random.default_rng([SEED, 2])
    column = network.components.index("ground_path")
    chances = network.nodes["ground_path"].table
    evidence = [e for r in readings if (e := evidence_of(network, catalogue, r)) is not None]
    heard = [log_background(evidence[:count]) for count in range(len(evidence) + 1)]
    background = np.diff(heard).tolist()  # a fault that is not listed stays what it is as well
    total = np.zeros((len(chances), len(readings)))
    drawn = drawn_modes(network, rng, REPEATS_DRAWN)
    for mode, chance in enumerate(chances):
        drawn[:, column] = mode
        kinds, counts = np.unique(drawn, axis=0, return_counts=True)
        for kind, count in zip(kinds, counts, strict=True):
            total[mode] += chance * _repeated_in(setting, network, kind, int(count), readings, background, rng)
    return [float(t) for t in total[1:].sum(axis=0) / total.sum(axis=0)]


def _repeated_in(
    setting: Setting, network: Network, kind: Array, count: int, readings: Sequence[Reading],
    background: Sequence[float], rng: np.random.Generator,
) -> Array:  # fmt: skip
    """Likelihood of the first one, two ... readings, summed over so many brought-in cars in the same modes."""
    names = {c: setting.modes(c)[int(m)] for c, m in zip(network.components, kind, strict=True)}
    normal = rng.standard_normal((90, count))
    logs = _far_out(normal[0]) + (0.0 if kind.any() else np.log(setting.number("brought_in_when_sound")))
    cars = Cars(setting, names, Rows(normal, {"ground_path resistance sound": 0}))
    found = []
    for k, reading in enumerate(readings):
        spoilt = names["unlisted"] != "absent"
        own = fit_of(cars, [reading], lambda r: _scale(setting.catalogue, network, r), count, first=k).log()
        logs = logs + (background[k] if spoilt else own)
        found.append(float(np.exp(logs).sum()))
    return np.array(found)


def _far_out(normal: Array) -> Array:
    """Move half of some standard normal numbers to where few cars are, and give the log of what each then counts."""
    normal[::2] += FAR_OUT
    return np.asarray(-np.log(0.5 + 0.5 * np.exp(FAR_OUT * normal - 0.5 * FAR_OUT**2)))


def drawn_modes(network: Network, rng: np.random.Generator, count: int) -> np.ndarray:
    """Modes of so many cars by the base rates, shape (cars, components)."""
    names = network.components
    modes = np.zeros((count, len(names)), dtype=np.int64)
    for name in sorted(names, key=lambda n: len(network.nodes[n].parents)):
        node = network.nodes[name]
        given = node.table[(slice(None), *(modes[:, names.index(p)] for p in node.parents))]
        edges = np.cumsum(given.reshape(node.card, -1), axis=0)
        modes[:, names.index(name)] = np.minimum((rng.random(count) > edges).sum(axis=0), node.card - 1)
    return modes


def figures(found: Sequence[Compared]) -> dict[str, float]:
    """Median and 95 % of the net error by number of readings [nat], and the share of references left rough."""
    told: dict[str, float] = {}
    for size in SIZES:
        net = [c.net for c in found if c.size == size]
        told |= {f"median_{size}": float(np.median(net)), f"p95_{size}": float(np.quantile(net, 0.95))}
    told["pairs"] = len(found)
    told["rough_share"] = float(np.mean([c.error > SMOOTH for c in found]))
    told["median_reference_error"] = float(np.median([c.error for c in found]))
    return told


def main() -> int:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help=f"{QUICK_PAIRS} pairs of each size")
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--each", action="store_true", help="print every pair")
    parser.add_argument("--pairs", type=int, default=None, help="pairs of each size")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--apart", type=int, default=0, metavar="N", help="the worst N of each size reading by reading")
    parser.add_argument("--no-repeats", action="store_true")
    told = parser.parse_args()
    catalogue = load_catalogue()
    begin = time.process_time()
    found = []
    for one in compared(catalogue, told.seed, told.pairs or (QUICK_PAIRS if told.quick else PAIRS)):
        found.append(one)
        if told.each:
            print(
                f"{one.size} {one.number:4} {one.net:6.2f}  model {one.model:7.2f}  "
                f"reference {one.reference:7.2f} +- {one.error:.2f}{' m' if one.moved else '  '} "
                f"{one.truth} / {one.rival}: {', '.join(one.tests)}",
                flush=True,
            )
    for size in SIZES:
        worst = sorted((one for one in found if one.size == size), key=lambda one: -one.net)
        for one in worst[: told.apart]:
            print(f"{one.number} {one.net:.2f} {one.truth} / {one.rival}")
            print(*reading_by_reading(catalogue, told.seed, one.number), sep="\n", flush=True)
    result: dict[str, object] = dict(figures(found))
    if not told.no_repeats:
        result["repeats"] = repeats(catalogue)
    result["processor_seconds"] = round(time.process_time() - begin, 1)
    if told.json:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name:24} {value if isinstance(value, dict) else round(float(value), 3)}")  # type: ignore[arg-type]
    for one in found:
        if one.error > SMOOTH:
            print(
                f"too few cars (error {one.error:.2f}): {one.truth} / {one.rival}: {', '.join(one.tests)}",
                file=sys.stderr,
            )
    return int(float(np.mean([c.error > SMOOTH for c in found])) > MAY_STAY_ROUGH)


if __name__ == "__main__":
    raise SystemExit(main())
