"""Quantities of the battery under a known or a long load, where bad cells give up more than at once."""

from __future__ import annotations

import numpy as np

from faultnet.model import bins
from faultnet.model.drops import CURRENT_LEVEL, flowing
from faultnet.model.network import Array
from faultnet.model.points import low_discrepancy_points
from faultnet.model.quantity import Now, Quantity, Workings
from faultnet.model.sampling import histogram, scattered, standard_normal, within
from faultnet.model.setting import Setting
from faultnet.model.starting import EARLY_SHARE
from faultnet.physics import battery
from faultnet.physics.resistance import EARLY_POLARISATION, OHMIC_SHARE, OHMIC_SHARE_WITHIN


def _half_rating(at: Workings) -> Array:
    """Volts at the posts after 15 s at half the rating."""
    setting, share = at.setting, low_discrepancy_points(64, 4)
    emf, factor = within([bins.SOURCE_EMF, bins.SOURCE_FACTOR_FINE], share)
    developed = OHMIC_SHARE + (1.0 - OHMIC_SHARE) * battery.polarisation_share(setting.number("half_rating_time"))
    resistance = factor * setting.source_resistance * developed
    current = setting.rating * 0.5 * np.exp(setting.number("half_rating_current_spread") * standard_normal(share[3]))
    later = (1.0 - setting.number("bad_cell_loss_at_once")) * _later_loss(setting, share[2])[:, None, None]
    return histogram(np.maximum(emf - current * resistance - later, 0.0), bins.CRANK_VOLTS)


def _source_resistance(at: Workings) -> Array:
    """Volts over amperes of two loads; ten seconds between them bring out most of the polarisation."""
    share = low_discrepancy_points(64, 4)
    factor = bins.SOURCE_FACTOR_FINE.at(share[1])
    return histogram(factor * at.setting.source_resistance * (0.87 + 0.13 * share[2]), bins.SOURCE_OHMS)


def _conductance(at: Workings) -> Array:
    """Cranking amperes a small-signal tester shows."""
    setting, share = at.setting, low_discrepancy_points(64, 4)
    spread = np.hypot(setting.number("conductance_spread"), setting.number("resistance_split_spread"))
    factor = bins.SOURCE_FACTOR_FINE.at(share[1])
    indicated = (
        setting.rating * factor ** -setting.number("conductance_exponent") * np.exp(spread * standard_normal(share[2]))
    )
    return histogram(indicated, bins.CONDUCTANCE)


def _later_loss(setting: Setting, share: Array) -> Array:
    """What bad cells give up under load in all [V], shape (battery modes, samples)."""
    return setting.drawn("battery", "load_loss", share)


def _sag(at: Workings) -> Array:
    """Fall of the posts' volts from the first to the fifteenth second of a dead crank.

    Notes
    -----
    Polarisation grows with the current that flows; a bad cell gives up the rest of what it loses. With no current,
    nothing sags. By how much batteries lose more or less than the model, and how that is shared out between what acts
    at once and what builds up, is the same as for the volts that they hold.
    """
    setting, share = at.setting, low_discrepancy_points(96, 6)
    factor = bins.SOURCE_FACTOR.at(share[0])[:, None]
    current = flowing(setting, share[1], share[3])[None]
    seconds, time = setting.number("dead_crank_time"), setting.number("bad_cell_time")
    at_once = OHMIC_SHARE * np.exp(setting.number("resistance_split_spread") * standard_normal(share[4]))
    unlike = np.exp(setting.number("start_drop_unlike") * standard_normal(share[5]))
    plates = np.minimum(factor, setting.number("largest_plate_factor")) * setting.source_resistance
    slow = (1.0 - np.clip(at_once, *OHMIC_SHARE_WITHIN)) * setting.number("start_drop_factor") * unlike * plates
    grown = battery.polarisation_share(seconds) - battery.polarisation_share(1.0)
    later = (1.0 - setting.number("bad_cell_loss_at_once")) * _later_loss(setting, share[2])[:, None, None]
    exhausted = later * (np.exp(-1.0 / time) - np.exp(-seconds / time))
    working = np.clip(current / setting.number("motor_turns_above"), 0.0, 1.0)
    return scattered(current * slow * grown + working * exhausted, bins.SAG, setting.number("crank_sag_spread"))


def _dead_crank_level(at: Workings) -> Array:
    """Volts at the posts some seconds into a dead crank: what was held in its first second, less what comes later.

    Notes
    -----
    Polarisation grows in proportion to what the battery's resistance takes already, of ordinary rest volts; a bad cell
    gives up more of what it loses, whether the motor turns or not.
    """
    setting, share = at.setting, low_discrepancy_points(128, 2)
    seconds, time = setting.number("dead_crank_steady"), setting.number("bad_cell_time")
    grown = (1.0 - OHMIC_SHARE) * (battery.polarisation_share(seconds) - EARLY_POLARISATION) / EARLY_SHARE
    closed = bins.CLOSED_VOLTS.at(share[0])
    closed = closed - grown * np.maximum(setting.number("usual_rest_voltage") - closed, 0.0)
    held = np.concatenate([closed, bins.OPEN_VOLTS.at(share[0])])
    later = (1.0 - setting.number("bad_cell_loss_at_once")) * _later_loss(setting, share[1])[:, None]
    left = np.maximum(held - later * (1.0 - np.exp(-seconds / time)), 0.0)
    return scattered(left, bins.CRANK_VOLTS, setting.number("start_volts_spread"))


QUANTITIES = (
    Quantity(
        "half_rating_voltage", "V", "battery", (Now("battery"), "source_emf", "source_factor_fine"), bins.CRANK_VOLTS,
        _half_rating, unlike="unlike_crank_volts",
    ),
    Quantity(
        "source_resistance", "ohm", "battery", ("source_factor_fine",), bins.SOURCE_OHMS, _source_resistance,
        unlike="unlike_source_ohms_ln",
    ),
    Quantity(
        "conductance_rating", "A", "battery", ("source_factor_fine",), bins.CONDUCTANCE, _conductance,
        unlike="unlike_conductance_ln",
    ),
    Quantity(
        "dead_crank_level", "V", "starting", (Now("battery"), "post_level"), bins.CRANK_VOLTS, _dead_crank_level,
        scatter="start_volts_spread", unlike="unlike_crank_volts",
    ),
    Quantity(
        "crank_sag", "V", "starting", (Now("battery"), "source_factor", CURRENT_LEVEL), bins.SAG, _sag,
        scatter="crank_sag_spread", unlike="unlike_sag",
    ),
)  # fmt: skip
