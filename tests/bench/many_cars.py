"""Many virtual cars at once: :class:`~faultnet.simulation.car.vehicle.VirtualCar` with arrays for numbers.

Every number drawn for a car (a resistance, a temperature, whether a fault that comes and goes is on) is a function of
one standard normal number of its own. So cars can be drawn from the prior, and moved about in it to where readings lie.
What is true of them the virtual car's own functions say; ``tests/simulation/test_many_cars.py`` holds these cars to
those that are drawn one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from types import MappingProxyType
from typing import Any, Protocol, cast

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr
from scipy.stats import laplace

from faultnet.model import modes as chances
from faultnet.model.bins import Bins
from faultnet.model.build import AT_CLAMPS
from faultnet.model.network import Array
from faultnet.model.quantities import quantity_read
from faultnet.model.quantity import Quantity
from faultnet.model.setting import Setting
from faultnet.physics import battery
from faultnet.prior_set.types import Effect, Instrument, Test
from faultnet.simulation.car import answers, charge, measure, resting
from faultnet.simulation.car.circuit import solve_circuit
from faultnet.simulation.car.spreads import WORLDS
from faultnet.simulation.car.vehicle import VirtualCar
from faultnet.simulation.car.world import hours_brought_in

Key = tuple[str, str, str]
FEW = 1e-9


class Draws(Protocol):
    """Where the standard normal numbers come from."""

    def __call__(self, name: str) -> Array:
        """One number for each car, the same whenever it is asked for by this name."""


@dataclass(frozen=True, eq=False)
class Rows:
    """Standard normal numbers as rows of a matrix, one row for each name asked for.

    Parameters
    ----------
    values : array, shape (>= names, cars)
    names : dict of str to int
        Row of each name; a new name gets the next one.
    """

    values: Array
    names: dict[str, int] = field(default_factory=dict)

    def __call__(self, name: str) -> Array:
        return np.asarray(self.values[self.names.setdefault(name, len(self.names))])


class Chance:
    """What the virtual car's functions ask of a generator, each draw by a name of its own.

    Parameters
    ----------
    normal : Draws
    name : str
        What is drawn for.
    calm : bool
        Whether what scatters a quantity is left out, to be counted with the error of the reading.
    """

    def __init__(self, normal: Draws, name: str, calm: bool = False) -> None:
        self.normal, self.name, self.calm, self.drawn = normal, name, calm, 0

    def standard_normal(self) -> Array:
        """One number for each car."""
        self.drawn += 1
        return self.normal(f"{self.name} {self.drawn}")

    def random(self) -> Array:
        """Even between nought and one."""
        return np.asarray(ndtr(self.standard_normal()))

    def uniform(self, low: float, high: float) -> Array:
        """Even between two ends."""
        return low + (high - low) * self.random()


@dataclass(frozen=True, eq=False)
class Parameters(Mapping[Key, Array]):
    """Every parameter of every mode, worked out when it is asked for."""

    setting: Setting
    normal: Draws
    found: dict[Key, Array]

    def __getitem__(self, key: Key) -> Array:
        if key not in self.found:
            component, mode, parameter = key
            own = self.setting.catalogue.effect(component, mode, parameter)
            sound = component, self.setting.modes(component)[0], parameter
            if key == sound or own is not None:
                word = "sound" if key == sound else "bad"
                self.found[key] = at(self.setting.effect(*key), self.normal(f"{component} {parameter} {word}"))
            else:
                self.found[key] = self[sound]
        return self.found[key]

    def __iter__(self) -> Iterator[Key]:
        return iter(self.setting.catalogue.effects)

    def __len__(self) -> int:
        return len(self.setting.catalogue.effects)


class Traits(dict[str, Array]):
    """What differs from car to car beyond the modes."""

    def __init__(self, normal: Draws) -> None:
        self.normal = normal

    def __missing__(self, name: str) -> Array:
        return self.normal(f"trait {name}")


def at(effect: Effect, normal: Array) -> Array:
    """Value of an effect at standard normal numbers [unit of the effect]."""
    if effect.shape == "lognormal":
        return np.asarray(effect.centre * np.exp(effect.spread * normal))
    if effect.shape == "normal":
        return np.asarray(effect.centre + effect.spread * normal)
    return np.asarray(effect.centre + (effect.spread - effect.centre) * ndtr(normal))


class Cars(VirtualCar):
    """Cars of one make in the same modes under one visit's conditions; what is not asked for is not worked out.

    Parameters
    ----------
    told : Setting
        As it is told; the air temperature must be known.
    modes : mapping of component to mode
    normal : Draws
    known : mapping of str to array
        Values that are given instead of drawn, by name: "charge", "surface", "hours", "electrolyte", "on COMPONENT",
        "sticks", or "COMPONENT/MODE/PARAMETER".
    """

    def __init__(
        self, told: Setting, modes: Mapping[str, str], normal: Draws, known: Mapping[str, Array] = MappingProxyType({})
    ) -> None:
        assert told.conditions.air_temperature is not None
        given = {cast(Key, tuple(name.split("/"))): values for name, values in known.items() if "/" in name}
        self.__dict__.update(
            told=told, car=told.car, conditions=told.conditions, world=WORLDS["standard"], modes=modes, normal=normal,
            known=known, parameters=Parameters(told, normal, given), traits=Traits(normal), solved={}, seen={},
        )  # fmt: skip

    def value(self, component: str, parameter: str) -> Any:
        """A parameter as it acts at this visit."""
        key = component, parameter
        if key not in self.seen:
            self.seen[key] = self._value(component, parameter)
        return self.seen[key]

    def _value(self, component: str, parameter: str) -> Array:
        mode, sound = self.modes[component], self.told.modes(component)[0]
        bad = self.parameters[component, mode, parameter]
        if parameter == "link_resistance" and (component, mode) == chances.LINK:
            chance = self.catalogue.on_rate(component, mode, self.told.brought_on)
        else:
            chance = float(chances.on_chances(self.told, component)[self.told.modes(component).index(mode)])
        if chance >= 1.0:
            return np.asarray(bad)
        return np.where(self._holds(f"on {component}", chance), bad, self.parameters[component, sound, parameter])

    def _holds(self, name: str, chance: float) -> NDArray[np.bool_]:
        given = self.known.get(name)
        return np.asarray(ndtr(self.normal(name)) < chance) if given is None else given.astype(bool)

    def acts_in(self, component: str, *modes: str) -> Any:
        """Whether each car's component acts in one of these modes; only what never goes off is asked about."""
        assert component not in chances.intermittent_components(self.catalogue)
        return self.modes[component] in modes

    def scattered(self, rng: Any, spread: float) -> Any:
        """A fresh normal deviation [unit of the spread], unless it is counted with the reading's error."""
        return 0.0 if rng.calm else spread * rng.standard_normal()

    @cached_property
    def setting(self) -> Setting:
        """The setting with each car's temperature of the acid."""
        near = self.told.electrolyte + self.told.temperature_spread * self._drawn("electrolyte")
        acid = np.clip(near, -40.0, 80.0) if "electrolyte" not in self.known else self.known["electrolyte"]
        true = Setting(self.car, self.conditions, self.catalogue)
        true.__dict__.update(electrolyte=acid, source_resistance=battery.resistance(true.rating, acid, 1.0))
        return true

    @property
    def catalogue(self) -> Any:
        """The prior set they are drawn from."""
        return self.told.catalogue

    def _drawn(self, name: str) -> Array | float:
        return 0.0 if name in self.known else self.normal(name)

    @cached_property
    def hours_standing(self) -> Any:
        """Since the engine last ran [h]."""
        return self.known["hours"] if "hours" in self.known else hours_brought_in(
            self.conditions, self.modes, self.parameters
        )  # fmt: skip

    @cached_property
    def charge(self) -> Any:
        """State of charge when the visit starts [-]."""
        if "charge" in self.known:
            return self.known["charge"]
        return charge.charge_brought_in(
            self._chance("brought in"), self.setting, self.modes, self.parameters, self.hours_standing, self.world
        )  # fmt: skip

    @cached_property
    def surface(self) -> Any:
        """Surface charge left [V]."""
        if "surface" in self.known:
            return self.known["surface"]
        fresh = charge.surface_after_driving(
            self._chance("surface"), self.setting, self.modes, self.parameters, self.world
        )  # fmt: skip
        return charge.surface_left(self.setting, fresh, self.hours_standing)

    @cached_property
    def sticks(self) -> Any:
        """Whether a weak winding fails to pull in at this visit."""
        weak = self.modes["solenoid"] == "weak_winding"
        return weak and self._holds("sticks", self.number("weak_winding_does_not_pull"))

    def unlike(self, quantity: Quantity, value: Array) -> Array:
        """A value with what each car is off the model in that quantity [unit of the quantity]."""
        if not quantity.unlike:
            return value
        own, share = self._chance(f"unlike {quantity.name}"), self.number("unlike_far")
        far = np.where(own.random() < share, self.number("unlike_far_times"), 1.0)
        off = far * self.number(quantity.unlike) * laplace.ppf(np.clip(own.random(), 1e-12, 1.0 - 1e-12))
        if quantity.off_by == "amount":
            return np.asarray(value + off)
        if quantity.off_by == "factor":
            return np.asarray(value * np.exp(off))
        assert isinstance(quantity.scale, Bins)
        whole, part = quantity.scale.edges[-1], np.maximum(value, 1e-9)
        return np.where((value > 0.0) & (value < whole), whole / (1.0 + (whole / part - 1.0) * np.exp(-off)), value)

    def _chance(self, name: str) -> Any:
        return Chance(self.normal, name)


