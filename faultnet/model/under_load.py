"""Quantities of the battery under a known or a long load, where bad cells give up more than at once."""

from __future__ import annotations

import numpy as np

from faultnet.model import bins
from faultnet.model.drops import CURRENT_LEVEL, flowing
from faultnet.model.network import Array, Node
from faultnet.model.sampling import histogram, low_discrepancy_points, scattered, standard_normal, within
from faultnet.model.setting import Setting
from faultnet.model.source import AT_ONCE
from faultnet.model.starting import NOT_TURNED, OHMIC_SHARE
from faultnet.physics import battery

LARGEST_PLATE_FACTOR = 8.0  # [-] more than this is a broken link, which does not polarise
DEAD_CRANK = 15.0  # [s] (workshop manuals, secondary)


def load_quantities(setting: Setting) -> list[Node]:
    """Quantities of the battery under a known load: half-rating test, two-load resistance, conductance."""
    share = low_discrepancy_points(64, 4)
    fine = bins.SOURCE_FACTOR_FINE
    emf, factor = within([bins.SOURCE_EMF, fine], share)
    developed = OHMIC_SHARE + (1.0 - OHMIC_SHARE) * battery.polarisation_share(setting.spread("half_rating_time"))
    resistance = factor * setting.source_resistance * developed
    current = setting.rating * 0.5 * np.exp(setting.spread("half_rating_current_spread") * standard_normal(share[3]))
    later = (1.0 - AT_ONCE) * _later_loss(setting, share[2])[:, None, None]
    loaded = np.maximum(emf - current * resistance - later, 0.0)
    half = histogram(loaded, bins.CRANK_VOLTS)
    factor_only = fine.at(share[1])
    # ten seconds between two loads bring out most of the polarisation
    ohms = histogram(factor_only * setting.source_resistance * (0.87 + 0.13 * share[2]), bins.SOURCE_OHMS)
    spread = np.hypot(setting.spread("conductance_spread"), setting.spread("resistance_split_spread"))
    indicated = setting.rating * factor_only**-0.95 * np.exp(spread * standard_normal(share[2]))
    return [
        Node(
            "half_rating_voltage", "quantity", bins.CRANK_VOLTS.states, ("battery", "source_emf", "source_factor_fine"),
            half, bins.CRANK_VOLTS.edges,
        ),
        Node(
            "source_resistance", "quantity", bins.SOURCE_OHMS.states, ("source_factor_fine",), ohms,
            bins.SOURCE_OHMS.edges,
        ),
        Node(
            "conductance_rating", "quantity", bins.CONDUCTANCE.states, ("source_factor_fine",),
            histogram(indicated, bins.CONDUCTANCE), bins.CONDUCTANCE.edges,
        ),
    ]  # fmt: skip


def _later_loss(setting: Setting, share: Array) -> Array:
    """What bad cells give up under load in all [V], shape (battery modes, samples)."""
    return setting.drawn("battery", "load_loss", share)


def sag_node(setting: Setting) -> Node:
    """Fall of the posts' volts from the first to the fifteenth second of a dead crank.

    Notes
    -----
    Polarisation grows with the current that flows; a bad cell gives up the rest of what it loses. With no current,
    nothing sags.
    """
    share = low_discrepancy_points(96, 4)
    factor = bins.SOURCE_FACTOR.at(share[0])[:, None]
    current = flowing(setting, share[1], share[3])[None]
    slow = (1.0 - OHMIC_SHARE) * np.minimum(factor, LARGEST_PLATE_FACTOR) * setting.source_resistance
    grown = battery.polarisation_share(DEAD_CRANK) - battery.polarisation_share(1.0)
    later = (1.0 - AT_ONCE) * _later_loss(setting, share[2])[:, None, None]
    exhausted = later * (np.exp(-1.0 / 5.0) - np.exp(-DEAD_CRANK / 5.0))
    working = np.clip(current / NOT_TURNED, 0.0, 1.0)
    table = scattered(current * slow * grown + working * exhausted, bins.SAG, 0.04)
    parents = ("battery", "source_factor", CURRENT_LEVEL)
    return Node("crank_sag", "quantity", bins.SAG.states, parents, table, bins.SAG.edges, 0.04)
