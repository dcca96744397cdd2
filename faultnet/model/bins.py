"""The bins of every hidden parameter and quantity: the resolution of the model, not a claim about cars.

Edges are in SI units. A bin set is fine where decisions are made and coarse where they are not; the last bins of a
resistance stand for an open circuit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array


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

    Examples
    --------
    >>> Bins((0.0, 1.0, 2.5), "V").states
    ('v_0', 'v_1')
    """

    edges: tuple[float, ...]
    unit: str
    logarithmic: bool = False
    top_from: float | None = None

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
        if not self.logarithmic:
            return np.asarray(low + (high - low) * share)
        floor = np.where(low > 0.0, low, 0.25 * high)
        if self.top_from is not None:
            floor[-1] = self.top_from
        return np.asarray(floor * (high / floor) ** share)

    def index(self, values: Array) -> NDArray[np.intp]:
        """Bin that each value falls into; values outside go to the end bins."""
        return np.clip(np.searchsorted(np.asarray(self.edges), values, side="right") - 1, 0, len(self) - 1)


def _span(start: float, stop: float, step: float) -> tuple[float, ...]:
    return tuple(round(float(x), 6) for x in np.arange(start, stop + step / 2, step))


def _mohm(*edges: float) -> tuple[float, ...]:
    return tuple(e * 1e-3 for e in edges)


CHARGE = Bins((-0.2, -0.185, -0.09, 0.0, 0.1, 0.25, 0.45, 0.62, 0.76, 0.87, 0.94, 1.0), "-")
SURFACE = Bins((0.0, 0.03, 0.12, 0.3, 0.8), "V")

# the starting circuit
SOURCE_EMF = Bins((0.0, 5.5, 7.5, 9.0, 10.0, 10.6, 11.2, 11.65, 11.95, 12.2, 12.45, 12.7, 13.2), "V")
SOURCE_FACTOR = Bins((0.75, 1.05, 1.35, 1.75, 2.3, 3.2, 5.5, 16.0, 60.0, 400.0), "-", logarithmic=True)
JOINT = Bins(_mohm(0.0, 0.12, 0.3, 0.8, 2.0, 5.0, 12.0, 35.0, 100.0, 1000.0), "ohm", logarithmic=True)
CABLE = Bins(_mohm(0.0, 0.5, 0.8, 1.2, 1.6, 2.1, 2.7, 3.4, 4.2, 5.5, 9.0, 100.0), "ohm", logarithmic=True)
CONTACT = Bins(_mohm(0.0, 0.3, 0.6, 1.4, 4.0, 12.0, 35.0, 1000.0), "ohm", logarithmic=True)
GROUND = Bins(_mohm(0.0, 0.25, 0.5, 1.1, 3.0, 8.0, 25.0, 80.0, 1000.0), "ohm", logarithmic=True)
BRUSH = Bins(_mohm(0.0, 1.0, 6.0, 20.0, 60.0, 200.0, 1000.0, 20000.0), "ohm", logarithmic=True)
POSITIVE_PATH = Bins(_mohm(0.0, 0.9, 1.3, 1.8, 2.6, 4.5, 8.0, 16.0, 40.0, 1000.0), "ohm", logarithmic=True)
NEGATIVE_PATH = Bins(_mohm(0.0, 0.3, 0.6, 1.2, 2.5, 6.0, 14.0, 35.0, 100.0, 1000.0), "ohm", logarithmic=True)
LOOP = Bins(_mohm(0.0, 1.5, 2.2, 3.2, 5.0, 8.5, 16.0, 35.0, 90.0, 300.0, 20000.0), "ohm", logarithmic=True)
JOINTS = Bins(_mohm(0.0, 0.8, 3.0, 10.0, 25.0, 2000.0), "ohm", logarithmic=True)
CLOSED_VOLTS = Bins((0.0, 3.0, 5.0, 6.5, 7.5, 8.5, 9.25, 9.75, 10.25, 10.75, 11.25, 12.0, 13.3), "V")
OPEN_VOLTS = Bins((0.0, 4.0, 8.0, 10.0, 11.5, 12.2, 12.6, 13.3), "V")
TURNING_LOAD = Bins((0.6, 0.85, 1.15, 1.5, 2.1, 3.5, 60.0), "-", logarithmic=True, top_from=12.0)
CRANK_CURRENT = Bins(
    (0.0, 8.0, 25.0, 50.0, 80.0, 110.0, 135.0, 165.0, 200.0, 240.0, 300.0, 400.0, 550.0, 750.0, 1300.0), "A"
)

