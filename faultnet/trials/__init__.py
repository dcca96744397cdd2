"""Virtual cars with known faults, measured through the continuous physics.

A *virtual car* has a mode for every component, one drawn number for every physical parameter, and a state of the
visit: charge, surface charge, which faults that come and go are on. Nothing is binned and nothing is taken from the
network's tables, so the car is a second road from modes to readings, by its own random streams. The flow:
:mod:`~faultnet.trials.spreads` draws single numbers, :mod:`~faultnet.trials.causes` the modes,
:mod:`~faultnet.trials.charge` the state of the battery, :mod:`~faultnet.trials.vehicle` holds them;
:mod:`~faultnet.trials.circuit`, :mod:`~faultnet.trials.starting`, :mod:`~faultnet.trials.resting`,
:mod:`~faultnet.trials.running` and :mod:`~faultnet.trials.answers` give the true value behind each test,
:mod:`~faultnet.trials.measuring` adds the instrument, and :mod:`~faultnet.trials.repairing` changes the car.
Use it through :mod:`~faultnet.trials.world`.
"""

from faultnet.trials.world import (
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
