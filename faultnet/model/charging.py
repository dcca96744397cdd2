"""Hidden nodes and quantities of the charging circuit."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from faultnet.model import bins
from faultnet.model.modes import active_node, drawn_when_active
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Now, Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    cell_counts,
    coarsened,
    histogram,
    masses,
    scattered,
    standard_normal,
    within,
)
from faultnet.model.setting import Setting
from faultnet.model.source import begins_to_charge, brisk_speed, deep_loss, flat_factor
from faultnet.model.starting import shifted
from faultnet.physics import battery, charging

STATES = ("charge_idle", "charge_unloaded", "charge_loaded", "charge_hot")
TAKING = (*bins.ACCEPTANCE.states[:-1], *(f"most_{s}" for s in bins.FLAT.states))
ONLY_REVVED = "only_when_revved"  # gives nothing at idle and all it can at brisk speed: it has to excite itself
GIVING = (*bins.OUTPUT_FACTOR.states, ONLY_REVVED)
HALF = 0.5  # [-] of its output; one that gives less has another fault besides
GRID = ("set_point", "output_factor", "charge_cable_resistance", "acceptance")


def charging_nodes(setting: Setting) -> list[Node]:
    """Set point, output, cable and acceptance given the modes."""
    return [_set_point_node(setting), _output_node(setting), *_cable_nodes(setting), *_acceptance_nodes(setting)]


def _set_point_node(setting: Setting) -> Node:
    share = low_discrepancy_points(8192, 3)
    warm = setting.air + setting.number("regulator_temperature_rise") * share[2]
    regulated = setting.regulated(warm)
    shift = setting.drawn("regulator", "set_point_shift", share[0])[:, None]
    shift = shift + setting.drawn("charge_control", "set_point_shift", share[1])[None]
    table = histogram(regulated + shift, bins.SET_POINT, 1e-6)
    parents = (active_node(setting.catalogue, "regulator"), active_node(setting.catalogue, "charge_control"))
    return Node("set_point", "parameter", bins.SET_POINT.states, parents, table, bins.SET_POINT.edges)


def _commanded(setting: Setting, running: str, share: Array) -> Array:
    """What a load-responsive control adds to the fixed set point [V]; nothing on a car without one.

    Notes
    -----
    It moves the set point from moment to moment, so what it commands in one running state says little of another; with
    all loads on it charges.
    """
    if setting.car.charge_control == "fixed":
        return np.zeros_like(share)
    middle, spread = load_responsive_command(setting, running)
    return np.asarray(middle + spread * standard_normal(share))


def load_responsive_command(setting: Setting, running: str) -> tuple[float, float]:
    """What a load-responsive control adds to the fixed set point in a running state [V], and its standard deviation."""
    nominal = setting.number("set_point_nominal")
    if running == "charge_loaded":
        return setting.number("load_responsive_loaded_mean") - nominal, setting.number("load_responsive_loaded_spread")
    return setting.number("load_responsive_mean") - nominal, setting.number("load_responsive_spread")


def _output_node(setting: Setting) -> Node:
    """Share of its output that the alternator gives, and whether it does so only once it is revved.

    Notes
    -----
    One that is not excited from outside begins at a speed of its own: below idle speed nothing is missed, above brisk
    speed it gives nothing. Together with another fault of the charging side that halves what it gives it counts as
    giving that at idle too. Idle is taken to be read before the engine was revved: once begun it goes on.
    """
    owners = ("alternator", "rectifier", "belt", "charge_control")
    parents = tuple(active_node(setting.catalogue, owner) for owner in owners)
    share = low_discrepancy_points(1024, 7)
    output: Array = np.ones((1, 1, 1, 1, 1))
    for k, owner in enumerate(owners):
        values = setting.drawn(owner, "output_factor", share[k])
        shape = [1, 1, 1, 1, values.shape[1]]
        shape[k] = values.shape[0]
        output = output * values.reshape(shape)
    brisk, idle = _alternator_speeds(setting, share[4], share[5])
    begins = begins_to_charge(setting, share[6])
    given = bins.OUTPUT_FACTOR.index(np.where(begins <= brisk, output, 0.0))
    only_revved = (begins > idle) & (begins <= brisk) & (output > HALF)
    table = cell_counts(np.where(only_revved, GIVING.index(ONLY_REVVED), given), len(GIVING))
    return Node("output_factor", "parameter", GIVING, parents, normalised(table, 1e-6), bins.OUTPUT_FACTOR.edges)


def _alternator_speeds(setting: Setting, ratios: Array, idles: Array) -> tuple[Array, Array]:
    """Speed of the alternator at brisk engine speed and at idle, over what differs between cars [rev/min]."""
    middle = setting.number("pulley_ratio_mean")
    ratio = middle * np.exp(setting.number("pulley_ratio_spread") * standard_normal(ratios))
    idle = setting.number("idle_speed") + setting.number("idle_speed_spread") * standard_normal(idles)
    return np.asarray(ratio * setting.number("raised_speed")), np.asarray(ratio * idle)


def _cable_nodes(setting: Setting) -> list[Node]:
    """Resistance of the charge cable, finer for the drop over it than for what it does to the volts."""
    fine, coarse = bins.CHARGE_CABLE_FINE, bins.CHARGE_CABLE
    effects = [setting.effect("charge_cable", m, "resistance") for m in setting.modes("charge_cable")]
    table = np.stack([masses(e, fine) for e in effects], axis=1)
    own = (active_node(setting.catalogue, "charge_cable"),)
    return [
        Node("charge_cable_resistance_fine", "parameter", fine.states, own, table, fine.edges),
        Node(
            "charge_cable_resistance", "parameter", coarse.states, ("charge_cable_resistance_fine",),
            coarsened(fine, coarse), coarse.edges,
        ),
    ]  # fmt: skip


def _acceptance_nodes(setting: Setting) -> list[Node]:
    """Current the battery takes at 14.4 V per ampere hour, some minutes into charging.

    One that takes the most may be anything from three quarters full to past empty, which its rest voltage shows where
    nothing charges it; so this state is told apart by the charge.
    """
    share = low_discrepancy_points(4096, 3)
    charge = np.minimum(bins.CHARGE.at(share[0]), 0.985)
    factor = setting.drawn("battery", "acceptance_factor", share[1])[:, None]
    taken = (
        np.asarray(
            battery.acceptance_current(charge, setting.capacity, setting.electrolyte, setting.number("charger_volts"))
        )[None]
        * factor
    )
    taken = taken / setting.capacity * np.exp(setting.number("acceptance_rest_spread") * standard_normal(share[2]))
    fine, own = bins.ACCEPTANCE_FINE, active_node(setting.catalogue, "battery")
    level = coarsened(fine, bins.ACCEPTANCE)[:, :, None]
    held = coarsened(bins.CHARGE, bins.FLAT)[:, None]
    table = np.concatenate([level[:-1] + np.zeros_like(held[:1]), level[-1:] * held])
    return [
        Node("acceptance_fine", "parameter", fine.states, (own, "charge"), histogram(taken, fine, 1e-6), fine.edges),
        Node(
            "acceptance", "parameter", TAKING, ("acceptance_fine", "charge"),
            normalised(table, HIDDEN_LEAK), bins.ACCEPTANCE.edges,
        ),
    ]  # fmt: skip


@dataclass(frozen=True)
class Running:
    """How the engine runs and what is switched on while a charging reading is taken."""

    name: str
    speed: float
    load: float
    load_spread: float
    shift: float = 0.0


def loads_on(setting: Setting) -> float:
    """Current of the consumers with all loads on [A]: a car with a larger alternator has more of them."""
    return setting.number("load_on") * setting.car.alternator_rating / setting.number("load_on_alternator")


def running_states(setting: Setting) -> tuple[Running, ...]:
    """The four ways charging is looked at: idle, brisk without loads, brisk with loads, hot."""
    few = setting.number("load_base"), setting.number("load_base_ln_spread")
    many = loads_on(setting), setting.number("load_on_ln_spread")
    idle, brisk = setting.number("pulley_ratio_mean") * setting.number("idle_speed"), brisk_speed(setting)
    usual = setting.air + 0.5 * setting.number("regulator_temperature_rise")
    hot = setting.regulated(setting.number("regulator_temperature_hot")) - setting.regulated(usual)
    return (
        Running("charge_idle", idle, *few),
        Running("charge_unloaded", brisk, *few),
        Running("charge_loaded", brisk, *many),
        Running("charge_hot", brisk, *few, shift=float(hot)),
    )


def _charging_volts(at: Workings, state: str) -> Array:
    """Volts at the posts in one running state."""
    running = next(r for r in running_states(at.setting) if r.name == state)
    volts, _ = _run(at.setting, running)
    return scattered(volts, bins.CHARGE_VOLTS, at.setting.number("charge_volts_spread"))


def alternator_level_node(setting: Setting) -> Node:
    """Current of the alternator, all loads on."""
    scale = bins.ALTERNATOR_AMPERES
    running = next(r for r in running_states(setting) if r.name == "charge_loaded")
    amperes = scattered(_run(setting, running)[1], scale, setting.number("alternator_current_spread"))
    return Node("alternator_level", "parameter", scale.states, GRID, amperes, scale.edges)


def _alternator_current(at: Workings) -> Array:
    """Current in the alternator's heavy lead, all loads on."""
    return normalised(np.eye(len(bins.ALTERNATOR_AMPERES)), HIDDEN_LEAK)


