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
from faultnet.physics.resistance import EARLY_POLARISATION

HELD_BACK = "held_back"  # the solenoid is fed and does not close its contacts
NO_COMMAND = "no_command"  # the solenoid is not fed
NOT_MOVED = (HELD_BACK, NO_COMMAND)
GRID = ("source_emf", "source_factor", "loop", "turning_load")
CELL_SAMPLES = 20
OHMIC_SHARE = 2.7 / 4.0
EARLY_SHARE = OHMIC_SHARE + (1.0 - OHMIC_SHARE) * EARLY_POLARISATION  # [-] of its resistance in the first second
PULL_VOLTS = 10.0  # [V] at which the solenoid's coil currents are stated (workshop manuals, secondary)
NOT_TURNED = 50.0  # [A] below which the motor does not turn and has no peak of its own
FULL_VOLTS = 12.4  # [V] of a battery that is neither full nor flat, for what hardly depends on it


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
    length = setting.spread("starter_cable_length_mean") * np.exp(
        np.hypot(setting.spread("starter_cable_length_spread"), setting.spread("starter_cable_area_spread"))
        * standard_normal(share[0])
    )
    own = np.asarray(conductors.copper_resistance(length, area, setting.air))
    values = own[None] + setting.drawn("starter_cable", "excess", share[1])
    table = counted(values, bins.CABLE)
    return Node("starter_cable_resistance", "parameter", bins.CABLE.states, ("starter_cable",), table, bins.CABLE.edges)


def _contact_node(setting: Setting) -> Node:
    """Main contacts of the solenoid; they stay open when it is not fed, or so poorly that it cannot pull them in."""
    closed = counted(setting.drawn("solenoid", "contact_resistance", even_points(512, 1)[0]), bins.CONTACT)
    no_command, starved = _pull_in_failures(setting)
    weak = np.zeros(len(setting.modes("solenoid")))
    weak[setting.modes("solenoid").index("weak_winding")] = setting.spread("weak_winding_does_not_pull")
    held_back = 1.0 - (1.0 - weak[:, None, None, None]) * (1.0 - starved)
    fed = (1.0 - no_command)[None, :, None, None]
    pulls = fed * (1.0 - held_back)
    table = np.concatenate(
        [closed[:, :, None, None, None] * pulls, (fed * held_back)[None], np.broadcast_to(1.0 - fed, pulls.shape)[None]]
    )
    return Node(
        "contact_resistance", "parameter", (*bins.CONTACT.states, *NOT_MOVED),
        ("solenoid_now", "start_control_now", "ground_path_now", "battery_link_now"),
        normalised(table, 1e-5), bins.CONTACT.edges,
    )  # fmt: skip


def _pull_in_failures(setting: Setting) -> tuple[Array, Array]:
    """Chances that the solenoid is not fed, by control mode, and that it is starved, by ground mode and link.

    Notes
    -----
    The windings are in series with the control circuit, the ground path and the link between the battery's cells, and
    pull in when enough of the battery's volts is left for them.
    """
    share = even_points(1024, 5)
    pull = setting.spread("coil_current_pull") * np.exp(
        setting.spread("coil_current_spread") * standard_normal(share[0])
    )
    coil = PULL_VOLTS / pull
    needed = setting.drawn("solenoid", "pull_in_voltage", share[1])[0]
    control = setting.drawn("start_control", "control_resistance", share[2])
    ground = setting.drawn("ground_path", "resistance", share[3])[:, None]
    broken = setting.modes("battery").index("broken_link")
    link = setting.drawn("battery", "link_resistance", share[4])[[0, broken]][None]
    left = FULL_VOLTS * coil / (coil + control)
    no_command = (left < needed).mean(axis=-1)
    starved = (FULL_VOLTS * coil / (coil + control[0] + ground + link) < needed).mean(axis=-1)
    return no_command, starved


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
    """Sum of part resistances; `switched` is the part whose contacts may be open, which opens the sum too."""
    values = within([b for _, b in parts], even_points(64, len(parts)))
    table = counted(sum(np.broadcast_arrays(*values)), bins=scale, leak=1e-5)  # type: ignore[arg-type]
    states = scale.states
    if switched is not None:
        table = normalised(_opened(table, 1 + switched), 1e-5)
        states = (*states, *NOT_MOVED)
    return Node(name, "parameter", states, tuple(n for n, _ in parts), table, scale.edges)


