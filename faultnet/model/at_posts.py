"""Volts at the battery's posts while the key is at start: the level held, and the lowest that an instrument sees.

The level is a node of its own. What a battery loses while it cranks beside the model is a car's own, so that all
readings of the level, and of what depends on it, share it; given battery, loop and load alone they would not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from faultnet.model import bins
from faultnet.model.network import Array, Node, normalised
from faultnet.model.quantity import Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    cell_counts,
    histogram,
    low_discrepancy_points,
    scattered,
    standard_normal,
)
from faultnet.model.starting import GRID, StartSamples, seen_minimum, shifted
from faultnet.physics import cranking

LEVELS = (
    *(f"closed_{s}" for s in bins.CLOSED_VOLTS.states),
    *(f"open_{s}" for s in bins.OPEN_VOLTS.states),
)  # of volts held, with the solenoid's contacts closed and open
POINTS = 24


def post_level_node(samples: StartSamples) -> Node:
    """Volts held at the posts while the key is at start, with the contacts closed or open."""
    closed, opened = (s.index(samples.sustained) for s in (bins.CLOSED_VOLTS, bins.OPEN_VOLTS))
    states = np.where(samples.moved, closed, len(bins.CLOSED_VOLTS) + opened)
    table = normalised(cell_counts(states, len(LEVELS)), HIDDEN_LEAK)
    return Node("post_level", "parameter", LEVELS, GRID, table)


def first_dip_node(samples: StartSamples) -> Node:
    """Lowest volts at the posts before the rotor turns; with the contacts open it does not matter."""
    scale = bins.FIRST_DIP
    table = normalised(cell_counts(scale.index(samples.first_dip), len(scale)), HIDDEN_LEAK)
    return Node("first_dip", "parameter", scale.states, GRID, table, scale.edges)


def levels_at(share: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Volts within each state of the level, shape (states, samples), and whether the contacts are closed, (states,)."""
    volts = np.concatenate([bins.CLOSED_VOLTS.at(share), bins.OPEN_VOLTS.at(share)])
    return volts, np.arange(len(volts)) < len(bins.CLOSED_VOLTS)


def _held(at: Workings) -> Array:
    """Volts held at the posts while the key is at start."""
    volts, _ = levels_at(0.25 + 0.5 * low_discrepancy_points(64, 1)[0])
    return scattered(volts, bins.CRANK_VOLTS, at.setting.number("start_volts_spread"))


def _minimum(at: Workings, window: float | None, interval: float | None) -> Array:
    """Lowest volts at the posts as an averaging window or a sampling interval lets an instrument see them.

    Notes
    -----
    The compression ripple goes with what the battery loses by the model, of which the level held tells.
    """
    setting, share = at.setting, low_discrepancy_points(POINTS, 6)
    levels, closed = levels_at(share[1])
    emf, dip = bins.SOURCE_EMF.at(share[0])[:, None, None], bins.FIRST_DIP.at(share[2])[None, None]
    held = np.minimum(levels[closed][None, :, None], emf)
    phase, stretch, swing = shifted(share[3:], held.shape)  # alike for all dips: fewer sines
    lost = (emf - held) / setting.number("start_drop_factor")
    ripple = cranking.compression_ripple(1.0, lost, setting.car.cylinders)
    seen = seen_minimum(
        emf, dip, held, ripple * np.exp(setting.number("compression_ripple_ln_spread") * standard_normal(swing)), phase,
        window, interval, np.exp(setting.number("dip_time_spread") * standard_normal(stretch)),
    )  # fmt: skip
    spread = setting.number("start_volts_spread")
    turning = scattered(seen, bins.CRANK_VOLTS, spread)
    still = histogram(levels[~closed], bins.CRANK_VOLTS)[:, None, :, None]  # a start that never was does not scatter
    still = np.broadcast_to(still, (still.shape[0], turning.shape[1], still.shape[2], turning.shape[3]))
    return np.concatenate([turning, still], axis=2)


QUANTITIES = (
    Quantity(
        "crank_sustained", "V", "starting", ("post_level",), bins.CRANK_VOLTS, _held, scatter="start_volts_spread",
        unlike="unlike_crank_volts",
    ),
    Quantity(
        "crank_minimum", "V", "starting", ("source_emf", "post_level", "first_dip"), bins.CRANK_VOLTS, _minimum,
        sampled=True, scatter="start_volts_spread", unlike="unlike_crank_volts",
    ),
)  # fmt: skip
