"""Hidden nodes and quantities of the charging circuit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultnet.model import bins
from faultnet.model.modes import drawn_when_active
from faultnet.model.network import Array, Node, normalised
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    coarsened,
    histogram,
    low_discrepancy_points,
    masses,
    scattered,
    standard_normal,
    within,
)
from faultnet.model.setting import Setting
from faultnet.model.source import deep_loss, flat_factor
from faultnet.physics import battery, charging

GRID = ("set_point", "output_factor", "charge_cable_resistance", "acceptance")
LITTLE_CURRENT = 10.0  # [A] below which the ripple falls off with the current; estimate
LEAST_RIPPLE = 0.003  # [V] rms that a meter picks up with no current at all; estimate


def charging_nodes(setting: Setting) -> list[Node]:
    """Set point, output, cable and acceptance given the modes."""
    return [_set_point_node(setting), _output_node(setting), _cable_node(setting), *_acceptance_nodes(setting)]


def _set_point_node(setting: Setting) -> Node:
    share = low_discrepancy_points(8192, 4)
    warm = setting.air + setting.spread("regulator_temperature_rise") * share[3]
    regulated = charging.set_point(warm, "fixed")
    shift = setting.drawn("regulator", "set_point_shift", share[0])[:, None]
    shift = shift + setting.drawn("charge_control", "set_point_shift", share[1])[None]
    table = histogram(regulated + shift + _commanded(setting, share[2]), bins.SET_POINT, 1e-6)
    return Node(
        "set_point", "parameter", bins.SET_POINT.states, ("regulator", "charge_control"), table, bins.SET_POINT.edges
    )


def _commanded(setting: Setting, share: Array) -> Array:
    """What a load-responsive control adds to the fixed set point [V]; nothing on a car without one."""
    if setting.car.charge_control == "fixed":
        return np.zeros_like(share)
    middle = setting.spread("load_responsive_mean") - setting.spread("set_point_nominal")
    return np.asarray(middle + setting.spread("load_responsive_spread") * standard_normal(share))


def _output_node(setting: Setting) -> Node:
    parents = ("alternator_now", "rectifier", "belt", "charge_control")
    owners = ("alternator", "rectifier", "belt", "charge_control")
    share = low_discrepancy_points(1024, 4)
    output: Array = np.ones((1, 1, 1, 1, 1))
    for k, owner in enumerate(owners):
        values = setting.drawn(owner, "output_factor", share[k])
        shape = [1, 1, 1, 1, values.shape[1]]
        shape[k] = values.shape[0]
        output = output * values.reshape(shape)
    table = histogram(output, bins.OUTPUT_FACTOR, 1e-6)
    return Node("output_factor", "parameter", bins.OUTPUT_FACTOR.states, parents, table, bins.OUTPUT_FACTOR.edges)


def _cable_node(setting: Setting) -> Node:
    effects = [setting.effect("charge_cable", m, "resistance") for m in setting.modes("charge_cable")]
    table = np.stack([masses(e, bins.CHARGE_CABLE) for e in effects], axis=1)
    return Node(
        "charge_cable_resistance", "parameter", bins.CHARGE_CABLE.states, ("charge_cable",), table,
        bins.CHARGE_CABLE.edges,
    )  # fmt: skip


def _acceptance_nodes(setting: Setting) -> list[Node]:
    """Current the battery takes at 14.4 V per ampere hour, some minutes into charging."""
    share = low_discrepancy_points(4096, 3)
    charge = np.minimum(bins.CHARGE.at(share[0]), 0.985)
    factor = setting.drawn("battery", "acceptance_factor", share[1])[:, None]
    taken = np.asarray(battery.acceptance_current(charge, setting.capacity, setting.electrolyte, 14.4))[None] * factor
    taken = taken / setting.capacity * np.exp(setting.spread("acceptance_rest_spread") * standard_normal(share[2]))
    fine = bins.ACCEPTANCE_FINE
    return [
        Node(
            "acceptance_fine", "parameter", fine.states, ("battery", "charge"), histogram(taken, fine, 1e-6),
            fine.edges,
        ),
        Node(
            "acceptance", "parameter", bins.ACCEPTANCE.states, ("acceptance_fine",),
            coarsened(fine, bins.ACCEPTANCE), bins.ACCEPTANCE.edges,
        ),
    ]  # fmt: skip


@dataclass(frozen=True)
class Running:
    """How the engine runs and what is switched on while a charging reading is taken."""

    name: str
    speed: float
    load: float
    shift: float = 0.0


def running_states(setting: Setting) -> tuple[Running, ...]:
    """The four ways charging is looked at: idle, brisk without loads, brisk with loads, hot."""
    few, many = setting.spread("load_base"), setting.spread("load_on")
    ratio = setting.spread("pulley_ratio_mean")
    idle, brisk = (ratio * setting.spread(name) for name in ("idle_speed", "raised_speed"))
    usual = setting.air + 0.5 * setting.spread("regulator_temperature_rise")
    hot = charging.set_point(setting.spread("regulator_temperature_hot"), "fixed") - charging.set_point(usual, "fixed")
    return (
        Running("charge_idle", idle, few),
        Running("charge_unloaded", brisk, few),
        Running("charge_loaded", brisk, many),
        Running("charge_hot", brisk, few, shift=float(hot)),
    )


def charging_quantities(setting: Setting) -> list[Node]:
    """Volts at the posts in each running state, and the currents and drops that go with them."""
    nodes = []
    for running in running_states(setting):
        volts, _ = _run(setting, running)
        spread = setting.spread("charge_volts_spread")
        table = scattered(volts, bins.CHARGE_VOLTS, spread)
        nodes.append(
            Node(running.name, "quantity", bins.CHARGE_VOLTS.states, GRID, table, bins.CHARGE_VOLTS.edges, spread)
        )
    _, current = _run(setting, running_states(setting)[2])
    amperes = scattered(current, bins.ALTERNATOR_AMPERES, 2.0, HIDDEN_LEAK)
    return [
        *nodes,
        Node("alternator_level", "parameter", bins.ALTERNATOR_AMPERES.states, GRID, amperes,
             bins.ALTERNATOR_AMPERES.edges),
        _alternator_current_node(),
        _cable_drop_node(),
        _accepted_node(setting),
        _ripple_node(setting),
        _ground_drop_node(setting),
    ]  # fmt: skip


def _alternator_current_node() -> Node:
    """Current in the alternator's heavy lead, all loads on."""
    table = normalised(np.eye(len(bins.ALTERNATOR_AMPERES)), 1e-3)
    return Node(
        "alternator_current", "quantity", bins.ALTERNATOR_AMPERES.states, ("alternator_level",), table,
        bins.ALTERNATOR_AMPERES.edges,
    )  # fmt: skip


