"""The starting circuit of a virtual car at one attempt, solved by the continuous physics.

A car's numbers may be arrays, one value for each of many cars; so may then be what is given back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.physics import battery, conductors, cranking
from faultnet.physics.quantity import Quantity
from faultnet.physics.resistance import OHMIC_SHARE, OHMIC_SHARE_WITHIN
from faultnet.simulation.car.vehicle import VirtualCar


@dataclass(frozen=True)
class Circuit:
    """What the loop is made of, and how a start in it looks.

    Parameters
    ----------
    emf : float or array
        Under load, with what bad cells give up at once [V].
    ohmic, polarisation : float or array
        Of the battery, link between the cells included [ohm].
    positive_joint, cable, contact, negative_joint, ground, brushes : float or array
        [ohm].
    moved : bool or array
        Whether the solenoid closed its contacts.
    pull_in : float or array
        Volts at the control terminal before the contacts close [V].
    coil : float or array
        Current of the solenoid's windings while the key is held at start [A].
    unlike : float or array
        What this car's battery loses while it cranks over what the model says [-], at every reading.
    start : cranking.Start
        Of the closed loop.
    """

    emf: Quantity
    ohmic: Quantity
    polarisation: Quantity
    positive_joint: Quantity
    cable: Quantity
    contact: Quantity
    negative_joint: Quantity
    ground: Quantity
    brushes: Quantity
    moved: bool | NDArray[np.bool_]
    pull_in: Quantity
    coil: Quantity
    unlike: Quantity
    start: cranking.Start

    @property
    def current(self) -> Quantity:
        """Sustained current through the motor [A]; none where the contacts did not close."""
        return self.start.current * np.asarray(self.moved)

    @property
    def drawn(self) -> Quantity:
        """Sustained current of motor or windings from the battery [A]."""
        return np.where(self.moved, self.current, self.coil)

    @property
    def developed(self) -> Quantity:
        """Resistance of the battery in the first second [ohm]."""
        return self.ohmic + float(battery.polarisation_share(0.0)) * self.polarisation

    @property
    def posts(self) -> Quantity:
        """Sustained volts at the posts by the model alone [V]."""
        return self.emf - self.drawn * self.developed

    @property
    def held(self) -> Quantity:
        """Sustained volts at this car's posts [V]; what is fed by the same wires sees them too."""
        return self.emf - (self.emf - self.posts) * self.unlike

    @property
    def clamps(self) -> Quantity:
        """Sustained volts between this car's cable clamps [V]."""
        return self.held - self.drawn * (self.positive_joint + self.negative_joint)

    @property
    def loop(self) -> Quantity:
        """Resistance outside battery and motor windings [ohm]."""
        negative = self.negative_joint + self.ground
        return self.positive_joint + self.cable + self.contact + negative + self.brushes


def battery_under_load(vehicle: VirtualCar) -> tuple[Quantity, Quantity, Quantity]:
    """EMF with all that bad cells give up within 15 s [V], ohmic and polarisation resistance [ohm]."""
    setting = vehicle.setting
    emf = rest_emf(vehicle) - vehicle.value("battery", "load_loss")
    factor = vehicle.value("battery", "resistance_factor") * battery.charge_factor(vehicle.charge)
    factor = factor * (1.0 + vehicle.number("resistance_rise_past_empty") * np.maximum(-vehicle.charge, 0.0))
    total = factor * setting.source_resistance
    share = OHMIC_SHARE * np.exp(vehicle.trait("ohmic_share", vehicle.number("resistance_split_spread")))
    share = np.clip(share, *OHMIC_SHARE_WITHIN)
    link = vehicle.value("battery", "link_resistance")
    return emf, share * total + link, (1.0 - share) * total


def rest_emf(vehicle: VirtualCar, held: Quantity | None = None) -> Quantity:
    """Rest voltage without surface charge [V], at the charge it has or would have at another."""
    held = vehicle.charge if held is None else held
    kind = vehicle.car.battery.kind
    full = battery.open_circuit_voltage(held, vehicle.setting.electrolyte, kind)
    name = "agm_rest_voltage_spread" if kind == "agm" else "rest_voltage_spread"
    lost = deep_loss(vehicle, held) + vehicle.value("battery", "rest_loss")
    return full - lost + vehicle.trait("acid_strength", vehicle.number(name))


def deep_loss(vehicle: VirtualCar, held: Quantity) -> Quantity:
    """What a battery drained past empty lacks beyond its rest voltage at nought [V]."""
    depth = np.maximum(-np.asarray(held), 0.0) / vehicle.number("past_empty")
    share = 1.0 + vehicle.number("deep_discharge_loss_spread") * np.tanh(vehicle.traits["deep_loss"])
    return np.asarray(depth * share * vehicle.number("deep_discharge_loss"))


