"""Scores of beliefs and intervals of means: what the trial's table is made of.

References
----------
G. W. Brier, Verification of forecasts expressed in terms of probability, Monthly Weather Review 78, 1950 (from memory).
C. A. T. Ferro and T. E. Fricker, A bias-corrected decomposition of the Brier score, Quarterly Journal of the Royal
Meteorological Society 138, 2012 (from memory).
E. B. Wilson, Probable inference, the law of succession, and statistical inference, JASA 22, 1927 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array

CLASSES = 10
LEAST_CHANCE = 1e-6
NORMAL_95 = 1.959964
RESAMPLED = 1000


@dataclass(frozen=True)
class Interval:
    """A number with its 95 % interval.

    Parameters
    ----------
    value, low, high : float
    """

    value: float
    low: float
    high: float


def wilson(hits: int, tries: int) -> Interval:
    """A share with its Wilson interval [-].

    Examples
    --------
    >>> found = wilson(90, 100)
    >>> found.value, round(found.low, 3), round(found.high, 3)
    (0.9, 0.826, 0.945)
    """
    share, z = hits / tries, NORMAL_95
    middle = (share + z**2 / (2 * tries)) / (1 + z**2 / tries)
    half = z / (1 + z**2 / tries) * float(np.sqrt(share * (1 - share) / tries + z**2 / (4 * tries**2)))
    return Interval(share, min(max(0.0, middle - half), share), max(min(1.0, middle + half), share))


def brier_score(said: Array, true: Array) -> float:
    """Mean squared difference of beliefs and what was so [-].

    Parameters
    ----------
    said, true : array of one shape
        Beliefs from 0 to 1, and 0 or 1.

    Examples
    --------
    >>> brier_score(np.array([0.8, 0.1]), np.array([1.0, 0.0]))
    0.025
    """
    return round(float(np.mean((said - true) ** 2)), 12)


def log_loss(said: Array, true: Array) -> float:
    """Mean of minus the natural logarithm of the belief in what was so [-].

    Notes
    -----
    Beliefs are held to a millionth from nought and one, so that one miss does not make the mean infinite.
    """
    held = np.clip(said, LEAST_CHANCE, 1.0 - LEAST_CHANCE)
    return float(-np.mean(true * np.log(held) + (1.0 - true) * np.log(1.0 - held)))


def calibration_classes(said: Array) -> NDArray[np.intp]:
    """Class of each belief among ten of equal width."""
    return np.minimum((said * CLASSES).astype(np.intp), CLASSES - 1)


def class_sums(said: Array, true: Array) -> Array:
    """Beliefs, hits and count of each class, shape (3, classes)."""
    place = calibration_classes(said)
    weights = (said, true, np.ones_like(said))
    return np.stack([np.bincount(place, weights=w, minlength=CLASSES) for w in weights])


def calibration_error(sums: Array) -> Array:
    """Expected calibration error [-], shape of `sums` without its last two axes.

    Parameters
    ----------
    sums : array, shape (..., 3, classes)
        Of :func:`class_sums`, added up over cars.

    Notes
    -----
    Over ten classes of equal width: the mean distance between belief and frequency, each class by its count.

    Examples
    --------
    >>> float(calibration_error(class_sums(np.array([0.75, 0.75]), np.array([1.0, 0.0]))))
    0.25
    """
    said, hits, count = sums[..., 0, :], sums[..., 1, :], sums[..., 2, :]
    return np.asarray(np.abs(said - hits).sum(axis=-1) / np.maximum(count.sum(axis=-1), 1.0))


@dataclass(frozen=True)
class BrierParts:
    """What a Brier score is made of, each corrected for scatter [-].

    Parameters
    ----------
    reliability : float
        Mean squared distance of belief and frequency, by class: nought is best. Scatter may bring it below nought.
    resolution : float
        Mean squared distance of a class's frequency from that of all: the more the better.
    uncertainty : float
        Of what is so, whatever is believed.
    """

    reliability: float
    resolution: float
    uncertainty: float


def brier_parts(sums: Array) -> BrierParts:
    """Reliability, resolution and uncertainty of beliefs by class, corrected for the scatter of few beliefs.

    Parameters
    ----------
    sums : array, shape (3, classes)
        Of :func:`class_sums`.

    Notes
    -----
    After Ferro and Fricker (from memory): a class of n beliefs with frequency y lies off the truth by
    y (1 - y) / (n - 1) in the mean square, which is taken from reliability and resolution. A class of one belief p has
    no scatter that could be seen; p (1 - p) is taken. The score is reliability less resolution plus uncertainty, but
    for what beliefs of one class differ among themselves.

    Examples
    --------
    >>> sums = class_sums(np.array([0.25] * 4 + [0.75] * 4), np.array([0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0]))
    >>> found = brier_parts(sums)
    >>> round(found.reliability, 4), round(found.resolution, 4), round(found.uncertainty, 4)
    (-0.0625, 0.0357, 0.2857)
    """
    said, hits, count = sums[:, sums[2] > 0.0]
    whole, p, y = count.sum(), said / count, hits / count
    scatter = np.where(count > 1.0, y * (1.0 - y) / np.maximum(count - 1.0, 1.0), p * (1.0 - p))
    share, mean = count / whole, hits.sum() / whole
    spread = mean * (1.0 - mean) / max(whole - 1.0, 1.0)
    return BrierParts(
        reliability=float(np.sum(share * ((p - y) ** 2 - scatter))),
        resolution=float(np.sum(share * ((y - mean) ** 2 - scatter)) + spread),
        uncertainty=float(mean * (1.0 - mean) + spread),
    )


def corrected_calibration(sums: Array, rng: np.random.Generator) -> Interval:
    """Root of the reliability of cars' class sums, shape (cars, 3, classes), corrected for scatter, with its interval.

    Notes
    -----
    The root mean square distance of belief and frequency [-], nought where scatter explains all of it. The interval is
    the bootstrap's of the square, moved so that its mean is the value: resampling adds scatter of its own.
    """
    value = brier_parts(sums.sum(axis=0)).reliability
    counts = np.stack([np.bincount(row, minlength=len(sums)) for row in resampled(len(sums), rng)])
    drawn = np.array([brier_parts(found).reliability for found in np.tensordot(counts, sums, axes=1)])
    moved = np.maximum(drawn - drawn.mean() + value, 0.0)
    return _between(float(np.sqrt(max(value, 0.0))), np.sqrt(moved))


def mean_interval(values: Array, rng: np.random.Generator, scale: float = 1.0) -> Interval:
    """Mean over cars with a bootstrap interval, both times `scale`."""
    means = values[resampled(len(values), rng)].mean(axis=1)
    return _between(float(values.mean()) * scale, means * scale)


def ratio_interval(above: Array, below: Array, rng: np.random.Generator) -> Interval:
    """Ratio of two means over the same cars with a bootstrap interval: cars are drawn together with both [-]."""
    drawn = resampled(len(above), rng)
    means = above[drawn].mean(axis=1) / below[drawn].mean(axis=1)
    return _between(float(above.mean() / below.mean()), means)


def calibration_interval(sums: Array, rng: np.random.Generator) -> Interval:
    """Expected calibration error of cars' class sums, shape (cars, 3, classes), with a bootstrap interval.

    Notes
    -----
    Scatter alone makes the error positive, in the sample and more so in what is resampled from it; the interval is
    therefore the bootstrap's, moved so that its mean is the value, and not below nought.
    """
    value = float(calibration_error(sums.sum(axis=0)))
    counts = np.stack([np.bincount(row, minlength=len(sums)) for row in resampled(len(sums), rng)])
    errors = calibration_error(np.tensordot(counts, sums, axes=1))
    return _between(value, np.maximum(errors - errors.mean() + value, 0.0))


def resampled(count: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """Rows of a bootstrap, shape (resamples, count)."""
    return rng.integers(0, count, (RESAMPLED, count))


def _between(value: float, drawn: Array) -> Interval:
    low, high = np.quantile(drawn, [0.025, 0.975])
    return Interval(value, min(float(low), value), max(float(high), value))