CRANK_VOLTS = Bins((0.0, 2.0, 4.0, 5.0, 6.0, *_span(6.5, 8.0, 0.5), *_span(8.25, 12.75, 0.25), 13.3), "V")
CRANK_SPEED = Bins((0.0, 10.0, 50.0, 80.0, 110.0, 140.0, 165.0, 190.0, 215.0, 240.0, 270.0, 310.0, 500.0), "rpm")
DROP = Bins(
    (
        0.0,
        0.01,
        0.03,
        0.05,
        0.08,
        0.12,
        0.16,
        0.2,
        0.25,
        0.3,
        0.37,
        0.45,
        0.55,
        0.7,
        0.9,
        1.3,
        2.0,
        3.0,
        4.5,
        6.5,
        8.0,
        9.5,
        10.6,
        11.5,
        12.1,
        13.0,
    ),
    "V",
)
SAG = Bins((-0.2, 0.0, 0.1, 0.2, 0.3, 0.45, 0.65, 0.9, 1.3, 2.0, 3.0, 5.0), "V")
INRUSH = Bins((0.0, 6.0, 20.0, 100.0, 200.0, *_span(300.0, 1000.0, 100.0), 1200.0, 1600.0), "A")
SOURCE_OHMS = Bins(
    _mohm(1.5, 2.5, 3.2, 4.0, 5.0, 6.2, 7.7, 9.6, 12.0, 15.0, 20.0, 30.0, 60.0, 200.0, 4000.0), "ohm", logarithmic=True
)
CONDUCTANCE = Bins((0.0, 50.0, 100.0, *_span(150.0, 1000.0, 50.0), 1200.0, 1600.0), "A")

# at rest
REST_VOLTS = Bins(
    (
        0.0,
        6.0,
        9.0,
        9.8,
        *_span(10.1, 11.6, 0.15),
        *_span(11.7, 12.0, 0.1),
        *_span(12.05, 13.0, 0.05),
        13.2,
        13.5,
        14.5,
    ),
    "V",
)
OVERNIGHT = Bins((-0.05, 0.01, 0.03, 0.06, 0.1, 0.2, 0.35, 0.6, 1.0, 2.0, 6.0), "V")
GRAVITY = Bins((1.0, 1.08, *_span(1.11, 1.33, 0.02), 1.36), "-")
GRAVITY_SPREAD = Bins((0.0, 0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.055, 0.08, 0.12, 0.2), "-")
KEY_OFF = Bins((0.0, 0.01, 0.02, 0.03, 0.045, 0.065, 0.09, 0.13, 0.2, 0.32, 0.5, 0.8, 1.3, 2.2, 5.0, 15.0), "A")
MODULE_OFFSET = Bins((-1.5, -0.6, -0.4, -0.3, -0.22, -0.15, -0.08, 0.0, 0.2), "V")
CONTROL_VOLTS = Bins((0.0, 0.3, 1.0, 2.0, 3.5, 5.0, *_span(6.0, 10.0, 0.5), *_span(10.4, 12.8, 0.3), 13.2), "V")

# charging
SET_POINT = Bins((10.5, 12.2, 12.8, 13.3, 13.7, 14.0, 14.3, 14.6, 15.0, 15.6, 16.5, 19.0), "V")
OUTPUT_FACTOR = Bins((0.0, 0.04, 0.3, 0.55, 0.75, 0.88, 0.97, 1.15), "-")
CHARGE_CABLE = Bins(_mohm(0.0, 2.5, 5.0, 12.0, 35.0, 100.0, 300.0, 20000.0), "ohm", logarithmic=True)
ACCEPTANCE = Bins((0.0, 0.006, 0.014, 0.035, 0.08, 0.18, 0.5), "A/Ah", logarithmic=True)
CHARGE_VOLTS = Bins((9.0, 10.5, 11.2, *_span(11.6, 15.4, 0.2), 15.8, 16.5, 17.5, 20.0), "V")
RIPPLE = Bins((0.0, 0.01, 0.02, 0.03, 0.045, 0.065, 0.09, 0.14, 0.22, 0.35, 0.55, 0.9, 2.0), "V", logarithmic=True)
ALTERNATOR_AMPERES = Bins((0.0, 3.0, 8.0, 15.0, 25.0, 35.0, 45.0, 55.0, 65.0, 80.0, 100.0, 130.0, 180.0, 300.0), "A")
ACCEPTED_AMPERES = Bins((0.0, 0.3, 0.8, 1.5, 2.5, 4.0, 6.5, 10.0, 16.0, 26.0, 45.0), "A", logarithmic=True)
