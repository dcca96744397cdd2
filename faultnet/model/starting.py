"""Hidden nodes and quantities of the starting circuit.

The circuit is one loop. What the battery offers (EMF, resistance), what lies in the loop outside battery and motor
(its total resistance) and how hard the engine is to turn make a grid; the loop's total is put together from its
parts, and the current ties a drop across a part to the rest.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from faultnet.model import bins
from faultnet.model.bins import Bins
from faultnet.model.modes import active_node, drawn_when_active
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Now, Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    cell_counts,
    histogram,
    in_bins,
    masses,
    normal_share,
    scattered,
    standard_normal,
    within,
)
from faultnet.model.setting import Setting
from faultnet.model.symptoms import NEVER_RULED_OUT
from faultnet.physics import cranking
from faultnet.physics.resistance import EARLY_POLARISATION, OHMIC_SHARE, OHMIC_SHARE_WITHIN
from faultnet.physics.waveform import HOLD, RISE

HELD_BACK = "held_back"  # the solenoid is fed, with too little to close its contacts: both windings are on
STICKS = "sticks"  # its own winding is too weak: the holding winding alone is on
NO_COMMAND = "no_command"  # the solenoid is not fed
NOT_MOVED = (HELD_BACK, STICKS, NO_COMMAND)
FIRING = ("fires", "cranks_no_fire")
GRID = ("source_emf", "source_factor", "loop", "turning_load")
CELL_SAMPLES = 40
EARLY_SHARE = OHMIC_SHARE + (1.0 - OHMIC_SHARE) * EARLY_POLARISATION  # [-] of its resistance in the first second
BEYOND = (
    0.5  # [-] mean logarithm by which a part that holds the solenoid back lies beyond the least that does; estimate
)
STUCK = 0.5  # [-] of the starts with fed windings and open contacts: the solenoid's own winding is weak; estimate


def part_nodes(setting: Setting) -> list[Node]:
    """Resistance of each part of the loop given the mode it acts in."""
    return [
        _resistance_node(setting, "positive_joint", bins.JOINT),
        _resistance_node(setting, "negative_joint", bins.JOINT),
        _cable_node(setting),
        _resistance_node(setting, "ground_path", bins.GROUND),
        _contact_node(setting),
        _resistance_node(setting, "starter_motor", bins.BRUSH, parameter="brush_resistance"),
        _load_node(setting),
    ]


def _resistance_node(setting: Setting, component: str, scale: Bins, parameter: str = "resistance") -> Node:
    table = np.stack([masses(setting.effect(component, m, parameter), scale) for m in setting.modes(component)], axis=1)
    parents = (active_node(setting.catalogue, component),)
    return Node(f"{component}_resistance", "parameter", scale.states, parents, table, scale.edges)


def _cable_node(setting: Setting) -> Node:
    """Starter cable: the conductor itself, by length and cross-section, and what a bad crimp adds."""
    unlike = np.hypot(setting.number("starter_cable_length_spread"), setting.number("starter_cable_area_spread"))
    own = setting.cable_copper
    excess = setting.drawn("starter_cable", "excess", low_discrepancy_points(512, 1)[0])
    table = in_bins(own, unlike, bins.CABLE, excess)
    parents = (active_node(setting.catalogue, "starter_cable"),)
    return Node("starter_cable_resistance", "parameter", bins.CABLE.states, parents, table, bins.CABLE.edges)


def _contact_node(setting: Setting) -> Node:
    """Main contacts of the solenoid; they stay open when it is not fed, or when its own winding is too weak.

    What a flat battery, an open link or a broken ground does to a sound winding is decided in the circuit itself.
    """
    effects = [setting.effect("solenoid", m, "contact_resistance") for m in setting.modes("solenoid")]
    closed = np.stack([masses(e, bins.CONTACT) for e in effects], axis=1)
    fed = 1.0 - _not_fed(setting)
    weak = np.zeros(len(setting.modes("solenoid")))
    weak[setting.modes("solenoid").index("weak_winding")] = setting.number("weak_winding_does_not_pull")
    table = np.concatenate(
        [
            closed[:, :, None] * (fed * (1.0 - weak[:, None])),
            np.zeros((1, len(weak), len(fed))),
            (fed * weak[:, None])[None],
            np.broadcast_to(1.0 - fed, (len(weak), len(fed)))[None],
        ]
    )
    return Node(
        "contact_resistance", "parameter", (*bins.CONTACT.states, *NOT_MOVED),
        (active_node(setting.catalogue, "solenoid"), active_node(setting.catalogue, "start_control")),
        normalised(table, HIDDEN_LEAK), bins.CONTACT.edges,
    )  # fmt: skip


def _not_fed(setting: Setting) -> Array:
    """Chance that too little of the battery's volts reaches the windings through the control circuit, by its mode."""
    share = low_discrepancy_points(1024, 3)
    control = setting.drawn("start_control", "control_resistance", share[2])
    return np.asarray((~pulls_in(setting, control, share[:2])).mean(axis=-1))


