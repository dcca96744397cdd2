"""The shape of a start and what meters see of it, against ISO 16750-2, a derived table and brute force."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.physics.cranking import (
    compression_frequency,
    compression_ripple,
    sampled_minimum,
    speed_from_frequency,
    waveform,
    windowed_minimum,
)

PHASES = (np.arange(4000) + 0.5) / 4000
SOUND, WEAK = (12.6, 8.0, 10.5), (12.4, 6.5, 9.6)


def test_iso_16750_profile() -> None:
    """ISO 16750-2:2003 section 4.5.3, 12 V, level I (published waveform file): 12 V, 5 ms to 8 V, 15 ms there, 50 ms to
    10.5 V with 2 V peak to peak at 2 Hz, back to 12 V in 40 ms."""
    corners = np.array([-0.1, 0.0, 0.005, 0.020, 0.070, 0.070 + 0.125, 0.070 + 0.375, 1.110])
    volts = waveform(corners, 12.0, 8.0, 10.5, 1.0, 2.0, lasting=1.070)
    np.testing.assert_allclose(volts, [12.0, 12.0, 8.0, 8.0, 10.5, 11.5, 9.5, 12.0], atol=1e-9)


@pytest.mark.parametrize(
    "levels, window, best, mean, spread",
    [
        (SOUND, 0.001, 8.0, 8.0, 0.0),
        (SOUND, 0.010, 8.0, 8.0, 0.0),
        (SOUND, 0.100, 9.5, 10.0, 0.3),
        (SOUND, 0.250, None, 10.4, None),
        (SOUND, 0.400, None, 10.5, None),
        (WEAK, 0.100, None, 9.0, 0.4),
        (WEAK, 0.250, None, 9.5, None),
    ],
)
def test_what_a_slow_meter_reads(
    levels: tuple[float, float, float], window: float, best: float | None, mean: float, spread: float | None
) -> None:
    """Table of an averaging meter on an ISO-like dip, seven rows of window against minimum: derived by simulation,
    independent of this code. 0.05 V: the table has one decimal."""
    shown = np.asarray(windowed_minimum(*levels, 0.0, window, PHASES))
    assert shown.mean() == pytest.approx(mean, abs=0.05)
    if best is not None:
        assert shown.min() == pytest.approx(best, abs=0.05)
    if spread is not None:
        assert shown.std() == pytest.approx(spread, abs=0.05)


def test_what_a_meter_of_fifty_milliseconds_reads_at_best() -> None:
    """8.6 V from the same derived table."""
    assert np.min(windowed_minimum(*SOUND, 0.0, 0.050, PHASES)) == pytest.approx(8.6, abs=0.05)


def test_instant_minimum_of_9_6_can_hide_a_dip_to_8() -> None:
    """An ordinary 100 ms min/max meter misses up to 1.5 V and more of the true dip: derived."""
    shown = np.asarray(windowed_minimum(*SOUND, 0.0, 0.100, PHASES))
    assert np.all(shown - 8.0 > 1.4)
    assert np.mean(shown > 9.6) > 0.5


def _brute_force(
    levels: tuple[float, float, float], ripple: float, window: float, phase: float, frequency: float
) -> float:
    """Lowest window of the dip on a grid of 20 microseconds, and the exact lowest window of the ripple."""
    edges = (np.arange(np.ceil((0.2 + window) / window) + 2) - 1.0 - phase) * window
    means = []
    for begin, end in pairwise(edges):
        if begin < 0.07:
            count = max(int(np.ceil((end - begin) / 2e-5)), 50)
            time = begin + (np.arange(count) + 0.5) * (end - begin) / count
            means.append(float(np.mean(waveform(time, *levels, ripple, frequency))))
    return min([*means, levels[2] - abs(ripple * np.sinc(frequency * window))])


@settings(derandomize=True, deadline=None, max_examples=150)
@given(
    st.floats(11.5, 12.8), st.floats(2.0, 7.0), st.floats(0.05, 0.95), st.floats(0.0, 0.5),
    st.floats(0.002, 0.4), st.floats(0.0, 1.0), st.floats(3.0, 12.0),
)  # fmt: skip
def test_windowed_minimum_against_brute_force(
    rest: float, depth: float, share: float, ripple: float, window: float, phase: float, frequency: float
) -> None:
    """The four windows round the best instant hold the minimum of all windows, also with ripple on the level."""
    levels = (rest, rest - depth, rest - depth + share * depth)
    shown = float(windowed_minimum(*levels, ripple, window, phase, frequency))
    assert shown == pytest.approx(_brute_force(levels, ripple, window, phase, frequency), abs=2e-3)
    assert shown >= min(levels[1], levels[2] - ripple) - 1e-9


@settings(derandomize=True, deadline=None, max_examples=150)
@given(st.floats(0.001, 0.4), st.floats(0.0, 1.0))
def test_a_stalled_start_has_no_dip(window: float, phase: float) -> None:
    """With the engine stuck the voltage only falls: every meter ends on the sustained level."""
    assert windowed_minimum(12.6, 8.0, 7.6, 0.0, window, phase) == pytest.approx(7.6, abs=1e-9)
    assert windowed_minimum(12.6, 12.6, 12.6, 0.0, window, phase) == pytest.approx(12.6, abs=1e-9)


@pytest.mark.parametrize("rate, share", [(3.0, 0.06), (10.0, 0.20), (100.0, 1.0)])
def test_chance_that_a_sample_catches_the_dip(rate: float, share: float) -> None:
    """w / interval for a dip 20 ms wide at 3, 10 and 100 samples a second: derived. Here the flat 15 ms and what of the
    ramps lies within 0.24 V of the bottom make up the 20 ms."""
    caught = np.asarray(sampled_minimum(*SOUND, 0.0, 1.0 / rate, PHASES)) < 8.0 + 0.238
    assert caught.mean() == pytest.approx(share, abs=0.003)


def test_sampled_minimum_against_brute_force() -> None:
    """Every sample of a 5 Hz and a 50 Hz adapter by hand; the 50 Hz one may rest on the ripple's bottom."""
    for interval, slack in ((0.2, 1e-9), (0.02, 0.3 * (1 - np.cos(np.pi * 7.0 * 0.02)) + 1e-9)):
        for phase in (0.0, 0.1, 0.37, 0.62, 0.98):
            times = (np.arange(-1, 60) - phase) * interval
            times = times[times < 0.8]
            lowest = float(np.min(waveform(times, *SOUND, 0.3)))
            shown = float(sampled_minimum(*SOUND, 0.3, interval, phase))
            assert lowest - slack <= shown <= lowest + 1e-9


