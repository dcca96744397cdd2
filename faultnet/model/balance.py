"""How the state of charge moves from one moment of a case to the next: on a drive, in daily use, parked, on a charger.

Each table has the state after it on its first axis and the state before on its last, by the modes it depends on; it is
counted from the same equations (:mod:`faultnet.physics.drain`) that the virtual cars go by. Hours that nobody told are
spread, and so is what differs from car to car.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from faultnet.model import bins, source
from faultnet.model.network import Array
from faultnet.model.points import low_discrepancy_points
from faultnet.model.sampling import histogram, standard_normal
from faultnet.model.setting import Setting
from faultnet.physics import drain

SAMPLES = 256
LEAK = 1e-4
ONCE = ("left_on", "long_standing")  # ways of use that happened once, before the first visit
SPENT = {"good": "spent_in_use", "weak": "spent_in_use_weak_supply", "none": "load_base", "over": "spent_in_use"}


class Interval(NamedTuple):
    """What is known of the time from one visit to the next.

    Parameters
    ----------
    days : tuple of float or None
        From so many to so many days; None when the dates do not say.
    standing : float or None
        Hours since the engine last ran, at the later visit.
    """

    days: tuple[float, float] | None
    standing: float | None


def supply_share(supply: str, setting: Setting) -> float:
    """What the charging side has to spare in a state of supply, over what a good one has [-]."""
    return {"good": 1.0, "over": 1.0, "weak": setting.number("weak_supply_share"), "none": 0.0}[supply]


def later_use(setting: Setting) -> tuple[str, ...]:
    """For each way of use the one that goes on after the first visit: what happened once does not happen anew."""
    modes = setting.modes("use")
    return tuple(modes[0] if m in ONCE else m for m in modes)


def after_drive(setting: Setting, hours: float | None) -> Array:
    """State of charge after a drive, shape (after, battery modes, supply states, before).

    Parameters
    ----------
    setting : Setting
    hours : float or None
        Driven [h]; None when nobody timed it.
    """
    share = low_discrepancy_points(SAMPLES, 5)
    before = bins.CHARGE.at(share[0])
    driven = _hours(setting, "drive_hours", share[4]) if hours is None else np.full(SAMPLES, hours)
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[1])[:, None, None]
    accepting = source.accepting_of_its_own(setting, share[2], share[1])[:, None, None]
    spare = _spare(setting, share[3])[None, :, None]
    none = np.array([s == "none" for s in source.SUPPLY_STATES])[None, :, None, None]
    spare = np.where(none, -setting.number("load_base") * _supply_spread(setting, share[3]), spare)
    above = np.maximum(before, 0.0)
    volts = float(setting.regulated(setting.air))
    held = drain.drive_recharge(above, driven, capacity, spare, setting.electrolyte, accepting, volts)
    return histogram(np.clip(before + held - above, -setting.number("past_empty"), 1.0), bins.CHARGE, LEAK)


def after_use(setting: Setting, interval: Interval) -> Array:
    """State of charge at the end of the last drive before a visit.

    Parameters
    ----------
    setting : Setting
        Of the later visit.
    interval : Interval

    Returns
    -------
    array, shape (after, battery modes, supply states, ways of use, before)
    """
    share = low_discrepancy_points(SAMPLES, 9)
    before = bins.CHARGE.at(share[0])
    accepting = source.accepting_of_its_own(setting, share[1], share[7])
    after = np.stack([source.charge_after_driving(setting, supply, share[2]) for supply in source.SUPPLY_STATES])
    reached = after[None] * source.kept_in_use(setting, accepting)[:, None]
    lacking = setting.effect("use", "normal", "usual_charge").centre - _by_use(setting, "usual_charge", share[3])
    usual = reached[:, :, None] - lacking[None, None]
    days, standing = _days(setting, interval, share[4]), _standing(setting, interval, share[4], share[5])
    per_day = _by_use(setting, "hours_driven_per_day", share[6])
    hours = np.maximum(per_day * np.maximum(days - standing / 24.0, 0.0), setting.number("trip_hours"))
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[7])
    spent = np.array([setting.number(SPENT[s]) for s in source.SUPPLY_STATES])
    held = drain.charge_in_use(
        before, usual[:, :, :, None], hours[None, None, :, None], capacity[:, None, None, None],
        _spare(setting, share[8])[None, :, None, None], spent[None, :, None, None, None], setting.electrolyte,
        accepting[:, None, None, None], float(setting.regulated(setting.air)),
    )  # fmt: skip
    return histogram(np.clip(held, -setting.number("past_empty"), 1.0), bins.CHARGE, LEAK)


def after_standing(setting: Setting, interval: Interval) -> Array:
    """State of charge after the car stood since its last drive.

    Parameters
    ----------
    setting : Setting
        Of the visit.
    interval : Interval

    Returns
    -------
    array, shape (after, battery modes, drain modes, rectifier modes, ways of use or 1, before)
    """
    share = low_discrepancy_points(SAMPLES, 8)
    if interval.standing is not None:
        return _stood(setting, np.full((1, SAMPLES), interval.standing), share)
    return _stood(setting, _standing(setting, interval, share[1], share[2]), share)


def after_waiting(setting: Setting, hours: float | None) -> Array:
    """The same after a wait in the workshop; ways of use do not matter."""
    share = low_discrepancy_points(SAMPLES, 8)
    waited = _hours(setting, "overnight_hours", share[1]) if hours is None else np.full(SAMPLES, hours)
    return _stood(setting, waited[None], share)


def _stood(setting: Setting, hours: Array, share: Array) -> Array:
    before = bins.CHARGE.at(share[0])
    drawn = setting.drawn("drain", "current", share[3])
    chances = np.array([setting.catalogue.on_rate("drain", m, ()) for m in setting.modes("drain")])
    chances[0] = 1.0
    drawn = np.where(share[4] < chances[:, None], drawn, drawn[0])
    current = drawn[:, None] + setting.drawn("rectifier", "leakage", share[5])[None]
    capacity = setting.capacity * setting.drawn("battery", "capacity_factor", share[6])
    fading = setting.drawn("battery", "self_discharge_factor", share[7])
    left = drain.charge_left(
        before, current[None, :, :, None, None], hours[None, None, None, :, None], capacity[:, None, None, None, None],
        setting.electrolyte, setting.car.battery.kind, fading[:, None, None, None, None], -setting.number("past_empty"),
    )  # fmt: skip
    return histogram(np.minimum(left, 1.0), bins.CHARGE, LEAK)


def after_charger(setting: Setting, hours: float | None, slow: bool = False) -> Array:
    """State of charge after a charge, shape (after, battery modes, before).

    Parameters
    ----------
    setting : Setting
    hours : float or None
        On the charger [h]; None when nobody timed it.
    slow : bool
        Whether it was a long slow charge.
    """
    if hours is not None:
        return source.charge_after_charging(setting, hours)
    share = low_discrepancy_points(source.SAMPLES, 5)[4]
    return source.charge_after_charging(
        setting, _hours(setting, "long_charge_hours" if slow else "charger_hours", share)
    )


def _hours(setting: Setting, name: str, share: Array) -> Array:
    return np.asarray(setting.number(name) * np.exp(setting.number(f"{name}_ln_spread") * standard_normal(share)))


def _days(setting: Setting, interval: Interval, share: Array) -> Array:
    if interval.days is None:
        return _hours(setting, "days_between_visits", share)
    return np.asarray(interval.days[0] + (interval.days[1] - interval.days[0]) * share)


def _standing(setting: Setting, interval: Interval, days: Array, share: Array) -> Array:
    """Hours since the last drive, shape (ways of use, samples)."""
    usual = 24.0 * _by_use(setting, "days_standing", share)
    if interval.standing is not None:
        return np.full_like(usual, interval.standing)
    return np.asarray(np.minimum(usual, 24.0 * _days(setting, interval, days)))


def _by_use(setting: Setting, parameter: str, share: Array) -> Array:
    """A parameter of the use of the car by the way of use that goes on, shape (ways of use, samples)."""
    modes = setting.modes("use")
    return setting.drawn("use", parameter, share)[[modes.index(m) for m in later_use(setting)]]


def _spare(setting: Setting, share: Array) -> Array:
    """What the charging side has to spare [A], shape (supply states, samples)."""
    shares = np.array([supply_share(s, setting) for s in source.SUPPLY_STATES])
    return np.asarray(setting.number("drive_supply_current") * shares[:, None] * _supply_spread(setting, share))


def _supply_spread(setting: Setting, share: Array) -> Array:
    return np.asarray(np.exp(setting.number("drive_supply_ln_spread") * standard_normal(share)))
