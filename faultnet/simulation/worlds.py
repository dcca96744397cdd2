"""Either kind of virtual car behind the same four functions: what it reads, what acts do to it, how it comes back.

The cars of :mod:`~faultnet.simulation.car.world` share the product's equations and spreads; those of
:mod:`~faultnet.simulation.independent.world` share neither.
"""

from __future__ import annotations

import numpy as np

from faultnet.case.types import Conditions, Reading
from faultnet.errors import CarError
from faultnet.simulation.car import world as own
from faultnet.simulation.car.spreads import WORLDS
from faultnet.simulation.car.vehicle import VirtualCar
from faultnet.simulation.independent import world as independent
from faultnet.simulation.independent.vehicle import IndependentCar

AnyCar = VirtualCar | IndependentCar
NAMES = (*WORLDS, *independent.INDEPENDENT_WORLDS)


def check_world(name: str) -> None:
    """Refuse a world that there is not.

    Raises
    ------
    CarError
        If there is none of that name.

    Examples
    --------
    >>> check_world("independent")
    """
    if name not in NAMES:
        raise CarError(
            "unknown world of virtual cars", got=repr(name), expected=", ".join(NAMES), to_do="name one of them"
        )


def measure(vehicle: AnyCar, test: str, instrument: str | None, rng: np.random.Generator) -> Reading:
    """Do a test on a car of either kind."""
    if isinstance(vehicle, IndependentCar):
        return independent.measure(vehicle, test, instrument, rng)
    return own.measure(vehicle, test, instrument, rng)


def after_act(
    vehicle: AnyCar, act: str, component: str | None, rng: np.random.Generator, *, hours: float | None = None
) -> AnyCar:
    """A car of either kind after an act."""
    if isinstance(vehicle, IndependentCar):
        return independent.after_act(vehicle, act, component, rng, hours=hours)
    return own.after_act(vehicle, act, component, rng, hours=hours)


def act_outcome(before: AnyCar, after: AnyCar, act: str, rng: np.random.Generator) -> str | None:
    """What the driver says after an act on a car of either kind."""
    if isinstance(before, IndependentCar) and isinstance(after, IndependentCar):
        return independent.act_outcome(before, after, act, rng)
    assert isinstance(before, VirtualCar)
    assert isinstance(after, VirtualCar)
    return own.act_outcome(before, after, act, rng)


def next_visit(vehicle: AnyCar, rng: np.random.Generator, conditions: Conditions) -> AnyCar:
    """A car of either kind brought in again."""
    if isinstance(vehicle, IndependentCar):
        return independent.next_visit(vehicle, rng, conditions)
    return own.next_visit(vehicle, rng, conditions)