def _cable_drop(at: Workings) -> Array:
    """Drop from the alternator's stud to the positive post, loads on; behind an open cable the alternator idles."""
    setting, share = at.setting, low_discrepancy_points(48, 3)
    cable, current = within([bins.CHARGE_CABLE_FINE, bins.ALTERNATOR_AMPERES], share)
    low, high = setting.number("open_charge_cable_drop_least"), setting.number("open_charge_cable_drop_most")
    open_end = low + (high - low) * share[2]
    drop = np.minimum(cable * current, open_end)
    drop = np.where(cable > 1.0, open_end, drop)
    return scattered(drop, bins.DROP, setting.number("charge_cable_drop_spread"))


def _run(setting: Setting, running: Running) -> tuple[Array, Array]:
    """Volts at the posts and alternator current over the grid, shape (*cards, samples)."""
    share = low_discrepancy_points(160, 8)
    target, factor, cable, accept = within(
        [bins.SET_POINT, bins.OUTPUT_FACTOR, bins.CHARGE_CABLE, bins.ACCEPTANCE], share
    )
    factor = np.concatenate([factor, _only_revved(factor, running)], axis=1)
    accept = np.concatenate([accept[..., :-1, :], np.repeat(accept[..., -1:, :], len(bins.FLAT), axis=-2)], axis=-2)
    loads = shifted(share[4:5], (len(bins.SET_POINT), 1, 1, len(TAKING), share.shape[1]))[0]
    capability = factor * charging.output_capability(running.speed, setting.car.alternator_rating)
    load = running.load * np.exp(running.load_spread * standard_normal(loads))
    emf, helping = _battery_on_charge(setting, accept, share[5], share[6])
    taking = np.maximum(accept * setting.capacity, setting.number("taken_least"))
    resistance = charging.charging_resistance(taking, emf)
    volts, current, _ = charging.charging_voltage(
        target + running.shift + _commanded(setting, running.name, share[7]),
        capability, load, emf, resistance, cable, helping,
    )  # fmt: skip
    shape = np.broadcast_shapes(target.shape, factor.shape, cable.shape, accept.shape)
    return np.broadcast_to(volts, shape), np.broadcast_to(current, shape)