def test_every_instrument_errs_upwards_and_a_fast_one_does_not() -> None:
    generator = np.random.default_rng(11)
    rest, dip = generator.uniform(12.0, 12.8, 500), generator.uniform(5.0, 10.0, 500)
    level, phase = dip + generator.uniform(0.2, 2.0, 500), generator.uniform(0.0, 1.0, 500)
    for seconds in (0.001, 0.02, 0.1, 0.2):
        assert np.all(windowed_minimum(rest, dip, level, 0.0, seconds, phase) >= dip - 1e-9)
        assert np.all(sampled_minimum(rest, dip, level, 0.0, seconds, phase) >= dip - 1e-9)
    np.testing.assert_allclose(windowed_minimum(rest, dip, level, 0.0, 0.001, phase), dip, atol=1e-9)
    np.testing.assert_allclose(sampled_minimum(rest, dip, level, 0.0, 0.001, phase), dip, atol=1e-9)


def test_no_sample_in_a_short_start() -> None:
    assert sampled_minimum(*SOUND, 0.0, 5.0, 0.5) == pytest.approx(12.6)


def test_compression_frequency() -> None:
    """Four cylinders at 200 rev/min: 6.7 Hz, derived; and back."""
    assert compression_frequency(200.0, 4) == pytest.approx(6.7, abs=0.05)
    assert speed_from_frequency(compression_frequency(233.0, 6), 6) == pytest.approx(233.0)


@pytest.mark.parametrize("current, resistance", [(150.0, 0.0065), (300.0, 0.007), (170.0, 0.012)])
def test_compression_ripple(current: float, resistance: float) -> None:
    """0.2 to 0.6 V either side: common practice, no source."""
    assert 0.2 <= compression_ripple(current, resistance) <= 0.6


def test_shapes_broadcast() -> None:
    phase = np.linspace(0.0, 1.0, 5)
    dip = np.full((3, 1), 8.0)
    assert np.shape(windowed_minimum(12.6, dip, 10.5, 0.2, 0.1, phase)) == (3, 5)
    assert np.shape(sampled_minimum(12.6, dip, 10.5, 0.2, 0.1, phase)) == (3, 5)
    assert np.shape(windowed_minimum(12.6, 8.0, 10.5, 0.2, 0.1, 0.5)) == ()
    assert np.shape(sampled_minimum(12.6, 8.0, 10.5, 0.2, 0.1, 0.5)) == ()
