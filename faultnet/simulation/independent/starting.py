"""A start, solved in time: battery, joints, cable, solenoid, motor and engine.

States: current in the motor's winding, speed and angle of the crank, the battery's kinetic loss and the acid in its
pores. The motor is one with permanent magnets behind a gear, seen from the crank: torque K I, counter-voltage K w. The
rotor turns alone until its play is taken up, and then takes the engine with it at the same turning momentum. The
engine's drag has a dry part and one that grows with oil and speed; compression is a spring that swings with the angle.
Two solutions: with compression for the waveform of the first 1.6 s, without it for the mean over 15 s.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import asinh, exp, pi, sin, sqrt, tanh

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import odeint

from faultnet.simulation.independent.battery import Source
from faultnet.simulation.independent.numbers import typical

Array = NDArray[np.float64]

STEP = 1e-3  # [s] between points of the waveform
SHORT, LONG = 1.6, 15.0  # [s]
LEVEL_FROM = 0.9  # [s] from here on the waveform counts as settled
STANDS = 0.6  # [rad/s] below which dry drag fades, so that an engine that cannot be turned stands
REFERENCE = 23.0  # [rad/s] speed at which the drag is stated, 220 rev/min
LEAK_SPEED = 8.0  # [rad/s] below which compression leaks away; estimate
BRUSH_KNEE = 5.0  # [A] over which the brush drop is reached; memory


@dataclass(frozen=True)
class Circuit:
    """Everything a start depends on.

    Parameters
    ----------
    source : Source
    positive, negative, cable, ground, contact, winding : float
        Resistances of the two joints, the cable, the ground path, the solenoid's contacts, and motor with brushes
        [ohm]; `winding` is infinite for a motor that is open or stands on a dead spot.
    henries, brush, flux, efficiency : float
        Inductance [H], brush drop [V], K at the crank [V s/rad], share of the torque that reaches it [-].
    dry, viscous, compression, inertia : float
        Engine: dry drag and oil drag at 220 rev/min [N m], swing of compression [N m], inertia at the crank [kg m2].
    cylinders : int
    control, pull_coil, hold_coil, pull_in, drop_out : float
        Control wiring [ohm], coils [ohm], volts at which the solenoid pulls and lets go [V].
    extra : float
        Current drawn at the clamps besides, lamps and modules [A].
    angle : float
        At which the crank stands before [rad].
    engaged : bool
        Whether the pinion turns the engine.
    play : float
        Angle of the crank over which the rotor turns alone, its play being taken up [rad].
    """

    source: Source
    positive: float
    negative: float
    cable: float
    ground: float
    contact: float
    winding: float
    henries: float
    brush: float
    flux: float
    efficiency: float
    dry: float
    viscous: float
    compression: float
    inertia: float
    cylinders: int
    control: float
    pull_coil: float
    hold_coil: float
    pull_in: float
    drop_out: float
    extra: float = 6.0
    angle: float = 0.0
    engaged: bool = True
    play: float = 0.09

    @property
    def joints(self) -> float:
        """Both joints together [ohm]."""
        return self.positive + self.negative

    def drag(self, speed: float) -> float:
        """Torque that holds the engine back at a speed [N m]."""
        if not self.engaged:
            return 2.0 + 0.1 * abs(speed)  # the motor by itself: 50 to 90 A free running, secondary
        return (self.dry + self.viscous * sqrt(abs(speed) / REFERENCE)) * tanh(speed / STANDS)


@dataclass(frozen=True, eq=False)
class Start:
    """How a start went.

    Parameters
    ----------
    word : {"turns", "stands", "open", "chatters", "no_pull"}
        The motor turns the engine; it draws current and stands; contacts or motor carry nothing; the solenoid lets go
        and pulls again; it does not pull at all.
    time : array, shape (n,)
        [s]
    posts, clamps, current : array, shape (n,)
        [V], [V], [A] with the coil's and other current at the clamps.
    speed : float
        Mean speed of the engine at the end [rev/min].
    level, clamp_level, motor_current : float
        Means at the end [V], [V], [A].
    control : float
        Volts at the control terminal against the negative clamp, key held [V].
    coil : float
        Current of the coils while the key is held [A].
    """

    word: str
    time: Array
    posts: Array
    clamps: Array
    current: Array
    speed: float
    level: float
    clamp_level: float
    motor_current: float
    control: float
    coil: float

    @property
    def turning(self) -> bool:
        """Whether the engine goes round."""
        return self.word == "turns" and self.speed > 15.0


def _rates(state: Array, time: float, c: Circuit, drawn: float, swing: float) -> tuple[float, ...]:
    """Right-hand side: current [A/s], speed, angle, kinetic loss, acid in the pores of both kinds of cells."""
    current, speed, angle, kinetic, filled, odd = state
    source = c.source
    total = current + drawn
    volts = source.emf - source.ohmic * total - kinetic - source.pore_loss(filled, odd)
    lost = total * (c.joints + c.ground) + current * (c.cable + c.contact + c.winding)
    brush = c.brush * tanh(current / BRUSH_KNEE)
    d_current = (volts - lost - brush - c.flux * speed) / c.henries
    gas = swing * sin(0.5 * c.cylinders * angle) * (0.5 + 0.5 * tanh(speed / LEAK_SPEED)) if c.engaged else 0.0
    turned = (angle - c.angle) / c.play - 0.5
    joined = 1.0 if turned >= 1.0 or not c.engaged else max(turned, 0.0)
    inertia = c.inertia * (_ROTOR + (1.0 - _ROTOR) * joined)
    taken_up = c.inertia * (1.0 - _ROTOR) / c.play * speed**2 if 0.0 < turned < 1.0 and c.engaged else 0.0
    d_speed = (c.efficiency * c.flux * current - (c.drag(speed) + gas) * joined - taken_up) / inertia
    d_kinetic = (source.kinetic * asinh(0.5 * total / source.exchange) - kinetic) / _KINETIC_TIME
    refill = _PORE_REFILL
    d_filled = -total / source.pores + (1.0 - filled) / refill
    d_odd = -total / source.odd_pores + (1.0 - odd) / refill
    if filled <= 0.0:
        d_filled = max(d_filled, 0.0)
    if odd <= 0.0:
        d_odd = max(d_odd, 0.0)
    return d_current, d_speed, speed, d_kinetic, d_filled, d_odd


_KINETIC_TIME = typical("kinetic_time")
_PORE_REFILL = typical("pore_refill")
_ROTOR = typical("rotor_share")


def coil_state(c: Circuit) -> tuple[float, float]:
    """Volts at the control terminal and current of the coils when the key is turned and nothing has moved yet.

    Notes
    -----
    The battery's kinetic loss is linearised at the coils' own current; the terminal is read against the negative clamp,
    the coils see less by what the ground path costs.
    """
    source, current = c.source, 40.0
    for _ in range(4):
        path = source.ohmic + c.joints + c.ground + c.control + c.pull_coil
        left = source.emf - source.kinetic_loss(current + c.extra) - c.extra * (source.ohmic + c.joints)
        current = max(left / path, 0.0)
    return current * (c.pull_coil + c.ground), current


@lru_cache(maxsize=512)
def solve_start(c: Circuit) -> Start:
    """Turn the key and see what happens.

    Parameters
    ----------
    c : Circuit

    Returns
    -------
    Start
        The same for the same circuit.
    """
    terminal, coil = coil_state(c)
    time = np.arange(0.0, SHORT, STEP)
    if terminal - coil * c.ground < c.pull_in:
        return _still(c, "no_pull", time, coil, terminal)
    hold = c.hold_coil + c.control
    if not np.isfinite(c.winding + c.contact) or c.contact > 1.0:
        return _still(c, "open", time, terminal / hold if hold < 1e6 else 0.0, terminal)
    drawn = min(c.source.emf, 12.0) / hold + c.extra
    states = odeint(_rates, _at_rest(c), time, args=(c, drawn, c.compression), rtol=1e-6, atol=1e-6, mxstep=5000)
    current, speed = states[:, 0], states[:, 1]
    posts, clamps = _volts(c, states, drawn)
    held = clamps - (current + drawn) * c.ground - drawn * c.control
    settled = time >= LEVEL_FROM
    turning = float(np.mean(speed[settled]))
    word = "turns" if turning * 30.0 / pi > 15.0 else "stands"
    if _lets_go(held, c.drop_out):
        word = "chatters"
    moved = turning * 30.0 / pi if word == "turns" and c.engaged else 0.0
    return Start(
        word, time, posts, clamps, current + drawn, moved, float(np.mean(posts[settled])),
        float(np.mean(clamps[settled])), float(np.mean(current[settled])),
        float(np.mean(clamps[settled])) - drawn * c.control, drawn - c.extra,
    )  # fmt: skip


def _at_rest(c: Circuit) -> Array:
    return np.array([0.0, 0.0, c.angle, c.source.kinetic_loss(c.extra), 1.0, 1.0])


def _volts(c: Circuit, states: Array, drawn: float) -> tuple[Array, Array]:
    total = states[:, 0] + drawn
    pores = np.array([c.source.pore_loss(*row) for row in states[:, 4:6]])
    posts = c.source.emf - c.source.ohmic * total - states[:, 3] - pores
    return posts, posts - total * c.joints


def _lets_go(held: Array, drop_out: float) -> bool:
    """Whether the coil's volts stay under what holds it for long enough."""
    below = held < drop_out
    edges = np.flatnonzero(np.diff(np.concatenate(([0], below.astype(int), [0]))))
    stretches = edges[1::2] - edges[::2]
    return bool(stretches.size) and float(stretches.max()) * STEP >= typical("drop_out_seconds")