def _only_revved(factor: Array, running: Running) -> Array:
    """What an alternator gives that has to excite itself: nothing at idle, as a sound one at brisk speed [-]."""
    sound = int(bins.OUTPUT_FACTOR.index(np.array(1.0)))
    return factor[:, sound : sound + 1] * (running.name != "charge_idle")


def _battery_on_charge(setting: Setting, accepted: Array, share: Array, depth: Array) -> tuple[Array, Array]:
    """Rest voltage [V] and resistance when it helps out [ohm] of a battery that takes so much current [A/Ah].

    Notes
    -----
    What a battery takes tells its charge, with the spread of acceptance between batteries; of one that takes the most
    the state says it.
    """
    level = np.linspace(0.0, 1.0, 101)
    taken = np.asarray(battery.acceptance_current(level, 1.0, setting.electrolyte, setting.number("charger_volts")))
    scatter = np.exp(setting.number("acceptance_to_charge_spread") * standard_normal(share))
    charge = np.interp(-accepted * scatter, -taken, level)
    charge = np.array(np.broadcast_to(charge, accepted.shape))
    charge[..., -len(bins.FLAT) :, :] = bins.FLAT.at(depth)
    emf = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    emf = emf - deep_loss(setting, charge, share)
    return np.asarray(emf), np.asarray(
        setting.number("helping_resistance_factor") * setting.source_resistance * flat_factor(setting, charge)
    )


