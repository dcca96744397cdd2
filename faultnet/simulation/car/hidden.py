"""What a virtual car has for each hidden node that a law may depend on, and a law's value on it."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from faultnet.model import quantity
from faultnet.model.quantity import Law
from faultnet.physics import battery
from faultnet.physics.quantity import Quantity
from faultnet.simulation.car.circuit import battery_under_load, cable_resistance, solve_circuit, turning_load
from faultnet.simulation.car.running import balance, regulated
from faultnet.simulation.car.vehicle import VirtualCar


def acceptance(vehicle: VirtualCar) -> Quantity:
    """Current the battery takes at 14.4 V, some minutes into charging, per ampere hour [A/Ah]."""
    setting, factor = vehicle.setting, vehicle.value("battery", "acceptance_factor")
    taken = battery.acceptance_current(
        vehicle.charge, setting.capacity, setting.electrolyte, vehicle.number("charger_volts"), factor
    )
    unlike = np.exp(vehicle.trait("acceptance", vehicle.number("acceptance_rest_spread")))
    return np.asarray(taken * unlike / setting.capacity)


def source_factor(vehicle: VirtualCar) -> Quantity:
    """Resistance of the battery over that of a new one [-]."""
    _, ohmic, polarisation = battery_under_load(vehicle)
    return (ohmic + polarisation) / vehicle.setting.source_resistance


def charge_cable_resistance(vehicle: VirtualCar) -> Quantity:
    """Resistance between alternator and battery [ohm]."""
    return vehicle.value("charge_cable", "resistance")


HIDDEN: dict[str, Callable[[VirtualCar], Quantity]] = {
    "charge": lambda vehicle: vehicle.charge,
    "surface": lambda vehicle: vehicle.surface,
    "source_emf": lambda vehicle: solve_circuit(vehicle).emf,
    "source_factor": source_factor,
    "source_factor_fine": source_factor,
    "positive_joint_resistance": lambda vehicle: vehicle.value("positive_joint", "resistance"),
    "negative_joint_resistance": lambda vehicle: vehicle.value("negative_joint", "resistance"),
    "starter_cable_resistance": cable_resistance,
    "ground_path_resistance": lambda vehicle: vehicle.value("ground_path", "resistance"),
    "starter_motor_resistance": lambda vehicle: vehicle.value("starter_motor", "brush_resistance"),
    "turning_load": turning_load,
    "set_point": lambda vehicle: regulated(vehicle, "charge_unloaded"),
    "charge_cable_resistance": charge_cable_resistance,
    "charge_cable_resistance_fine": charge_cable_resistance,
    "acceptance_fine": acceptance,
    "alternator_level": lambda vehicle: balance(vehicle, "charge_loaded").current,
}


def by_law(vehicle: VirtualCar, rng: np.random.Generator, read: quantity.Quantity, law: Law) -> Quantity:
    """True value of a quantity that a law gives, with what the law leaves out [unit of the quantity]."""
    values = {name: HIDDEN[name](vehicle) for name in read.depends_on if name in quantity.SCALES}
    values |= {f"{component}_{parameter}": vehicle.value(component, parameter) for component, parameter in law.draws}
    value = law.of(vehicle.setting, **values)
    return value if law.scatter is None else value + vehicle.scattered(rng, vehicle.number(law.scatter))