def _opened(table: Array, axis: int) -> Array:
    """A table with the states of open contacts added to the sum and to the part on `axis`, each going with its like."""
    added = len(NOT_MOVED)
    grown = np.pad(table, [(0, added if k in (0, axis) else 0) for k in range(table.ndim)])
    along = np.moveaxis(grown, axis, 1)
    for k in range(1, added + 1):
        along[-k, -k] = 1.0
    return grown


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
    table = np.zeros((len(bins.JOINTS), len(positive), len(negative), len(bins.LOOP) + len(NOT_MOVED)))
    for k in range(len(bins.LOOP)):
        within_loop = np.clip(joints, 0.0, bins.LOOP.edges[k + 1])
        found = bins.JOINTS.index(within_loop)
        for b in range(len(bins.JOINTS)):
            table[b, :, :, k] = ((which == k) & (found == b)).mean(axis=-1)
        _fill_unseen(table[:, :, :, k], k)
    table[:, :, :, -len(NOT_MOVED) :] = counted(joints, bins.JOINTS)[..., None]
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
    """Resistance between the cells and the cable clamps in the first second: battery and both joints."""
    factor, joints = within([bins.SOURCE_FACTOR, bins.JOINTS], even_points(64, 2))
    table = counted(EARLY_SHARE * factor * setting.source_resistance + joints, bins.CLAMP_SOURCE, 1e-5)
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
    loop = np.concatenate([loop, np.full_like(loop[:, :, : len(NOT_MOVED)], 1e4)], axis=2)
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
    moved[:, :, -len(NOT_MOVED) :] = False
    coil = _coil_current(setting, emf, EARLY_SHARE * source, share[6], share[7])
    ripple = np.broadcast_to(cranking.compression_ripple(start.current, source, setting.car.cylinders), shape)

    def full(values: float | Array) -> Array:
        return np.asarray(np.broadcast_to(values, shape))

    current = np.where(moved, start.current + setting.spread("coil_current_hold"), coil)
    return StartSamples(
        emf=full(emf),
        current=full(current),
        sustained=np.where(moved, start.post_voltage, emf - coil * EARLY_SHARE * source),
        speed=full(start.speed),
        first_dip=full(start.first_dip),
        stall_current=full(start.stall_current),
        ripple=ripple,
        phase=full(share[5]),
        moved=moved,
    )


def _coil_current(setting: Setting, emf: Array, source: Array, which: Array, leak: Array) -> Array:
    """What flows with the main contacts open, over the loop's states: the windings where they are fed [A].

    Notes
    -----
    Both windings are on until the contacts close; a weak one may carry the holding current alone. Nothing to speak of
    flows without a command.
    """
    pull, hold = setting.spread("coil_current_pull"), setting.spread("coil_current_hold")
    windings = PULL_VOLTS / (pull * (hold / pull) ** which**2)
    fed = emf / (windings + source)
    shape = np.broadcast_shapes(fed.shape, (1, 1, len(bins.LOOP) + len(NOT_MOVED), 1, 1))
    current = np.array(np.broadcast_to(fed, shape))
    current[:, :, -1] = 1.5 * leak
    return current


def current_node(setting: Setting, samples: StartSamples) -> Node:
    """Sustained cranking current; the solenoid's own windings where the contacts do not conduct."""
    table = blurred(
        counted(samples.current, bins.CRANK_CURRENT), bins.CRANK_CURRENT, 0.03 * bins.CRANK_CURRENT.middles + 2.0
    )
    return Node("crank_current_level", "parameter", bins.CRANK_CURRENT.states, GRID, table, bins.CRANK_CURRENT.edges)


