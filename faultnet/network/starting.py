"""Hidden nodes and quantities of the starting circuit.

The circuit is one loop. What the battery offers (EMF, resistance), what lies in the loop outside battery and motor
(its total resistance) and how hard the engine is to turn make a grid; the loop's total is put together from its
parts, and the current ties a drop across a part to the rest.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultnet.network import bins
from faultnet.network.bins import Bins
from faultnet.network.modes import on_chances
from faultnet.network.sampling import blurred, counted, even_points, standard_normal, within
from faultnet.network.setting import Setting
from faultnet.network.structure import Array, Node, normalised
from faultnet.physics import conductors, cranking

NOT_MOVED = "not_moved"
GRID = ("source_emf", "source_factor", "loop", "turning_load")
CELL_SAMPLES = 20
OHMIC_SHARE = 2.7 / 4.0


def part_nodes(setting: Setting) -> list[Node]:
    """Resistance of each part of the loop given the mode it acts in."""
    return [
        _resistance_node(setting, "positive_joint", "positive_joint_now", bins.JOINT),
        _resistance_node(setting, "negative_joint", "negative_joint_now", bins.JOINT),
        _cable_node(setting),
        _resistance_node(setting, "ground_path", "ground_path_now", bins.GROUND),
        _contact_node(setting),
        _resistance_node(setting, "starter_motor", "starter_motor_now", bins.BRUSH, parameter="brush_resistance"),
        _load_node(setting),
    ]


def _resistance_node(setting: Setting, component: str, parent: str, scale: Bins, parameter: str = "resistance") -> Node:
    values = setting.drawn(component, parameter, even_points(512, 1)[0])
    name = f"{component}_resistance"
    return Node(name, "parameter", scale.states, (parent,), counted(values, scale), scale.edges)


def _cable_node(setting: Setting) -> Node:
    """Starter cable: the conductor itself, by length and cross-section, and what a bad crimp adds."""
    share = even_points(512, 2)
    area = setting.spread(f"starter_cable_area_{setting.car.fuel}")
    length = setting.spread("starter_cable_length_mean") * np.exp(0.35 * standard_normal(share[0]))
    own = np.asarray(conductors.copper_resistance(length, area, setting.air))
    values = own[None] + setting.drawn("starter_cable", "excess", share[1])
    table = counted(values, bins.CABLE)
    return Node("starter_cable_resistance", "parameter", bins.CABLE.states, ("starter_cable",), table, bins.CABLE.edges)


def _contact_node(setting: Setting) -> Node:
    """Main contacts of the solenoid; they do not close at all when nothing pulls them in."""
    solenoid, control = setting.modes("solenoid"), setting.modes("start_control")
    closed = counted(setting.drawn("solenoid", "contact_resistance", even_points(512, 1)[0]), bins.CONTACT)
    stuck = np.array([[_not_moved_share(setting, s, c) for c in control] for s in solenoid])
    table = np.concatenate([closed[:, :, None] * (1.0 - stuck)[None], stuck[None]])
    return Node(
        "contact_resistance", "parameter", (*bins.CONTACT.states, NOT_MOVED), ("solenoid_now", "start_control_now"),
        normalised(table, 1e-5), bins.CONTACT.edges,
    )  # fmt: skip


def _not_moved_share(setting: Setting, solenoid: str, control: str) -> float:
    if control != "sound":
        return 0.96
    return setting.spread("weak_winding_does_not_pull") if solenoid == "weak_winding" else 1e-3


def _load_node(setting: Setting) -> Node:
    """How hard the engine is to turn relative to a sound one now, with the starter's own friction in it."""
    share = even_points(512, 3)
    friction = setting.drawn("starter_motor", "friction_factor", share[0])
    drag = setting.drawn("engine_turning", "drag_factor", share[1])
    usual = np.exp(setting.spread("nominal_current_spread") * standard_normal(share[2]))
    table = counted(friction[:, None] * drag[None] * usual, bins.TURNING_LOAD)
    parents = ("starter_motor_now", "engine_turning")
    return Node("turning_load", "parameter", bins.TURNING_LOAD.states, parents, table, bins.TURNING_LOAD.edges)


