"""The rectifier of the alternator: ripple, lost output and leakage with sound and with bad diodes."""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity

PULSES = 6  # of a three-phase bridge in one electrical period
SOUND_RIPPLE = 0.042  # [-] rms over mean of an ideal six-pulse rectifier, derived
SWITCHING_NOISE = 0.015  # [V] rms; estimate, so that sound systems read 10 to 50 mV


def ripple_voltage(current: Quantity, faulty_diodes: Quantity, battery_resistance: Quantity) -> Quantity:
    """Alternating voltage at the battery that a meter on its AC range shows.

    Parameters
    ----------
    current : float or array
        Alternator current [A].
    faulty_diodes : int or array
        Open diodes [-], 0 to 3.
    battery_resistance : float or array
        Resistance the ripple current meets [ohm]; a bad battery raises the reading.

    Returns
    -------
    float or array
        [V] rms: about 25 mV when sound, 0.2 to 0.6 V with one open diode.

    Notes
    -----
    An open diode takes two of the six pulses of a period. Of k missing pulses the rms over the mean is
    sqrt(k / (6 - k)); with 4.2 % of a sound bridge and 15 mV of switching noise, squares added. The rectifier's own
    filling of the gaps is left out, so this is an upper estimate.

    Examples
    --------
    >>> round(float(ripple_voltage(50.0, 0, 0.0075)), 3), round(float(ripple_voltage(50.0, 1, 0.0075)), 2)
    (0.022, 0.27)

    References
    ----------
    Law derived; 10 to 50 mV and more than 0.3 to 0.5 V: common practice and a how-to page (secondary).
    """
    missing = np.clip(2.0 * np.asarray(faulty_diodes, dtype=float), 0.0, PULSES - 1.0)
    share = np.sqrt(SOUND_RIPPLE**2 + missing / (PULSES - missing))
    return np.hypot(share * current * battery_resistance, SWITCHING_NOISE)


def ripple_frequency(alternator_speed: Quantity, poles: Quantity = 12) -> Quantity:
    """Frequency of the ripple of a sound rectifier.

    Parameters
    ----------
    alternator_speed : float or array
        [rev/min].
    poles : int or array
        Of the rotor [-].

    Returns
    -------
    float or array
        [Hz]; an open diode adds a strong part at a sixth of it.

    Notes
    -----
    6 (poles / 2) n / 60.

    Examples
    --------
    >>> ripple_frequency(1000.0)
    600.0

    References
    ----------
    Derived: six pulses in an electrical period.
    """
    return 6.0 * (poles / 2.0) * alternator_speed / 60.0


def diode_output_factor(open_diodes: Quantity, shorted_diodes: Quantity = 0) -> Quantity:
    """Share of its current an alternator can still give with bad diodes.

    Parameters
    ----------
    open_diodes, shorted_diodes : int or array
        [-]; 0 to 3.

    Returns
    -------
    float or array
        [-], to multiply :func:`faultnet.physics.charging.output_capability`.

    Notes
    -----
    0.82 for each open diode, 0.55 for each shorted one.

    Examples
    --------
    >>> round(float(diode_output_factor(1)), 2)
    0.82

    References
    ----------
    Loss of 10 to 25 % and of 30 to 60 %: common practice, no source.
    """
    return np.power(0.82, open_diodes) * np.power(0.55, shorted_diodes)


def diode_leakage(voltage: Quantity = 12.6, temperature: Quantity = 25.0, defect: Quantity = np.inf) -> Quantity:
    """Current that flows back through the rectifier while the engine stands.

    Parameters
    ----------
    voltage : float or array
        At the alternator [V].
    temperature : float or array
        Of the diodes [degC].
    defect : float or array
        Resistance of the leaking path [ohm]; infinite when sound.

    Returns
    -------
    float or array
        [A]; 0.5 mA when sound.

    Notes
    -----
    0.5 mA doubling every 10 K, plus V / R. One shorted diode alone is still blocked by the others: a leak needs a
    second bad one or an exciter branch.

    Examples
    --------
    >>> round(float(diode_leakage()), 5)
    0.0005

    References
    ----------
    0.5 to 2 mA sound (from memory); more than 60 mA a leak, training page (secondary).
    """
    return 0.0005 * np.exp2((temperature - 25.0) / 10.0) + voltage / defect
