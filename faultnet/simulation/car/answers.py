"""What is heard, seen and answered: choices drawn from a start, from the lid's eye, or from elicited tables."""

from __future__ import annotations

import numpy as np

from faultnet.model.starting import speed_to_fire
from faultnet.model.symptoms import NEVER_RULED_OUT, combined
from faultnet.physics.quantity import Quantity
from faultnet.prior_set.types import Test
from faultnet.simulation.car.circuit import Circuit, solve_circuit
from faultnet.simulation.car.vehicle import VirtualCar

# The words' own meaning, shared with the network so that both speak of the same thing: estimates, no source.


def _above(vehicle: VirtualCar, rng: np.random.Generator, value: Quantity, edge: str, width: str) -> bool:
    """Whether somebody calls a value above a soft edge; both are named numbers of the prior set."""
    return float(value) > vehicle.number(edge) + vehicle.number(width) * float(rng.logistic())


def heard(vehicle: VirtualCar, rng: np.random.Generator) -> str:
    """How it turns over: normal, slow, one clunk, rapid clicking, nothing.

    Notes
    -----
    A solenoid that does not pull is mostly silent. One that pulls and whose terminal then falls below the clicking
    voltage lets go and pulls again; its terminal is fed from the cable clamps, so bad joints click as flat batteries
    do.
    """
    circuit = solve_circuit(vehicle)
    if not circuit.moved:
        words = silent(vehicle)
        return str(rng.choice(list(words), p=list(words.values())))
    speed = circuit.start.speed
    if _above(vehicle, rng, speed, "stands_speed", "stands_speed_width"):
        share = speed / vehicle.setting.usual_speed
        return "normal" if _above(vehicle, rng, share, "slow_share", "slow_share_width") else "slow"
    spread = vehicle.trait("clicking", vehicle.number("clicking_voltage_spread"))
    if float(coil_volts(vehicle, circuit)) < vehicle.number("clicking_voltage") + spread:
        return "rapid_clicking"
    return "one_clunk"


def firing(vehicle: VirtualCar, rng: np.random.Generator) -> str:
    """Whether it starts when it is cranked: sound on the engine side, and turned as fast as this engine asks."""
    sound = vehicle.catalogue.component("engine_running").modes[0].id
    able = vehicle.number("fires_when_sound" if vehicle.acts_in("engine_running", sound) else "fires_despite_fault")
    spread = vehicle.world.widening * vehicle.number("speed_to_fire_ln_spread")
    unlike = spread * float(vehicle.own("speed to fire").standard_normal())
    circuit = solve_circuit(vehicle)
    turns = bool(circuit.moved) and float(circuit.start.speed) > 0.0
    fast_enough = not turns or float(circuit.start.speed) >= speed_to_fire(vehicle.setting) * np.exp(unlike)
    return "fires" if fast_enough and rng.random() < (able if turns else 0.5) else "cranks_no_fire"


def silent(vehicle: VirtualCar) -> dict[str, float]:
    """Chance of what is heard although the contacts do not close [-]."""
    heard_then = {name: vehicle.number(f"silent_{name}") for name in ("one_clunk", "rapid_clicking")}
    return {**heard_then, "nothing": 1.0 - sum(heard_then.values())}


def coil_volts(vehicle: VirtualCar, circuit: Circuit) -> Quantity:
    """Volts left at the solenoid's control terminal while the motor draws its current [V]."""
    ground = circuit.current * circuit.ground
    return circuit.clamps - ground - circuit.coil * vehicle.value("start_control", "control_resistance")


def lamps(vehicle: VirtualCar, rng: np.random.Generator) -> str:
    """What the headlamps do while cranking."""
    volts = lamp_volts(vehicle)
    if _above(vehicle, rng, volts, "lamp_dim_voltage", "lamp_dim_width"):
        return "stay_bright"
    return "dim" if _above(vehicle, rng, volts, "lamp_out_voltage", "lamp_out_width") else "go_out"


def lamp_volts(vehicle: VirtualCar) -> Quantity:
    """Volts at the headlamps while cranking [V]: those of the clamps, less what windings and lamps take."""
    circuit = solve_circuit(vehicle)
    beside = np.where(circuit.moved, circuit.coil, 0.0) + vehicle.number("lamp_current")
    joints = circuit.positive_joint + circuit.negative_joint
    return np.maximum(circuit.clamps - beside * (circuit.developed + joints), 0.0)


def eye_colour(vehicle: VirtualCar, rng: np.random.Generator) -> str:
    """Colour of the built-in hydrometer, which sits in one cell of six."""
    mode = vehicle.active["battery"]
    if rng.random() < vehicle.number("eye_clear_dried_out" if mode == "dried_out" else "eye_clear_otherwise"):
        return "clear"
    in_bad_cell = mode in ("weak_cell", "shorted_cell") and rng.random() < 1.0 / vehicle.number("eye_cells")
    threshold = vehicle.number("eye_green_charge") + vehicle.scattered(rng, vehicle.number("eye_green_charge_spread"))
    green = vehicle.charge > threshold and not in_bad_cell and rng.random() < vehicle.number("eye_green_share")
    return "green" if green else "dark"


def told(vehicle: VirtualCar, rng: np.random.Generator, test: Test) -> str:
    """An answer drawn from the elicited table of a test; one that follows from another answer follows from it."""
    if test.tells:
        rng = vehicle.own(test.id)  # whichever test is asked first
    order = [t.id for t in vehicle.catalogue.tests]
    for other, choice, state in vehicle.catalogue.answered_with.get(test.id, ()):
        first = state and order.index(other) < order.index(test.id)  # of two that tell of each other
        if first and told(vehicle, rng, vehicle.catalogue.test(other)) == choice:
            return state
    table = vehicle.catalogue.symptoms[test.id]
    modes = vehicle.active if table.today else vehicle.modes
    chances = combined(table, [(c, modes[c]) for c in table.components()])
    chances = (1.0 - NEVER_RULED_OUT) * chances + NEVER_RULED_OUT / len(chances)
    return str(rng.choice([c for c, _ in test.choices], p=chances / chances.sum()))
