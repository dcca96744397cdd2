"""Invented recordings whose truth is known: the bench and the tests measure against them, the examples show them.

The voltage comes from the physics of :mod:`faultnet.physics` for a randomly drawn battery and engine, with things
around it that are no start: lamps, glow plugs, drop-outs, spikes, gaps, an engine that is switched off. Every draw
comes from the generator that is passed in. All spreads here are estimates; nothing was measured on a real car.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from faultnet.physics import battery, cranking
from faultnet.physics.cranking import compression_frequency, compression_ripple, waveform
from faultnet.recordings.trace import Array, Trace

Shape = Callable[[Array, Array], Array]
"""Time [s] and the volts so far [V] to the volts with one thing added [V]."""


@dataclass(frozen=True)
class TrueStart:
    """One start as it truly was.

    Parameters
    ----------
    begin, end : float
        When the starter was switched on and off [s].
    outcome : {"good", "failed", "tried"}
        Ran afterwards, cranked without running, or never turned.
    rest, first_dip, sustained : float
        Levels at the place of recording [V], after the first polarisation.
    lowest : float
        Lowest true volts at the place of recording [V].
    ripple, frequency : float
        Amplitude [V] and frequency [Hz] of the compression ripple; 0 where the engine never turned.

    Examples
    --------
    >>> TrueStart(3.0, 4.0, "good", 12.6, 9.0, 11.5, 9.0, 0.2, 7.0).outcome
    'good'
    """

    begin: float
    end: float
    outcome: str
    rest: float
    first_dip: float
    sustained: float
    lowest: float
    ripple: float
    frequency: float


@dataclass(frozen=True)
class SimulatedLog:
    """A made-up recording and what truly happened in it.

    Parameters
    ----------
    trace : Trace
        What was recorded.
    starts : tuple of TrueStart
        The starts, in order.
    noise : float
        Standard deviation of the noise [V].

    Examples
    --------
    >>> log = simulate_log(np.random.default_rng(1), interval=0.01)
    >>> len(log.starts) >= 1, round(log.trace.interval, 3)
    (True, 0.01)
    """

    trace: Trace
    starts: tuple[TrueStart, ...]
    noise: float


def draw_levels(rng: np.random.Generator) -> tuple[float, float, float, float, float]:
    """Draw a car and solve one start of it.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of the draw.

    Returns
    -------
    tuple of float
        Rest, first dip, sustained [V], ripple amplitude [V], compression frequency [Hz]; frequency 0 if it stands.

    Notes
    -----
    Batteries of 380 to 900 A (SAE), 55 to 100 % charged, -10 to 35 degC, resistance about 1.1 times new (25 %);
    petrol of 1.0 to 2.5 l or diesel of 1.5 to 3.0 l; loop of 1.5 to 5 mohm; drag with 15 % spread (estimates).

    Examples
    --------
    >>> rest, dip, sustained, ripple, frequency = draw_levels(np.random.default_rng(1))
    >>> dip < sustained < rest
    True
    """
    diesel = rng.random() < 0.4
    fuel = "diesel" if diesel else "petrol"
    displacement = rng.uniform(1.5, 3.0) if diesel else rng.uniform(1.0, 2.5)
    rating = float(rng.choice([600, 680, 800, 900] if diesel else [380, 450, 540, 600, 680, 800]))
    charge, temperature = rng.uniform(0.55, 1.0), rng.uniform(-10.0, 35.0)
    worn = 1.1 * np.exp(0.25 * rng.standard_normal())
    rest = float(battery.open_circuit_voltage(charge, temperature))
    ohmic = float(battery.ohmic_resistance(rating, temperature, charge)) * worn
    start = cranking.solve_start(
        rest,
        ohmic,
        float(battery.polarisation_resistance(rating, temperature, charge)) * worn,
        rng.uniform(1.5e-3, 5e-3),
        rng.lognormal(0.0, 0.15),
        float(cranking.cranking_current_nominal(displacement, fuel, temperature)),
        float(cranking.motor_resistance(displacement, fuel)),
    )
    ripple = float(compression_ripple(start.current, ohmic)) * rng.uniform(0.6, 1.4)
    frequency = float(compression_frequency(start.speed, 4))
    return rest, float(start.first_dip), float(start.post_voltage), ripple, frequency


def simulate_log(
    rng: np.random.Generator,
    interval: float,
    *,
    noise: float | None = None,
    offset: float | None = None,
    starts: int | None = None,
    nuisance: bool = True,
    window: float = 0.0,
) -> SimulatedLog:
    """Make up one recording.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of all draws.
    interval : float
        Time between samples [s].
    noise : float, optional
        Standard deviation of the noise [V]; 5 to 50 mV when left out.
    offset : float, optional
        Recorded minus true volts [V]; -0.3 to 0 V when left out.
    starts : int, optional
        How many starts; 1 to 3 when left out.
    nuisance : bool
        Whether things that are no start happen too.
    window : float
        Time over which each sample is averaged [s]; 0 for instant samples.

    Returns
    -------
    SimulatedLog
        Trace and truth.

    Notes
    -----
    Attempts that never turn the engine last at least 2.5 sampling intervals: a shorter one cannot be seen at all.

    Examples
    --------
    >>> log = simulate_log(np.random.default_rng(3), 0.5, starts=1)
    >>> len(log.starts)
    1
    """
    noise = rng.uniform(0.005, 0.050) if noise is None else noise
    offset = rng.uniform(-0.3, 0.0) if offset is None else offset
    count = int(rng.integers(1, 4)) if starts is None else starts
    levels = draw_levels(rng)
    quiet = rng.uniform(2.0, 4.0) + 8 * interval
    shapes: list[Shape] = []
    truth: list[TrueStart] = []
    now = quiet
    for k in range(count):
        start, shape, now = _attempt(rng, levels, now, interval, last=k == count - 1)
        truth.append(start)
        shapes.append(shape)
    if nuisance:
        shapes = [*_nuisances(rng, truth), *shapes]
    time = np.arange(rng.uniform(0, interval), now, interval)
    volts = _recorded(time, levels[0], shapes, window)
    volts = _tail(rng, time, volts, truth, interval) if nuisance else volts
    volts = volts + offset + noise * rng.standard_normal(time.size)
    keep = _kept(rng, time, truth) if nuisance else np.ones(time.size, dtype=bool)
    moved = tuple(_shifted(start, offset, float(time[0])) for start in truth)
    trace = Trace(time[keep] - time[0], volts[keep], "invented")
    return SimulatedLog(trace, moved, noise)


def _recorded(time: Array, rest: float, shapes: list[Shape], window: float) -> Array:
    """Lay all shapes on the rest voltage, averaged over a window if there is one."""
    lags = np.linspace(0.0, window, 41)[:-1] if window else np.zeros(1)
    total = np.zeros(time.size)
    for lag in lags:
        volts = np.full(time.size, rest)
        for shape in shapes:
            volts = shape(time - lag, volts)
        total += volts
    return total / lags.size


def _attempt(
    rng: np.random.Generator,
    levels: tuple[float, float, float, float, float],
    begin: float,
    interval: float,
    *,
    last: bool,
) -> tuple[TrueStart, Shape, float]:
    """Draw one attempt to start: what it is, its shape, and when the next may follow."""
    rest, dip, sustained, ripple, frequency = levels
    outcome = str(rng.choice(["good", "failed", "tried"], p=[0.6, 0.3, 0.1]))
    lasting = {
        "good": max(rng.uniform(0.5, 2.5), 1.2 * interval),
        "failed": rng.uniform(1.0, 8.0),
        "tried": max(rng.uniform(0.12, 1.5), 2.5 * interval),
    }[outcome]
    if outcome == "tried" or frequency == 0.0:
        sustained, ripple, frequency = dip + rng.uniform(0.0, 0.1), 0.0, 0.0
    sag = rng.uniform(0.0, 0.06)
    charging, pause = rng.uniform(13.6, 14.7), rng.uniform(6.0, 12.0)
    hold, rise = rng.uniform(0.010, 0.025), rng.uniform(0.030, 0.080)
    settle = rng.uniform(0.2, 1.5)

    def shape(time: Array, volts: Array) -> Array:
        since = time - begin
        during = waveform(since, volts, dip, sustained, ripple, frequency, hold=hold, rise=rise)
        during = during - sag * np.clip(since - hold - rise, 0.0, None)
        after = since - lasting
        if outcome == "good":
            back = charging + (rest - 0.3 - charging) * np.exp(-np.clip(after, 0, None) / settle)
        else:
            back = volts - 0.25 * np.exp(-np.clip(after, 0, None) / 4.0)
        share = np.clip(after / 0.04, 0.0, 1.0)
        leaving = np.clip((after - pause) / 0.5, 0.0, 1.0) if outcome == "good" and not last else 0.0
        later = during + (back - during) * share
        return np.where(since < 0, volts, later + (volts + 0.3 * np.exp(-np.clip(after, 0, 99) / 9) - later) * leaving)

    lowest = min(dip, sustained - sag * max(lasting - hold - rise, 0.0) - ripple)
    truth = TrueStart(begin, begin + lasting, outcome, rest, dip, sustained, lowest, ripple, frequency)
    gap = pause + rng.uniform(3.0, 6.0) if outcome == "good" else rng.uniform(1.0, 6.0)
    return truth, shape, begin + lasting + gap + 6 * interval


def _nuisances(rng: np.random.Generator, truth: list[TrueStart]) -> list[Shape]:
    """Draw loads that are no start: lamps at any time, glow plugs before the first start."""
    shapes: list[Shape] = []
    if rng.random() < 0.5:
        on, lasting, fall = rng.uniform(0, truth[-1].end), rng.uniform(1, 10), rng.uniform(0.05, 0.3)
        shapes.append(_load(on, lasting, fall))
    if rng.random() < 0.3:
        lasting = rng.uniform(1.0, 2.0)
        shapes.append(_load(truth[0].begin - lasting - rng.uniform(0.0, 0.5), lasting, rng.uniform(0.2, 0.6)))
    return shapes


def _load(on: float, lasting: float, fall: float) -> Shape:
    """Shape of a load: a quick fall, an even level, a quick return."""

    def shape(time: Array, volts: Array) -> Array:
        return volts - fall * np.clip((time - on) / 0.02, 0, 1) * np.clip((on + lasting - time) / 0.02, 0, 1)

    return shape


def _tail(rng: np.random.Generator, time: Array, volts: Array, truth: list[TrueStart], interval: float) -> Array:
    """Add drop-outs of the recorder's supply and single wild samples, away from the starts."""
    volts = volts.copy()
    if rng.random() < 0.25:
        at = rng.uniform(0, time[-1])
        lost = (time >= at) & (time < at + max(rng.uniform(0.03, 0.8), 1.1 * interval))
        if _apart(time[lost], truth):
            volts[lost] = rng.uniform(0.0, 1.5)
    if rng.random() < 0.25:
        at = int(rng.integers(0, time.size))
        if _apart(time[at : at + 1], truth):
            upwards = interval > 0.01 or rng.random() < 0.5  # at slow rates one low sample is what a start looks like
            volts[at] += rng.uniform(2.0, 20.0) if upwards else -rng.uniform(2.0, 10.0)
    return volts


def _apart(time: Array, truth: list[TrueStart]) -> bool:
    """Say whether some instants are well away from every start."""
    return all(bool(((time < start.begin - 1.0) | (time > start.end + 1.0)).all()) for start in truth)


def _kept(rng: np.random.Generator, time: Array, truth: list[TrueStart]) -> np.ndarray:
    """Lose some samples in a gap away from the starts."""
    keep = np.ones(time.size, dtype=bool)
    if rng.random() < 0.25:
        at = rng.uniform(0, time[-1])
        lost = (time >= at) & (time < at + rng.uniform(0.1, 1.5))
        if _apart(time[lost], truth) and time.size - lost.sum() > 10:
            keep[lost] = False
    return keep


def _shifted(start: TrueStart, offset: float, origin: float) -> TrueStart:
    """Move a truth to the recorder's clock and place."""
    return TrueStart(
        start.begin - origin,
        start.end - origin,
        start.outcome,
        start.rest + offset,
        start.first_dip + offset,
        start.sustained + offset,
        start.lowest + offset,
        start.ripple,
        start.frequency,
    )
