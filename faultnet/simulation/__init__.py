"""Virtual cars with known faults, measured through the continuous physics.

A *virtual car* has a mode for every component, one drawn number for every physical parameter, and a state of the
visit: charge, surface charge, which faults that come and go are on. Nothing is binned and nothing is taken from the
network's tables, so the car is a second road from modes to readings, by its own random streams. The flow:
:mod:`~faultnet.simulation.car.spreads` draws single numbers, :mod:`~faultnet.simulation.car.causes` the modes,
:mod:`~faultnet.simulation.car.charge` the state of the battery, :mod:`~faultnet.simulation.car.vehicle` holds them;
:mod:`~faultnet.simulation.car.circuit`, :mod:`~faultnet.simulation.car.starting`,
:mod:`~faultnet.simulation.car.resting`, :mod:`~faultnet.simulation.car.running` and
:mod:`~faultnet.simulation.car.answers` give the true value behind each test, :mod:`~faultnet.simulation.car.measure`
adds the instrument, and :mod:`~faultnet.simulation.car.repair` changes the car. Use it through
:mod:`~faultnet.simulation.car.world`."""

from faultnet.simulation.car.world import (
    WORLDS,
    VirtualCar,
    World,
    act_outcome,
    after_act,
    draw_car,
    measure,
    next_visit,
    still_at_fault,
)

__all__ = [
    "WORLDS",
    "VirtualCar",
    "World",
    "act_outcome",
    "after_act",
    "draw_car",
    "measure",
    "next_visit",
    "still_at_fault",
]