def true_value(
    cars: Cars, test: Test, instrument: Instrument, interval: float | None = None, name: str = "reading"
) -> tuple[Array, float]:
    """What the quantity of a test is on each car as the instrument meets it, and what scatters it at each reading.

    Parameters
    ----------
    cars : Cars
    test : Test
    instrument : Instrument
    interval : float, optional
        Of a log [s].
    name : str
        Of the reading: what is drawn anew at it is drawn by this.

    Returns
    -------
    value : array, shape (cars,)
    scatter : float
        Standard deviation that is to be counted with the instrument's error [unit of the test]; what scatters
        otherwise is in the values.
    """
    read = quantity_read(test)
    spread = cars.number(read.scatter) if isinstance(read.scatter, str) else read.scatter
    if read.sampled:  # a start that never was, or that a module froze at, does not scatter
        spread = 0.0
    rng: Any = Chance(cars.normal, name, calm=spread > 0.0)
    value = measure.true_value(cars, rng, test, instrument, interval)
    if test.quantity != "module_offset":
        value = value + measure.place_offset(cars, rng, instrument)
    return np.asarray(value), max(spread, FEW)


def as_met(
    cars: Cars, test: Test, instrument: Instrument, interval: float | None = None, name: str = "reading"
) -> tuple[Array, float]:
    """The same with what each car is off the model in it."""
    value, scatter = true_value(cars, test, instrument, interval, name)
    value = cars.unlike(quantity_read(test), value)
    if test.quantity == AT_CLAMPS:
        off = cars.number("away_while_cranking_spread") * cars.normal("away while cranking")
        value = value + cars.number("away_while_cranking_mean") + off
    return value, scatter


