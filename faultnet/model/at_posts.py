"""Volts at the battery's posts while the key is at start: the level held, and the lowest that an instrument sees.

The level is a node of its own. What a battery loses while it cranks beside the model is a car's own, so that all
readings of the level, and of what depends on it, share it; given battery, loop and load alone they would not.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from faultnet.model import bins
from faultnet.model.network import Array, Node, normalised
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Quantity, Workings
from faultnet.model.sampling import (
    HIDDEN_LEAK,
    cell_counts,
    histogram,
    scattered,
)
from faultnet.model.starting import GRID, StartSamples, seen_minimum, start_samples

LEVELS = (
    *(f"closed_{s}" for s in bins.CLOSED_VOLTS.states),
    *(f"open_{s}" for s in bins.OPEN_VOLTS.states),
)  # of volts held, with the solenoid's contacts closed and open


def post_level_node(samples: StartSamples) -> Node:
    """Volts held at the posts while the key is at start, with the contacts closed or open."""
    closed, opened = (s.index(samples.sustained) for s in (bins.CLOSED_VOLTS, bins.OPEN_VOLTS))
    states = np.where(samples.moved, closed, len(bins.CLOSED_VOLTS) + opened)
    table = normalised(cell_counts(states, len(LEVELS)), HIDDEN_LEAK)
    return Node("post_level", "parameter", LEVELS, GRID, table)


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
    Where the contacts stay open nothing dips, and the volts that stand there do not scatter from start to start.
    """
    samples = at.once(start_samples)
    seen = seen_minimum(
        samples.emf, samples.first_dip, samples.sustained, samples.ripple, samples.phase, window, interval,
        samples.stretch,
    )  # fmt: skip
    turning = scattered(
        np.where(samples.moved, seen, samples.sustained), bins.CRANK_VOLTS, at.setting.number("start_volts_spread")
    )
    still = ~samples.moved.any(axis=-1)
    turning[:, still] = histogram(samples.sustained[still], bins.CRANK_VOLTS)
    return turning


QUANTITIES = (
    Quantity(
        "crank_sustained", "V", "starting", ("post_level",), bins.CRANK_VOLTS, _held, scatter="start_volts_spread",
        unlike="unlike_crank_volts",
    ),
    Quantity(
        "crank_minimum", "V", "starting", GRID, bins.CRANK_VOLTS, _minimum,
        sampled=True, scatter="start_volts_spread", unlike="unlike_crank_volts",
    ),
)  # fmt: skip
