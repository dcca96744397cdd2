"""Every number against every mode that shifts it: where the odds of a mode fall although a reading is more extreme.

``python tests/bench/extremes.py`` sweeps each number from the edge of the sound range to the 99 % point of each mode's
own readings, on an invented petrol car in mild weather and a diesel in the cold, with every instrument, and prints how
many pairs fall by more than 0.1 nat however far the odds count, and as far as a factor of 20; then the pairs.
``--enough NAT`` counts the odds further or less far.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from faultnet.case.types import Battery, Car, Conditions
from faultnet.model.build import build_network
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from tests.extremes import ENOUGH, sweeps

POINTS = 48
LEAST = 0.1
CARS = {
    "petrol, 20 degC": (Car(Battery(600.0, age=5.0)), Conditions(air_temperature=20.0, hours_standing=12.0)),
    "diesel, -10 degC": (
        Car(Battery(800.0, "EN", age=5.0), "diesel", 2.0),
        Conditions(air_temperature=-10.0, hours_standing=12.0),
    ),
}


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--enough", type=float, default=ENOUGH, help="how far odds count [nat]")
    enough = asked.parse_args().enough
    catalogue = load_catalogue()
    for name, (car, conditions) in CARS.items():
        network = build_network(Setting(car, conditions, catalogue))
        found = list(sweeps(network, catalogue, POINTS, every_instrument=True))
        counts = {far: sum(s.fall(far) > LEAST for s in found) for far in (enough, float("inf"))}
        print(f"\n{name}: {len(found)} pairs; fall by more than {LEAST} nat: {counts[enough]} of them up to "
              f"{enough:.1f} nat, {counts[float('inf')]} however far odds count")  # fmt: skip
        for sweep in sorted((s for s in found if s.fall(enough) > LEAST), key=lambda s: -s.fall(enough)):
            print(f"  {sweep.fall(enough):5.2f} {sweep.test:26s} {sweep.instrument:22s} {':'.join(sweep.mode):32s} "
                  f"{sweep.side} {sweep.readings[0]:.3g} to {sweep.readings[-1]:.3g}")  # fmt: skip


if __name__ == "__main__":
    main()