def path_nodes() -> list[Node]:
    """Totals over the positive side, the ground side and the whole loop."""
    positive = (
        ("positive_joint_resistance", bins.JOINT),
        ("starter_cable_resistance", bins.CABLE),
        ("contact_resistance", bins.CONTACT),
    )
    negative = (("negative_joint_resistance", bins.JOINT), ("ground_path_resistance", bins.GROUND))
    loop = (
        ("positive_path", bins.POSITIVE_PATH),
        ("negative_path", bins.NEGATIVE_PATH),
        ("starter_motor_resistance", bins.BRUSH),
    )
    return [
        _sum_node("positive_path", bins.POSITIVE_PATH, positive, switched=2),
        _sum_node("negative_path", bins.NEGATIVE_PATH, negative),
        _sum_node("loop", bins.LOOP, loop, switched=0),
    ]


def _sum_node(name: str, scale: Bins, parts: tuple[tuple[str, Bins], ...], switched: int | None = None) -> Node:
    """Sum of part resistances; `switched` is the part that may not have moved, which opens the sum too."""
    values = within([b for _, b in parts], even_points(64, len(parts)))
    table = counted(sum(np.broadcast_arrays(*values)), bins=scale, leak=1e-5)  # type: ignore[arg-type]
    states = scale.states
    if switched is not None:
        axis = 1 + switched
        open_shape = list(table.shape)
        open_shape[axis] = 1
        table = np.concatenate([table, np.zeros(open_shape)], axis=axis)
        never = np.zeros((1, *table.shape[1:]))
        np.moveaxis(never, axis, 0)[-1] = 1.0
        table = normalised(np.concatenate([table, never]), 1e-5)
        states = (*states, NOT_MOVED)
    return Node(name, "parameter", states, tuple(n for n, _ in parts), table, scale.edges)


def joints_node(setting: Setting) -> Node:
    """The part of the loop's resistance that lies in the two joints, given how they are and what the loop has in all.

    Lamps and modules hang behind the joints. What is bad elsewhere at the same time is taken as sound here, which
    only matters when a joint and another part of the loop are bad together.
    """
    share = even_points(2048, 8)
    positive = _acting_resistance(setting, "positive_joint", share[0], share[1])
    negative = _acting_resistance(setting, "negative_joint", share[2], share[3])
    elsewhere = _sound_elsewhere(setting, share[4:])
    joints = positive[:, None] + negative[None]
    which = bins.LOOP.index(joints + elsewhere)
    table = np.zeros((len(bins.JOINTS), len(positive), len(negative), len(bins.LOOP) + 1))
    for k in range(len(bins.LOOP)):
        within_loop = np.clip(joints, 0.0, bins.LOOP.edges[k + 1])
        found = bins.JOINTS.index(within_loop)
        for b in range(len(bins.JOINTS)):
            table[b, :, :, k] = ((which == k) & (found == b)).mean(axis=-1)
        _fill_unseen(table[:, :, :, k], k)
    table[:, :, :, -1] = counted(joints, bins.JOINTS)
    parents = ("positive_joint", "negative_joint", "loop")
    return Node("joints", "parameter", bins.JOINTS.states, parents, normalised(table, 1e-4), bins.JOINTS.edges)


def _acting_resistance(setting: Setting, component: str, share: Array, luck: Array) -> Array:
    """Resistance at this visit for every mode, a fault that is off being sound: shape (modes, samples)."""
    values = setting.drawn(component, "resistance", share)
    return np.where(luck[None] < on_chances(setting, component)[:, None], values, values[:1])


