"""What is fed from the cable clamps while cranking: control module, lamps, and the solenoid's control circuit."""

from __future__ import annotations

import numpy as np

from faultnet.network import bins
from faultnet.network.sampling import blurred, counted, even_points, standard_normal, within
from faultnet.network.setting import Setting
from faultnet.network.starting import (
    EARLY_SHARE,
    NOT_TURNED,
    OHMIC_SHARE,
    PULL_VOLTS,
    TURNING,
    above,
    seen_minimum,
)
from faultnet.network.structure import Node, normalised

ORDINARY_LOOP = 2.2e-3  # [ohm] cable, contacts and ground of a sound car together (derived from effects.csv)
HIGHEST_PEAK = 4.8  # [-] peak over sustained current of a sound start; derived from the loop's equations
BEHAVIOURS = ("normal", "slow", "one_clunk", "rapid_clicking", "nothing")


def behaviour_node(setting: Setting) -> Node:
    """What one hears: from how the engine turns, and whether the volts left at the solenoid hold it in.

    Notes
    -----
    The windings are fed from the cable clamps and through the ground path. A solenoid that closes and is then left
    with less than it needs to hold lets go and pulls again: rapid clicking. One that does not close is silent, as is
    one on a battery too flat to close it.
    """
    share = even_points(64, 5)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    ground = setting.drawn("ground_path", "resistance", share[3])
    left = emf - np.minimum(current, emf / source) * source
    left = left[..., None, :] - np.minimum(current[..., None, :] * ground, 0.9 * left[..., None, :])
    lets_go = setting.spread("clicking_voltage") + setting.spread("clicking_voltage_spread") * standard_normal(share[4])
    needs = setting.effect("solenoid", "sound", "pull_in_voltage")
    dead = (emf[..., None, :] < needs.centre + 1.0 + needs.spread * standard_normal(share[4])).mean(axis=-1)
    clicks = (1.0 - dead) * (left < lets_go).mean(axis=-1)
    table = np.zeros((len(BEHAVIOURS), len(TURNING), *clicks.shape))
    table[0, 0] = table[1, 1] = 1.0
    table[2, 2], table[3, 2], table[4, 2] = 1.0 - clicks - dead, clicks, dead
    table[:, 3] = np.array([0.0, 0.0, 0.03, 0.02, 0.95]).reshape(5, 1, 1, 1, 1)
    parents = ("turning", "source_emf", "clamp_resistance", "crank_current_level", "ground_path_now")
    return Node("crank_behaviour", "quantity", BEHAVIOURS, parents, normalised(np.clip(table, 0.0, 1.0), 4e-3))


def clamp_minimum_node(setting: Setting, name: str, window: float | None, interval: float | None) -> Node:
    """Lowest volts at the cable clamps, where modules and lamps are fed, seen through an instrument's sampling.

    Notes
    -----
    The peak current is that of the rotor at rest through the battery's ohmic part and an ordinary rest of the loop, at
    least the sustained current and at most 4.8 times it, which holds where the rest of the loop is bad. A control
    module may freeze while cranking, and then shows the volts at rest.
    """
    share = even_points(64, 6)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    feed = np.minimum(current, emf / source)
    held = emf - feed * source
    rest = (setting.motor_resistance + ORDINARY_LOOP) * np.exp(0.15 * standard_normal(share[3]))
    brush = setting.spread("brush_drop_mean")
    at_once = OHMIC_SHARE / EARLY_SHARE * source
    surge = np.clip((emf - brush) / (at_once + rest), feed, HIGHEST_PEAK * feed)
    surge = np.where(current < NOT_TURNED, feed, surge)
    dip = np.maximum(emf - surge * at_once, 0.0)
    shape = np.broadcast_shapes(emf.shape, source.shape, current.shape)
    at_rest, low, kept, ripple, phase = (
        np.broadcast_to(a, shape) for a in (emf, dip, held, 0.12 * (emf - held), share[4])
    )
    seen = seen_minimum(at_rest, low, kept, ripple, phase, window, interval)
    freeze = setting.spread("module_freeze")
    table = (1.0 - freeze) * counted(seen, bins.CRANK_VOLTS) + freeze * counted(at_rest, bins.CRANK_VOLTS)
    table = blurred(table, bins.CRANK_VOLTS, setting.spread("start_volts_spread"))
    parents = ("source_emf", "clamp_resistance", "crank_current_level")
    return Node(name, "quantity", bins.CRANK_VOLTS.states, parents, table, bins.CRANK_VOLTS.edges)


def lamps_node(setting: Setting) -> Node:
    """What the lamps do while cranking: they are fed from the clamps and draw a few amperes of their own."""
    share = even_points(32, 3)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    volts = emf - np.minimum(current + setting.spread("lamp_current"), emf / source) * source
    bright = above(volts, setting.spread("lamp_dim_voltage"), setting.spread("lamp_dim_width"))
    out = 1.0 - above(volts, setting.spread("lamp_out_voltage"), setting.spread("lamp_out_width"))
    table = normalised(np.stack([bright, (1.0 - bright) * (1.0 - out), out]).mean(axis=-1), 0.02)
    parents = ("source_emf", "clamp_resistance", "crank_current_level")
    return Node("clamp_lamps", "quantity", ("stay_bright", "dim", "go_out"), parents, table)


def control_voltage_node(setting: Setting) -> Node:
    """Volts at the solenoid's control terminal against the negative clamp while the key is held at start.

    Notes
    -----
    The control circuit is fed from the positive clamp, so the drop of battery and joints under the motor's current is
    in it; the windings draw what they need through the switch, relay and wire.
    """
    share = even_points(64, 6)
    emf, source, current = within([bins.SOURCE_EMF, bins.CLAMP_SOURCE, bins.CRANK_CURRENT], share)
    control = setting.drawn("start_control", "control_resistance", share[3]).reshape(-1, 1, 1, 1, share.shape[1])
    unlike = np.exp(-setting.spread("coil_current_spread") * standard_normal(share[4]))
    both = PULL_VOLTS / setting.spread("coil_current_pull") * unlike
    supply = np.where(
        (current < NOT_TURNED) & (source > 0.25 * both), emf * both / (both + source), emf - current * source
    )
    coil = np.where(current < NOT_TURNED, current, setting.spread("coil_current_hold"))
    poor = supply * both / (both + control)
    volts = np.where(control > both, poor, np.maximum(supply - coil * control, poor))
    table = blurred(counted(np.clip(volts, 0.0, 13.1), bins.CONTROL_VOLTS), bins.CONTROL_VOLTS, 0.1)
    parents = ("start_control_now", "source_emf", "clamp_resistance", "crank_current_level")
    return Node("control_voltage", "quantity", bins.CONTROL_VOLTS.states, parents, table, bins.CONTROL_VOLTS.edges)
