"""True values behind the tests of the starting circuit."""

from __future__ import annotations

import numpy as np

from faultnet.physics import cranking
from faultnet.physics.quantity import Quantity
from faultnet.physics.waveform import HOLD, RISE
from faultnet.prior_set.types import Instrument
from faultnet.simulation.car.circuit import Circuit, solve_circuit
from faultnet.simulation.car.vehicle import VirtualCar


def lowest_at_posts(
    vehicle: VirtualCar, rng: np.random.Generator, instrument: Instrument, interval: float | None
) -> Quantity:
    """Lowest volts at the posts as the instrument's window or interval lets it be seen [V]."""
    circuit = solve_circuit(vehicle)
    dip = circuit.emf - _peak(vehicle, circuit) * circuit.ohmic
    return _seen(vehicle, rng, circuit, dip, circuit.held, instrument, interval)


def lowest_at_clamps(
    vehicle: VirtualCar, rng: np.random.Generator, instrument: Instrument, interval: float | None
) -> Quantity:
    """Lowest volts at the cable clamps, where modules and lamps are fed [V]; a module may freeze and show no dip."""
    circuit = solve_circuit(vehicle)
    freezes = instrument.place == "module" and rng.random() < vehicle.number("module_freeze")
    joints = circuit.positive_joint + circuit.negative_joint
    dip = circuit.emf - _peak(vehicle, circuit) * (circuit.ohmic + joints)
    if np.all(freezes):
        return circuit.emf
    return np.where(freezes, circuit.emf, _seen(vehicle, rng, circuit, dip, circuit.clamps, instrument, interval))


def _seen(
    vehicle: VirtualCar, rng: np.random.Generator, circuit: Circuit, dip: Quantity, held: Quantity,
    instrument: Instrument, interval: float | None,
) -> Quantity:  # fmt: skip
    """The least an instrument shows of a start, at a random phase, with the start's own shape.

    Where the contacts stay open nothing dips.
    """
    if not np.any(circuit.moved):
        return held
    stretch = np.exp(vehicle.trait("dip_time", vehicle.number("dip_time_spread")))
    ripple = cranking.compression_ripple(circuit.current, circuit.developed, vehicle.car.cylinders)
    ripple = ripple * np.exp(vehicle.trait("ripple", vehicle.number("compression_ripple_ln_spread")))
    speed = np.maximum(circuit.start.speed, 30.0)
    frequency = cranking.compression_frequency(speed, vehicle.car.cylinders)
    hold, rise = HOLD * stretch, RISE * stretch
    phase, rest = rng.random(), circuit.emf
    dip = np.minimum(dip, held)
    if interval is not None and interval > (instrument.window or 0.0):
        seen = cranking.sampled_minimum(rest, dip, held, ripple, interval, phase, frequency, hold=hold, rise=rise)
    else:
        window = instrument.window or 1e-3
        seen = cranking.windowed_minimum(rest, dip, held, ripple, window, phase, frequency, hold=hold, rise=rise)
    seen = seen + vehicle.scattered(rng, vehicle.number("start_volts_spread"))
    return np.where(circuit.moved, seen, held)


def _peak(vehicle: VirtualCar, circuit: Circuit) -> Quantity:
    """Highest current of the start [A]: a share of that of a rotor at rest, since inductance holds the rise back."""
    reached = vehicle.number("peak_share") * np.exp(vehicle.trait("peak_share", vehicle.number("peak_share_spread")))
    return np.asarray(circuit.start.stall_current * np.minimum(reached, 1.0))


def held_at_posts(vehicle: VirtualCar, rng: np.random.Generator, seconds: float = 0.0) -> Quantity:
    """Volts at the posts while it cranks, after some seconds [V]."""
    circuit = solve_circuit(vehicle, seconds)
    volts = cranking.sustained_after(circuit.posts, circuit.drawn, circuit.polarisation, seconds)
    volts = circuit.emf - (circuit.emf - volts) * circuit.unlike
    return volts + vehicle.scattered(rng, vehicle.number("start_volts_spread"))


def dead_crank_level(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the posts of a dead crank once the needle is steady [V]."""
    return held_at_posts(vehicle, rng, vehicle.number("dead_crank_steady"))


def sag(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the posts after one second less those after fifteen [V]."""
    volts = []
    for seconds in (1.0, vehicle.number("dead_crank_time")):
        circuit = solve_circuit(vehicle, seconds)
        held = cranking.sustained_after(circuit.posts, circuit.drawn, circuit.polarisation, seconds)
        volts.append(circuit.emf - (circuit.emf - held) * circuit.unlike)
    return volts[0] - volts[1] + vehicle.scattered(rng, vehicle.number("crank_sag_spread"))


def crank_current(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Steady current in the battery cable [A]."""
    circuit = solve_circuit(vehicle)
    value = circuit.current * np.exp(vehicle.scattered(rng, vehicle.number("crank_current_spread")))
    return np.asarray(value + circuit.coil)


def inrush(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Peak current as a clamp meter shows it [A]."""
    circuit = solve_circuit(vehicle)
    if not np.any(circuit.moved):
        return circuit.coil
    peak = _peak(vehicle, circuit) * vehicle.number("inrush_seen_share")
    return np.where(circuit.moved, peak * np.exp(vehicle.scattered(rng, vehicle.number("inrush_spread"))), circuit.coil)


def speed(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Engine speed while cranking [rev/min]."""
    circuit = solve_circuit(vehicle)
    turning = circuit.start.speed * np.asarray(circuit.moved)
    return np.asarray(turning * np.exp(vehicle.scattered(rng, vehicle.number("cranking_speed_spread"))))


DROP_PARTS: dict[str, tuple[str, ...]] = {
    "positive_drop": ("positive_joint", "cable", "contact"),
    "positive_joint_drop": ("positive_joint",),
    "starter_cable_drop": ("cable",),
    "solenoid_drop": ("contact",),
    "ground_drop": ("negative_joint", "ground"),
    "negative_joint_drop": ("negative_joint",),
    "ground_path_drop": ("ground",),
}


def drop(vehicle: VirtualCar, rng: np.random.Generator, quantity: str) -> Quantity:
    """Volts across parts of the loop while the key is held at start [V].

    Notes
    -----
    Open contacts stand under what battery and joints leave while the windings draw their current, if they are fed;
    everything else then carries that current only.
    """
    circuit = solve_circuit(vehicle)
    parts = DROP_PARTS[quantity]
    through = circuit.current + circuit.coil
    volts = sum(getattr(circuit, p) * (circuit.current if p == "contact" else through) for p in parts)
    if "contact" in parts:
        volts = volts + np.where(circuit.moved, 0.0, circuit.clamps - through * circuit.ground)
    return np.asarray(np.minimum(volts, circuit.emf)) + vehicle.scattered(rng, vehicle.number("drop_spread"))


def control_terminal(vehicle: VirtualCar, rng: np.random.Generator) -> Quantity:
    """Volts at the solenoid's control terminal, against the negative clamp, key at start [V]."""
    circuit = solve_circuit(vehicle)
    supply = circuit.clamps
    control = vehicle.value("start_control", "control_resistance")
    volts = cranking.control_terminal_voltage(supply, circuit.coil, control)
    return np.maximum(volts + vehicle.scattered(rng, vehicle.number("control_voltage_spread")), 0.0)
