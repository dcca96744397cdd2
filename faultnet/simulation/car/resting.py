"""True values behind the tests at rest, on the charger and under a known load."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from faultnet.model.source import drawn_down
from faultnet.physics import battery
from faultnet.physics.quantity import Quantity
from faultnet.simulation.car import charge
from faultnet.simulation.car.circuit import battery_under_load, rest_emf
from faultnet.simulation.car.vehicle import VirtualCar

SINGLE_CELL = ("weak_cell", "shorted_cell")
CELLS = 6


def rest_voltage(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the posts, everything off [V]."""
    volts, share = np.asarray(rest_emf(vehicle)), np.asarray(ndtr(vehicle.traits["flat_with_load"]))
    return volts - drawn_down(vehicle.setting, np.asarray(vehicle.charge), volts, share) + vehicle.surface


def gravity_level(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Mean specific gravity of the six cells at 25 degC [-].

    Notes
    -----
    A rest voltage lost in all cells goes with its acid strength, dSG = dV / 6 (cell voltage = SG + 0.845, Vinal, from
    memory). One bad cell lies below the other five by the spread of the six readings.
    """
    level = battery.specific_gravity(vehicle.charge, vehicle.car.battery.kind)
    alike, single = vehicle.value("battery", "rest_loss"), vehicle.value("battery", "gravity_spread")
    lost = np.where(vehicle.acts_in("battery", *SINGLE_CELL), single, alike)
    return level + (vehicle.trait("acid_strength", vehicle.number("rest_voltage_spread")) - lost) / CELLS


def gravity_spread(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Highest less lowest of the six specific gravities [-]."""
    return vehicle.value("battery", "gravity_spread")


def parked_current(vehicle: VirtualCar) -> float:
    """Current while parked and asleep [A]."""
    return vehicle.value("drain", "current") + vehicle.value("rectifier", "leakage")


def draw_at_once(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Current with the key off before the modules sleep [A]: what is still awake differs from reading to reading."""
    awake = vehicle.number("awake_draw") * np.exp(vehicle.scattered(rng, vehicle.number("awake_draw_ln_spread")))
    return np.asarray(parked_current(vehicle) + awake)


def overnight_fall(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Rest voltage in the evening less that in the morning [V]."""
    current = parked_current(vehicle)
    after = charge.after_standing(
        vehicle.setting, vehicle.modes, vehicle.parameters, vehicle.charge, current, vehicle.number("overnight_hours")
    )
    fall = rest_emf(vehicle) - rest_emf(vehicle, np.maximum(after, -vehicle.number("past_empty")))
    return fall + vehicle.scattered(rng, vehicle.number("overnight_readings_spread"))


def source_resistance(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Change of volts over change of current between two loads held for some ten seconds [ohm]."""
    _, ohmic, polarisation = battery_under_load(vehicle)
    return ohmic + polarisation * rng.uniform(0.6, 1.0)


def conductance_rating(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Cranking amperes a small-signal tester shows [A].

    Notes
    -----
    The rating times the ohmic resistance of a new full battery over that of this one, to the power 0.95 (estimate).
    """
    _, ohmic, _ = battery_under_load(vehicle)
    new = battery.ohmic_resistance(vehicle.setting.rating, vehicle.setting.electrolyte)
    shown = vehicle.setting.rating * (new / ohmic) ** vehicle.number("conductance_exponent")
    return np.asarray(shown * np.exp(vehicle.scattered(rng, vehicle.number("conductance_spread"))))


def half_rating_voltage(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the posts after 15 s at half the rating [V]."""
    emf, ohmic, polarisation = battery_under_load(vehicle)
    current = 0.5 * vehicle.setting.rating
    current = current * np.exp(vehicle.scattered(rng, vehicle.number("half_rating_current_spread")))
    developed = ohmic + battery.polarisation_share(vehicle.number("half_rating_time")) * polarisation
    return battery.load_voltage(emf, developed, current)


def accepted_current(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Current into the battery at a held 14.4 V after ten minutes [A]."""
    setting = vehicle.setting
    taken = battery.acceptance_current(
        vehicle.charge,
        setting.capacity,
        setting.electrolyte,
        vehicle.number("charger_volts"),
        vehicle.value("battery", "acceptance_factor"),
    )
    return np.asarray(taken * np.exp(vehicle.trait("acceptance", vehicle.number("acceptance_rest_spread"))))


def hold_after_charge(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the posts of the parted battery half a day after a full charge [V]."""
    accepting = charge.accepting_of_its_own(vehicle.modes, vehicle.parameters)
    full = charge.charge_when_full(rng, vehicle.setting, accepting)
    hours = vehicle.number("hold_hours")
    held = charge.after_standing(vehicle.setting, vehicle.modes, vehicle.parameters, full, 0.0, hours)
    kind = vehicle.car.battery.kind
    volts = battery.open_circuit_voltage(held, vehicle.setting.electrolyte, kind)
    surface = charge.surface_after_charging(rng, vehicle.setting, vehicle.world)
    volts = volts + charge.surface_left(vehicle.setting, surface, hours)
    return (
        volts
        - vehicle.value("battery", "rest_loss")
        + vehicle.trait("acid_strength", vehicle.number("rest_voltage_spread"))
    )


def module_offset(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Module's volts less the posts' at rest [V]."""
    mean, spread = vehicle.number("module_offset_mean"), vehicle.number("module_offset_spread")
    return mean + vehicle.trait("module_offset", spread)


def socket_offset(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Accessory socket's volts less the posts' at rest [V]."""
    mean, spread = vehicle.number("socket_offset_mean"), vehicle.number("socket_offset_spread")
    return mean + vehicle.trait("socket_offset", spread)
