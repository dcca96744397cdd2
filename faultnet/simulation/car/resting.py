"""True values behind the tests at rest, on the charger and under a known load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from faultnet.model.source import drawn_down
from faultnet.physics import battery
from faultnet.simulation.car import charge
from faultnet.simulation.car.circuit import battery_under_load, rest_emf
from faultnet.simulation.car.vehicle import VirtualCar

SINGLE_CELL = ("weak_cell", "shorted_cell")
CELLS = 6


def rest_voltage(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Volts at the posts, everything off [V]."""
    volts, share = rest_emf(vehicle), float(ndtr(vehicle.traits["flat_with_load"]))
    lacking = drawn_down(vehicle.setting, np.array(vehicle.charge), np.array(volts), np.array(share))
    return volts - float(lacking) + vehicle.surface


def gravity_level(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Mean specific gravity of the six cells at 25 degC [-].

    Notes
    -----
    A rest voltage lost in all cells goes with its acid strength, dSG = dV / 6 (cell voltage = SG + 0.845, Vinal, from
    memory). One bad cell lies below the other five by the spread of the six readings.
    """
    level = float(battery.specific_gravity(vehicle.charge, vehicle.car.battery.kind))
    if vehicle.active["battery"] in SINGLE_CELL:
        level -= vehicle.value("battery", "gravity_spread") / CELLS
    else:
        level -= vehicle.value("battery", "rest_loss") / CELLS
    return level + vehicle.trait("acid_strength", vehicle.spread("rest_voltage_spread")) / CELLS


def gravity_spread(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Highest less lowest of the six specific gravities [-]."""
    return vehicle.value("battery", "gravity_spread")


def parked_current(vehicle: VirtualCar) -> float:
    """Current while parked and asleep [A]."""
    return vehicle.value("drain", "current") + vehicle.value("rectifier", "leakage")


def overnight_fall(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Rest voltage in the evening less that in the morning [V]."""
    current = parked_current(vehicle)
    after = charge.after_standing(
        vehicle.setting, vehicle.modes, vehicle.parameters, vehicle.charge, current, vehicle.spread("overnight_hours")
    )
    later = replace(vehicle, charge=max(after, -vehicle.spread("past_empty")))
    return rest_emf(vehicle) - rest_emf(later) + vehicle.scattered(rng, vehicle.spread("overnight_readings_spread"))


def source_resistance(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Change of volts over change of current between two loads held for some ten seconds [ohm]."""
    _, ohmic, polarisation = battery_under_load(vehicle)
    return ohmic + polarisation * float(rng.uniform(0.6, 1.0))


def conductance_rating(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Cranking amperes a small-signal tester shows [A].

    Notes
    -----
    The rating times the ohmic resistance of a new full battery over that of this one, to the power 0.95 (estimate).
    """
    _, ohmic, _ = battery_under_load(vehicle)
    new = battery.ohmic_resistance(vehicle.setting.rating, vehicle.setting.electrolyte)
    shown = vehicle.setting.rating * float((float(new) / ohmic) ** vehicle.spread("conductance_exponent"))
    return shown * float(np.exp(vehicle.scattered(rng, vehicle.spread("conductance_spread"))))


def half_rating_voltage(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Volts at the posts after 15 s at half the rating [V]."""
    emf, ohmic, polarisation = battery_under_load(vehicle)
    current = 0.5 * vehicle.setting.rating
    current *= np.exp(vehicle.scattered(rng, vehicle.spread("half_rating_current_spread")))
    developed = ohmic + battery.polarisation_share(vehicle.spread("half_rating_time")) * polarisation
    return float(battery.load_voltage(emf, developed, current))


def accepted_current(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Current into the battery at a held 14.4 V after ten minutes [A]."""
    setting = vehicle.setting
    taken = battery.acceptance_current(
        vehicle.charge,
        setting.capacity,
        setting.electrolyte,
        vehicle.spread("charger_volts"),
        vehicle.value("battery", "acceptance_factor"),
    )
    return float(taken * np.exp(vehicle.trait("acceptance", vehicle.spread("acceptance_rest_spread"))))


def hold_after_charge(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Volts at the posts of the parted battery half a day after a full charge [V]."""
    accepting = vehicle.value("battery", "acceptance_factor")
    full = charge.charge_when_full(rng, vehicle.setting, accepting)
    hours = vehicle.spread("hold_hours")
    held = charge.after_standing(vehicle.setting, vehicle.modes, vehicle.parameters, full, 0.0, hours)
    kind = vehicle.car.battery.kind
    volts = float(battery.open_circuit_voltage(held, vehicle.setting.electrolyte, kind))
    surface = charge.surface_after_charging(rng, vehicle.setting, vehicle.world)
    volts += charge.surface_left(vehicle.setting, surface, hours)
    return (
        volts
        - vehicle.value("battery", "rest_loss")
        + vehicle.trait("acid_strength", vehicle.spread("rest_voltage_spread"))
    )


def module_offset(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Module's volts less the posts' at rest [V]."""
    mean, spread = vehicle.spread("module_offset_mean"), vehicle.spread("module_offset_spread")
    return mean + vehicle.trait("module_offset", spread)


def socket_offset(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Accessory socket's volts less the posts' at rest [V]."""
    mean, spread = vehicle.spread("socket_offset_mean"), vehicle.spread("socket_offset_spread")
    return mean + vehicle.trait("socket_offset", spread)
