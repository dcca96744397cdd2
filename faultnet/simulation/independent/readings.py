"""Numbers: the true value behind each test, and what the instrument and the hand make of it.

An instrument has a gain of its own, the same at every reading of this car, a scatter of its last digits, a resolution,
and a window or interval through which it sees a start. A slip is a slip of a hand: a probe on the wrong side reads
nought or the battery's volts, a wrong range a power of ten.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import isfinite

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import NotMeasured
from faultnet.prior_set.types import Test
from faultnet.simulation.independent import battery
from faultnet.simulation.independent.charging import Running, parked, tested
from faultnet.simulation.independent.life import starts
from faultnet.simulation.independent.numbers import at, typical
from faultnet.simulation.independent.starting import STEP, Start, long_crank, solve_start
from faultnet.simulation.independent.vehicle import IndependentCar

Array = NDArray[np.float64]


class CannotBeMeasured(Exception):
    """Why nothing was read; the reason is a reading's own word for it."""

    def __init__(self, reason: NotMeasured) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True)
class Meter:
    """An instrument as a hand holds it.

    Parameters
    ----------
    gain : float
        Standard deviation of its gain [-].
    scatter : float
        Of its last digits, or of the way it is used [unit of the reading].
    resolution : float
        [unit of the reading]
    window, interval : float
        Over which a lowest value is averaged, or between two samples [s].
    """

    gain: float
    scatter: float
    resolution: float
    window: float = 0.0
    interval: float = 0.0


# Half of the limits that meters are sold with (tutorials on meters, secondary: 0.1 % + 1 to 0.7 % + 1 digit); clamps
# 2 % + 5 digits and a drift of the nought; lowest values over 0.1 s, by better ones 1 ms (common practice). All others
# are estimates.
METERS: dict[str, Meter] = {
    "multimeter": Meter(0.0025, 0.01, 0.01, 0.1),
    "multimeter_millivolts": Meter(0.0025, 0.0012, 0.001, 0.1),
    "multimeter_alternating": Meter(0.01, 0.003, 0.001),
    "multimeter_amperes": Meter(0.008, 0.01, 0.01),
    "better_multimeter": Meter(0.0005, 0.001, 0.001, 0.1),
    "fast_meter": Meter(0.0025, 0.01, 0.01, 0.001),
    "socket_adapter_2hz": Meter(0.005, 0.02, 0.01, 0.02, 0.5),
    "socket_adapter_5hz": Meter(0.005, 0.02, 0.01, 0.02, 0.2),
    "socket_adapter_10hz": Meter(0.005, 0.02, 0.01, 0.02, 0.1),
    "accessory_plug_meter": Meter(0.006, 0.04, 0.1, 0.3),
    "recorder": Meter(0.0025, 0.01, 0.01, 0.001, 0.01),
    "clamp_meter": Meter(0.01, 0.35, 0.1, 0.1),
    "clamp_meter_fine": Meter(0.01, 0.003, 0.001),
    "hydrometer": Meter(0.0, 0.003, 0.005),
    "carbon_pile": Meter(0.005, 0.03, 0.1),
    "conductance_meter": Meter(0.03, 5.0, 5.0),
    "two_load_set": Meter(0.04, 0.0005, 0.0001),
    "speed_counter": Meter(0.01, 2.0, 1.0),
    "bench_charger": Meter(0.03, 0.1, 0.1),
}
MODULE_AMPERES = 6.0  # [A] through the clamps with the ignition on; common practice, no source
SMALL_LOAD, LARGE_LOAD, LOAD_SECONDS = 4.0, 30.0, 10.0  # [A], [A], [s] lamps and blower, as the test says
CONDUCTANCE_CORRECTS = 0.8  # [-] of the temperature's part that a tester takes out; estimate
CHARGER_VOLTS, CHARGER_MOST = 14.4, 30.0  # [V], [A] of a workshop's charger; estimate
HALF_RATING_SCATTER = 0.04  # [-] of a current set by hand; estimate
PARTED_HOURS, NIGHT_HOURS = 12.0, 12.0  # [h] as the tests say
STEADY = 4.0  # [s] of dead cranking until the needle is read; estimate
SOCKET_DEAD_BELOW = -0.5  # [-] about a third of accessory sockets go dead while cranking; estimate
HUNTING = 0.03  # [V] of a running engine's voltage; estimate