def _sound_elsewhere(setting: Setting, share: Array) -> Array:
    """Resistance of the sound rest of the loop [ohm], shape (samples,)."""
    area = setting.spread(f"starter_cable_area_{setting.car.fuel}")
    cable = conductors.copper_resistance(setting.spread("starter_cable_length_mean"), area, setting.air)
    parts = (("ground_path", "resistance"), ("solenoid", "contact_resistance"), ("starter_motor", "brush_resistance"))
    return np.asarray(cable + sum(setting.drawn(c, p, share[k])[0] for k, (c, p) in enumerate(parts)))


def _fill_unseen(table: Array, loop_bin: int) -> None:
    """Where no sample fell: a bad joint takes what the loop has, sound ones have next to nothing."""
    low, high = bins.LOOP.edges[loop_bin], bins.LOOP.edges[loop_bin + 1]
    for p in range(table.shape[1]):
        for n in range(table.shape[2]):
            if table[:, p, n].sum() == 0.0:
                likely = 0.0 if p == n == 0 else 0.5 * (max(low, 0.25 * high) + min(high, 1.0))
                table[int(bins.JOINTS.index(np.array(likely))), p, n] = 1.0


def clamp_node(setting: Setting) -> Node:
    """Resistance between the cells and the cable clamps: battery and both joints."""
    factor, joints = within([bins.SOURCE_FACTOR, bins.JOINTS], even_points(64, 2))
    table = counted(factor * setting.source_resistance + joints, bins.CLAMP_SOURCE, 1e-5)
    parents = ("source_factor", "joints")
    return Node("clamp_resistance", "parameter", bins.CLAMP_SOURCE.states, parents, table, bins.CLAMP_SOURCE.edges)


@dataclass(frozen=True, eq=False)
class StartSamples:
    """Starts simulated in every cell of the grid, each array of shape (emf, factor, loop, load, samples)."""

    emf: Array
    current: Array
    sustained: Array
    speed: Array
    first_dip: Array
    stall_current: Array
    ripple: Array
    phase: Array
    moved: Array


def start_samples(setting: Setting) -> StartSamples:
    """Solve the starting circuit at even points within every cell of the grid."""
    share = even_points(CELL_SAMPLES, 8)
    emf, factor, loop, load = within([bins.SOURCE_EMF, bins.SOURCE_FACTOR, bins.LOOP, bins.TURNING_LOAD], share)
    loop = np.concatenate([loop, np.full_like(loop[:, :, :1], 1e4)], axis=2)
    source = factor * setting.source_resistance
    motor = setting.motor_resistance * np.exp(setting.spread("motor_resistance_spread") * standard_normal(share[4]))
    ohmic = OHMIC_SHARE * source
    start = cranking.solve_start(
        emf,
        ohmic,
        source - ohmic,
        loop,
        load,
        setting.nominal_current,
        motor,
        brush_drop=setting.spread("brush_drop_mean"),
    )
    shape = np.broadcast_shapes(emf.shape, factor.shape, loop.shape, load.shape)
    moved = np.ones(shape, dtype=bool)
    moved[:, :, -1] = False
    ripple = np.broadcast_to(cranking.compression_ripple(start.current, source, setting.car.cylinders), shape)

    def full(values: float | Array) -> Array:
        return np.asarray(np.broadcast_to(values, shape))

    return StartSamples(
        emf=full(emf),
        current=full(start.current),
        sustained=full(start.post_voltage),
        speed=full(start.speed),
        first_dip=full(start.first_dip),
        stall_current=full(start.stall_current),
        ripple=ripple,
        phase=full(share[5]),
        moved=moved,
    )


def current_node(setting: Setting, samples: StartSamples) -> Node:
    """Sustained cranking current; the solenoid's own coils where the contacts do not conduct."""
    current = samples.current + np.where(samples.moved, setting.spread("coil_current_hold"), 1.5)
    table = blurred(counted(current, bins.CRANK_CURRENT), bins.CRANK_CURRENT, 0.03 * bins.CRANK_CURRENT.middles + 2.0)
    return Node("crank_current_level", "parameter", bins.CRANK_CURRENT.states, GRID, table, bins.CRANK_CURRENT.edges)


