"""True values behind the tests of the charging side, engine running."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from faultnet.model.charging import load_responsive_command, loads_on
from faultnet.physics import battery, charging
from faultnet.physics.quantity import Quantity
from faultnet.simulation.car.charge import SUPPLY_PARTS
from faultnet.simulation.car.circuit import battery_under_load, rest_emf
from faultnet.simulation.car.vehicle import VirtualCar


@dataclass(frozen=True)
class Balance:
    """Volts at the posts [V], alternator current and current into the battery [A] in one running state."""

    volts: Quantity
    current: Quantity
    into_battery: Quantity


def balance(vehicle: VirtualCar, state: str) -> Balance:
    """Solve the charging circuit in one of the four ways it is looked at.

    Parameters
    ----------
    vehicle : VirtualCar
    state : str
        One of :data:`faultnet.model.charging.STATES`.
    """
    setting = vehicle.setting
    emf = rest_emf(vehicle)
    accepted = battery.acceptance_current(
        np.minimum(vehicle.charge, 0.985), setting.capacity, setting.electrolyte, vehicle.number("charger_volts"),
        vehicle.value("battery", "acceptance_factor"),
    )  # fmt: skip
    accepted = accepted * np.exp(vehicle.trait("acceptance", vehicle.number("acceptance_rest_spread")))
    _, ohmic, polarisation = battery_under_load(vehicle)
    taking = np.maximum(accepted, vehicle.number("taken_least"))
    volts, current, into = charging.charging_voltage(
        regulated(vehicle, state), capability(vehicle, state), load(vehicle, state), emf,
        charging.charging_resistance(taking, emf), vehicle.value("charge_cable", "resistance"), ohmic + polarisation,
    )  # fmt: skip
    return Balance(volts, current, into)


def regulated(vehicle: VirtualCar, state: str) -> Quantity:
    """Set point of the regulator at its temperature, with what a load-responsive control commands [V]."""
    warm = vehicle.setting.air + vehicle.number("regulator_temperature_rise") * _share(
        vehicle.traits["regulator_warmth"]
    )
    if state == "charge_hot":
        warm = vehicle.number("regulator_temperature_hot") + vehicle.trait(
            "hot_regulator", vehicle.number("regulator_temperature_hot_spread")
        )
    shift = vehicle.value("regulator", "set_point_shift") + vehicle.value("charge_control", "set_point_shift")
    if vehicle.car.charge_control == "load_responsive":
        middle, spread = load_responsive_command(vehicle.setting, state)
        shift = shift + middle + vehicle.trait(f"command {state}", spread)
    return vehicle.setting.regulated(warm) + shift


def _share(normal: float) -> float:
    """A standard normal number squeezed into 0 to 1 [-]."""
    squeezed: float = 1.0 / (1.0 + np.exp(-1.7 * normal))
    return squeezed


def capability(vehicle: VirtualCar, state: str) -> Quantity:
    """Largest alternator current at the engine's speed [A]."""
    engine = vehicle.number("raised_speed")
    if state == "charge_idle":
        engine = vehicle.number("idle_speed") + vehicle.trait("idle_speed", vehicle.number("idle_speed_spread"))
    ratio = vehicle.number("pulley_ratio_mean")
    ratio = ratio * np.exp(vehicle.trait("pulley_ratio", vehicle.number("pulley_ratio_spread")))
    speed = charging.alternator_speed(engine, ratio)
    most = charging.output_capability(speed, vehicle.car.alternator_rating)
    begins = charging.begins_to_charge(vehicle.value("charge_control", "excited_from"), vehicle.car.charge_control)
    excited = speed >= begins
    return np.where(excited, most * output_share(vehicle), 0.0)


def output_share(vehicle: VirtualCar) -> Quantity:
    """Share of its output that the alternator can give at this visit once it is excited [-]."""
    return np.asarray(math.prod(vehicle.value(part, "output_factor") for part in SUPPLY_PARTS))


def load(vehicle: VirtualCar, state: str) -> Quantity:
    """Current of the consumers [A]."""
    if state == "charge_loaded":
        many = np.exp(vehicle.trait("many_loads", vehicle.number("load_on_ln_spread")))
        return np.asarray(loads_on(vehicle.setting) * many)
    few = np.exp(vehicle.trait("few_loads", vehicle.number("load_base_ln_spread")))
    return np.asarray(vehicle.number("load_base") * few)


def volts(vehicle: VirtualCar, rng: np.random.Generator, state: str) -> Quantity:
    """Volts at the posts in one running state [V]."""
    return balance(vehicle, state).volts + vehicle.scattered(rng, vehicle.number("charge_volts_spread"))


def alternator_current(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Current in the alternator's heavy lead, all loads on [A]."""
    return balance(vehicle, "charge_loaded").current + vehicle.scattered(
        rng, vehicle.number("alternator_current_spread")
    )


def cable_drop(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts from the alternator's stud to the positive post, loads on [V].

    Notes
    -----
    Behind an open cable the alternator holds its set point alone, or nothing where it is not driven or excited.
    """
    found = balance(vehicle, "charge_loaded")
    drop = found.current * vehicle.value("charge_cable", "resistance")
    return drop + vehicle.scattered(rng, vehicle.number("charge_cable_drop_spread"))


def ground_drop(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts from the alternator's case to the negative post, loads on [V].

    Notes
    -----
    The whole current crosses the engine's strap; only what goes into the battery crosses its negative joint.
    """
    found = balance(vehicle, "charge_loaded")
    drop = found.current * vehicle.value("ground_path", "resistance")
    drop = drop + np.maximum(found.into_battery, 0.0) * vehicle.value("negative_joint", "resistance")
    return drop + vehicle.scattered(rng, vehicle.number("charge_ground_drop_spread"))


def ripple(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Alternating volts at the posts, loads on [V rms]."""
    found = balance(vehicle, "charge_loaded")
    full = vehicle.value("rectifier", "ripple") * vehicle.value("alternator", "ripple_factor")
    share = np.minimum(found.current / vehicle.number("ripple_full_from"), 1.0)
    return np.maximum(full * share, vehicle.number("ripple_least"))