def not_feeding(setting: Setting, share: Array) -> Array:
    """Resistance of a bad control circuit, of all its faults in turn [ohm], of the shape of `share`."""
    bad = setting.drawn("start_control", "control_resistance", share)[1:]
    turn = np.arange(share.shape[-1]) % len(bad)
    return np.select([turn == k for k in range(len(bad))], list(bad))


def windings(setting: Setting, share: Array) -> Array:
    """Both windings of the solenoid together [ohm], of the shape of `share`."""
    unlike = np.exp(setting.number("coil_current_spread") * standard_normal(share))
    return np.asarray(setting.number("coil_current_volts") / (setting.number("coil_current_pull") * unlike))


def needed_volts(setting: Setting, share: Array) -> Array:
    """Volts at which a sound solenoid closes its contacts [V], of the shape of `share`."""
    return np.asarray(setting.drawn("solenoid", "pull_in_voltage", share)[0])


def _load_node(setting: Setting) -> Node:
    """How hard the engine is to turn relative to a sound one now, with the starter's own friction in it."""
    share = low_discrepancy_points(512, 2)
    friction = setting.drawn("starter_motor", "friction_factor", share[0])
    drag = setting.drawn("engine_turning", "drag_factor", share[1])
    usual = setting.number("nominal_current_spread")
    table = in_bins(friction[:, None] * drag[None], usual, bins.TURNING_LOAD)
    parents = (active_node(setting.catalogue, "starter_motor"), active_node(setting.catalogue, "engine_turning"))
    return Node("turning_load", "parameter", bins.TURNING_LOAD.states, parents, table, bins.TURNING_LOAD.edges)


def pulls_in(setting: Setting, behind: Array, share: Array) -> NDArray[np.bool_]:
    """Whether a sound solenoid closes behind a resistance on a battery neither full nor flat.

    Parameters
    ----------
    setting : Setting
    behind : array, shape (..., samples)
        What lies between the posts and its windings [ohm].
    share : array, shape (2, samples)
        Points for the windings and for what they need.
    """
    coil = windings(setting, share[0])
    return np.asarray(setting.number("usual_rest_voltage") * coil / (coil + behind) >= needed_volts(setting, share[1]))


def _held_back_behind(setting: Setting, scale: Bins) -> Array:
    """Chance that so bad a joint or ground leaves too little for the windings, shape (states of the scale,)."""
    share = low_discrepancy_points(1024, 3)
    return np.asarray((~pulls_in(setting, scale.at(share[0]), share[1:])).mean(axis=-1))


def path_nodes(setting: Setting) -> list[Node]:
    """Totals over the positive side, the ground side and the whole loop.

    Notes
    -----
    The windings of the solenoid are fed through the joints and the ground path: one that is bad enough keeps the
    contacts open, which opens the path and the loop. The two sides are judged each by itself.
    """
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
        _holding_back(
            _sum_node("positive_path", bins.POSITIVE_PATH, positive, switched=2),
            "positive_joint_resistance",
            _held_back_behind(setting, bins.JOINT),
        ),
        _sum_node("negative_path", bins.NEGATIVE_PATH, negative),
        _holding_back(
            _sum_node("loop", bins.LOOP, loop, switched=0),
            "negative_path",
            _held_back_behind(setting, bins.NEGATIVE_PATH),
        ),
    ]


