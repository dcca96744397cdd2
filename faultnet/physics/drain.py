"""Standing and driving: what a key-off drain takes out of the battery and what a drive puts back."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from faultnet.physics.charge import acceptance_current, self_discharge_rate
from faultnet.physics.quantity import Quantity

CHARGE_EFFICIENCY = 0.95  # [-] charge kept over charge put in; common practice, no source
TABLE = 2001


def charge_left(
    charge: Quantity,
    current: Quantity,
    hours: Quantity,
    capacity: Quantity,
    temperature: Quantity = 20.0,
    kind: str = "flooded",
    fading: Quantity = 1.0,
    empty: float = 0.0,
) -> Quantity:
    """State of charge after standing with a drain.

    Parameters
    ----------
    charge : float or array
        At the beginning [-].
    current : float or array
        Key-off drain [A].
    hours : float or array
        Standing [h].
    capacity : float or array
        Twenty-hour capacity [A h].
    temperature : float or array
        Electrolyte temperature [degC].
    kind : {"flooded", "enhanced_flooded", "agm", "antimonial"}
    fading : float or array
        Self-discharge over that of a sound battery [-].
    empty : float
        The least charge [-]; below nought where what is drawn beyond the rated capacity counts.

    Returns
    -------
    float or array
        State of charge [-].

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    s - I t / C - rate t / 24. Capacity is that of twenty hours; slower drains get a little more out.

    Examples
    --------
    >>> round(float(charge_left(1.0, 0.5, 48.0, 60.0)), 2)
    0.6

    References
    ----------
    Derived: charge is current times time.
    """
    lost = current * hours / capacity + fading * self_discharge_rate(temperature, kind) * hours / 24.0
    return np.maximum(charge - lost, empty)


def drive_recharge(
    charge: Quantity,
    hours: Quantity,
    capacity: Quantity,
    supply_current: Quantity,
    temperature: Quantity = 20.0,
    acceptance: Quantity = 1.0,
    voltage: float = 14.2,
) -> Quantity:
    """State of charge after a drive.

    Parameters
    ----------
    charge : float or array
        At the beginning [-].
    hours : float or array
        Driving [h].
    capacity : float or array
        Twenty-hour capacity [A h].
    supply_current : float or array
        What the alternator has to spare for the battery [A]; negative when the consumers take more than it gives.
    temperature : float or array
        Electrolyte temperature [degC].
    acceptance : float or array
        1 when sound, about 0.1 when sulphated [-].
    voltage : float
        At the posts [V].

    Returns
    -------
    float or array
        State of charge [-], 0 to 1.

    Notes
    -----
    ds/dt = 0.95 min(supply, accepted(s)) / C; losses count in full. The time from one charge to another is an integral
    that is kept in a table: 1 / supply below the charge at which the battery no longer takes all there is, and
    1 / accepted above it. What is accepted is proportional to acceptance and temperature, so one table serves for all
    of a voltage.

    Examples
    --------
    >>> round(float(drive_recharge(0.5, 0.5, 60.0, 40.0)), 2)
    0.62

    References
    ----------
    Acceptance as in :func:`faultnet.physics.battery.acceptance_current`; efficiency common practice, no source.
    """
    held, log_taken, time = _time_to_charge(float(voltage))
    supply = CHARGE_EFFICIENCY * np.asarray(supply_current, dtype=np.float64) / capacity
    cold = acceptance_current(0.0, 1.0, temperature) / acceptance_current(0.0, 1.0, 25.0)
    accepted = np.maximum(CHARGE_EFFICIENCY * np.asarray(acceptance * cold, dtype=np.float64), 1e-12)
    given = np.maximum(supply, 1e-12)
    start = np.clip(charge, 0.0, 1.0)
    limit = np.interp(-np.log(given / accepted), -log_taken, held)
    until = np.interp(limit, held, time)
    spent = np.where(start < limit, start / given, limit / given + (np.interp(start, held, time) - until) / accepted)
    spent = spent + hours
    after = np.interp((spent - limit / given) * accepted + until, time, held)
    charged = np.where(spent * given < limit, spent * given, after)
    drained = start + np.minimum(supply / CHARGE_EFFICIENCY, 0.0) * hours
    return np.where(supply > 0.0, np.maximum(np.clip(charged, 0.0, 1.0), start), np.clip(drained, 0.0, 1.0))


@lru_cache(maxsize=64)
def _time_to_charge(voltage: float) -> tuple[NDArray[np.float64], ...]:
    """Charge [-], logarithm of what a battery of 1 A h takes then, and time from empty at as much as it takes [h]."""
    held = np.linspace(0.0, 1.0, TABLE)
    rate = np.maximum(np.asarray(acceptance_current(held, 1.0, 25.0, voltage)), 1e-6)
    rate = np.minimum.accumulate(rate)
    middle = 0.5 * (held[1:] + held[:-1])
    step = np.diff(held) / np.maximum(np.asarray(acceptance_current(middle, 1.0, 25.0, voltage)), 1e-6)
    return held, np.log(rate), np.concatenate([np.zeros(1), np.cumsum(step)])


def charge_in_use(
    charge: Quantity,
    usual: Quantity,
    hours: Quantity,
    capacity: Quantity,
    supply_current: Quantity,
    spent_current: Quantity,
    temperature: Quantity = 20.0,
    acceptance: Quantity = 1.0,
    voltage: float = 14.2,
) -> Quantity:
    """State of charge after a stretch of use, at the end of the last drive.

    Parameters
    ----------
    charge : float or array
        At the beginning [-].
    usual : float or array
        What this use of the car keeps the battery at in the long run [-].
    hours : float or array
        Driven in all [h].
    capacity, supply_current, temperature, acceptance, voltage : float or array
        As in :func:`drive_recharge`.
    spent_current : float or array
        What is taken from a battery that holds more than that [A], above nought.

    Returns
    -------
    float or array
        State of charge [-].

    Notes
    -----
    Below the usual charge the battery gains as on a drive, until it is there; above it, it loses what is spent, until
    it is there. What is drawn at night between two drives is part of what is usual.

    Examples
    --------
    >>> round(float(charge_in_use(0.2, 0.9, 1.0, 60.0, 25.0, 2.0)), 2)
    0.5
    >>> float(charge_in_use(0.2, 0.9, 50.0, 60.0, 25.0, 2.0)), float(charge_in_use(1.0, 0.7, 3.0, 60.0, 25.0, 2.0))
    (0.9, 0.9)

    References
    ----------
    Derived: charge is current times time; that use has a level of its own: estimate.
    """
    above = np.maximum(charge, 0.0)
    gained = drive_recharge(above, hours, capacity, supply_current, temperature, acceptance, voltage) - above
    risen = np.minimum(charge + np.maximum(gained, 0.0), np.maximum(usual, charge))
    fallen = np.maximum(charge - np.multiply(spent_current, hours) / capacity, usual)
    return np.where(np.less(charge, usual), risen, fallen)