def grid_quantities(setting: Setting, samples: StartSamples) -> list[Node]:
    """Quantities of a start as a whole: volts held, inrush, speed, and what one hears."""
    held = blurred(counted(samples.sustained, bins.CRANK_VOLTS), bins.CRANK_VOLTS, setting.spread("start_volts_spread"))
    inrush = counted(samples.stall_current * setting.spread("inrush_seen_share"), bins.INRUSH)
    inrush = blurred(inrush, bins.INRUSH, 0.12 * bins.INRUSH.middles + 5.0)
    speed = blurred(counted(samples.speed, bins.CRANK_SPEED), bins.CRANK_SPEED, 0.08 * bins.CRANK_SPEED.middles + 4.0)
    return [
        Node("crank_sustained", "quantity", bins.CRANK_VOLTS.states, GRID, held, bins.CRANK_VOLTS.edges),
        Node("inrush_current", "quantity", bins.INRUSH.states, GRID, inrush, bins.INRUSH.edges),
        Node("cranking_speed", "quantity", bins.CRANK_SPEED.states, GRID, speed, bins.CRANK_SPEED.edges),
        Node("crank_behaviour", "quantity", BEHAVIOURS, GRID, _behaviour(samples)),
    ]


BEHAVIOURS = ("normal", "slow", "one_clunk", "rapid_clicking", "nothing")


def _behaviour(samples: StartSamples) -> Array:
    """What one hears: from speed, current, and whether the volts left hold the solenoid in.

    Notes
    -----
    Below about 8 V held the solenoid drops out and pulls in again as the volts recover: rapid clicking; below about
    5 V it does not pull in at all. Contacts that do not conduct give one clunk. Limits of slow and normal lie around
    150 rev/min with a soft edge (common practice, no source).
    """
    turning = 1.0 / (1.0 + np.exp(-(samples.speed - 45.0) / 8.0))
    brisk = 1.0 / (1.0 + np.exp(-(samples.speed - 160.0) / 12.0))
    conducting = 1.0 / (1.0 + np.exp(-(samples.current - 40.0) / 10.0))
    collapsing = 1.0 / (1.0 + np.exp((samples.sustained - 7.6) / 0.5))
    dead = 1.0 / (1.0 + np.exp((samples.emf - 6.5) / 0.8))
    still = 1.0 - turning
    clicking = still * conducting * collapsing * (1.0 - dead)
    clunk = still * ((1.0 - conducting) * (1.0 - dead) + conducting * (1.0 - collapsing))
    weights = np.stack([turning * brisk, turning * (1.0 - brisk), clunk, clicking, still * dead])
    weights = np.where(samples.moved[None], weights, np.array([0.0, 0.0, 0.03, 0.02, 0.95]).reshape(5, 1, 1, 1, 1, 1))
    return normalised(weights.mean(axis=-1), 4e-3)


def minimum_node(
    setting: Setting, samples: StartSamples, name: str, window: float | None, interval: float | None
) -> Node:
    """Lowest volts at the posts as an averaging window or a sampling interval lets an instrument see them."""
    seen = _seen_minimum(
        samples.emf, samples.first_dip, samples.sustained, samples.ripple, samples.phase, window, interval
    )
    seen = np.where(samples.moved, seen, samples.sustained)
    table = blurred(counted(seen, bins.CRANK_VOLTS), bins.CRANK_VOLTS, setting.spread("start_volts_spread"))
    return Node(name, "quantity", bins.CRANK_VOLTS.states, GRID, table, bins.CRANK_VOLTS.edges)