def _holding_back(node: Node, parent: str, chance: Array) -> Node:
    """A sum whose contacts may also be held open by what one of its parts leaves to the windings."""
    shape = [1] * len(node.parents)
    shape[node.parents.index(parent)] = len(chance)
    stays = 1.0 - chance.reshape(shape)
    table = node.table.copy()
    closed = len(node.states) - len(NOT_MOVED)
    table[closed + NOT_MOVED.index(HELD_BACK)] += (1.0 - stays) * table[:closed].sum(axis=0)
    table[:closed] *= stays
    return replace(node, table=normalised(table, HIDDEN_LEAK))


def _sum_node(name: str, scale: Bins, parts: tuple[tuple[str, Bins], ...], switched: int | None = None) -> Node:
    """Sum of part resistances; `switched` is the part whose contacts may be open, which opens the sum too."""
    values = within([b for _, b in parts], low_discrepancy_points(64, len(parts)))
    table = histogram(sum(np.broadcast_arrays(*values)), bins=scale, leak=HIDDEN_LEAK)  # type: ignore[arg-type]
    states = scale.states
    if switched is not None:
        table = normalised(_opened(table, 1 + switched), HIDDEN_LEAK)
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
    """The part of the loop's resistance that lies in the two joints: lamps and modules hang behind them."""
    return _share_of_loop(setting, "joints", ("positive_joint", "negative_joint"), bins.CLAMP_JOINTS)


def before_solenoid_node(setting: Setting) -> Node:
    """The part of the loop's resistance that lies between the posts and the solenoid's windings: joints and ground."""
    among = ("positive_joint", "negative_joint", "ground_path")
    return _share_of_loop(setting, "before_solenoid", among, bins.JOINTS)


def _share_of_loop(setting: Setting, name: str, among: tuple[str, ...], scale: Bins) -> Node:
    """What some parts have of the loop's resistance, given how they are and what the loop has in all.

    Notes
    -----
    What is bad elsewhere at the same time is taken as sound here, which only matters when one of these parts and
    another part of the loop are bad together. Where the solenoid is held back, a part that is bad is mostly bad enough
    to have done it.
    """
    share = low_discrepancy_points(2048, 2 * len(among) + 6)
    cards = [len(setting.modes(c)) for c in among]
    together = in_series(
        [drawn_when_active(setting, c, "resistance", share[2 * k], share[2 * k + 1]) for k, c in enumerate(among)]
    )
    which = bins.LOOP.index(together + _sound_elsewhere(setting, share[2 * len(among) :], among))
    table = np.zeros((len(scale), *cards, len(bins.LOOP) + len(NOT_MOVED)))
    for k in range(len(bins.LOOP)):
        found = scale.index(np.clip(together, 0.0, bins.LOOP.edges[k + 1]))
        for b in range(len(scale)):
            table[b, ..., k] = ((which == k) & (found == b)).mean(axis=-1)
        _fill_unseen(table[..., k], k, scale)
    table[..., -len(NOT_MOVED) :] = histogram(together, scale)[..., None]
    held = cell_counts(scale.index(together), len(scale), mostly_held_back(setting, together, share[-2:]))
    table[..., len(bins.LOOP) + NOT_MOVED.index(HELD_BACK)] = normalised(held, 1e-4)
    return Node(name, "parameter", scale.states, (*among, "loop"), normalised(table, 1e-4), scale.edges)