# ---- chances of what is heard and seen, which the virtual car only draws ---


def _above(cars: Cars, value: Array, edge: str, width: str) -> Array:
    return np.asarray(expit((value - cars.number(edge)) / cars.number(width)))


def heard(cars: Cars) -> dict[str, Array]:
    """Chance of each way the engine turns over [-]."""
    circuit: Any = solve_circuit(cars)
    turns = _above(cars, circuit.start.speed, "stands_speed", "stands_speed_width") * circuit.moved
    brisk = _above(cars, circuit.start.speed / cars.setting.usual_speed, "slow_share", "slow_share_width")
    edge = cars.number("clicking_voltage") + cars.trait("clicking", cars.number("clicking_voltage_spread"))
    clicks = np.asarray(answers.coil_volts(cars, circuit) < edge)
    stands, silent = circuit.moved - turns, answers.silent(cars)
    found = {
        "normal": turns * brisk, "slow": turns * (1.0 - brisk), "one_clunk": stands * ~clicks,
        "rapid_clicking": stands * clicks, "nothing": np.zeros_like(turns),
    }  # fmt: skip
    return {word: chance + (1.0 - circuit.moved) * silent.get(word, 0.0) for word, chance in found.items()}


def lamps(cars: Cars) -> dict[str, Array]:
    """Chance of what the headlamps do while cranking [-]."""
    volts = np.asarray(answers.lamp_volts(cars))
    bright = _above(cars, volts, "lamp_dim_voltage", "lamp_dim_width")
    lit = _above(cars, volts, "lamp_out_voltage", "lamp_out_width")
    return {"stay_bright": bright, "dim": (1.0 - bright) * lit, "go_out": (1.0 - bright) * (1.0 - lit)}


def eye_colour(cars: Cars) -> dict[str, Array]:
    """Chance of each colour of the built-in hydrometer [-]."""
    dried = cars.acts_in("battery", "dried_out")
    clear = cars.number("eye_clear_dried_out" if dried else "eye_clear_otherwise")
    bad = 1.0 / cars.number("eye_cells") if cars.acts_in("battery", *resting.SINGLE_CELL) else 0.0
    above = ndtr((cars.charge - cars.number("eye_green_charge")) / cars.number("eye_green_charge_spread"))
    green = cars.number("eye_green_share") * above * (1.0 - bad) * (1.0 - clear)
    return {"clear": clear + 0.0 * green, "green": green, "dark": 1.0 - clear - green}


CHOICES: dict[str, Callable[[Cars], dict[str, Array]]] = {
    "crank_behaviour": heard,
    "clamp_lamps": lamps,
    "eye": eye_colour,
}