def _seen_minimum(
    rest: Array, dip: Array, held: Array, ripple: Array, phase: Array, window: float | None, interval: float | None
) -> Array:
    dip = np.minimum(dip, held)
    if interval is not None and interval > (window or 0.0):
        return np.asarray(cranking.sampled_minimum(rest, dip, held, ripple, interval, phase))
    return np.asarray(cranking.windowed_minimum(rest, dip, held, ripple, window or 1e-3, phase))


def clamp_minimum_node(setting: Setting, name: str, window: float | None, interval: float | None) -> Node:
    """Lowest volts at the cable clamps, where modules and lamps are fed, seen through an instrument's sampling."""
    share = even_points(32, 6)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    feed = np.minimum(current, emf / source)
    held = emf - feed * source
    surge = np.minimum(feed * (2.5 + 2.5 * share[3]), 0.95 * emf / source)
    surge = np.where(current < 30.0, feed, surge)
    dip = emf - surge * source * 0.7
    shape = np.broadcast_shapes(emf.shape, source.shape, current.shape)
    rest, low, kept, ripple, phase = (
        np.broadcast_to(a, shape) for a in (emf, dip, held, 0.12 * (emf - held), share[4])
    )
    seen = _seen_minimum(rest, low, kept, ripple, phase, window, interval)
    table = blurred(counted(seen, bins.CRANK_VOLTS), bins.CRANK_VOLTS, 0.15)
    parents = ("source_emf", "clamp_resistance", "crank_current_level")
    return Node(name, "quantity", bins.CRANK_VOLTS.states, parents, table, bins.CRANK_VOLTS.edges)


def lamps_node() -> Node:
    """What the lamps do while cranking: they are fed from the clamps and draw a few amperes of their own."""
    share = even_points(32, 3)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    volts = emf - np.minimum(current + 8.0, emf / source) * source
    bright = 1.0 / (1.0 + np.exp(-(volts - 10.6) / 0.35))
    out = 1.0 / (1.0 + np.exp((volts - 6.0) / 0.6))
    table = normalised(np.stack([bright, (1.0 - bright) * (1.0 - out), out]).mean(axis=-1), 0.02)
    parents = ("source_emf", "clamp_resistance", "crank_current_level")
    return Node("clamp_lamps", "quantity", ("stay_bright", "dim", "go_out"), parents, table)


DROPS = (
    ("positive_drop", "positive_path", bins.POSITIVE_PATH, True),
    ("positive_joint_drop", "positive_joint_resistance", bins.JOINT, False),
    ("starter_cable_drop", "starter_cable_resistance", bins.CABLE, False),
    ("solenoid_drop", "contact_resistance", bins.CONTACT, True),
    ("ground_drop", "negative_path", bins.NEGATIVE_PATH, False),
    ("negative_joint_drop", "negative_joint_resistance", bins.JOINT, False),
    ("ground_path_drop", "ground_path_resistance", bins.GROUND, False),
)


def drop_nodes() -> list[Node]:
    """Volts across each part while cranking: its resistance times the current."""
    return [_drop_node(name, parent, scale, switched) for name, parent, scale, switched in DROPS]


def _drop_node(name: str, parent: str, scale: Bins, switched: bool) -> Node:
    resistance, current = within([scale, bins.CRANK_CURRENT], even_points(64, 2))
    drop = np.minimum(resistance * current, 12.3)
    if switched:
        open_contact = (resistance > 0.035) & (current < 30.0)
        drop = np.where(open_contact, 11.5 + 0.0 * drop, drop)
        drop = np.concatenate([drop, np.full_like(drop[:1], 12.0)])
    table = blurred(counted(drop, bins.DROP), bins.DROP, 0.004)
    return Node(name, "quantity", bins.DROP.states, (parent, "crank_current_level"), table, bins.DROP.edges)


