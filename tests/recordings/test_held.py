"""Values that an adapter repeats are one answer each: the true interval counts, and no one answer is a level."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.prior_set import load_catalogue
from faultnet.recordings import find_events, not_offered, read_recording, readings_from
from faultnet.recordings.events.types import Start
from faultnet.recordings.readers.held import hold_of, without_repeats
from faultnet.recordings.synthetic.simulate import simulate_log
from faultnet.recordings.trace import Trace


def answered(seed: int, interval: float) -> Trace:
    """An invented log in which each row is an answer of its own."""
    return simulate_log(np.random.default_rng(seed), interval, starts=3, nuisance=False).trace


def text_of(time: np.ndarray, volts: np.ndarray) -> bytes:
    rows = "".join(f"{t:.4f},{v:.2f}\n" for t, v in zip(time, volts, strict=True))
    return f"time [s],voltage [V]\n{rows}".encode()


def repeated(trace: Trace, times: int) -> bytes:
    """The same log as an adapter writes it that repeats each answer until the next."""
    time = np.repeat(trace.time, times) + np.tile(np.arange(times), trace.time.size) * trace.interval / times
    return text_of(time, np.repeat(trace.volts, times))


@pytest.mark.parametrize("times", [2, 5, 10])
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_held_log_reads_as_the_answers_it_is_made_of(seed: int, times: int) -> None:
    trace = answered(seed, 0.5)
    plain, held = read_recording(text_of(trace.time, trace.volts)), read_recording(repeated(trace, times))
    assert held.interval == pytest.approx(0.5, rel=0.05)
    assert any(f"stands for about {times} samples" in words for words in held.repairs)
    starts = [[e for e in find_events(t) if isinstance(e, Start)] for t in (plain, held)]
    assert [e.outcome for e in starts[0]] == [e.outcome for e in starts[1]]
    assert [e.lowest for e in starts[0]] == pytest.approx([e.lowest for e in starts[1]])


@pytest.mark.parametrize("interval", [0.001, 0.01, 0.1, 0.2, 0.5])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_log_of_answers_of_its_own_is_left_as_it_is(seed: int, interval: float) -> None:
    trace = answered(seed, interval)
    for digits in (1, 2, 3):
        assert hold_of(trace.volts.round(digits)) == 1, digits


def test_a_battery_that_stands_and_falls_by_the_last_digit_is_not_held() -> None:
    """Overnight each hundredth stands for an hour: nothing moves, and so nothing tells how often was asked."""
    volts = np.repeat(12.60 - 0.01 * np.arange(20), 60)
    assert hold_of(volts) == 1
    time, kept, hold = without_repeats(np.arange(volts.size) * 60.0, volts)
    assert (hold, time.size, kept.size) == (1, volts.size, volts.size)


def test_one_value_while_it_turned_is_never_called_sustained() -> None:
    time = np.arange(0.0, 30.0, 0.5)
    volts = np.where((time >= 10.0) & (time < 10.9), 10.1, np.where(time < 10.0, 12.5, 14.1))
    trace = Trace(time, volts + 0.01 * np.sin(time * 7.0), "demo")
    events = find_events(trace)
    (start,) = [e for e in events if isinstance(e, Start)]
    assert start.levels == 1
    rows = readings_from(events, catalogue=load_catalogue())
    assert "recorded_sustained" not in {row["test"] for row in rows}
    assert "recorded_lowest" in {row["test"] for row in rows}
    assert any("one value says nothing of how long it lasted" in text for text in not_offered(events, rows))