def _still(c: Circuit, word: str, time: Array, coil: float, terminal: float) -> Start:
    """A key held at start with no current in the motor."""
    total = coil + c.extra
    posts = c.source.volts(total, 1.0)
    clamps = posts - total * c.joints
    flat = np.ones_like(time)
    control = min(terminal, max(clamps - coil * c.control, 0.0)) if np.isfinite(c.control) else 0.0
    return Start(word, time, posts * flat, clamps * flat, total * flat, 0.0, posts, clamps, 0.0, control, coil)


@lru_cache(maxsize=256)
def long_crank(c: Circuit) -> tuple[Array, Array]:
    """Seconds and volts at the posts of 15 s of cranking, compression averaged out.

    Returns
    -------
    time : array, shape (151,)
        [s]
    posts : array, shape (151,)
        [V]
    """
    time = np.linspace(0.0, LONG, 151)
    start = solve_start(c)
    if start.word in ("no_pull", "open", "chatters"):
        total = float(start.current[-1]) if start.word != "chatters" else 0.5 * float(start.current.max())
        return time, np.array([c.source.volts(total, float(t)) for t in time])
    drawn = start.coil + c.extra
    states = odeint(_rates, _at_rest(c), time, args=(c, drawn, 0.0), rtol=1e-6, atol=1e-6, mxstep=20000)
    return time, _volts(c, states, drawn)[0]


