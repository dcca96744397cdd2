"""A virtual car: what is true of it, behind every reading."""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np

from faultnet.case.types import Car, Conditions
from faultnet.model.bins import Bins
from faultnet.model.modes import LINK
from faultnet.model.quantity import Quantity
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect
from faultnet.simulation.car.spreads import World, drawn

# What differs from car to car beyond the modes, each a standard normal number that is scaled where it is used.
TRAITS = (
    "acid_strength",
    "acceptance",
    "brush_drop",
    "cable_area",
    "cable_length",
    "clicking",
    "coil_current",
    "command charge_hot",
    "command charge_idle",
    "command charge_loaded",
    "command charge_unloaded",
    "deep_loss",
    "dip_time",
    "few_loads",
    "flat_with_load",
    "hot_regulator",
    "idle_speed",
    "many_loads",
    "module_offset",
    "motor_resistance",
    "nominal_current",
    "nominal_speed",
    "ohmic_share",
    "peak_share",
    "pulley_ratio",
    "regulator_warmth",
    "ripple",
    "socket_offset",
    "start_drop",
)


@dataclass(frozen=True)
class VirtualCar:
    """One car with known modes, its drawn parameters and its state at one visit.

    Parameters
    ----------
    car : Car
        What its label and papers say.
    conditions : Conditions
        What the technician knows of the visit.
    setting : Setting
        The same with the true temperatures.
    world : World
    modes, active : mapping of component to mode
        The mode it is in, and the one it acts in at this visit.
    parameters : mapping of (component, mode, parameter) to float
        Of the mode it is in and of the sound mode [unit of the effect].
    traits : mapping of str to float
        Standard normal numbers, persistent [-].
    charge : float
        State of charge now [-]; below nought what was drawn beyond the rated capacity, to -0.2.
    surface : float
        Surface charge left now [V].
    hours_standing : float
        True hours since the engine last ran [h].
    sticks : bool
        Whether a weak winding fails to pull in at this visit.
    solved : dict
        Circuits solved already, by the seconds of cranking.
    """

    car: Car
    conditions: Conditions
    setting: Setting = field(repr=False)
    world: World
    modes: Mapping[str, str]
    active: Mapping[str, str]
    parameters: Mapping[tuple[str, str, str], float] = field(repr=False)
    traits: Mapping[str, float] = field(repr=False)
    charge: float
    surface: float
    hours_standing: float
    sticks: bool = False
    solved: dict[float, Any] = field(default_factory=dict, init=False, repr=False, compare=False)

    @property
    def catalogue(self) -> Catalogue:
        """The prior set it was drawn from."""
        return self.setting.catalogue

    @cached_property
    def faults(self) -> tuple[tuple[str, str], ...]:
        """Every component that is not sound, with its mode."""
        sound = {c.id: c.modes[0].id for c in self.catalogue.components}
        return tuple((c, m) for c, m in self.modes.items() if m != sound[c])

    @property
    def shows(self) -> bool | None:
        """Whether one of its faults acts at this visit, which those that come and go may not; None with no fault."""
        return any(self.active[c] == m for c, m in self.faults) if self.faults else None

    def own(self, name: str) -> np.random.Generator:
        """Random numbers of this car for something by name, the same whenever it is asked."""
        return np.random.default_rng(zlib.crc32(f"{name} {sorted(self.traits.items())}".encode()))

    def unlike(self, quantity: Quantity, value: float) -> float:
        """A true value with what this car is off the model in that quantity, at every reading alike [its unit]."""
        if not quantity.unlike:
            return value
        rng = self.own(quantity.name)
        far = self.number("unlike_far_times") if rng.random() < self.number("unlike_far") else 1.0
        off = far * self.world.widening * self.number(quantity.unlike) * float(rng.laplace())
        if quantity.off_by == "amount":
            return value + off
        if quantity.off_by == "factor":
            return value * float(np.exp(off))
        assert isinstance(quantity.scale, Bins)
        whole = quantity.scale.edges[-1]
        return whole / (1.0 + (whole / value - 1.0) * float(np.exp(-off))) if 0.0 < value < whole else value

    def value(self, component: str, parameter: str) -> float:
        """A parameter as it acts at this visit [unit of the effect].

        A broken link between the cells opens and closes; the battery around it stays what it is.
        """
        lasting = (component, self.modes[component]) == LINK and parameter != "link_resistance"
        mode = self.modes[component] if lasting else self.active[component]
        return self.parameters[(component, mode, parameter)]

    def acts_in(self, component: str, *modes: str) -> bool:
        """Whether a component acts in one of these modes at this visit."""
        return self.active[component] in modes

    def number(self, name: str) -> float:
        """A named number of the prior set, in its own unit."""
        return self.catalogue.number(name)

    def trait(self, name: str, spread: float) -> float:
        """A trait scaled by its spread [unit of the spread]."""
        return self.world.widening * spread * self.traits[name]

    def scattered(self, rng: np.random.Generator, spread: float) -> float:
        """A fresh normal deviation [unit of the spread]."""
        return self.world.widening * spread * float(rng.standard_normal())


def draw_parameters(
    rng: np.random.Generator, catalogue: Catalogue, modes: Mapping[str, str], world: World
) -> dict[tuple[str, str, str], float]:
    """Every physical parameter of every component, in its mode and in the sound mode."""
    found = {}
    for component in catalogue.components:
        sound = component.modes[0].id
        for parameter in catalogue.parameters(component.id):
            healthy = drawn(effect_of(catalogue, component.id, sound, parameter), rng, world.widening)
            found[(component.id, sound, parameter)] = healthy
            mode = modes[component.id]
            if mode != sound:
                own = catalogue.effect(component.id, mode, parameter)
                found[(component.id, mode, parameter)] = healthy if own is None else drawn(own, rng, world.widening)
    return found


def effect_of(catalogue: Catalogue, component: str, mode: str, parameter: str) -> Effect:
    """How a parameter of the sound mode is spread.

    Raises
    ------
    KeyError
        If the prior set has no row for it, which its loader does not let pass.
    """
    return catalogue.effects[(component, mode, parameter)]
