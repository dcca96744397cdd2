"""The same start seen by a fast and by a slow recorder, through the diagnosis: are beliefs overconfident?

Run `python tests/bench/recorded_pairs.py --cars 500`; `--json` prints the figures. Cars with drawn faults come from
`faultnet.simulation`, whose physics is not binned and not taken from the network's tables. For each recorder: the
share of cars whose smallest set of modes with 90 % of the belief holds the true mode, and the mean belief in the true
mode beside the mean that a calibrated belief would have (the sum of squares of the belief). The third line is what
the adapter's reading would do if nobody knew how seldom it samples."""

from __future__ import annotations

import argparse
import json

import numpy as np

from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis.diagnose import work_through
from faultnet.prior_set import load_catalogue
from faultnet.simulation import draw_car, measure

INTERVALS = {"scope": 1e-3, "adapter": 0.2}  # [s]; the fastest that the network tells apart stands for the scope
CLAIMS = {"scope": ("scope", 1e-3), "adapter": ("adapter", 0.2), "adapter_taken_for_scope": ("adapter", 1e-3)}
COMPONENTS = ("battery", "positive_joint", "negative_joint", "ground_path", "starter_cable", "solenoid",
              "starter_motor", "engine_turning")  # fmt: skip
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0, label="invented")


def holds(belief: np.ndarray, true: int) -> bool:
    """Say whether the smallest set with 90 % of a belief holds a mode."""
    order = np.argsort(-belief)
    count = int(np.searchsorted(np.cumsum(belief[order]), 0.9 - 1e-12)) + 1
    return true in order[:count]


def run(cars: int, seed: int) -> dict[str, dict[str, float]]:
    """Diagnose that many cars from one recorded lowest voltage each."""
    catalogue = load_catalogue()
    modes = {c.id: [m.id for m in c.modes] for c in catalogue.components}
    found: dict[str, list[tuple[bool, float, float]]] = {name: [] for name in CLAIMS}
    for k in range(cars):
        rng = np.random.default_rng([seed, k])
        air = (-5.0, 10.0, 25.0)[k % 3]
        vehicle = draw_car(rng, catalogue, CAR, conditions=Conditions(air_temperature=air))
        read = {
            name: measure(vehicle, "recorded_lowest", "recorder", rng, interval=interval).value
            for name, interval in INTERVALS.items()
        }
        for name, (recorder, interval) in CLAIMS.items():
            entry = Reading("recorded_lowest", value=read[recorder], instrument="recorder", interval=interval)
            case = Case(CAR, visits=(Visit(conditions=Conditions(air_temperature=air), entries=(entry,)),))
            marginals = work_through(case, catalogue).belief.marginals()
            for component in COMPONENTS:
                belief, true = marginals[component], modes[component].index(vehicle.modes[component])
                found[name].append((holds(belief, true), float(belief[true]), float(belief @ belief)))
    return {name: _summed(rows, cars) for name, rows in found.items()}


def _summed(rows: list[tuple[bool, float, float]], cars: int) -> dict[str, float]:
    held, of_truth, calibrated = np.mean(np.array(rows, dtype=float), axis=0)
    return {"cars": cars, "set_90_holds": float(held), "belief_in_truth": float(of_truth),
            "calibrated": float(calibrated)}  # fmt: skip


def main() -> None:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=500)
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    result = run(options.cars, options.seed)
    print(json.dumps(result) if options.json else "\n".join(f"{name}: {row}" for name, row in result.items()))


if __name__ == "__main__":
    main()
