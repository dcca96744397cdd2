"""Standing and driving: what a key-off drain takes out of the battery and what a drive puts back."""

from __future__ import annotations

import numpy as np

from faultnet.physics.charge import acceptance_current, self_discharge_rate
from faultnet.physics.quantity import Quantity

CHARGE_EFFICIENCY = 0.95  # [-] charge kept over charge put in; common practice, no source
STEPS = 40


def charge_left(
    charge: Quantity,
    current: Quantity,
    hours: Quantity,
    capacity: Quantity,
    temperature: Quantity = 20.0,
    kind: str = "flooded",
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

    Returns
    -------
    float or array
        State of charge [-], never below zero.

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
    lost = current * hours / capacity + self_discharge_rate(temperature, kind) * hours / 24.0
    return np.maximum(charge - lost, 0.0)


def days_to_charge(start: Quantity, end: Quantity, current: Quantity, capacity: Quantity) -> Quantity:
    """Days until a drain has taken the battery from one charge to another.

    Parameters
    ----------
    start, end : float or array
        States of charge [-].
    current : float or array
        Drain [A]; above zero.
    capacity : float or array
        Twenty-hour capacity [A h].

    Returns
    -------
    float or array
        [days]; zero when it is already below. Self-discharge is not counted.

    Notes
    -----
    (s1 - s2) C / (24 I).

    Examples
    --------
    >>> round(float(days_to_charge(1.0, 0.5, 0.05, 60.0)), 6)
    25.0

    References
    ----------
    Derived: charge is current times time.
    """
    return np.maximum(np.subtract(start, end), 0.0) * capacity / (24.0 * np.maximum(current, 1e-12))


def drive_recharge(
    charge: Quantity,
    hours: Quantity,
    capacity: Quantity,
    supply_current: Quantity,
    temperature: Quantity = 20.0,
    acceptance: Quantity = 1.0,
    voltage: Quantity = 14.2,
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
    voltage : float or array
        At the posts [V].

    Returns
    -------
    float or array
        State of charge [-], 0 to 1.

    Notes
    -----
    ds/dt = 0.95 min(supply, accepted(s)) / C, forty steps of the midpoint rule; losses count in full.

    Examples
    --------
    >>> round(float(drive_recharge(0.5, 0.5, 60.0, 40.0)), 2)
    0.62

    References
    ----------
    Acceptance as in :func:`faultnet.physics.battery.acceptance_current`; efficiency common practice, no source.
    """
    step = np.divide(hours, STEPS)

    def gain(held: Quantity) -> Quantity:
        accepted = acceptance_current(held, capacity, temperature, voltage, acceptance)
        into = np.minimum(supply_current, accepted)
        return np.where(into > 0.0, CHARGE_EFFICIENCY * into, into) / capacity

    for _ in range(STEPS):
        middle = np.clip(charge + 0.5 * step * gain(charge), 0.0, 1.0)
        charge = np.clip(charge + step * gain(middle), 0.0, 1.0)
    return charge


def drive_gain(
    charge: Quantity,
    hours: Quantity,
    capacity: Quantity,
    supply_current: Quantity,
    temperature: Quantity = 20.0,
    acceptance: Quantity = 1.0,
) -> Quantity:
    """Charge regained by a drive.

    Parameters
    ----------
    charge, hours, capacity, supply_current, temperature, acceptance : float or array
        As in :func:`drive_recharge`.

    Returns
    -------
    float or array
        Gain of state of charge [-]; negative when the battery was drained.

    Notes
    -----
    :func:`drive_recharge` less what there was.

    Examples
    --------
    >>> float(drive_gain(0.5, 0.0, 60.0, 40.0))
    0.0

    References
    ----------
    As in :func:`drive_recharge`.
    """
    return np.subtract(drive_recharge(charge, hours, capacity, supply_current, temperature, acceptance), charge)