def quick_speed(c: Circuit, seconds: float = 1.0) -> float:
    """Mean speed of a start without solving it in time [rev/min]; nought where it does not turn or lets go.

    Notes
    -----
    Torque of the motor against drag at a steady speed, by halving the current. Used for the many starts of the weeks
    before a visit.
    """
    terminal, coil = coil_state(c)
    if terminal - coil * c.ground < c.pull_in or not np.isfinite(c.winding + c.contact) or c.contact > 1.0:
        return 0.0
    drawn = 12.0 / (c.hold_coil + c.control) + c.extra
    outside = c.joints + c.ground

    def speed_at(current: float) -> float:
        total = current + drawn
        volts = c.source.volts(total, seconds) - total * outside - current * (c.cable + c.contact + c.winding)
        return (volts - c.brush) / c.flux

    low, high = 0.0, 3000.0
    for _ in range(36):
        middle = 0.5 * (low + high)
        speed = max(speed_at(middle), 0.0)
        if c.efficiency * c.flux * middle < c.drag(speed) or speed_at(middle) > 400.0:
            low = middle
        else:
            high = middle
    total = high + drawn
    held = c.source.volts(total, seconds) - total * outside - drawn * c.control
    if held < c.drop_out or not c.engaged:
        return 0.0
    return max(speed_at(high), 0.0) * 30.0 / pi


def oil_factor(slope: float, degrees: float) -> float:
    """Drag of the oil against that at 20 degC [-]."""
    return exp(slope * (20.0 - degrees))
