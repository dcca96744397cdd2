"""Hidden nodes and quantities of the charging circuit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultnet.network import bins
from faultnet.network.sampling import blurred, counted, even_points, standard_normal, within
from faultnet.network.setting import Setting
from faultnet.network.structure import Array, Node
from faultnet.physics import charging

GRID = ("set_point", "output_factor", "charge_cable_resistance", "acceptance")
IDLE_ALTERNATOR_SPEED = 2000.0
BRISK_ALTERNATOR_SPEED = 5400.0


def charging_nodes(setting: Setting) -> list[Node]:
    """Set point, output, cable and acceptance given the modes."""
    return [_set_point_node(setting), _output_node(setting), _cable_node(setting), _acceptance_node(setting)]


def _set_point_node(setting: Setting) -> Node:
    share = even_points(384, 3)
    regulated = charging.set_point(setting.air, "fixed")
    shift = setting.drawn("regulator", "set_point_shift", share[0])[:, None]
    shift = shift + setting.drawn("charge_control", "set_point_shift", share[1])[None]
    table = counted(regulated + shift + _commanded(setting, share[2]), bins.SET_POINT, 5e-4)
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
    share = even_points(384, 4)
    output: Array = np.ones((1, 1, 1, 1, 1))
    for k, owner in enumerate(owners):
        values = setting.drawn(owner, "output_factor", share[k])
        shape = [1, 1, 1, 1, values.shape[1]]
        shape[k] = values.shape[0]
        output = output * values.reshape(shape)
    table = counted(output, bins.OUTPUT_FACTOR, 5e-4)
    return Node("output_factor", "parameter", bins.OUTPUT_FACTOR.states, parents, table, bins.OUTPUT_FACTOR.edges)


def _cable_node(setting: Setting) -> Node:
    values = setting.drawn("charge_cable", "resistance", even_points(512, 1)[0])
    table = counted(values, bins.CHARGE_CABLE)
    return Node(
        "charge_cable_resistance", "parameter", bins.CHARGE_CABLE.states, ("charge_cable",), table,
        bins.CHARGE_CABLE.edges,
    )  # fmt: skip


def _acceptance_node(setting: Setting) -> Node:
    """Current the battery takes at 14.4 V per ampere hour, some minutes into charging."""
    from faultnet.physics import battery

    share = even_points(256, 3)
    charge = np.minimum(bins.CHARGE.at(share[0]), 0.985)
    factor = setting.drawn("battery", "acceptance_factor", share[1])[:, None]
    taken = np.asarray(battery.acceptance_current(charge, setting.capacity, setting.electrolyte, 14.4))[None] * factor
    taken = taken / setting.capacity * np.exp(setting.spread("acceptance_rest_spread") * standard_normal(share[2]))
    table = counted(taken, bins.ACCEPTANCE, 5e-4)
    return Node("acceptance", "parameter", bins.ACCEPTANCE.states, ("battery", "charge"), table, bins.ACCEPTANCE.edges)


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
    return (
        Running("charge_idle", IDLE_ALTERNATOR_SPEED, few),
        Running("charge_unloaded", BRISK_ALTERNATOR_SPEED, few),
        Running("charge_loaded", BRISK_ALTERNATOR_SPEED, many),
        Running("charge_hot", BRISK_ALTERNATOR_SPEED, few, shift=-0.35),
    )


def charging_quantities(setting: Setting) -> list[Node]:
    """Volts at the posts in each running state, and the currents and drops that go with them."""
    nodes = []
    for running in running_states(setting):
        volts, _ = _run(setting, running)
        table = blurred(counted(volts, bins.CHARGE_VOLTS), bins.CHARGE_VOLTS, setting.spread("charge_volts_spread"))
        nodes.append(Node(running.name, "quantity", bins.CHARGE_VOLTS.states, GRID, table, bins.CHARGE_VOLTS.edges))
    _, current = _run(setting, running_states(setting)[2])
    amperes = blurred(counted(current, bins.ALTERNATOR_AMPERES), bins.ALTERNATOR_AMPERES, 3.0)
    cable = np.broadcast_to(within([bins.SET_POINT, bins.OUTPUT_FACTOR, bins.CHARGE_CABLE, bins.ACCEPTANCE],
                                   even_points(24, 6))[2], current.shape)  # fmt: skip
    drop = blurred(counted(np.minimum(cable * current, 4.0), bins.DROP), bins.DROP, 0.015)
    return [
        *nodes,
        Node("alternator_current", "quantity", bins.ALTERNATOR_AMPERES.states, GRID, amperes,
             bins.ALTERNATOR_AMPERES.edges),
        Node("charge_cable_drop", "quantity", bins.DROP.states, GRID, drop, bins.DROP.edges),
        _accepted_node(setting),
        _ripple_node(setting),
        _ground_drop_node(setting),
    ]  # fmt: skip


def _run(setting: Setting, running: Running) -> tuple[Array, Array]:
    """Volts at the posts and alternator current over the grid, shape (*cards, samples)."""
    share = even_points(24, 6)
    target, factor, cable, accept = within(
        [bins.SET_POINT, bins.OUTPUT_FACTOR, bins.CHARGE_CABLE, bins.ACCEPTANCE], share
    )
    capability = factor * charging.output_capability(running.speed, setting.car.alternator_rating)
    load = running.load * np.exp(0.25 * standard_normal(share[4]))
    emf = 12.45 + 0.25 * (share[5] - 0.5)
    taking = accept * setting.capacity
    resistance = np.maximum(14.4 - emf, 0.5) / np.maximum(taking, 0.3)
    volts, current, _ = charging.charging_voltage(
        target + running.shift, capability, load, emf, resistance, cable_resistance=cable
    )
    shape = np.broadcast_shapes(target.shape, factor.shape, cable.shape, accept.shape)
    return np.broadcast_to(volts, shape), np.broadcast_to(current, shape)


def _accepted_node(setting: Setting) -> Node:
    """Current a bench charger can put in after some minutes at 14.4 V."""
    values = bins.ACCEPTANCE.at(even_points(48, 1)[0]) * setting.capacity
    table = blurred(counted(values, bins.ACCEPTED_AMPERES), bins.ACCEPTED_AMPERES, 0.2)
    return Node(
        "acceptance_current", "quantity", bins.ACCEPTED_AMPERES.states, ("acceptance",), table,
        bins.ACCEPTED_AMPERES.edges,
    )  # fmt: skip


def _ripple_node(setting: Setting) -> Node:
    values = setting.drawn("rectifier", "ripple", even_points(512, 1)[0])
    table = counted(values, bins.RIPPLE, 2e-3)
    return Node("ripple", "quantity", bins.RIPPLE.states, ("rectifier",), table, bins.RIPPLE.edges)


def _ground_drop_node(setting: Setting) -> Node:
    """Drop between the alternator's case and the negative post while charging."""
    share = even_points(512, 2)
    current = setting.spread("load_on") * np.exp(0.35 * standard_normal(share[0]))
    on = np.array([setting.catalogue.on_rate("ground_path", m, setting.brought_on) if i else 1.0
                   for i, m in enumerate(setting.modes("ground_path"))])  # fmt: skip
    resistance = setting.drawn("ground_path", "resistance", share[1])
    sound = resistance[:1] * np.ones_like(resistance)
    bad = counted(np.minimum(resistance * current, 3.0), bins.DROP)
    good = counted(sound * current, bins.DROP)
    table = blurred(on * bad + (1.0 - on) * good, bins.DROP, 0.004)
    return Node("charge_ground_drop", "quantity", bins.DROP.states, ("ground_path",), table, bins.DROP.edges)
