"""What is fed from the cable clamps while cranking: control module, lamps, and the solenoid's control circuit."""

from __future__ import annotations

import numpy as np

from faultnet.model import bins
from faultnet.model.at_posts import LEVELS, levels_at
from faultnet.model.modes import drawn_when_active
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    blurred,
    cell_counts,
    histogram,
    standard_normal,
    within,
)
from faultnet.model.setting import Setting
from faultnet.model.starting import (
    EARLY_SHARE,
    GRID,
    NOT_MOVED,
    STUCK,
    above,
    peak_share,
    pulls_in,
    seen_minimum,
    start_samples,
    windings,
)
from faultnet.physics import cranking
from faultnet.physics.resistance import OHMIC_SHARE

BEHAVIOURS = ("normal", "slow", "one_clunk", "rapid_clicking", "nothing")
IN_CELL = 0.55  # [-] where within its bin a part of the loop lies, for a table over many cells


def _behaviour(at: Workings) -> Array:
    """What one hears: from how the engine turns, and whether the volts left at the solenoid hold it in.

    Notes
    -----
    The windings are fed from the cable clamps and through the ground path. A solenoid that closes and is then left
    with less than it needs to hold lets go and pulls again: rapid clicking. One that does not close is silent, as is
    one on a battery too flat to close it. Where the engine moves, the contacts are closed and held, wherever the
    loop's resistance lies: "normal" and "slow" tell nothing of that.
    """
    setting, samples = at.setting, at.once(start_samples)
    moving = samples.speed > 0.0
    turns = moving * above(samples.speed, setting.number("stands_speed"), setting.number("stands_speed_width"))
    brisk = above(samples.speed / setting.usual_speed, setting.number("slow_share"), setting.number("slow_share_width"))
    unlike = standard_normal(low_discrepancy_points(samples.needed.shape[-1], 2)[1])
    lets_go = setting.number("clicking_voltage") + setting.number("clicking_voltage_spread") * unlike
    clunk, clicking = setting.number("silent_one_clunk"), setting.number("silent_rapid_clicking")
    silent = np.array([0.0, 0.0, clunk, clicking, 1.0 - clunk - clicking])[:, None, None, None, None]
    loop = np.append(bins.LOOP.at(np.full((len(bins.LOOP), 1), IN_CELL))[:, 0], [np.inf] * len(NOT_MOVED))
    tables = []
    for part in bins.JOINTS.at(np.full((len(bins.JOINTS), 1), IN_CELL))[:, 0]:
        before = np.minimum(part, loop)[:, None, None]
        reaching = samples.emf * samples.coil / (samples.coil + OHMIC_SHARE * samples.source + before)
        closed = samples.moved & ((reaching >= samples.needed) | moving)
        left = samples.sustained - np.minimum(samples.current * before, 0.9 * samples.sustained)
        stands = (1.0 - turns) * closed
        clicks = stands * (left < lets_go)
        heard = [turns * brisk * closed, turns * (1.0 - brisk) * closed, stands - clicks, clicks]
        table = np.stack([h.mean(axis=-1) for h in (*heard, np.zeros_like(turns))])
        tables.append(table + silent * (1.0 - closed.mean(axis=-1)))
    return normalised(np.clip(np.stack(tables, axis=-1), 0.0, 1.0), 4e-3)


def clamp_level_node(setting: Setting) -> Node:
    """The same at the cable clamps: less what the joints lose.

    Notes
    -----
    The current is that of a motor with an ordinary load behind the whole loop, on the volts of the posts.
    """
    share = low_discrepancy_points(128, 5)
    posts, closed = levels_at(share[0])
    posts, closed = posts[:, None, None], closed[:, None, None, None]
    loop, joints = within([bins.LOOP, bins.CLAMP_JOINTS], share[1:])
    loop = np.concatenate([loop, np.full_like(loop[: len(NOT_MOVED)], 1e4)])
    joints = np.minimum(joints, loop)
    load = np.exp(setting.number("clamp_load_spread") * standard_normal(share[3]))
    feed = _feed(setting, posts - setting.number("brush_drop_mean"), load, setting.motor_resistance + loop)
    both = windings(setting, share[4])
    volts = np.where(closed, np.maximum(posts - feed * joints, 0.05 * posts), posts * both / (both + joints))
    states = np.where(closed, bins.CLOSED_VOLTS.index(volts), len(bins.CLOSED_VOLTS) + bins.OPEN_VOLTS.index(volts))
    table = normalised(cell_counts(states, len(LEVELS)), HIDDEN_LEAK)
    return Node("clamp_level", "parameter", LEVELS, ("post_level", "loop", "joints"), table)


