"""The shape of a start in volts.

A start falls from rest to the first dip, holds there while the rotor begins to move, and climbs to the sustained level
with the compression ripple on it. The times are those of the ISO 16750-2 start profile: fall 5 ms, hold 15 ms, climb
50 ms. What an instrument sees of that shape is :mod:`~faultnet.physics.sampling`.
"""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity

# ISO 16750-2:2003 section 4.5.3, from a public waveform file (published).
FALL, HOLD, RISE = 0.005, 0.015, 0.050  # [s]
RIPPLE_FREQUENCY = 7.0  # [Hz] four cylinders at 210 rev/min


def waveform(
    time: Quantity,
    rest: Quantity,
    first_dip: Quantity,
    sustained: Quantity,
    ripple: Quantity = 0.0,
    ripple_frequency: Quantity = RIPPLE_FREQUENCY,
    fall: Quantity = FALL,
    hold: Quantity = HOLD,
    rise: Quantity = RISE,
    lasting: Quantity = np.inf,
    recovery: float = 0.040,
    recovered: Quantity | None = None,
) -> Quantity:
    """Voltage during a start that begins at time zero.

    Parameters
    ----------
    time : float or array
        [s]; negative before the start.
    rest, first_dip, sustained : float or array
        Levels [V].
    ripple : float or array
        Amplitude of the compression ripple, half of peak to peak [V].
    ripple_frequency : float or array
        [Hz].
    fall, hold, rise : float or array
        Times to the dip, at the dip, and from the dip to the sustained level [s].
    lasting : float or array
        When the starter is let go [s]; never when left out.
    recovery : float
        Time from there to the recovered level [s].
    recovered : float or array, optional
        Level afterwards [V]; `rest` when left out.

    Returns
    -------
    float or array
        Voltage [V] of the broadcast shape.

    Notes
    -----
    Straight lines with a sine added from the end of the climb on, starting upwards.

    Examples
    --------
    >>> [round(float(v), 2) for v in waveform(np.array([-1.0, 0.01, 0.045, 0.5]), 12.6, 8.0, 10.5)]
    [12.6, 8.0, 9.25, 10.5]

    References
    ----------
    ISO 16750-2:2003 section 4.5.3 (published).
    """
    begin = fall + hold + rise
    falling = rest + (first_dip - rest) * np.clip(time / fall, 0.0, 1.0)
    climbing = (sustained - first_dip) * np.clip((time - fall - hold) / rise, 0.0, 1.0)
    swing = ripple * np.sin(2.0 * np.pi * ripple_frequency * np.maximum(time - begin, 0.0))
    volts: Quantity = falling + climbing + swing
    if np.ndim(lasting) == 0 and np.isinf(lasting):
        return volts
    back = np.clip((time - lasting) / recovery, 0.0, 1.0)
    return volts + ((rest if recovered is None else recovered) - volts) * back


def compression_frequency(speed: Quantity, cylinders: Quantity) -> Quantity:
    """Frequency of the compression ripple of a four-stroke engine.

    Parameters
    ----------
    speed : float or array
        Engine speed [rev/min].
    cylinders : int or array
        Number of cylinders [-].

    Returns
    -------
    float or array
        [Hz].

    Notes
    -----
    f = cylinders / 2 * speed / 60.

    Examples
    --------
    >>> round(compression_frequency(200.0, 4), 2)
    6.67

    References
    ----------
    Derived: one compression per cylinder in two turns.
    """
    return cylinders / 2.0 * speed / 60.0


def speed_from_frequency(frequency: Quantity, cylinders: Quantity) -> Quantity:
    """Engine speed from the frequency of the compression ripple.

    Parameters
    ----------
    frequency : float or array
        [Hz].
    cylinders : int or array
        Number of cylinders [-].

    Returns
    -------
    float or array
        Engine speed [rev/min].

    Notes
    -----
    Inverse of :func:`compression_frequency`.

    Examples
    --------
    >>> speed_from_frequency(6.0, 4)
    180.0

    References
    ----------
    Derived: one compression per cylinder in two turns.
    """
    return 120.0 * frequency / cylinders


def compression_ripple(current: Quantity, source_resistance: Quantity, cylinders: Quantity = 4) -> Quantity:
    """Amplitude of the compression ripple at the posts.

    Parameters
    ----------
    current : float or array
        Sustained mean current [A].
    source_resistance : float or array
        Battery resistance that has developed [ohm].
    cylinders : int or array
        Number of cylinders [-].

    Returns
    -------
    float or array
        Half of peak to peak [V].

    Notes
    -----
    The current swings by 22 % for four cylinders, by less in proportion for more. A missing hump is a weak cylinder.

    Examples
    --------
    >>> round(compression_ripple(160.0, 0.0075), 2)
    0.26

    References
    ----------
    Swing of 15 to 30 %, 0.2 to 0.6 V: common practice, no source.
    """
    return 0.22 * 4.0 / cylinders * current * source_resistance
