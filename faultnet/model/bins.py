"""The bins of every hidden parameter and quantity: the resolution of the model, not a claim about cars.

Edges are in SI units. A bin set is fine where decisions are made and coarse where they are not; the last bins of a
resistance stand for an open circuit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array

POINTS = 65  # by which the share of a sound car's within a bin is followed
HARDLY_A_CAR = 1e-5  # density of sound cars, beside that in their middle, below which they count no more


@dataclass(frozen=True)
class Bins:
    """Adjacent intervals of one parameter or quantity.

    Parameters
    ----------
    edges : tuple of float
        Rising edges [unit].
    unit : str
    logarithmic : bool
        Whether points within a bin are spread evenly in the logarithm.
    top_from : float, optional
        Where the points of the last bin begin, if the values below do not occur [unit].
    bottom_from : float, optional
        Where the points of the first bin begin, if the values below do not occur [unit]; a quarter of its end otherwise
        where points are spread in the logarithm.
    sound : tuple of float, optional
        Middle [unit] and spread of what a sound car has, the spread in the logarithm where points are spread in it.
        Within a bin points lie as a sound car's would: what is read of it falls off steeply there, and a fault's is
        nearly even, wherever in the bin it is taken to lie. Only places points; how much lies in a bin follows from the
        prior set.
    faulty : tuple of float, optional
        The same of what faults have: where hardly a sound car is, points lie so, and evenly where it is left out.

    Examples
    --------
    >>> Bins((0.0, 1.0, 2.5), "V").states
    ('v_0', 'v_1')
    """

    edges: tuple[float, ...]
    unit: str
    logarithmic: bool = False
    top_from: float | None = None
    bottom_from: float | None = None
    sound: tuple[float, float] | None = None
    faulty: tuple[float, float] | None = None

    @property
    def states(self) -> tuple[str, ...]:
        """Slugs of the bins, in order."""
        width = len(str(len(self) - 1))
        return tuple(f"v_{i:0{width}d}" for i in range(len(self)))

    def __len__(self) -> int:
        return len(self.edges) - 1

    @property
    def middles(self) -> Array:
        """Middle of each bin [unit]."""
        return self.at(np.full((len(self), 1), 0.5))[:, 0]

    @property
    def widths(self) -> Array:
        """Width of each bin [unit]."""
        return np.diff(np.asarray(self.edges))

    def at(self, share: Array) -> Array:
        """Points within each bin, shape (bins, points), at these shares of its width, same shape or (points,)."""
        edges = np.asarray(self.edges)
        low, high = edges[:-1, None], edges[1:, None]
        if self.sound is not None:
            return self._as_sound(share)
        if not self.logarithmic:
            return np.asarray(low + (high - low) * share)
        floor = self._floor()
        return np.asarray(floor * (high / floor) ** share)

    def _floor(self) -> Array:
        """Where the points of each bin begin, shape (bins, 1)."""
        edges = np.asarray(self.edges)
        low, high = edges[:-1, None], edges[1:, None]
        floor = np.where(low > 0.0, low, 0.25 * high)
        if self.bottom_from is not None:
            floor[0] = self.bottom_from
        if self.top_from is not None:
            floor[-1] = self.top_from
        return np.asarray(floor)

    def _as_sound(self, share: Array) -> Array:
        """Points within each bin that lie there as a sound car's would."""
        shares = np.broadcast_to(share, (len(self), np.shape(share)[-1]))
        found = np.stack([np.interp(s, below, x) for s, (below, x) in zip(shares, _falling(self), strict=True)])
        return np.exp(found) if self.logarithmic else found

    def index(self, values: Array) -> NDArray[np.intp]:
        """Bin that each value falls into; values outside go to the end bins."""
        return np.clip(np.searchsorted(np.asarray(self.edges), values, side="right") - 1, 0, len(self) - 1)


