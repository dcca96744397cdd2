"""What flows while the key is at start, and the volts across each part of the loop.

A part that carries the motor's current drops its resistance times that. With the solenoid's contacts open they stand
under what the battery holds, less what joints and ground take of it, and the other parts carry the windings' current at
most: a flat battery shows its own few volts across open contacts, not those of a full one.
"""

from __future__ import annotations

from functools import partial

import numpy as np

from faultnet.model import bins
from faultnet.model.bins import Bins
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Now, Quantity, Workings
from faultnet.model.sampling import HIDDEN_LEAK, cell_counts, histogram, scattered, within
from faultnet.model.setting import Setting
from faultnet.model.starting import (
    GRID,
    HELD_BACK,
    NOT_MOVED,
    StartSamples,
    holding_current,
    in_series,
    mostly_held_back,
    not_feeding,
    start_samples,
    windings,
)

CURRENT_LEVEL = "crank_current_level"
CLOSED = len(bins.CRANK_CURRENT)
OPEN = len(bins.OVER_OPEN_VOLTS)
FED, STICKING, IDLE = (tuple(f"{kind}_{s}" for s in bins.OVER_OPEN_VOLTS.states) for kind in NOT_MOVED)
LEVELS = (*bins.CRANK_CURRENT.states, *FED, *STICKING, *IDLE)  # contacts open: by the volts at the posts
DROPS = (
    ("positive_drop", "positive_path", bins.POSITIVE_PATH, ("negative_joint", "ground_path")),
    ("positive_joint_drop", "positive_joint_resistance", bins.JOINT, ()),
    ("starter_cable_drop", "starter_cable_resistance", bins.CABLE, ()),
    ("solenoid_drop", "contact_resistance", bins.CONTACT, ("positive_joint", "negative_joint", "ground_path")),
    ("ground_drop", "negative_path", bins.NEGATIVE_PATH, ()),
    ("negative_joint_drop", "negative_joint_resistance", bins.JOINT, ()),
    ("ground_path_drop", "ground_path_resistance", bins.GROUND, ()),
)  # last, where the contacts are among the parts: what else in the loop takes of the volts that stand over them


def current_node(samples: StartSamples) -> Node:
    """Sustained current with the contacts closed; with them open, the volts held and which windings are fed."""
    kind = np.maximum(np.arange(samples.moved.shape[2]) - len(bins.LOOP), NOT_MOVED.index(HELD_BACK))
    held = CLOSED + OPEN * kind[:, None, None] + bins.OVER_OPEN_VOLTS.index(samples.sustained)
    table = cell_counts(np.where(samples.moved, bins.CRANK_CURRENT.index(samples.current), held), len(LEVELS))
    return Node(CURRENT_LEVEL, "parameter", LEVELS, GRID, normalised(table, HIDDEN_LEAK))


def flowing(setting: Setting, share: Array, coil: Array) -> Array:
    """Current in each state of the level [A], shape (levels, samples).

    Parameters
    ----------
    setting : Setting
    share, coil : array, shape (samples,)
        Points within the bins, and for the windings.
    """
    volts, both = bins.OVER_OPEN_VOLTS.at(share), windings(setting, coil)
    idle = volts / (both + not_feeding(setting, low_discrepancy_points(len(coil), 1)[0]))
    return np.concatenate([bins.CRANK_CURRENT.at(share), volts / both, sticking(setting, volts, both, 0.0), idle])


def sticking(setting: Setting, volts: Array, both: Array, behind: Array | float) -> Array:
    """Current of a weak winding that sticks [A], shape (..., samples): at most the holding one."""
    return np.minimum(volts / (both + behind), holding_current(setting, both))


def _drop(at: Workings, name: str, scale: Bins, outside: tuple[str, ...]) -> Array:
    """Volts across a part while the key is at start."""
    setting, share = at.setting, low_discrepancy_points(64, 4)
    resistance, current = within([scale, bins.CRANK_CURRENT], share)
    whole = setting.number("usual_rest_voltage") + 0.8 * (share[2] - 0.7)
    through = np.maximum(current - setting.number("coil_current_hold"), 0.0) if name == "solenoid_drop" else current
    closed = np.minimum(resistance * through, whole - 0.5)
    volts = bins.OVER_OPEN_VOLTS.at(share[1])[None]
    both = windings(setting, share[3])
    fed = resistance * volts / (both + resistance)
    sticks = resistance * sticking(setting, volts, both, resistance)
    spread = setting.number("drop_spread")
    if not outside:
        table = scattered(np.concatenate([closed, fed, sticks, np.zeros_like(fed)], axis=1), bins.DROP, spread)
    else:
        almost_open = (resistance > setting.number("contacts_almost_open_above")) & (
            current < setting.number("contacts_almost_open_below")
        )
        closed = np.where(almost_open, whole - 0.5, closed)
        apart = np.broadcast_to(whole, (len(NOT_MOVED), *closed.shape[1:]))
        table = _switched(setting, scattered(np.concatenate([closed, apart]), bins.DROP, spread), outside)
    return table


def _switched(setting: Setting, closed: Array, outside: tuple[str, ...]) -> Array:
    """Volts over parts with the contacts among them, shape (bins, parts, levels, modes of what lies outside them).

    Notes
    -----
    Open contacts stand under what the battery holds, less what the windings' current drops in joints and ground; the
    holding current drops next to nothing there.
    """
    idle = histogram(bins.OVER_OPEN_VOLTS.at(low_discrepancy_points(64, 2)[1]), bins.DROP)
    fed = _over_open_contacts(setting, outside)
    modes = fed.shape[2:]

    def for_all_modes(table: Array) -> Array:
        return np.broadcast_to(table[..., *(None for _ in modes)], (*table.shape, *modes))

    opened = np.concatenate([fed, for_all_modes(idle), for_all_modes(idle)], axis=1)[:, None]
    return np.concatenate([for_all_modes(closed), np.repeat(opened, closed.shape[1], axis=1)], axis=2)


def _over_open_contacts(setting: Setting, outside: tuple[str, ...]) -> Array:
    """Volts over open contacts with the windings fed, shape (bins, levels of the volts held, modes of each outside)."""
    share = low_discrepancy_points(1024, len(outside) + 4)
    together = in_series([setting.drawn(component, "resistance", share[k]) for k, component in enumerate(outside)])
    weight = mostly_held_back(setting, together, share[-2:])
    coil = windings(setting, share[-2])
    left = coil / (coil + together)
    found = [bins.DROP.index(volts * left) for volts in bins.OVER_OPEN_VOLTS.at(share[-3])]
    return np.stack([normalised(cell_counts(f, len(bins.DROP), weight), 1e-4) for f in found], axis=1)


def _crank_current(at: Workings) -> Array:
    """Steady current in the battery cable, that of the windings included."""
    middles = bins.CRANK_AMPERES.middles
    unlike = at.setting.number("crank_current_spread") * middles
    return scattered(at.once(start_samples).current, bins.CRANK_AMPERES, np.where(middles > 20.0, unlike, 0.0))


QUANTITIES = (
    Quantity(
        "crank_current", "A", "starting", GRID, bins.CRANK_AMPERES, _crank_current,
        unlike="unlike_crank_current_ln",
    ),
    *(
        Quantity(
            name, "V", "starting", (part, CURRENT_LEVEL, *map(Now, outside)), bins.DROP,
            partial(_drop, name=name, scale=scale, outside=outside), scatter="drop_spread", unlike="unlike_drop_odds",
        )
        for name, part, scale, outside in DROPS
    ),
)  # fmt: skip