def grid_quantities(setting: Setting, samples: StartSamples) -> list[Node]:
    """Quantities of a start as a whole: volts held, inrush and speed."""
    held = blurred(counted(samples.sustained, bins.CRANK_VOLTS), bins.CRANK_VOLTS, setting.spread("start_volts_spread"))
    peak = np.where(samples.moved, samples.stall_current * setting.spread("inrush_seen_share"), samples.current)
    inrush = counted(peak, bins.INRUSH)
    inrush = blurred(inrush, bins.INRUSH, 0.12 * bins.INRUSH.middles + 5.0)
    speed = blurred(counted(samples.speed, bins.CRANK_SPEED), bins.CRANK_SPEED, 0.08 * bins.CRANK_SPEED.middles + 4.0)
    return [
        Node("crank_sustained", "quantity", bins.CRANK_VOLTS.states, GRID, held, bins.CRANK_VOLTS.edges),
        Node("inrush_current", "quantity", bins.INRUSH.states, GRID, inrush, bins.INRUSH.edges),
        Node("cranking_speed", "quantity", bins.CRANK_SPEED.states, GRID, speed, bins.CRANK_SPEED.edges),
    ]


TURNING = ("brisk", "slow", "stands", "still")


def turning_node(setting: Setting, samples: StartSamples) -> Node:
    """How the engine turns: briskly, slowly, not with the contacts closed, not with them open."""
    turns = above(samples.speed, setting.spread("stands_speed"), setting.spread("stands_speed_width"))
    brisk = above(samples.speed, setting.spread("slow_speed"), setting.spread("slow_speed_width"))
    closed = samples.moved.astype(float)
    weights = np.stack([turns * brisk, turns * (1.0 - brisk), 1.0 - turns]) * closed
    weights = np.concatenate([weights, (1.0 - closed)[None]])
    return Node("turning", "parameter", TURNING, GRID, normalised(weights.mean(axis=-1), 1e-4))


def above(value: Array, middle: float, width: float) -> Array:
    """Chance that somebody calls a value above a soft edge [-]."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip((middle - value) / width, -60.0, 60.0))))


def minimum_node(
    setting: Setting, samples: StartSamples, name: str, window: float | None, interval: float | None
) -> Node:
    """Lowest volts at the posts as an averaging window or a sampling interval lets an instrument see them."""
    seen = seen_minimum(
        samples.emf, samples.first_dip, samples.sustained, samples.ripple, samples.phase, window, interval
    )
    seen = np.where(samples.moved, seen, samples.sustained)
    table = blurred(counted(seen, bins.CRANK_VOLTS), bins.CRANK_VOLTS, setting.spread("start_volts_spread"))
    return Node(name, "quantity", bins.CRANK_VOLTS.states, GRID, table, bins.CRANK_VOLTS.edges)


def seen_minimum(
    rest: Array, dip: Array, held: Array, ripple: Array, phase: Array, window: float | None, interval: float | None
) -> Array:
    """Lowest volts of a start as an averaging window or a sampling interval shows them [V]."""
    dip = np.minimum(dip, held)
    if interval is not None and interval > (window or 0.0):
        return np.asarray(cranking.sampled_minimum(rest, dip, held, ripple, interval, phase))
    return np.asarray(cranking.windowed_minimum(rest, dip, held, ripple, window or 1e-3, phase))


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
    share = even_points(64, 3)
    resistance, current = within([scale, bins.CRANK_CURRENT], share)
    whole = FULL_VOLTS + 0.8 * (share[2] - 0.7)
    drop = np.minimum(resistance * current, whole - 0.5)
    if switched:
        open_contact = (resistance > 0.035) & (current < 30.0)
        drop = np.where(open_contact, whole - 0.5, drop)
        drop = np.concatenate([drop, np.broadcast_to(whole, (len(NOT_MOVED), *drop.shape[1:]))])
    table = blurred(counted(drop, bins.DROP), bins.DROP, 0.004)
    return Node(name, "quantity", bins.DROP.states, (parent, "crank_current_level"), table, bins.DROP.edges)


def crank_current_quantity(setting: Setting) -> Node:
    """Steady current in the starter cable."""
    table = np.repeat(np.eye(len(bins.CRANK_CURRENT))[:, :, None], 1, axis=2)[:, :, 0]
    return Node(
        "crank_current", "quantity", bins.CRANK_CURRENT.states, ("crank_current_level",),
        normalised(table, 1e-3), bins.CRANK_CURRENT.edges,
    )  # fmt: skip