@lru_cache(maxsize=64)
def _falling(bins: Bins) -> list[tuple[Array, Array]]:
    """For each bin the share of a sound car's that lies below some points in it, and the points, in the logarithm where
    that is asked for; where hardly a sound car is, the share rises evenly."""
    assert bins.sound is not None
    edges = np.asarray(bins.edges)
    low, high = (np.log(bins._floor()[:, 0]), np.log(edges[1:])) if bins.logarithmic else (edges[:-1], edges[1:])

    def falling_off(at: Array, kind: tuple[float, float]) -> Array:
        middle = np.log(kind[0]) if bins.logarithmic else kind[0]
        return np.asarray(np.exp(-0.5 * ((at - middle) / kind[1]) ** 2))

    found = []
    for a, b in zip(low, high, strict=True):
        points = np.linspace(a, b, POINTS)
        between = 0.5 * (points[1:] + points[:-1])
        others = np.ones_like(between) if bins.faulty is None else falling_off(between, bins.faulty)
        density = falling_off(between, bins.sound) + HARDLY_A_CAR * others
        found.append((np.append(0.0, np.cumsum(density) / density.sum()), points))
    return found


def _span(start: float, stop: float, step: float) -> tuple[float, ...]:
    return tuple(round(float(x), 6) for x in np.arange(start, stop + step / 2, step))


def _mohm(*edges: float) -> tuple[float, ...]:
    return tuple(e * 1e-3 for e in edges)


CHARGE = Bins((-0.2, -0.185, -0.09, 0.0, 0.1, 0.25, 0.45, 0.62, 0.71, 0.79, 0.86, 0.92, 1.0), "-", sound=(0.9, 0.06))
SURFACE = Bins((0.0, 0.03, 0.12, 0.3, 0.8), "V")