def in_series(parts: Sequence[Array]) -> Array:
    """Sum over parts in every combination of their modes.

    Parameters
    ----------
    parts : sequence of array, each of shape (modes, samples)

    Returns
    -------
    array, shape (modes of the first, modes of the second, ..., samples)

    Examples
    --------
    >>> in_series([np.array([[1.0], [2.0]]), np.array([[10.0], [20.0], [30.0]])])[..., 0]
    array([[11., 21., 31.],
           [12., 22., 32.]])
    """
    others = [tuple(i for i in range(len(parts)) if i != k) for k in range(len(parts))]
    return np.asarray(sum(np.expand_dims(values, axes) for values, axes in zip(parts, others, strict=True)))


def mostly_held_back(setting: Setting, behind: Array, share: Array) -> Array:
    """How much each sample of what lies before the windings counts where the contacts stay open although fed."""
    return np.where(pulls_in(setting, behind, share), setting.number("held_back_otherwise"), 1.0)


def _sound_elsewhere(setting: Setting, share: Array, among: tuple[str, ...]) -> Array:
    """Resistance of the sound rest of the loop [ohm], shape (samples,)."""
    cable = setting.cable_copper
    parts = (("ground_path", "resistance"), ("solenoid", "contact_resistance"), ("starter_motor", "brush_resistance"))
    rest = [setting.drawn(c, p, share[k])[0] for k, (c, p) in enumerate(parts) if c not in among]
    return np.asarray(cable + sum(rest))


def _fill_unseen(table: Array, loop_bin: int, scale: Bins) -> None:
    """Where no sample fell: bad parts take what the loop has, sound ones have next to nothing."""
    low, high = bins.LOOP.edges[loop_bin], bins.LOOP.edges[loop_bin + 1]
    for modes in np.ndindex(table.shape[1:]):
        if table[(slice(None), *modes)].sum() == 0.0:
            likely = 0.5 * (max(low, 0.25 * high) + min(high, 1.0)) if any(modes) else 0.0
            table[(int(scale.index(np.array(likely))), *modes)] = 1.0


@dataclass(frozen=True, eq=False)
class StartSamples:
    """Starts simulated in every cell of the grid, each array of shape (emf, factor, loop, load, samples)."""

    emf: Array
    source: Array
    current: Array
    sustained: Array
    speed: Array
    first_dip: Array
    peak: Array
    ripple: Array
    phase: Array
    stretch: Array
    coil: Array
    needed: Array
    moved: NDArray[np.bool_]


def start_samples(setting: Setting) -> StartSamples:
    """Solve the starting circuit at low-discrepancy points within every cell of the grid.

    Notes
    -----
    The contacts close where enough of the battery's volts is left for the windings behind its own resistance, an open
    link between its cells included; where they do not, the windings are all that draws current.
    """
    share = low_discrepancy_points(CELL_SAMPLES, 15)
    emf, factor, loop, load = within([bins.SOURCE_EMF, bins.SOURCE_FACTOR, bins.LOOP, bins.TURNING_LOAD], share)
    loop = np.concatenate([loop, np.full_like(loop[:, :, : len(NOT_MOVED)], 1e4)], axis=2)
    shape = np.broadcast_shapes(emf.shape, factor.shape, loop.shape, load.shape)
    across = shifted(share[[5, 12]], (shape[0], 1, 1, shape[3], shape[4]))  # phase and length of the dip: fewer sines
    share = shifted(share[4:], shape)
    source = factor * setting.source_resistance
    motor = setting.motor_resistance * np.exp(setting.number("motor_resistance_spread") * standard_normal(share[0]))
    unlike = np.exp(setting.number("resistance_split_spread") * standard_normal(share[5]))
    ohmic = np.clip(OHMIC_SHARE * unlike, *OHMIC_SHARE_WITHIN) * source
    brush = setting.number("brush_drop_mean") + setting.number("brush_drop_spread") * standard_normal(share[6])
    start = cranking.solve_start(
        emf,
        ohmic,
        source - ohmic,
        loop,
        load,
        setting.nominal_current,
        motor,
        brush_drop=np.maximum(brush, 0.3),
    )
    both, needed = windings(setting, share[2]), needed_volts(setting, share[4])
    moved = np.array(np.broadcast_to(emf * both / (both + ohmic) >= needed, shape))
    moved[:, :, -len(NOT_MOVED) :] = False
    coil = _coil_current(setting, emf, EARLY_SHARE * source, both, share[3])
    ripple = cranking.compression_ripple(start.current, EARLY_SHARE * source, setting.car.cylinders)
    ripple = ripple * np.exp(setting.number("compression_ripple_ln_spread") * standard_normal(share[7]))

    peak = start.stall_current * peak_share(setting, share[9])
    unlike = np.exp(setting.number("start_drop_unlike") * standard_normal(share[10]))
    unlike = setting.number("start_drop_factor") * unlike

    def full(values: float | Array) -> Array:
        return np.asarray(np.broadcast_to(values, shape))

    current = np.where(moved, start.current + setting.number("coil_current_hold"), coil)
    return StartSamples(
        emf=full(emf),
        source=full(source),
        current=full(current),
        sustained=np.where(moved, emf - (emf - start.post_voltage) * unlike, emf - coil * EARLY_SHARE * source),
        speed=full(start.speed),
        first_dip=full(emf - peak * ohmic),
        peak=full(peak),
        ripple=full(ripple),
        phase=across[0],
        stretch=np.exp(setting.number("dip_time_spread") * standard_normal(across[1])),
        coil=both,
        needed=needed,
        moved=moved,
    )