def _accepted(at: Workings) -> Array:
    """Current a bench charger can put in after some minutes at 14.4 V."""
    values = bins.ACCEPTANCE_FINE.at(low_discrepancy_points(48, 1)[0]) * at.setting.capacity
    return histogram(values, bins.ACCEPTED_AMPERES)


def _ripple(at: Workings) -> Array:
    """Alternating volts at the posts, loads on; none to speak of without current."""
    setting, share = at.setting, low_discrepancy_points(512, 2)
    full = setting.drawn("rectifier", "ripple", share[0])[:, None]
    current = bins.ALTERNATOR_AMPERES.at(share[1])
    full = full * np.exp(setting.number("ripple_ln_spread") * standard_normal(share[1]))
    full = full * np.minimum(current / setting.number("ripple_full_from"), 1.0)
    ripple = np.maximum(full, setting.number("ripple_least"))
    return histogram(ripple, bins.RIPPLE, 2e-3)


def _ground_drop(at: Workings) -> Array:
    """Drop between the alternator's case and the negative post while charging.

    Notes
    -----
    The whole current crosses the engine's strap; only what goes into the battery, some amperes, crosses its negative
    joint. A fault that comes and goes may be off while the engine runs although it was on at the start.
    """
    setting, share = at.setting, low_discrepancy_points(384, 6)
    current = bins.ALTERNATOR_AMPERES.at(share[0])
    strap = drawn_when_active(setting, "ground_path", "resistance", share[1], share[4])[:, None, None]
    joint = drawn_when_active(setting, "negative_joint", "resistance", share[2], share[5])[None, :, None]
    unlike = setting.number("into_battery_ln_spread") * standard_normal(share[3])
    into_battery = np.minimum(current, setting.number("into_battery_median") * np.exp(unlike))
    drop = np.minimum(strap * current + joint * into_battery, 12.0)
    return scattered(drop, bins.DROP, setting.number("charge_ground_drop_spread"))


QUANTITIES = (
    *(
        Quantity(
            state, "V", "charging", GRID, bins.CHARGE_VOLTS, partial(_charging_volts, state=state),
            scatter="charge_volts_spread", unlike="unlike_charge_volts",
        )
        for state in STATES
    ),
    Quantity(
        "alternator_current", "A", "charging", ("alternator_level",), bins.ALTERNATOR_AMPERES, _alternator_current,
        unlike="unlike_alternator_current_ln",
    ),
    Quantity(
        "charge_cable_drop", "V", "charging", ("charge_cable_resistance_fine", "alternator_level"), bins.DROP,
        _cable_drop, scatter="charge_cable_drop_spread", unlike="unlike_drop_odds",
    ),
    Quantity(
        "acceptance_current", "A", "charging", ("acceptance_fine",), bins.ACCEPTED_AMPERES, _accepted,
        unlike="unlike_acceptance_ln",
    ),
    Quantity(
        "ripple", "V", "charging", (Now("rectifier"), "alternator_level"), bins.RIPPLE, _ripple,
        unlike="unlike_ripple_ln",
    ),
    Quantity(
        "charge_ground_drop", "V", "charging", ("ground_path", "negative_joint", "alternator_level"), bins.DROP,
        _ground_drop, scatter="charge_ground_drop_spread", unlike="unlike_drop_odds",
    ),
)  # fmt: skip