# the starting circuit
SOURCE_EMF = Bins((0.0, 6.5, 9.0, 10.2, 11.0, 11.6, 12.0, 12.3, 12.55, 12.8, 13.2), "V", sound=(12.58, 0.13))
SOURCE_FACTOR = Bins(
    (0.75, 1.05, 1.26, 1.52, 1.87, 2.5, 4.2, 16.0, 60.0, 400.0), "-", logarithmic=True, sound=(1.08, 0.125)
)
SOURCE_FACTOR_FINE = Bins(
    (
        0.75, 0.85, 0.9, 0.95, 1.0, 1.05, 1.1, 1.15, 1.2, 1.26, 1.32, 1.38, 1.45, 1.52, 1.6, 1.67, 1.75, 1.87, 2.0,
        2.15, 2.3, 2.5, 2.8, 3.2, 4.2, 5.5, 9.0, 16.0, 30.0, 60.0, 150.0, 400.0,
    ),
    "-", logarithmic=True, sound=(1.08, 0.125)
)  # fmt: skip
JOINT = Bins(
    _mohm(0.0, 0.07, 0.14, 0.25, 0.42, 0.75, 1.6, 4.0, 12.0, 35.0, 100.0, 1000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.01e-3,
    sound=(0.08e-3, 0.5),
    faulty=(12e-3, 1.3),
)
CABLE = Bins(
    _mohm(0.0, 0.35, 0.5, 0.7, 1.0, 1.35, 1.75, 2.3, 3.2, 5.0, 10.0, 22.0, 100.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.2e-3,
    sound=(1.1e-3, 0.45),
    faulty=(6e-3, 0.65),
)
CONTACT = Bins(
    _mohm(0.0, 0.25, 0.45, 0.8, 1.2, 1.8, 2.6, 5.0, 12.0, 35.0, 1000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.05e-3,
    sound=(0.4e-3, 0.5),
    faulty=(12e-3, 1.2),
)
GROUND = Bins(
    _mohm(0.0, 0.2, 0.36, 0.6, 0.9, 1.3, 1.9, 3.0, 7.0, 25.0, 80.0, 1000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.04e-3,
    sound=(0.3e-3, 0.5),
    faulty=(12e-3, 1.2),
)
BRUSH = Bins(
    _mohm(0.0, 1.0, 5.0, 15.0, 40.0, 100.0, 300.0, 1000.0, 20000.0), "ohm", logarithmic=True, sound=(0.3e-3, 0.5)
)
POSITIVE_PATH = Bins(
    _mohm(0.0, 0.4, 0.65, 0.95, 1.25, 1.6, 2.1, 2.8, 4.5, 8.0, 16.0, 40.0, 1000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.2e-3,
    sound=(1.2e-3, 0.32),
    faulty=(12e-3, 1.3),
)
NEGATIVE_PATH = Bins(
    _mohm(0.0, 0.25, 0.42, 0.68, 1.0, 1.4, 2.0, 3.2, 7.0, 14.0, 35.0, 100.0, 1000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.06e-3,
    sound=(0.4e-3, 0.42),
    faulty=(12e-3, 1.3),
)
LOOP = Bins(
    _mohm(0.0, 1.6, 2.4, 3.5, 5.5, 9.0, 18.0, 40.0, 75.0, 140.0, 700.0, 20000.0),
    "ohm",
    logarithmic=True,
    sound=(2.0e-3, 0.22),
    top_from=1.2,
)
JOINTS = Bins(_mohm(0.0, 0.4, 1.2, 3.0, 10.0, 25.0, 2000.0), "ohm", logarithmic=True)
CLAMP_JOINTS = Bins(
    _mohm(0.0, 0.4, 1.2, 3.0, 10.0, 25.0, 45.0, 80.0, 140.0, 250.0, 2000.0), "ohm", logarithmic=True,
    sound=(0.17e-3, 0.36), faulty=(12e-3, 1.3),
)  # fmt: skip
CLOSED_VOLTS = Bins(
    (
        0.0, 3.0, 5.0, 6.5, 7.5, 8.2, *_span(8.8, 10.4, 0.4), *_span(10.65, 11.9, 0.25), 12.1, 12.3, 12.5, 12.7, 13.3,
    ),
    "V",
)  # fmt: skip
OPEN_VOLTS = Bins((0.0, 4.0, 8.0, 10.0, 11.2, 11.8, 12.15, 12.4, 12.55, 12.7, 12.9, 13.3), "V", sound=(12.55, 0.15))
OVER_OPEN_VOLTS = Bins((0.0, 5.0, 9.0, 11.0, 11.9, 12.3, 12.65, 13.3), "V", sound=(12.55, 0.15))
TURNING_LOAD = Bins((0.6, 0.85, 1.05, 1.3, 1.6, 2.1, 3.5, 60.0), "-", logarithmic=True, top_from=12.0, sound=(1.0, 0.2))
CRANK_CURRENT = Bins(
    (0.0, 8.0, 12.0, 16.0, 25.0, 50.0, 85.0, 120.0, 155.0, 195.0, 245.0, 310.0, 400.0, 550.0, 750.0, 1300.0), "A"
)

# what is read of it: fine where a sound part's readings end and a fault's begin, and at nought, where one does nothing
CRANK_VOLTS = Bins((0.0, 0.2, 2.0, 4.0, 5.0, 6.0, 6.5, *_span(7.0, 12.25, 0.25), *_span(12.4, 13.0, 0.1), 13.3), "V")
CRANK_SPEED = Bins(
    (0.0, 1.0, 10.0, 30.0, 50.0, 65.0, *_span(80.0, 260.0, 15.0), 280.0, 310.0, 350.0, 400.0, 500.0), "rpm"
)
CRANK_AMPERES = Bins(
    (
        0.0, 0.8, 2.0, 5.0, 8.0, 11.0, 13.0, 16.0, 20.0, 25.0, 35.0, 50.0, 62.0, *_span(75.0, 155.0, 10.0),
        *_span(170.0, 290.0, 15.0), 310.0, 335.0, 365.0, 395.0, 425.0, 460.0, 500.0, 550.0, 600.0, 670.0, 750.0, 950.0,
        1300.0,
    ),
    "A",
)  # fmt: skip
DROP = Bins(
    (
        0.0, 0.003, 0.006, 0.01, 0.014, 0.019, 0.025, 0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.12, 0.14, 0.16, 0.18, 0.2,
        0.225, 0.25, 0.275, 0.3, 0.335, 0.37, 0.41, 0.45, 0.5, 0.55, 0.62, 0.7, 0.8, 0.9, 1.1, 1.3, 1.6, 2.0, 2.5, 3.0,
        3.7, 4.5, 5.5, 6.5, 8.0, 9.0, 9.8, 10.6, 11.1, 11.5, 11.8, 12.1, 12.3, 12.5, 12.7, 13.0,
    ),
    "V",
)  # fmt: skip
SAG = Bins(
    (
        -0.2, -0.05, 0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.37, 0.45, 0.55, 0.65, 0.78, 0.9, 1.1, 1.3, 1.6, 2.0, 2.5,
        3.0, 5.0,
    ),
    "V",
)  # fmt: skip
INRUSH = Bins(
    (
        0.0, 1.0, 3.0, 6.0, 10.0, 14.0, 20.0, 40.0, 70.0, 100.0, 150.0, *_span(200.0, 700.0, 25.0),
        *_span(750.0, 900.0, 50.0), 1000.0, 1100.0, 1200.0, 1400.0, 1600.0,
    ),
    "A",
)  # fmt: skip
SOURCE_OHMS = Bins(
    _mohm(
        1.5, 2.0, 2.5, 2.85, 3.2, 3.6, 4.0, 4.5, 5.0, 5.6, 6.2, 6.9, 7.7, 8.6, 9.6, 10.7, 12.0, 13.5, 15.0, 17.5, 20.0,
        25.0, 30.0, 42.0, 60.0, 110.0, 200.0, 500.0, 1000.0, 2000.0, 4000.0,
    ),
    "ohm", logarithmic=True,
)  # fmt: skip
CONDUCTANCE = Bins((0.0, 5.0, 25.0, 50.0, 75.0, 100.0, *_span(150.0, 1000.0, 25.0), 1200.0, 1600.0), "A")

# at rest
REST_VOLTS = Bins((0.0, 6.0, 9.0, 9.6, *_span(9.9, 11.6, 0.1), *_span(11.65, 13.1, 0.05), 13.2, 13.35, 13.5, 14.5), "V")
OVERNIGHT = Bins(
    (
        -0.05, -0.02, -0.01, 0.0, 0.01, 0.02, 0.03, 0.045, 0.06, 0.08, 0.1, 0.14, 0.2, 0.27, 0.35, 0.47, 0.6, 0.8, 1.0,
        1.4, 2.0, 3.0, 6.0,
    ),
    "V",
)  # fmt: skip
GRAVITY = Bins((1.0, 1.05, 1.08, *_span(1.1, 1.34, 0.01), 1.36), "-")
GRAVITY_SPREAD = Bins(
    (
        0.0, 0.003, 0.005, 0.0075, 0.01, 0.0125, 0.015, 0.0175, 0.02, 0.025, 0.03, 0.035, 0.04, 0.047, 0.055, 0.067,
        0.08, 0.1, 0.12, 0.155, 0.2,
    ),
    "-",
)  # fmt: skip
KEY_OFF = Bins(
    (
        0.0, 0.005, 0.01, 0.015, 0.02, 0.025, 0.03, 0.037, 0.045, 0.055, 0.065, 0.077, 0.09, 0.11, 0.13, 0.16, 0.2,
        0.25, 0.32, 0.4, 0.5, 0.64, 0.8, 1.0, 1.3, 1.7, 2.2, 3.3, 5.0, 8.0, 15.0,
    ),
    "A",
)  # fmt: skip
DRAW_AT_ONCE = Bins(
    (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.65, 0.8, 1.0, 1.3, 1.7, 2.2, 2.8, 3.5, 4.5, 6.0, 8.0, 11.0, 15.0, 30.0), "A"
)
MODULE_OFFSET = Bins((-1.5, -0.6, -0.4, -0.3, -0.22, -0.15, -0.08, 0.0, 0.2), "V")
CONTROL_VOLTS = Bins(
    (
        0.0, 0.1, 0.3, 0.6, 1.0, 1.5, 2.0, 2.75, 3.5, 4.2, 5.0, 5.5, *_span(6.0, 10.0, 0.25), *_span(10.2, 13.0, 0.2),
        13.2,
    ),
    "V",
)  # fmt: skip

# charging
SET_POINT = Bins(
    (10.5, 12.2, 12.8, 13.15, 13.4, 13.6, 13.8, 14.0, 14.2, 14.4, 14.65, 15.0, 15.6, 16.5, 19.0),
    "V",
    sound=(14.25, 0.28),
)
OUTPUT_FACTOR = Bins((0.0, 0.04, 0.2, 0.45, 0.65, 0.84, 0.97, 1.15), "-", sound=(0.95, 0.065))
CHARGE_CABLE = Bins(
    _mohm(0.0, 4.5, 11.0, 35.0, 100.0, 300.0, 1000.0, 20000.0),
    "ohm",
    logarithmic=True,
    bottom_from=0.4e-3,
    sound=(3.0e-3, 0.5),
)
CHARGE_CABLE_FINE = Bins(
    _mohm(
        0.0, 1.0, 1.5, 2.0, 2.5, 3.1, 3.8, 4.5, 5.6, 7.0, 8.8, 11.0, 14.0, 19.0, 26.0, 35.0, 50.0, 70.0, 100.0, 150.0,
        220.0, 300.0, 1000.0, 20000.0,
    ),
    "ohm", logarithmic=True, bottom_from=0.4e-3, sound=(3.0e-3, 0.5),
)  # fmt: skip
ACCEPTANCE = Bins((0.0, 0.006, 0.014, 0.026, 0.046, 0.077, 0.18, 0.5), "A/Ah", logarithmic=True)
FLAT = Bins((-0.2, 0.0, 0.25, 0.45, 0.75), "-")  # charge of a battery that takes the most
ACCEPTANCE_FINE = Bins(
    (
        0.0, 0.0025, 0.0035, 0.0047, 0.006, 0.008, 0.0105, 0.014, 0.019, 0.026, 0.035, 0.046, 0.06, 0.077, 0.1, 0.135,
        0.18, 0.25, 0.35, 0.5,
    ),
    "A/Ah", logarithmic=True,
)  # fmt: skip
CHARGE_VOLTS = Bins(
    (9.0, 10.0, 10.5, 10.85, *_span(11.2, 12.4, 0.15), *_span(12.5, 15.4, 0.1), 15.6, 15.8, 16.1, 16.5, 17.0, 17.5,
     18.5, 20.0), "V",
)  # fmt: skip
RIPPLE = Bins(
    (
        0.0, 0.0035, 0.005, 0.007, 0.01, 0.014, 0.02, 0.025, 0.03, 0.037, 0.045, 0.055, 0.065, 0.077, 0.09, 0.11, 0.14,
        0.175, 0.22, 0.28, 0.35, 0.44, 0.55, 0.7, 0.9, 1.3, 2.0,
    ),
    "V", logarithmic=True,
)  # fmt: skip
ALTERNATOR_AMPERES = Bins(
    (0.0, 1.0, 3.0, 8.0, 15.0, 22.0, 30.0, 38.0, 46.0, 54.0, 62.0, 70.0, 80.0, 90.0, 105.0, 130.0, 180.0, 300.0), "A"
)
ACCEPTED_AMPERES = Bins(
    (
        0.0, 0.15, 0.3, 0.5, 0.8, 1.1, 1.5, 2.0, 2.5, 3.2, 4.0, 5.2, 6.5, 8.0, 10.0, 12.5, 16.0, 20.0, 26.0, 34.0, 45.0,
    ),
    "A", logarithmic=True,
)  # fmt: skip