def number(
    car: IndependentCar, test: Test, instrument: str, rng: np.random.Generator, interval: float | None
) -> tuple[float, bool]:
    """Take a number.

    Parameters
    ----------
    car : IndependentCar
    test : Test
    instrument : str
    rng : numpy.random.Generator
    interval : float, optional
        Of a log [s]; the recorder's own when left out.

    Returns
    -------
    value : float
        In the unit of the test, within its plausible range.
    roughly : bool
        The figure jumped about.

    Raises
    ------
    CannotBeMeasured
        If this car, as it is, does not give that number.
    """
    meter = METERS[instrument]
    if interval is not None and meter.interval:
        meter = replace(meter, interval=interval)
    seen = _Seen(car, rng, instrument, meter, dead=test.id == "dead_crank_level")
    value = TRUE[test.quantity](seen)
    if rng.random() < typical("slip_number"):
        value = _slipped(value, test, car, rng)
    gain = 1.0 + meter.gain * car.traits[f"meter.{instrument}"]
    value = value * gain + meter.scatter * float(rng.standard_normal())
    value = round(value / meter.resolution) * meter.resolution
    low, high = test.plausible or (-1e9, 1e9)
    return round(min(max(value, low), high), 6), seen.jumps


def _slipped(value: float, test: Test, car: IndependentCar, rng: np.random.Generator) -> float:
    """What a slip of the hand makes of a value."""
    if test.unit == "V" and rng.random() < 0.6:
        return 0.0 if rng.random() < 0.5 else car.rest_volts
    if test.unit == "-":
        return value + 0.05 * (1.0 if rng.random() < 0.5 else -1.0)  # the wrong mark of the float
    return value * (10.0 if rng.random() < 0.5 else 0.1)


@dataclass
class _Seen:
    """One test under way."""

    car: IndependentCar
    rng: np.random.Generator
    instrument: str
    meter: Meter
    dead: bool = False
    jumps: bool = False

    def start(self) -> Start:
        """A start from one of four places where the crank may stand."""
        angle = float(self.rng.integers(4)) * 0.4
        return solve_start(self.car.circuit(angle=angle))

    def scatter(self, spread: float) -> float:
        """A normal deviation."""
        return spread * float(self.rng.standard_normal())

    def current(self, start: Start) -> tuple[float, float]:
        """Motor's current and all current while the key is held, as a meter's needle shows them [A]."""
        if start.word == "chatters":
            self.jumps = True
            share = 0.3 + 0.3 * float(self.rng.random())
            return share * float(start.current.max()), share * float(start.current.max())
        total = float(np.mean(start.current[int(0.6 / STEP) :]))
        return start.motor_current, total


def lowest(volts: Array, meter: Meter, rest: float, rng: np.random.Generator) -> float:
    """The least that a meter shows of a waveform at a random phase [V].

    Parameters
    ----------
    volts : array, shape (n,)
        A millisecond apart.
    meter : Meter
    rest : float
        Before the start [V].
    rng : numpy.random.Generator
    """
    every = max(meter.interval, meter.window, STEP)
    lead = round(every / STEP)
    wave = np.concatenate((np.full(lead, rest), volts))
    width = max(round(meter.window / STEP), 1)
    mean = np.convolve(wave, np.ones(width) / width, mode="valid") if width > 1 else wave
    return float(mean[int(rng.integers(lead)) :: lead].min())


def _crank_minimum(seen: _Seen) -> float:
    return lowest(seen.start().posts, seen.meter, seen.car.rest_volts + seen.car.surface, seen.rng)


def _clamp_minimum(seen: _Seen) -> float:
    car, start = seen.car, seen.start()
    below = car.build.module_below
    if seen.instrument == "accessory_plug_meter":
        if car.traits["socket"] < SOCKET_DEAD_BELOW:
            raise CannotBeMeasured("unstable")
        below = car.build.socket_below
    rest = car.rest_volts - MODULE_AMPERES * (car.now("positive_joint")["ohms"] + car.now("negative_joint")["ohms"])
    if seen.rng.random() < typical("module_freezes"):
        return max(rest - below, 0.0)
    more = car.build.module_cranking * np.clip(start.current / 200.0, 0.0, 2.0) * (start.word != "no_pull")
    return max(lowest(start.clamps - below - more, seen.meter, rest - below, seen.rng), 0.0)


