"""The strongest sine in a stretch of samples: compression ripple while cranking, diode ripple while charging."""

from __future__ import annotations

import numpy as np

from faultnet.recordings.trace import Array

SLOWEST, FASTEST = 2.0, 30.0
"""Compression frequencies looked for [Hz]: four cylinders at 60 rev/min to ten at 360 (derived)."""


def strongest_sine(
    time: Array, volts: Array, begin: float, end: float, slowest: float = SLOWEST, fastest: float = FASTEST
) -> tuple[float, float] | None:
    """Find the sine that explains most of a stretch of samples.

    Parameters
    ----------
    time, volts : array, shape (n,)
        The samples [s], [V]; they need not be evenly spaced.
    begin, end : float
        The stretch to look at [s].
    slowest, fastest : float
        Frequencies to look for [Hz].

    Returns
    -------
    tuple of float or None
        Amplitude [V] and frequency [Hz]; None if the sampling or the length does not allow it, or if the best sine
        explains less than 35 % of what moves, or is smaller than 30 mV.

    Notes
    -----
    A straight line is taken off, the spectrum under a Hann window gives the frequency to a fraction of its width,
    and least squares at that frequency give the amplitude. Fewer than two periods, or fewer than 3 samples in a
    period, give None.

    Examples
    --------
    >>> time = np.arange(0, 1, 0.01)
    >>> amplitude, frequency = strongest_sine(time, 11 + 0.3 * np.sin(2 * np.pi * 7 * time), 0.0, 1.0)
    >>> round(amplitude, 2), round(frequency, 1)
    (0.3, 7.0)
    """
    inside = (time >= begin) & (time < end)
    time, volts = time[inside], volts[inside]
    if time.size < 8:
        return None
    step = max(float(np.median(np.diff(time))), 1.0 / (8.0 * fastest))
    length = float(time[-1] - time[0])
    low, high = max(slowest, 2.0 / length), min(fastest, 1.0 / (3.0 * step))
    if high <= low:
        return None
    even, values = _evened(time, volts, step)
    frequency = _peak(without_line(even, values), step, low, high)
    if frequency is None:
        return None
    dense = time.size > 2 * even.size  # means carry less noise; single samples are not smoothed
    even, values = (even, values) if dense else (time, volts)
    amplitude, share = _fitted(even, without_line(even, values), frequency)
    return (amplitude, frequency) if share >= 0.35 and amplitude >= 0.03 else None


def _evened(time: Array, volts: Array, step: float) -> tuple[Array, Array]:
    """Bring samples to even steps: means where there are many, straight lines between where there are few."""
    if step <= 1.01 * float(np.median(np.diff(time))):
        even = np.arange(time[0], time[-1], step)
        return even, np.interp(even, time, volts)
    even = np.arange(time[0] + step / 2, time[-1] - step / 2, step)
    total = np.concatenate([[0.0], np.cumsum(np.diff(time) * (volts[1:] + volts[:-1]) / 2)])
    edges = np.interp(np.append(even - step / 2, even[-1] + step / 2), time, total)
    return even, np.diff(edges) / step


def without_line(time: Array, values: Array) -> Array:
    """Take a straight line off.

    Parameters
    ----------
    time, values : array, shape (n,)
        Samples; the line is that of least squares.

    Returns
    -------
    array, shape (n,)
        What is left.

    Examples
    --------
    >>> without_line(np.arange(3.0), np.array([1.0, 2.0, 3.0])).tolist()
    [0.0, 0.0, 0.0]
    """
    centred = time - time.mean()
    slope = float(centred @ values) / max(float(centred @ centred), 1e-30)
    return np.asarray(values - values.mean() - slope * centred)


def _peak(values: Array, step: float, low: float, high: float) -> float | None:
    """Frequency of the highest peak of the spectrum between two frequencies, None if they are too close."""
    size = 1 << max(int(np.ceil(np.log2(values.size))) + 3, 10)
    power = np.abs(np.fft.rfft(values * np.hanning(values.size), size)) ** 2
    frequency = np.fft.rfftfreq(size, step)
    inside = np.flatnonzero((frequency >= low) & (frequency <= high))
    return float(frequency[inside[power[inside].argmax()]]) if inside.size else None


def _fitted(time: Array, values: Array, frequency: float) -> tuple[float, float]:
    """Amplitude of the sine of a frequency by least squares, and the share of the variance it explains."""
    angle = 2 * np.pi * frequency * time
    basis = np.column_stack([np.sin(angle), np.cos(angle), np.ones(time.size)])
    found = np.linalg.lstsq(basis, values, rcond=None)[0]
    left = values - basis @ found
    share = 1.0 - float(left @ left) / max(float(values @ values), 1e-30)
    return float(np.hypot(found[0], found[1])), share
