"""Recognise values that an adapter repeats between two answers, and leave the repeats out.

A logger that writes ten rows a second while the module answers twice writes each answer five times. Taken for samples,
the repeats would make the sampling look fast: a dip between two answers would be denied, and one answer would look like
a level that lasted.
"""

from __future__ import annotations

import numpy as np

from faultnet.recordings.trace import Array

LARGE = 3.0
"""A change of so many of the smallest steps is a change of the car's, not the last digit's flicker [-] (estimate)."""

ENOUGH = 6
"""Large changes needed before anything is said [-] (estimate)."""

EVEN = 1.5
"""The median stand after a large change is at most so many times the shortest [-] (estimate): answers come evenly."""


def hold_of(volts: Array) -> int:
    """Say how many samples one answer lasts.

    Parameters
    ----------
    volts : array of float, shape (n,)
        In order [V].

    Returns
    -------
    int
        1 where each sample is a value of its own, or nothing tells.

    Notes
    -----
    While the volts move, a recorder that samples afresh shows another value in each sample. Where every large change is
    followed by a stand of at least two samples, and those stands are about alike, the value was held. A stand next to
    which nothing moves says nothing: a battery at rest reads the same for minutes.

    Examples
    --------
    >>> answers = 12.6 - np.array([0.0, 0.1, 3.4, 1.2, 1.9, 1.4, 2.2, 0.3, -0.8, -1.4])
    >>> hold_of(np.repeat(answers, 5)), hold_of(answers)
    (5, 1)
    """
    changes = np.flatnonzero(np.diff(volts)) + 1
    if changes.size <= ENOUGH:
        return 1
    steps = np.abs(np.diff(volts)[changes - 1])
    smallest = float(steps.min())
    stands = np.diff(changes)
    moving = (steps[:-1] >= LARGE * smallest) & (steps[1:] >= LARGE * smallest)
    between = stands[moving]
    if between.size < ENOUGH - 1 or between.min() < 2:
        return 1
    return int(np.median(between)) if np.median(between) <= EVEN * between.min() else 1


def without_repeats(time: Array, volts: Array) -> tuple[Array, Array, int]:
    """Keep one sample of each answer.

    Parameters
    ----------
    time : array of float, shape (n,)
        [s].
    volts : array of float, shape (n,)
        [V].

    Returns
    -------
    time, volts : array of float
        A value that stands longer than one answer is kept once for each.
    hold : int
        How many samples an answer lasted; 1 where nothing was left out.
    """
    hold = hold_of(volts)
    if hold == 1:
        return time, volts, 1
    starts = np.concatenate([[0], np.flatnonzero(np.diff(volts)) + 1])
    lengths = np.diff(starts, append=volts.size)
    kept = np.concatenate(
        [start + hold * np.arange(max(round(length / hold), 1)) for start, length in zip(starts, lengths, strict=True)]
    )
    kept = kept[kept < volts.size]
    return time[kept], volts[kept], hold
