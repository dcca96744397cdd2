"""Cleaning and reduction: order, counts, bounded memory, and no dip lost."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faultnet.errors import RecordingError
from faultnet.recordings import Trace, read_recording
from faultnet.recordings.readers.clean import Cleaner
from faultnet.recordings.readers.read import assemble
from faultnet.recordings.readers.reduction import Reducer, reduce_quiet


def cleaned(time: list[float], volts: list[float] | None = None, block: int | None = None) -> Trace:
    """Clean samples, in one block or several."""
    times = np.array(time, dtype=float)
    values = 12.0 + np.arange(times.size) / 1e5 if volts is None else np.array(volts, dtype=float)
    step = block or times.size
    return assemble([(times[i : i + step], values[i : i + step]) for i in range(0, times.size, step)], "test", [])


def test_sound_samples_pass_unchanged() -> None:
    trace = cleaned([5.0, 5.1, 5.2])
    assert trace.time.tolist() == pytest.approx([0.0, 0.1, 0.2])
    assert trace.repairs == ()


def test_what_is_no_number_and_what_is_no_voltage_is_counted() -> None:
    trace = cleaned([0, 1, 2, 3, np.inf, 5], [12.6, np.nan, 500.0, 12.5, 12.4, -np.inf])
    assert trace.volts.tolist() == [12.6, 12.5]
    assert trace.repairs == ("3 samples without a usable number left out", "1 sample outside -40 to 110 V left out")


@pytest.mark.parametrize("block", [None, 100, 77])
def test_late_samples_find_their_place(block: int | None) -> None:
    time = np.arange(500) * 0.1
    order = np.arange(500)
    order[[40, 43]] = order[[43, 40]]
    order[[199, 202]] = order[[202, 199]]
    volts = 12 + np.arange(500) / 1000
    trace = cleaned(time[order].tolist(), volts[order].tolist(), block)
    np.testing.assert_allclose(trace.time, time)
    np.testing.assert_array_equal(trace.volts, volts)
    assert any("out of order put back" in repair for repair in trace.repairs)


@pytest.mark.parametrize("block", [None, 90])
def test_a_clock_that_starts_again_is_joined_on(block: int | None) -> None:
    """A counter of 16 bits in milliseconds wraps every 65.536 s; here every 20 s."""
    time = np.arange(1000) * 0.1
    trace = cleaned((time % 20.0).tolist(), block=block)
    np.testing.assert_allclose(trace.time, time, atol=1e-9)
    assert trace.repairs == ("the clock went back 4 times; what follows was added on",)


def test_a_coarse_clock_is_spread_evenly() -> None:
    """Five samples a second stamped in whole seconds."""
    stamps = np.repeat(np.arange(100.0), 5)
    trace = cleaned(stamps.tolist(), block=64)
    np.testing.assert_allclose(np.diff(trace.time), 0.2, atol=1e-9)
    assert trace.time.size == 500
    assert trace.repairs == ("400 samples with the time stamp of another spread evenly up to the next stamp",)


def test_a_repeated_sample_is_dropped_and_a_contradicting_one_kept() -> None:
    trace = cleaned([0, 1, 1, 2, 3, 3, 4], [12.6, 12.5, 12.5, 12.4, 12.3, 9.0, 12.2])
    assert 9.0 in trace.volts
    assert trace.volts.size == 6
    assert "1 repeated sample left out" in trace.repairs


def test_a_time_that_runs_both_ways_is_refused() -> None:
    rng = np.random.default_rng(3)
    with pytest.raises(RecordingError, match="does not run forward"):
        cleaned(rng.uniform(0, 1, 2000).tolist())


def test_a_time_that_stands_still_is_an_error_and_not_held_for_ever() -> None:
    cleaner = Cleaner("test")
    cleaner.add(np.zeros(100), np.full(100, 12.6))
    with pytest.raises(RecordingError, match="stands still"):
        cleaner.finish()
    cleaner = Cleaner("test")
    cleaner.add(np.array([0.0, 1.0]), np.full(2, 12.6))
    with pytest.raises(RecordingError, match="stands still"):
        cleaner.add(np.full(1_200_000, 2.0), np.full(1_200_000, 12.6))


samples = st.lists(
    st.tuples(
        st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(0, 100), st.integers(0, 9).map(float)),
        st.one_of(st.floats(allow_nan=True, allow_infinity=True), st.floats(5, 15)),
    ),
    max_size=60,
)


@settings(max_examples=150, deadline=None)
@given(samples, st.integers(1, 70))
def test_any_samples_give_a_sound_trace_or_an_error_and_every_one_is_accounted_for(
    given_samples: list[tuple[float, float]], block: int
) -> None:
    time, volts = np.array(given_samples, dtype=float).reshape(-1, 2).T
    cleaner = Cleaner("test")
    try:
        parts = [cleaner.add(time[i : i + block], volts[i : i + block]) for i in range(0, time.size, block)]
        parts.append(cleaner.finish())
    except RecordingError:
        return
    kept = sum(part[0].size for part in parts)
    assert kept + cleaner.lost + cleaner.impossible + cleaner.repeated == time.size


def busy_log(minutes: float, rate: float) -> tuple[np.ndarray, np.ndarray]:
    """A long recording with one start a minute, each with a lowest value of its own."""
    time = np.arange(0, minutes * 60, 1 / rate)
    volts = 12.6 + 0.01 * np.sin(time)
    for k in range(int(minutes)):
        start = 60 * k + 30
        volts[(time >= start) & (time < start + 1)] = 10.8
        volts[np.searchsorted(time, start + 0.01)] = 8.0 + 0.01 * k
    return time, volts


@pytest.mark.parametrize("capacity", [20_000, 60_000, 1_000_000])
def test_reduction_is_bounded_and_keeps_every_extreme(capacity: int) -> None:
    time, volts = busy_log(20, 200)
    reducer = Reducer(capacity)
    for part in np.array_split(np.arange(time.size), 50):
        reducer.add(time[part], volts[part])
    kept_time, kept_volts = reducer.result()
    assert kept_time.size <= capacity
    assert reducer.samples == time.size
    assert (np.diff(kept_time) > 0).all()
    for k in range(20):
        assert 8.0 + 0.01 * k in kept_volts
    assert set(kept_volts) <= set(volts)
    assert bool(reducer.notes()) == (kept_time.size < time.size)


def test_starts_stay_at_full_rate_where_they_fit() -> None:
    time, volts = busy_log(20, 200)
    reducer = Reducer(150_000)
    for part in np.array_split(np.arange(time.size), 50):
        reducer.add(time[part], volts[part])
    kept, _ = reducer.result()
    inside = kept[(kept > 629) & (kept < 633)]
    np.testing.assert_allclose(np.diff(inside), 0.005, atol=1e-9)


def test_a_reduced_reading_says_so_and_finds_the_same_lowest() -> None:
    time, volts = busy_log(5, 100)
    text = "time s;voltage V\n" + "".join(f"{t:.2f};{v:.4f}\n" for t, v in zip(time, volts, strict=True))
    whole, reduced = read_recording(text.encode()), read_recording(text.encode(), capacity=8000)
    assert reduced.time.size <= 8000 < whole.time.size
    assert reduced.volts.min() == whole.volts.min()
    assert reduced.repairs[-1].startswith("30000 samples reduced to")


@pytest.mark.parametrize("capacity", [3_000, 10_000, 40_000])
def test_reduction_moves_no_start(capacity: int) -> None:
    """Times count from the first sample of the file, however much of it was reduced, and old parts are not coarser."""
    time, volts = busy_log(10, 100)
    text = "time s;voltage V\n" + "".join(f"{t:.2f};{v:.4f}\n" for t, v in zip(time, volts, strict=True))
    trace = read_recording(text.encode(), capacity=capacity)
    assert trace.time.size <= capacity
    assert (trace.time[0], trace.time[-1]) == (0.0, pytest.approx(time[-1]))
    for k in range(10):
        at = np.flatnonzero(trace.volts == round(8.0 + 0.01 * k, 4))
        assert trace.time[at[0]] == pytest.approx(60 * k + 30.01, abs=0.011)
    early, late = trace.time < 300, trace.time >= 300
    assert 0.5 < early.sum() / late.sum() < 2.0


def test_reducing_again_with_the_same_width_changes_nothing() -> None:
    time, volts = busy_log(2, 100)
    nothing = np.zeros(time.size, dtype=bool)
    once = reduce_quiet(time, volts, nothing, 0.5)
    twice = reduce_quiet(*once, nothing[: once[0].size], 0.5)
    np.testing.assert_array_equal(once[0], twice[0])