def _sustained(seen: _Seen) -> float:
    if seen.dead:
        time, posts = long_crank(seen.car.circuit())
        return float(np.interp(STEADY, time, posts)) + seen.scatter(0.04)
    start = seen.start()
    return float(np.mean(start.posts[int(0.3 / STEP) : int(0.9 / STEP)])) + seen.scatter(0.03)


def _sag(seen: _Seen) -> float:
    time, posts = long_crank(seen.car.circuit())
    return float(np.interp(1.0, time, posts) - posts[-1]) + seen.scatter(0.04)


def _inrush(seen: _Seen) -> float:
    start = seen.start()
    return float(np.mean(start.current[: round(seen.meter.window / STEP)]))


def _crank_current(seen: _Seen) -> float:
    return seen.current(seen.start())[1]


def _speed(seen: _Seen) -> float:
    return seen.start().speed


def _positive(seen: _Seen, *, joint: bool, cable: bool, contact: bool) -> float:
    """Volts from the positive post to the motor's stud, or parts of it [V]."""
    car, start = seen.car, seen.start()
    circuit = car.circuit()
    motor, total = seen.current(start)
    volts = total * circuit.positive if joint else 0.0
    volts += motor * circuit.cable if cable else 0.0
    if not contact:
        return min(volts, car.rest_volts)
    if start.word == "no_pull" or not isfinite(circuit.contact) or circuit.contact > 1.0:
        if not isfinite(circuit.winding):
            raise CannotBeMeasured("unstable")  # the stud hangs in the air
        return start.clamp_level - total * circuit.ground
    return min(volts + motor * circuit.contact, car.rest_volts)


def _negative(seen: _Seen, *, joint: bool, path: bool) -> float:
    circuit = seen.car.circuit()
    _, total = seen.current(seen.start())
    ohms = (circuit.negative if joint else 0.0) + (circuit.ground if path else 0.0)
    return min(total * ohms, seen.car.rest_volts)


def _control(seen: _Seen) -> float:
    return seen.start().control


def _rest(seen: _Seen) -> float:
    car = seen.car
    return car.rest_volts + car.surface - car.now("drain")["amperes"] * car.now("battery")["link"]


def _overnight(seen: _Seen) -> float:
    car = seen.car
    return car.rest_volts - parked(car, NIGHT_HOURS).rest_volts + seen.scatter(0.008)


def _gravity_level(seen: _Seen) -> float:
    car = _opened(seen)
    condition = car.parts["battery"]
    five = battery.gravity(condition, car.removed)
    odd = battery.gravity(condition, car.removed, odd=True)
    return (5.0 * five + odd) / 6.0 + seen.scatter(0.002)


def _gravity_spread(seen: _Seen) -> float:
    car = _opened(seen)
    condition = car.parts["battery"]
    odd = battery.gravity(condition, car.removed) - battery.gravity(condition, car.removed, odd=True)
    return abs(odd) + abs(seen.scatter(0.004))


def _opened(seen: _Seen) -> IndependentCar:
    if seen.car.build.sealed:
        raise CannotBeMeasured("cannot_reach")
    return seen.car


def _key_off(seen: _Seen) -> float:
    car = seen.car
    current = car.now("drain")["amperes"] + car.now("rectifier")["leak"]
    woken = seen.rng.random() < typical("woken_by_technician")
    return current + (typical("not_asleep_amperes") if woken else 0.0)


def _at_once(seen: _Seen) -> float:
    """What keeps a car awake is one of the modules that are awake before it sleeps, and comes not on top."""
    car, awake = seen.car, at("at_once_amperes", float(seen.rng.standard_normal()))
    drawn, leaks = car.now("drain")["amperes"], car.now("rectifier")["leak"]
    return leaks + (max(drawn, awake) if car.modes["drain"] == "stays_awake" else drawn + awake)


def _source_resistance(seen: _Seen) -> float:
    source = seen.car.source
    volts = [max(source.volts(load, LOAD_SECONDS), 0.0) for load in (SMALL_LOAD, LARGE_LOAD)]
    return (volts[0] - volts[1]) / (LARGE_LOAD - SMALL_LOAD)


def _conductance(seen: _Seen) -> float:
    car, source = seen.car, seen.car.source
    cold = 25.0 - car.acid
    reference = battery.new_ohmic(600.0) * 600.0 / typical("sae_per_en")
    corrected = source.ohmic * np.exp(-CONDUCTANCE_CORRECTS * typical("ohmic_per_kelvin") * cold)
    return float(reference * 1.06 / corrected)