def cable_resistance(vehicle: VirtualCar) -> Quantity:
    """Starter cable with its lugs [ohm]."""
    length = vehicle.number("starter_cable_length_mean")
    length = length * np.exp(vehicle.trait("cable_length", vehicle.number("starter_cable_length_spread")))
    area = vehicle.number(f"starter_cable_area_{vehicle.car.fuel}")
    area = area * np.exp(vehicle.trait("cable_area", vehicle.number("starter_cable_area_spread")))
    own = conductors.copper_resistance(length, area, vehicle.setting.air)
    return own + vehicle.value("starter_cable", "excess")


def turning_load(vehicle: VirtualCar) -> Quantity:
    """How hard the engine is to turn relative to a sound one now, with the starter's own friction in it [-]."""
    load = vehicle.value("starter_motor", "friction_factor") * vehicle.value("engine_turning", "drag_factor")
    return np.asarray(load * np.exp(vehicle.trait("nominal_current", vehicle.number("nominal_current_spread"))))


def coil_resistance(vehicle: VirtualCar) -> Quantity:
    """Both windings of the solenoid together [ohm]."""
    current = vehicle.number("coil_current_pull")
    unlike = vehicle.trait("coil_current", vehicle.number("coil_current_spread"))
    return np.asarray(vehicle.number("coil_current_volts") / (current * np.exp(unlike)))


def solve_circuit(vehicle: VirtualCar, seconds: float = 0.0) -> Circuit:
    """Solve one attempt to start.

    Parameters
    ----------
    vehicle : VirtualCar
    seconds : float
        After the first second of cranking [s]; bad cells give up more as time goes on.

    Notes
    -----
    The contacts close when the control terminal, fed through the battery, the joints and the control circuit, reaches
    the pull-in voltage of a sound winding; a weak winding also fails to pull with a chance of its own per visit, and
    then its lower force is already counted.
    """
    if seconds not in vehicle.solved:
        vehicle.solved[seconds] = _solved(vehicle, seconds)
    found: Circuit = vehicle.solved[seconds]
    return found


def _solved(vehicle: VirtualCar, seconds: float) -> Circuit:
    full_loss, ohmic, polarisation = battery_under_load(vehicle)
    held_back = (1.0 - vehicle.number("bad_cell_loss_at_once")) * np.exp(-seconds / vehicle.number("bad_cell_time"))
    emf = full_loss + held_back * vehicle.value("battery", "load_loss")
    joints = {j: vehicle.value(j, "resistance") for j in ("positive_joint", "negative_joint", "ground_path")}
    coil = coil_resistance(vehicle)
    control = vehicle.value("start_control", "control_resistance")
    fed_through = coil + control + ohmic + sum(joints.values())
    pull_in = emf * coil / fed_through
    needed = vehicle.parameters[("solenoid", vehicle.setting.modes("solenoid")[0], "pull_in_voltage")]
    parts = {
        "positive_joint": joints["positive_joint"],
        "cable": cable_resistance(vehicle),
        "contact": vehicle.value("solenoid", "contact_resistance"),
        "negative_joint": joints["negative_joint"],
        "ground": joints["ground_path"],
        "brushes": vehicle.value("starter_motor", "brush_resistance"),
    }
    start = _start(vehicle, emf, ohmic, polarisation, sum(parts.values()))
    moved = np.asarray(pull_in >= needed) & ~np.asarray(vehicle.sticks)
    ordinary = vehicle.number("coil_current_volts") / vehicle.number("coil_current_pull")
    held = vehicle.number("coil_current_hold") * ordinary / coil
    windings = np.where(moved | vehicle.sticks, held, emf / fed_through)
    own = np.exp(vehicle.trait("start_drop", vehicle.number("start_drop_unlike")))
    unlike = np.where(moved, vehicle.number("start_drop_factor") * own, 1.0)
    return Circuit(
        emf, ohmic, polarisation, **parts, moved=moved, pull_in=pull_in, coil=windings, unlike=unlike, start=start
    )


def _start(
    vehicle: VirtualCar, emf: Quantity, ohmic: Quantity, polarisation: Quantity, loop: Quantity
) -> cranking.Start:
    setting, load = vehicle.setting, turning_load(vehicle)
    motor = np.exp(vehicle.trait("motor_resistance", vehicle.number("motor_resistance_spread")))
    speed = np.exp(vehicle.trait("nominal_speed", vehicle.number("nominal_speed_spread")))
    brush = vehicle.number("brush_drop_mean") + vehicle.trait("brush_drop", vehicle.number("brush_drop_spread"))
    return cranking.solve_start(
        emf, ohmic, polarisation, loop, load, setting.nominal_current, motor * setting.motor_resistance,
        brush_drop=np.maximum(brush, 0.3), nominal_speed=speed * vehicle.number("nominal_speed_mean"),
    )  # fmt: skip