def crank_current_quantity(setting: Setting) -> Node:
    """Steady current in the starter cable."""
    table = np.repeat(np.eye(len(bins.CRANK_CURRENT))[:, :, None], 1, axis=2)[:, :, 0]
    return Node(
        "crank_current", "quantity", bins.CRANK_CURRENT.states, ("crank_current_level",),
        normalised(table, 1e-3), bins.CRANK_CURRENT.edges,
    )  # fmt: skip


def control_voltage_node(setting: Setting) -> Node:
    """Volts at the solenoid's control terminal while the key is held at start."""
    share = even_points(64, 3)
    emf = bins.SOURCE_EMF.at(share[0])
    modes = setting.modes("start_control")
    good = emf - 0.35 - 1.6 * share[1]
    bad = np.where(share[2] < 0.7, 0.8 * share[1], 1.0 + 6.0 * share[1]) * np.ones_like(emf)
    values = np.stack([good if m == "sound" else bad for m in modes])
    table = blurred(counted(np.clip(values, 0.0, 12.9), bins.CONTROL_VOLTS), bins.CONTROL_VOLTS, 0.3)
    parents = ("start_control_now", "source_emf")
    return Node("control_voltage", "quantity", bins.CONTROL_VOLTS.states, parents, table, bins.CONTROL_VOLTS.edges)


def load_quantities(setting: Setting) -> list[Node]:
    """Quantities of the battery under a known load: half-rating test, two-load resistance, conductance."""
    share = even_points(48, 3)
    emf, factor = within([bins.SOURCE_EMF, bins.SOURCE_FACTOR], share)
    resistance = factor * setting.source_resistance
    loaded = np.maximum(emf - 0.5 * setting.rating * resistance, 0.0)
    half = blurred(counted(loaded, bins.CRANK_VOLTS), bins.CRANK_VOLTS, 0.12)
    factor_only = bins.SOURCE_FACTOR.at(share[1])
    ohms = counted(factor_only * setting.source_resistance * (0.8 + 0.25 * share[2]), bins.SOURCE_OHMS)
    indicated = setting.rating * factor_only**-0.95 * np.exp(0.09 * standard_normal(share[2]))
    return [
        Node(
            "half_rating_voltage", "quantity", bins.CRANK_VOLTS.states, ("source_emf", "source_factor"),
            half, bins.CRANK_VOLTS.edges,
        ),
        Node(
            "source_resistance", "quantity", bins.SOURCE_OHMS.states, ("source_factor",), ohms, bins.SOURCE_OHMS.edges
        ),
        Node(
            "conductance_rating", "quantity", bins.CONDUCTANCE.states, ("source_factor",),
            blurred(counted(indicated, bins.CONDUCTANCE), bins.CONDUCTANCE, 10.0), bins.CONDUCTANCE.edges,
        ),
    ]  # fmt: skip


def sag_node(setting: Setting) -> Node:
    """Fall of the posts' volts from the first to the fifteenth second of a dead crank."""
    share = even_points(192, 4)
    charge = bins.CHARGE.at(share[0])
    draw = setting.nominal_current * np.exp(0.2 * standard_normal(share[1]))
    slow = cranking_sag(setting, draw, charge)
    factor = setting.drawn("battery", "resistance_factor", share[2])[:, None]
    loss = setting.drawn("battery", "load_loss", share[3])[:, None] * 0.6
    table = blurred(counted(slow[None] * factor + loss, bins.SAG), bins.SAG, 0.06)
    return Node("crank_sag", "quantity", bins.SAG.states, ("battery", "charge"), table, bins.SAG.edges)


def cranking_sag(setting: Setting, current: Array, charge: Array) -> Array:
    """Sag of a sound battery over fifteen seconds [V]."""
    from faultnet.physics import battery

    slow = battery.polarisation_resistance(setting.rating, setting.electrolyte, charge)
    before = cranking.sustained_after(12.0, current, slow, 1.0)
    return np.asarray(before - cranking.sustained_after(12.0, current, slow, 15.0))