def _cable_drop_node() -> Node:
    """Drop from the alternator's stud to the positive post, loads on; behind an open cable the alternator idles."""
    share = low_discrepancy_points(48, 3)
    cable, current = within([bins.CHARGE_CABLE, bins.ALTERNATOR_AMPERES], share)
    open_end = 2.0 + 2.5 * share[2]
    drop = np.minimum(cable * current, open_end)
    drop = np.where(cable > 1.0, open_end, drop)
    table = scattered(drop, bins.DROP, 0.01)
    parents = ("charge_cable_resistance", "alternator_level")
    return Node("charge_cable_drop", "quantity", bins.DROP.states, parents, table, bins.DROP.edges, 0.01)


def _run(setting: Setting, running: Running) -> tuple[Array, Array]:
    """Volts at the posts and alternator current over the grid, shape (*cards, samples)."""
    share = low_discrepancy_points(24, 6)
    target, factor, cable, accept = within(
        [bins.SET_POINT, bins.OUTPUT_FACTOR, bins.CHARGE_CABLE, bins.ACCEPTANCE], share
    )
    capability = factor * charging.output_capability(running.speed, setting.car.alternator_rating)
    spread = setting.spread("load_on_ln_spread" if running.load == setting.spread("load_on") else "load_base_ln_spread")
    load = running.load * np.exp(spread * standard_normal(share[4]))
    emf, helping = _battery_on_charge(setting, accept, share[5])
    taking = np.maximum(accept * setting.capacity, 0.3)
    resistance = charging.charging_resistance(taking, emf)
    volts, current, _ = charging.charging_voltage(
        target + running.shift, capability, load, emf, resistance, cable, helping
    )
    shape = np.broadcast_shapes(target.shape, factor.shape, cable.shape, accept.shape)
    return np.broadcast_to(volts, shape), np.broadcast_to(current, shape)


