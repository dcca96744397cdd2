"""What an instrument with a window or a sampling interval sees of a start.

An averaging meter smooths the first dip, an adapter that samples seldom misses it; both err upwards only. `phase` says
where in its window or interval the instrument happened to be when the start began: it is never known, and averaging
over it is the caller's business.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.physics.quantity import Quantity
from faultnet.physics.waveform import FALL, HOLD, RIPPLE_FREQUENCY, RISE, waveform

LASTING = 0.8  # [s] an ordinary start; estimate
SAMPLES = 16
TINY = 1e-12


def windowed_minimum(
    rest: Quantity,
    first_dip: Quantity,
    sustained: Quantity,
    ripple: Quantity,
    window: Quantity,
    phase: Quantity,
    ripple_frequency: Quantity = RIPPLE_FREQUENCY,
    fall: Quantity = FALL,
    hold: Quantity = HOLD,
    rise: Quantity = RISE,
) -> Quantity:
    """Lowest of the consecutive averages a min/max meter forms during a start.

    Parameters
    ----------
    rest, first_dip, sustained, ripple : float or array
        Shape of the start, as in :func:`waveform` [V].
    window : float or array
        Averaging time [s]; shorter than the start lasts.
    phase : float or array
        How much of a window had passed when the start began [-], 0 to 1.
    ripple_frequency : float or array
        [Hz].
    fall, hold, rise : float or array
        [s].

    Returns
    -------
    float or array
        Minimum the meter shows [V], never below the true one.

    Notes
    -----
    The average over a window that begins at t falls and then rises with t and is least where the window begins and
    ends at the same voltage; so only the four grid points round that instant can hold the minimum of the dip, and
    their averages are exact integrals. The sustained part adds its own lowest average, level - ripple |sinc(f w)|.

    Examples
    --------
    >>> round(float(windowed_minimum(12.6, 8.0, 10.5, 0.0, 0.005, 0.3)), 2)
    8.0
    >>> 9.4 < float(windowed_minimum(12.6, 8.0, 10.5, 0.0, 0.100, 0.03)) < 9.6
    True

    References
    ----------
    100 ms min/max capture of ordinary meters: common practice, from memory.
    """
    window = np.maximum(window, TINY)
    best = _best_beginning(rest, first_dip, sustained, window, fall, hold, rise)
    first = np.floor(best / window + phase) - 1.0
    lowest = sustained - np.abs(ripple * np.sinc(ripple_frequency * window))
    shape = (rest, first_dip, sustained, ripple, ripple_frequency, fall, hold, rise)
    area = _area((first - phase) * window, *shape)
    for step in range(1, 5):
        following = _area((first + step - phase) * window, *shape)
        lowest = np.minimum(lowest, rest + (following - area) / window)
        area = following
    return np.maximum(lowest, np.minimum(first_dip, _bottom(sustained, ripple)))


def sampled_minimum(
    rest: Quantity,
    first_dip: Quantity,
    sustained: Quantity,
    ripple: Quantity,
    interval: Quantity,
    phase: Quantity,
    ripple_frequency: Quantity = RIPPLE_FREQUENCY,
    fall: Quantity = FALL,
    hold: Quantity = HOLD,
    rise: Quantity = RISE,
    lasting: float = LASTING,
) -> Quantity:
    """Lowest of the instant samples an adapter or logger takes during a start.

    Parameters
    ----------
    rest, first_dip, sustained, ripple : float or array
        Shape of the start, as in :func:`waveform` [V].
    interval : float or array
        Time between samples [s].
    phase : float or array
        How much of an interval had passed when the start began [-], 0 to 1.
    ripple_frequency : float or array
        [Hz].
    fall, hold, rise : float or array
        [s].
    lasting : float
        How long the starter turns [s].

    Returns
    -------
    float or array
        Lowest sample [V]; `rest` when no sample fell into the start.

    Notes
    -----
    The samples either side of the end of the fall hold the minimum of the dip. Up to sixteen further samples are taken
    from the ripple; where that many do not reach the end of the start they are dense enough to find its bottom, and
    the first two suffice: what follows lies between the second and the sustained level.

    Examples
    --------
    >>> float(sampled_minimum(12.6, 8.0, 10.5, 0.0, 0.2, 0.95)), float(sampled_minimum(12.6, 8.0, 10.5, 0.0, 0.2, 0.4))
    (8.0, 10.5)

    References
    ----------
    Chance to catch a dip of width w: w / interval, derived.
    """
    shape = (rest, first_dip, sustained, ripple, ripple_frequency, fall, hold, rise)
    first = np.floor(fall / interval + phase)
    dense = SAMPLES * np.asarray(interval) < lasting
    lowest = np.where(dense, _bottom(sustained, ripple), rest)
    climbed = np.asarray(fall + hold + rise)
    late = []
    for step in range(2 if dense.all() else SAMPLES):
        time = (first + step - phase) * interval
        if np.all(time >= climbed):
            late.append(time - climbed)
        else:
            lowest = np.minimum(lowest, np.where(time < lasting, waveform(time, *shape), rest))
    if late:
        swing = _lowest_swing(late, lasting - climbed, rest, sustained, ripple, ripple_frequency)
        lowest = np.minimum(lowest, swing)
    return lowest[()]


def _lowest_swing(
    late: Sequence[Quantity],
    on: Quantity,
    rest: Quantity,
    sustained: Quantity,
    ripple: Quantity,
    ripple_frequency: Quantity,
) -> Quantity:
    """Lowest of the samples taken so long after the end of the climb, `rest` once the starter is let go [V].

    The level is the same for all of them, so only the sine has to be looked at sample by sample.
    """
    least, most = np.asarray(np.inf), np.asarray(-np.inf)
    for since in late:
        swing = np.sin(2.0 * np.pi * ripple_frequency * since)
        least = np.minimum(least, np.where(since < on, swing, np.inf))
        most = np.maximum(most, np.where(since < on, swing, -np.inf))
    seen = np.isfinite(least)
    least, most = np.where(seen, least, 0.0), np.where(seen, most, 0.0)
    return np.where(seen, sustained + np.minimum(ripple * least, ripple * most), rest)


def _bottom(sustained: Quantity, ripple: Quantity) -> Quantity:
    """Bottom of the compression ripple [V]."""
    return sustained - np.abs(ripple)


def _best_beginning(
    rest: Quantity,
    first_dip: Quantity,
    sustained: Quantity,
    window: Quantity,
    fall: Quantity,
    hold: Quantity,
    rise: Quantity,
) -> Quantity:
    """Beginning of the window that averages lowest: where the voltage is the same at both its ends [s]."""
    down = np.maximum(np.subtract(rest, first_dip), TINY)
    up = np.maximum(np.subtract(sustained, first_dip), TINY)
    above = np.maximum(window - hold, 0.0) / (fall / down + rise / up)
    return fall * (1.0 - np.minimum(np.minimum(above, up) / down, 1.0))


def _area(
    time: Quantity,
    rest: Quantity,
    first_dip: Quantity,
    sustained: Quantity,
    ripple: Quantity,
    ripple_frequency: Quantity,
    fall: Quantity,
    hold: Quantity,
    rise: Quantity,
) -> Quantity:
    """Integral of the waveform less `rest` from the start until `time` [V s]."""
    falling = (first_dip - rest) * _ramp_area(time, fall)
    climbing = (sustained - first_dip) * _ramp_area(np.subtract(time, fall + hold), rise)
    omega = 2.0 * np.pi * ripple_frequency
    swing = ripple / omega * (1.0 - np.cos(omega * np.maximum(np.subtract(time, fall + hold + rise), 0.0)))
    return falling + climbing + swing


def _ramp_area(time: Quantity, length: Quantity) -> Quantity:
    """Integral of a ramp that climbs from 0 to 1 in `length` seconds, from time zero on [s]."""
    inside = np.clip(time, 0.0, length)
    return inside**2 / (2.0 * length) + np.maximum(np.subtract(time, length), 0.0)