def _minimum(at: Workings, window: float | None, interval: float | None) -> Array:
    """Lowest volts at the cable clamps, where modules and lamps are fed, seen through an instrument's sampling.

    Notes
    -----
    What is lost between cells and clamps and how hard the engine is to turn give the current, for an ordinary rest of
    the loop, and that the resistance behind the loss. The peak current is a share of that of the rotor at rest,
    through the ohmic part of it, at least the sustained current and at most 4.8 times it, which holds where the rest of
    the loop is bad.
    A control module may freeze while cranking, and then shows the volts at rest.
    """
    setting, share = at.setting, low_discrepancy_points(64, 8)
    levels, closed = levels_at(share[1])
    emf, load = (v[:, None] if k == 0 else v for k, v in enumerate(
        within([bins.SOURCE_EMF, bins.TURNING_LOAD], np.stack([share[0], share[2]]))))  # fmt: skip
    levels, closed = levels[None, :, None, :], closed[None, :, None, None]
    held = np.minimum(levels, emf)
    rest = (setting.motor_resistance + setting.number("ordinary_loop_resistance")) * np.exp(
        setting.number("clamp_rest_spread") * standard_normal(share[3])
    )
    brush = setting.number("brush_drop_mean")
    feed = _feed(setting, held - brush, load, rest)
    source = (emf - held) / np.maximum(feed, 1.0)
    at_once = OHMIC_SHARE / EARLY_SHARE * source
    surge = np.clip((emf - brush) / (at_once + rest), feed, setting.number("highest_peak") * feed)
    surge = np.maximum(surge * peak_share(setting, share[7]), feed)
    dip = np.maximum(emf - surge * at_once, 0.0)
    stretch = np.exp(setting.number("dip_time_spread") * standard_normal(share[5]))
    ripple = (
        setting.number("clamp_ripple_share")
        * (emf - held)
        * np.exp(setting.number("compression_ripple_ln_spread") * standard_normal(share[6]))
    )
    seen = seen_minimum(emf, dip, held, ripple, share[4], window, interval, stretch)
    seen = np.where(closed, seen, held)
    at_rest = np.broadcast_to(emf, seen.shape)
    freeze = setting.number("module_freeze")
    table = (1.0 - freeze) * histogram(seen, bins.CRANK_VOLTS) + freeze * histogram(at_rest, bins.CRANK_VOLTS)
    return blurred(table, bins.CRANK_VOLTS, setting.number("start_volts_spread"))


def _feed(setting: Setting, driving: Array, load: Array, rest: Array) -> Array:
    """Sustained current of a motor behind an ordinary loop, from the volts that drive it and the load [A]."""
    needed = setting.nominal_current * load
    fall = needed * rest
    stay = cranking.BREAK_AWAY
    turning = np.maximum((driving - stay * fall) / (cranking.NOMINAL_BACK_EMF + (1.0 - stay) * fall), 0.0)
    return np.minimum(needed * (stay + (1.0 - stay) * turning), np.maximum(driving, 0.0) / rest)


def _lamps(at: Workings) -> Array:
    """What the lamps do while cranking: they are fed from the clamps and draw a few amperes of their own."""
    setting, share = at.setting, low_discrepancy_points(128, 2)
    levels, _ = levels_at(share[0])
    source = EARLY_SHARE * setting.source_resistance * bins.SOURCE_FACTOR.at(share[1])
    volts = np.maximum(levels[:, None] - setting.number("lamp_current") * source, 0.0)
    bright = above(volts, setting.number("lamp_dim_voltage"), setting.number("lamp_dim_width")).mean(axis=-1)
    out = 1.0 - above(volts, setting.number("lamp_out_voltage"), setting.number("lamp_out_width")).mean(axis=-1)
    return normalised(np.stack([bright, np.maximum(1.0 - bright - out, 0.0), out]), HIDDEN_LEAK)


def _control_voltage(at: Workings) -> Array:
    """Volts at the solenoid's control terminal against the negative clamp while the key is held at start.

    Notes
    -----
    The control circuit is fed from the positive clamp, so the drop of battery and joints under the motor's current is
    in it; the windings draw what they need through the switch, relay and wire: both until the contacts close, then the
    holding one. A weak one that sticks carries that alone and leaves the contacts open. A circuit that may be bad or
    not at this visit is taken as bad where it feeds too little and the contacts are open, and as good enough where they
    are closed.
    """
    setting, share = at.setting, low_discrepancy_points(512, 6)
    levels, closed = levels_at(share[0])
    control = drawn_when_active(setting, "start_control", "control_resistance", share[1], share[5])[:, None, :]
    both = windings(setting, share[2])
    enough = pulls_in(setting, control, share[2:4])
    fits = enough == closed[:, None]
    fits |= ~fits.any(axis=-1, keepdims=True)
    through_both = levels * both / (both + control)
    held = np.maximum(levels - setting.number("coil_current_hold") * control, through_both)
    volts = np.clip(np.where(closed[:, None] | (enough & (share[4] < STUCK)), held, through_both), 0.0, 13.1)
    table = normalised(cell_counts(bins.CONTROL_VOLTS.index(volts), len(bins.CONTROL_VOLTS), fits), 1e-4)
    return blurred(table, bins.CONTROL_VOLTS, setting.number("control_voltage_spread"))


QUANTITIES = (
    Quantity("crank_behaviour", "", "starting", (*GRID, "before_solenoid"), BEHAVIOURS, _behaviour),
    Quantity(
        "clamp_minimum", "V", "starting", ("source_emf", "clamp_level", "turning_load"), bins.CRANK_VOLTS, _minimum,
        sampled=True, scatter="start_volts_spread", unlike="unlike_crank_volts",
    ),
    Quantity(
        "clamp_lamps", "", "starting", ("clamp_level", "source_factor"), ("stay_bright", "dim", "go_out"), _lamps
    ),
    Quantity(
        "control_voltage", "V", "starting", ("start_control", "clamp_level"), bins.CONTROL_VOLTS, _control_voltage,
        scatter="control_voltage_spread", unlike="unlike_crank_volts",
    ),
)  # fmt: skip