def _battery_on_charge(setting: Setting, accepted: Array, share: Array) -> tuple[Array, Array]:
    """Rest voltage [V] and resistance when it helps out [ohm] of a battery that takes so much current [A/Ah].

    Notes
    -----
    What a battery takes tells its charge, with the spread of acceptance between batteries; one that takes the most may
    be anywhere from a quarter full to past empty.
    """
    level = np.linspace(0.0, 1.0, 101)
    taken = np.asarray(battery.acceptance_current(level, 1.0, setting.electrolyte, 14.4))
    scatter = np.exp(0.35 * standard_normal(share))
    charge = np.interp(-accepted * scatter, -taken, level)
    charge = np.where(charge < 0.1, 0.3 * share - 0.1, charge)
    emf = battery.open_circuit_voltage(charge, setting.electrolyte, setting.car.battery.kind)
    emf = emf - deep_loss(setting, charge, share)
    return np.asarray(emf), np.asarray(1.2 * setting.source_resistance * flat_factor(charge))


def _accepted_node(setting: Setting) -> Node:
    """Current a bench charger can put in after some minutes at 14.4 V."""
    values = bins.ACCEPTANCE_FINE.at(low_discrepancy_points(48, 1)[0]) * setting.capacity
    table = histogram(values, bins.ACCEPTED_AMPERES)
    return Node(
        "acceptance_current", "quantity", bins.ACCEPTED_AMPERES.states, ("acceptance_fine",), table,
        bins.ACCEPTED_AMPERES.edges,
    )  # fmt: skip


def _ripple_node(setting: Setting) -> Node:
    """Alternating volts at the posts, loads on; none to speak of without current."""
    share = low_discrepancy_points(512, 2)
    full = setting.drawn("rectifier", "ripple", share[0])[:, None]
    current = bins.ALTERNATOR_AMPERES.at(share[1])
    full = full * np.exp(setting.spread("ripple_ln_spread") * standard_normal(share[1]))
    ripple = np.maximum(full * np.minimum(current / LITTLE_CURRENT, 1.0), LEAST_RIPPLE)
    table = histogram(ripple, bins.RIPPLE, 2e-3)
    return Node("ripple", "quantity", bins.RIPPLE.states, ("rectifier", "alternator_level"), table, bins.RIPPLE.edges)


def _ground_drop_node(setting: Setting) -> Node:
    """Drop between the alternator's case and the negative post while charging.

    Notes
    -----
    The whole current crosses the engine's strap; only what goes into the battery, some amperes, crosses its negative
    joint. A fault that comes and goes may be off while the engine runs although it was on at the start.
    """
    share = low_discrepancy_points(384, 6)
    current = bins.ALTERNATOR_AMPERES.at(share[0])
    strap = drawn_when_active(setting, "ground_path", "resistance", share[1], share[4])[:, None, None]
    joint = drawn_when_active(setting, "negative_joint", "resistance", share[2], share[5])[None, :, None]
    into_battery = np.minimum(current, 3.0 * np.exp(1.0 * standard_normal(share[3])))
    drop = np.minimum(strap * current + joint * into_battery, 12.0)
    table = scattered(drop, bins.DROP, 0.003)
    parents = ("ground_path", "negative_joint", "alternator_level")
    return Node("charge_ground_drop", "quantity", bins.DROP.states, parents, table, bins.DROP.edges, 0.003)