def peak_share(setting: Setting, share: Array) -> Array:
    """How much of the current of a rotor at rest is reached before it turns [-]: inductance holds the rise back."""
    reached = np.exp(setting.number("peak_share_spread") * standard_normal(share))
    return np.asarray(np.minimum(setting.number("peak_share") * reached, 1.0))


def shifted(share: Array, shape: tuple[int, ...]) -> Array:
    """Points moved on from cell to cell, so that neighbouring cells together are sampled more finely than each alone.

    Parameters
    ----------
    share : array, shape (dimensions, samples)
    shape : tuple of int
        (*cells, samples).

    Returns
    -------
    array, shape (dimensions, *cells, samples)
    """
    cells = int(np.prod(shape[:-1]))
    moves = low_discrepancy_points(cells, len(share))
    return ((share[:, None] + moves[:, :, None]) % 1.0).reshape(len(share), *shape)


def _coil_current(setting: Setting, emf: Array, source: Array, both: Array, control: Array) -> Array:
    """What flows with the main contacts open, over the loop's states: the windings where they are fed [A].

    Notes
    -----
    Both windings are on until the contacts close; a weak one that sticks carries the holding current alone. Behind a
    bad control circuit flows what that lets through. A bad joint or ground that holds a solenoid back lies beyond the
    resistance at which an ordinary one lets go, mostly not far: the tails of bad parts fall off (:data:`BEYOND`).
    """
    fed = emf / (both + source)
    shape = np.broadcast_shapes(fed.shape, (1, 1, len(bins.LOOP) + len(NOT_MOVED), 1, 1))
    current = np.array(np.broadcast_to(fed, shape))
    places = {state: len(bins.LOOP) + NOT_MOVED.index(state) for state in NOT_MOVED}
    back = places[HELD_BACK]
    least = both[:, :, back] * (setting.number("usual_rest_voltage") / needed_volts(setting, control[:, :, back]) - 1.0)
    behind = np.maximum(least, 0.0) * (1.0 - control[:, :, back]) ** -BEYOND
    current[:, :, back] = emf[:, :, 0] / (both[:, :, back] + source[:, :, 0] + behind)
    current[:, :, places[STICKS]] = holding_current(setting, both)[:, :, places[STICKS]]
    unfed = places[NO_COMMAND]
    current[:, :, unfed] = emf[:, :, 0] / (both[:, :, unfed] + not_feeding(setting, control[:, :, unfed]))
    return current


def holding_current(setting: Setting, both: Array) -> Array:
    """Current of the holding winding [A], the larger the windings are, of the shape of `both`."""
    ordinary = setting.number("coil_current_volts") / setting.number("coil_current_pull")
    return np.asarray(setting.number("coil_current_hold") * ordinary / both)


