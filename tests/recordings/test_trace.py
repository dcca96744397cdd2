"""The trace and its decimation."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.errors import RecordingError
from faultnet.recordings import Trace, decimate


def ramp(count: int, interval: float = 0.01) -> Trace:
    """A trace that is easy to check."""
    return Trace(np.arange(count) * interval, 12.0 + 0.001 * np.arange(count), "ramp")


def test_a_trace_cannot_be_changed() -> None:
    trace = ramp(5)
    with pytest.raises(ValueError, match="read-only"):
        trace.volts[0] = 0.0


@pytest.mark.parametrize(
    "times, volts, words",
    [
        ([0.0], [12.6], "too few"),
        ([0.0, 1.0], [12.6], "differ in length"),
        ([0.0, 0.0], [12.6, 12.6], "must rise"),
        ([0.0, 1.0], [12.6, np.nan], "finite"),
    ],
)
def test_no_trace_of_bad_arrays(times: list[float], volts: list[float], words: str) -> None:
    with pytest.raises(RecordingError, match=words):
        Trace(np.array(times), np.array(volts))


def test_interval_is_the_median_so_a_gap_does_not_move_it() -> None:
    trace = Trace(np.array([0.0, 0.1, 0.2, 5.0, 5.1]), np.full(5, 12.6))
    assert trace.interval == pytest.approx(0.1)
    assert trace.duration == pytest.approx(5.1)


@pytest.mark.parametrize("points", [1, 7, 100, 5000])
def test_decimation_loses_no_extreme(points: int) -> None:
    rng = np.random.default_rng(5)
    trace = Trace(np.cumsum(rng.exponential(0.01, 3000)), 12.6 + rng.standard_normal(3000), "random")
    middle, low, high = decimate(trace, points)
    assert middle.size == low.size == high.size <= points
    assert low.min() == trace.volts.min()
    assert high.max() == trace.volts.max()
    assert (np.diff(middle) > 0).all()
    assert (low <= high).all()


def test_decimation_equals_a_loop_over_buckets() -> None:
    trace = ramp(103)
    width = trace.duration / 10
    expected = [
        (part.min(), part.max())
        for k in range(10)
        if (part := trace.volts[np.minimum((trace.time / width).astype(int), 9) == k]).size
    ]
    _, low, high = decimate(trace, 10)
    assert list(zip(low, high, strict=True)) == expected


def test_decimation_refuses_no_points() -> None:
    with pytest.raises(RecordingError, match="at least one"):
        decimate(ramp(10), 0)


def test_a_million_samples_decimate_to_the_same_extremes() -> None:
    trace = ramp(1_000_000, 1e-4)
    _, low, high = decimate(trace, 900)
    assert (low[0], high[-1]) == (trace.volts[0], trace.volts[-1])