def _half_rating(seen: _Seen) -> float:
    current = 0.5 * seen.car.build.fitted_sae * (1.0 + seen.scatter(HALF_RATING_SCATTER))
    return max(seen.car.source.volts(current, 15.0), 0.0)


def _module_offset(seen: _Seen) -> float:
    car = seen.car
    joints = car.now("positive_joint")["ohms"] + car.now("negative_joint")["ohms"]
    return -min(car.build.module_below + MODULE_AMPERES * joints, 7.5) + seen.scatter(0.02)


def _acceptance(seen: _Seen) -> float:
    car = seen.car
    return min(max(battery.accepted(car.parts["battery"], car.removed, car.acid, CHARGER_VOLTS), 0.0), CHARGER_MOST)


def _hold(seen: _Seen) -> float:
    car = seen.car
    left = battery.stood(car.parts["battery"], car.removed, car.acid, PARTED_HOURS, 0.0)
    return battery.rest_volts(car.parts["battery"], left, car.acid) + 0.1 * car.surface


def can_run(car: IndependentCar) -> bool:
    """Whether the engine can be got to run, with another battery if need be."""
    willing = replace(car, firing=True)
    return starts(willing)[0] or starts(willing, helped=True)[0]


def _running(seen: _Seen, state: str) -> float:
    return _run(seen, state).posts + seen.scatter(HUNTING)


def _run(seen: _Seen, state: str = "charge_loaded") -> Running:
    if not can_run(seen.car):
        raise CannotBeMeasured("skipped")
    return tested(seen.car, state)


def _ripple(seen: _Seen) -> float:
    return max(float(_run(seen).ripple), 0.0) + 0.004


def _alternator_current(seen: _Seen) -> float:
    return float(_run(seen).current) + seen.scatter(1.5)


def _charge_cable(seen: _Seen) -> float:
    found = _run(seen)
    ohms = seen.car.now("charge_cable")["ohms"]
    return float(found.stud - found.posts if not isfinite(ohms) else found.current * ohms) + seen.scatter(0.005)


def _charge_ground(seen: _Seen) -> float:
    found, car = _run(seen), seen.car
    ohms = car.now("alternator")["ground"] + min(car.now("ground_path")["ohms"], 0.05)
    negative = min(max(found.into, 0.0) * car.now("negative_joint")["ohms"], 12.0)
    return float(found.current * ohms + negative) + seen.scatter(0.003)


TRUE: dict[str, Callable[[_Seen], float]] = {
    "rest_voltage": _rest,
    "overnight_fall": _overnight,
    "gravity_level": _gravity_level,
    "gravity_spread": _gravity_spread,
    "draw_at_once": _at_once,
    "key_off_current": _key_off,
    "source_resistance": _source_resistance,
    "conductance_rating": _conductance,
    "half_rating_voltage": _half_rating,
    "acceptance_current": _acceptance,
    "hold_after_charge": _hold,
    "module_offset": _module_offset,
    "crank_minimum": _crank_minimum,
    "clamp_minimum": _clamp_minimum,
    "crank_sustained": _sustained,
    "dead_crank_level": _sustained,
    "crank_sag": _sag,
    "crank_current": _crank_current,
    "inrush_current": _inrush,
    "cranking_speed": _speed,
    "control_voltage": _control,
    "positive_drop": lambda s: _positive(s, joint=True, cable=True, contact=True),
    "positive_joint_drop": lambda s: _positive(s, joint=True, cable=False, contact=False),
    "starter_cable_drop": lambda s: _positive(s, joint=False, cable=True, contact=False),
    "solenoid_drop": lambda s: _positive(s, joint=False, cable=False, contact=True),
    "ground_drop": lambda s: _negative(s, joint=True, path=True),
    "negative_joint_drop": lambda s: _negative(s, joint=True, path=False),
    "ground_path_drop": lambda s: _negative(s, joint=False, path=True),
    "charge_idle": lambda s: _running(s, "charge_idle"),
    "charge_unloaded": lambda s: _running(s, "charge_unloaded"),
    "charge_loaded": lambda s: _running(s, "charge_loaded"),
    "charge_hot": lambda s: _running(s, "charge_hot"),
    "ripple": _ripple,
    "alternator_current": _alternator_current,
    "charge_cable_drop": _charge_cable,
    "charge_ground_drop": _charge_ground,
}