def _inrush(at: Workings) -> Array:
    """Peak current as a clamp meter shows it."""
    samples = at.once(start_samples)
    peak = samples.peak * at.setting.number("inrush_seen_share")
    peak = np.where(samples.moved, peak, samples.current)
    return scattered(
        peak,
        bins.INRUSH,
        np.where(bins.INRUSH.middles > 20.0, at.setting.number("inrush_spread") * bins.INRUSH.middles, 0.0),
    )


def _speed(at: Workings) -> Array:
    """Engine speed while cranking."""
    spread = at.setting.number("cranking_speed_spread") * bins.CRANK_SPEED.middles
    return scattered(_turning_speed(at), bins.CRANK_SPEED, spread)


def _turning_speed(at: Workings) -> Array:
    """Speed of each sample, with what differs between engines [rev/min]."""
    samples = at.once(start_samples)
    return np.asarray(
        samples.speed * np.exp(at.setting.number("nominal_speed_spread") * standard_normal(samples.phase))
    )


def _fires(at: Workings) -> Array:
    """Whether it starts when it is cranked: what keeps it from firing on the engine side, or a speed that is too low.

    Notes
    -----
    Who says whether it fires has heard it turn, so an engine that does not turn tells nothing here.
    """
    samples, number = at.once(start_samples), at.setting.number
    beyond = np.log(np.maximum(_turning_speed(at), 1e-3) / speed_to_fire(at.setting))
    fast_enough = normal_share(beyond / number("speed_to_fire_ln_spread"))
    turns = samples.moved & (samples.speed > 0.0)
    able = np.full(len(at.setting.modes("engine_running")), number("fires_despite_fault"))
    able[0] = number("fires_when_sound")
    stands = 0.5 * (1.0 - turns.mean(axis=-1))
    fires = able.reshape(-1, *(1,) * stands.ndim) * np.where(turns, fast_enough, 0.0).mean(axis=-1) + stands
    return normalised(np.stack([fires, 1.0 - fires]), NEVER_RULED_OUT)


def speed_to_fire(setting: Setting) -> float:
    """Speed from which an engine like this one fires, the middle of those there are [rev/min].

    Notes
    -----
    The handbook's range is for -20 degC; a warmer engine asks for less.
    """
    warmer = setting.number("speed_to_fire_per_kelvin") * (setting.air + 20.0)
    return setting.number(f"speed_to_fire_{setting.car.fuel}") * float(np.exp(-warmer))


def above(value: Array, middle: float, width: float) -> Array:
    """Chance that somebody calls a value above a soft edge [-]."""
    return np.asarray(1.0 / (1.0 + np.exp(np.clip((middle - value) / width, -60.0, 60.0))))


def seen_minimum(
    rest: Array, dip: Array, held: Array, ripple: Array, phase: Array, window: float | None, interval: float | None,
    stretch: Array,
) -> Array:  # fmt: skip
    """Lowest volts of a start as an averaging window or a sampling interval shows them [V]."""
    dip = np.minimum(dip, held)
    hold, rise = HOLD * stretch, RISE * stretch
    if interval is not None and interval > (window or 0.0):
        return np.asarray(cranking.sampled_minimum(rest, dip, held, ripple, interval, phase, hold=hold, rise=rise))
    return np.asarray(cranking.windowed_minimum(rest, dip, held, ripple, window or 1e-3, phase, hold=hold, rise=rise))


QUANTITIES = (
    Quantity("inrush_current", "A", "starting", GRID, bins.INRUSH, _inrush, unlike="unlike_crank_current_ln"),
    Quantity("cranking_speed", "rpm", "starting", GRID, bins.CRANK_SPEED, _speed, unlike="unlike_crank_speed_ln"),
    Quantity("firing", "", "starting", (Now("engine_running"), *GRID), FIRING, _fires),
)  # fmt: skip
