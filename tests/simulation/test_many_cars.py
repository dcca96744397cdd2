"""The vectorised cars of the bench are the virtual cars: the same values for the same parameters, drawn alike."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.simulation.car import answers
from faultnet.simulation.car import measure as single
from faultnet.simulation.car.causes import completed
from faultnet.simulation.car.charge import supply_word
from faultnet.simulation.car.world import VirtualCar, draw_car
from tests.bench import many_cars
from tests.bench.many_cars import Cars, Rows

CATALOGUE = load_catalogue()
NUMBER_TESTS = [t for t in CATALOGUE.tests if t.kind == "number"]
CHARGING = "charge_loaded_voltage"
COLD = Conditions(air_temperature=4.0)
DIESEL = Car(Battery(720.0, "EN", age=6.0), "diesel", 2.0, 4, 120.0)
FAULTS: tuple[dict[str, str], ...] = (
    {},
    {"battery": "weak_cell", "ground_path": "high_resistance"},
    {"battery": "shorted_cell", "negative_joint": "slack"},
    {"battery": "broken_link", "use": "short_trips"},
    {"solenoid": "weak_winding", "drain": "heavy"},
    {"start_control": "open", "rectifier": "leaking_diode"},
    {"starter_motor": "dragging", "alternator": "worn_brushes"},
    {"engine_turning": "seized", "charge_cable": "high_resistance"},
    {"use": "left_on", "charge_control": "wrong_command"},
)


class Still(np.random.Generator):
    """A generator without chance: normal numbers are nought, others in the middle of their range."""

    def __init__(self) -> None:
        super().__init__(np.random.PCG64(0))

    def standard_normal(self, *_: Any, **__: Any) -> Any:
        return 0.0

    def random(self, *_: Any, **__: Any) -> Any:
        return 0.5

    def uniform(self, low: Any = 0.0, high: Any = 1.0, *_: Any, **__: Any) -> Any:
        return 0.5 * (low + high)


def as_cars(vehicle: VirtualCar) -> Cars:
    """One virtual car as an array of one."""
    setting = Setting(vehicle.car, vehicle.conditions, CATALOGUE)
    known = {"/".join(key): np.array([value]) for key, value in vehicle.parameters.items()}
    known |= {f"on {c}": np.array([float(vehicle.active[c] == vehicle.modes[c])]) for c in vehicle.modes}
    known |= {
        "charge": np.array([vehicle.charge]),
        "surface": np.array([vehicle.surface]),
        "hours": np.array([vehicle.hours_standing]),
        "electrolyte": np.array([vehicle.setting.electrolyte]),
        "sticks": np.array([float(vehicle.sticks)]),
    }

    def normal(name: str) -> np.ndarray:
        word, _, trait = name.partition(" ")
        assert word in ("trait", "reading")
        return np.array([vehicle.traits[trait] if word == "trait" else 0.0])

    return Cars(setting, vehicle.modes, normal, known)


@pytest.mark.parametrize("faults", FAULTS, ids=lambda f: "_".join(f) or "sound")
def test_same_parameters_same_values(faults: dict[str, str]) -> None:
    """Every number that can be measured is that of the single car, to rounding, on and off."""
    rng = np.random.default_rng(11)
    for _ in range(6):
        vehicle = draw_car(rng, CATALOGUE, DIESEL, faults, COLD)
        cars = as_cars(vehicle)
        for test in NUMBER_TESTS:
            instrument = CATALOGUE.instrument(test.instruments[0])
            alone = single.true_value(vehicle, Still(), test, instrument, 0.01)
            if test.quantity != "module_offset":
                alone += single.place_offset(vehicle, Still(), instrument)
            together = many_cars.true_value(cars, test, instrument, 0.01)[0]
            assert together[0] == pytest.approx(alone, rel=1e-9, abs=1e-9), test.id


def test_same_chances_of_what_is_heard_and_seen() -> None:
    """How often each word is drawn for a single car is the chance given for it."""
    rng = np.random.default_rng(12)
    for faults in FAULTS[:5]:
        vehicle = draw_car(rng, CATALOGUE, DIESEL, faults, COLD)
        cars = as_cars(vehicle)
        for alone, together in ((answers.heard, many_cars.heard), (answers.lamps, many_cars.lamps)):
            said = [alone(vehicle, rng) for _ in range(300)]
            for state, chance in together(cars).items():
                assert said.count(state) / 300 == pytest.approx(float(chance[0]), abs=0.12)


@pytest.mark.parametrize("faults", [{}, {"use": "left_on"}, {"alternator": "worn_brushes"}, {"drain": "stays_awake"}])
def test_drawn_alike(faults: dict[str, str]) -> None:
    """Charge, surface charge, cranking current and charging volts have the distribution of cars drawn one by one."""
    rng = np.random.default_rng(13)
    setting = Setting(DIESEL, COLD, CATALOGUE)
    modes = completed(CATALOGUE, faults)
    cars = Cars(setting, modes, Rows(rng.standard_normal((100, 20_000))))
    singles = [draw_car(rng, CATALOGUE, DIESEL, faults, COLD) for _ in range(300)]
    assert {supply_word(v.setting, v.modes, v.parameters) for v in singles} <= {"good", "weak", "none", "over"}
    for many, one in (
        (cars.charge, [v.charge for v in singles]),
        (cars.surface, [v.surface for v in singles]),
        (cars.setting.electrolyte, [v.setting.electrolyte for v in singles]),
        *((_together(cars, test), [_alone(v, test) for v in singles]) for test in ("crank_current", CHARGING)),
    ):
        for share in (0.1, 0.3, 0.5, 0.7, 0.9):
            edge = np.quantile(many, share)
            below = np.mean(np.asarray(one) < edge) + 0.5 * np.mean(np.asarray(one) == edge)
            expected = np.mean(many < edge) + 0.5 * np.mean(many == edge)
            assert below == pytest.approx(expected, abs=0.1)


def _alone(vehicle: VirtualCar, test: str) -> float:
    found = CATALOGUE.test(test)
    return float(single.true_value(vehicle, Still(), found, CATALOGUE.instrument(found.instruments[0])))


def _together(cars: Cars, test: str) -> np.ndarray:
    found = CATALOGUE.test(test)
    return many_cars.true_value(cars, found, CATALOGUE.instrument(found.instruments[0]))[0]
