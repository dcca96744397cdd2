"""Many virtual cars at once: the continuous physics of :mod:`faultnet.simulation.car` with arrays for numbers.

A car is a column of independent standard normal numbers; whatever is drawn for it (a resistance, a temperature, whether
a fault that comes and goes is on) is a function of one of them. So cars can be drawn from the prior, and moved about in
it to where readings lie. ``tests/simulation/test_many_cars.py`` holds this to the cars that are drawn one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, partial
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtr

from faultnet.model.build import is_recorder
from faultnet.model.network import Array
from faultnet.model.setting import Setting
from faultnet.physics import battery, charging, conductors, cranking
from faultnet.physics.waveform import HOLD, RISE
from faultnet.prior_set.types import Effect, Instrument, Test
from faultnet.simulation.car import answers, charge, circuit, resting, running, starting

Modes = Mapping[str, "int | NDArray[np.integer]"]
Known = Mapping[str, Array]
COMES_AND_GOES = (
    *("positive_joint", "negative_joint", "ground_path", "solenoid"),
    *("starter_motor", "start_control", "alternator", "drain", "battery"),
)


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


def at(effect: Effect, normal: Array) -> Array:
    """Value of an effect at standard normal numbers [unit of the effect]."""
    if effect.shape == "lognormal":
        return np.asarray(effect.centre * np.exp(effect.spread * normal))
    if effect.shape == "normal":
        return np.asarray(effect.centre + effect.spread * normal)
    return np.asarray(effect.centre + (effect.spread - effect.centre) * ndtr(normal))


@dataclass(frozen=True, eq=False)
class Cars:
    """Cars of one make under one visit's conditions.

    Parameters
    ----------
    setting : Setting
        As it is told; the air temperature must be known.
    modes : mapping of component to int, or int array of shape (cars,)
        Index of the mode each component is in.
    normal : Draws
    known : mapping of str to array
        Values that are given instead of drawn, by name: "charge", "surface", "hours", "electrolyte", "on COMPONENT",
        "sticks", or "COMPONENT/MODE/PARAMETER".
    """

    setting: Setting
    modes: Modes
    normal: Draws
    known: Known = field(default_factory=dict)
    _values: dict[tuple[str, str, bool], Array] = field(default_factory=dict, repr=False)

    # ---- what is drawn ---

    def spread(self, name: str) -> float:
        """A named number of the prior set."""
        return self.setting.spread(name)

    def trait(self, name: str, spread: float) -> Array:
        """What differs from car to car beyond the modes [unit of the spread]."""
        return spread * self.normal(f"trait {name}")

    def value(self, component: str, parameter: str) -> Array:
        """A parameter as it acts at this visit."""
        return self._value(component, parameter, True)

    def lasting(self, component: str, parameter: str) -> Array:
        """A parameter of the mode the component is in, on today or not."""
        return self._value(component, parameter, False)

    def _value(self, component: str, parameter: str, today: bool) -> Array:
        key = component, parameter, today
        if key not in self._values:
            self._values[key] = self._drawn(component, parameter, self.active(component) if today else None)
        return self._values[key]

    def _drawn(self, component: str, parameter: str, active: NDArray[np.integer] | int | None) -> Array:
        names = self.setting.modes(component)
        modes = self.modes[component] if active is None else active
        found = self._mode_value(component, names[0], parameter, "sound")
        for m in sorted(set(np.unique(np.asarray(self.modes[component])).tolist()) - {0}):
            if self.setting.catalogue.effect(component, names[m], parameter) is not None:
                bad = self._mode_value(component, names[m], parameter, "bad")
                found = bad if np.ndim(modes) == 0 else np.where(np.asarray(modes) == m, bad, found)
        return found

    def _mode_value(self, component: str, mode: str, parameter: str, which: str) -> Array:
        given = self.known.get(f"{component}/{mode}/{parameter}")
        if given is not None:
            return given
        effect = self.setting.catalogue.effect(component, mode, parameter)
        if effect is None:
            raise KeyError(f"{component}, {mode}, {parameter}")
        return at(effect, self.normal(f"{component} {parameter} {which}"))

    def active(self, component: str) -> NDArray[np.integer] | int:
        """Index of the mode a component acts in; one that is off acts as sound."""
        modes = self.modes[component]
        if component not in COMES_AND_GOES:
            return modes
        chances = self._on_chances(component, self.setting.brought_on)[np.asarray(modes)]
        if np.all(chances >= 1.0):
            return modes
        return np.asarray(np.where(self._on(f"on {component}", chances), modes, 0))

    def _on_chances(self, component: str, conditions: frozenset[str]) -> Array:
        names = self.setting.modes(component)
        return np.array([1.0, *(self.setting.catalogue.on_rate(component, m, conditions) for m in names[1:])])

    def _on(self, name: str, chances: Array | float) -> NDArray[np.bool_]:
        given = self.known.get(name)
        if given is not None:
            return given.astype(bool)
        return np.asarray(ndtr(self.normal(name)) < chances)

    def is_mode(self, component: str, *modes: str) -> NDArray[np.bool_]:
        """Whether a component is in one of these modes."""
        names = self.setting.modes(component)
        return np.isin(np.asarray(self.modes[component]), [names.index(m) for m in modes])

    # ---- the visit: temperature, charge ---

    @cached_property
    def electrolyte(self) -> Array:
        """Temperature of the acid [degC]."""
        if "electrolyte" in self.known:
            return self.known["electrolyte"]
        near = self.setting.electrolyte + self.setting.temperature_spread * self.normal("electrolyte")
        return np.clip(near, -40.0, 80.0)

    @cached_property
    def source_resistance(self) -> Array:
        """Of a new full battery of this rating at this temperature [ohm]."""
        return np.asarray(battery.resistance(self.setting.rating, self.electrolyte, 1.0))

    @cached_property
    def hours(self) -> Array:
        """Since the engine last ran [h]."""
        if "hours" in self.known:
            return self.known["hours"]
        usual = 24.0 * self.lasting("use", "days_standing")
        told = self.setting.conditions.hours_standing
        if told is None:
            return usual
        return np.where(self.is_mode("use", "long_standing"), np.maximum(usual, told), told)

    @cached_property
    def supply(self) -> NDArray[np.integer]:
        """How well the battery was fed lately: 0 good, 1 weak, 2 none, 3 over."""
        output: Array = np.asarray(1.0)
        for part in charge.SUPPLY_PARTS:
            output = output * self.lasting(part, "output_factor")
        volts = self.spread("set_point_nominal") + self.lasting("regulator", "set_point_shift")
        volts = volts + self.lasting("charge_control", "set_point_shift")
        cable = self.lasting("charge_cable", "resistance")
        volts = volts - np.minimum(cable * self.spread("drive_supply_current"), charge.CHARGER_VOLTS)
        none = (output < charge.NO_OUTPUT) | (volts < charge.NO_CHARGE)
        weak = (output < charge.WEAK_OUTPUT) | (volts < charge.WEAK_CHARGE)
        return np.select([none, weak, volts > charge.OVERCHARGE], [2, 1, 3], default=0)

    @cached_property
    def charge(self) -> Array:
        """State of charge when the visit starts [-]."""
        if "charge" in self.known:
            return self.known["charge"]
        words = ("good", "weak", "none", "over")
        middle, spread = (np.array([self.spread(f"charge_after_{w}_supply{e}") for w in words]) for e in ("", "_sd"))
        filled = np.clip(middle[self.supply] + spread[self.supply] * self.normal("filled"), 0.02, 1.0)
        accepting = np.minimum(self.lasting("battery", "acceptance_factor"), 1.0)
        filled = filled * np.minimum(1.0, 1.0 - charge.REACH_LOST + charge.REACH_LOST * accepting**0.5)
        filled = filled - (self.setting.effect("use", "normal", "usual_charge").centre - self.lasting(
            "use", "usual_charge"
        ))  # fmt: skip
        drawing = self._on("drain while standing", self._on_chances("drain", frozenset())[self.modes["drain"]])
        current = np.where(drawing, self.lasting("drain", "current"), 0.0)
        left = self.after_standing(filled, current, self.hours) - self.lasting("use", "left_on_charge")
        return np.clip(left, charge.PAST_EMPTY, 1.0)

    def after_standing(self, held: Array, current: Array | float, hours: Array | float) -> Array:
        """State of charge after some hours with a drain of so many amperes [-]."""
        own = battery.self_discharge_rate(self.electrolyte, self.setting.car.battery.kind)
        own = own * self.lasting("battery", "self_discharge_factor")
        capacity = self.setting.capacity * self.lasting("battery", "capacity_factor")
        return np.asarray(held - current * hours / capacity - own * hours / 24.0)

    @cached_property
    def surface(self) -> Array:
        """Surface charge left [V]."""
        if "surface" in self.known:
            return self.known["surface"]
        spread = self.spread("surface_charge_ln_spread")
        fresh = self.spread("surface_charge_median") * np.exp(spread * self.normal("surface"))
        left = battery.surface_charge(fresh, self.hours, self.electrolyte)
        return np.where(self.supply == 2, 0.0, left)

    # ---- the battery ---

    def rest_emf(self, held: Array | None = None) -> Array:
        """Rest voltage without surface charge, now or at another charge [V]."""
        held = self.charge if held is None else held
        kind = self.setting.car.battery.kind
        name = "agm_rest_voltage_spread" if kind == "agm" else "rest_voltage_spread"
        depth = np.maximum(-held, 0.0) / -charge.PAST_EMPTY
        share = 1.0 + 0.2 * np.tanh(self.normal("trait deep_loss"))
        full = battery.open_circuit_voltage(held, self.electrolyte, kind)
        lost = depth * share * self.spread("deep_discharge_loss") + self.lasting("battery", "rest_loss")
        return np.asarray(full - lost + self.trait("acid_strength", self.spread(name)))

    @cached_property
    def loaded(self) -> tuple[Array, Array, Array]:
        """EMF with all that bad cells give up [V], ohmic and polarisation resistance [ohm]."""
        factor = self.lasting("battery", "resistance_factor") * battery.charge_factor(self.charge)
        factor = factor * (1.0 + circuit.DEEP_RISE * np.maximum(-self.charge, 0.0))
        total = factor * self.source_resistance
        share = circuit.OHMIC_SHARE * np.exp(self.trait("ohmic_share", self.spread("resistance_split_spread")))
        share = np.clip(share, 0.3, 0.9)
        link = self.value("battery", "link_resistance")
        emf = self.rest_emf() - self.lasting("battery", "load_loss")
        return emf, share * total + link, (1.0 - share) * total

    # ---- the starting circuit ---

    @cached_property
    def start(self) -> Start:
        """The first second of an attempt."""
        return self.start_after(0.0)

    def start_after(self, seconds: float) -> Start:
        """An attempt to start, some seconds after its first [V, A]."""
        full_loss, ohmic, polarisation = self.loaded
        emf = full_loss + 0.6 * np.exp(-seconds / 5.0) * self.lasting("battery", "load_loss")
        positive, negative, ground = (
            self.value(j, "resistance") for j in ("positive_joint", "negative_joint", "ground_path")
        )
        coil = circuit.PULL_VOLTS / (
            self.spread("coil_current_pull") * np.exp(self.trait("coil_current", self.spread("coil_current_spread")))
        )
        fed_through = coil + self.value("start_control", "control_resistance") + ohmic + positive + negative + ground
        pull_in = emf * coil / fed_through
        needed = self._mode_value("solenoid", self.setting.modes("solenoid")[0], "pull_in_voltage", "sound")
        contact = self.value("solenoid", "contact_resistance")
        loop = positive + self.cable + contact + negative + ground + self.value("starter_motor", "brush_resistance")
        solved = self._solved(emf, ohmic, polarisation, loop)
        moved = (pull_in >= needed) & ~self.sticks
        held = self.spread("coil_current_hold")
        winding = np.where(moved | self.sticks, held, emf / fed_through)
        current = np.where(moved, solved.current, 0.0)
        developed = ohmic + battery.polarisation_share(0.0) * polarisation
        drawn = np.where(moved, current, winding)
        posts = emf - drawn * developed
        return Start(
            emf, polarisation, developed, positive, self.cable, contact, negative, ground, moved, winding, current,
            drawn, posts, posts - drawn * (positive + negative), solved,
        )  # fmt: skip

    @cached_property
    def sticks(self) -> NDArray[np.bool_]:
        """Whether a weak winding fails to pull in at this visit."""
        if "sticks" in self.known:
            return self.known["sticks"].astype(bool)
        weak = self.is_mode("solenoid", "weak_winding")
        if not np.any(weak):
            return np.asarray(weak)
        return weak & self._on("does not pull", self.spread("weak_winding_does_not_pull"))

    @cached_property
    def cable(self) -> Array:
        """Starter cable with its lugs [ohm]."""
        length = self.spread("starter_cable_length_mean")
        length = length * np.exp(self.trait("cable_length", self.spread("starter_cable_length_spread")))
        area = self.spread(f"starter_cable_area_{self.setting.car.fuel}")
        area = area * np.exp(self.trait("cable_area", self.spread("starter_cable_area_spread")))
        own = conductors.copper_resistance(length, area, self.setting.air)
        return np.asarray(own + self.value("starter_cable", "excess"))

    def _solved(self, emf: Array, ohmic: Array, polarisation: Array, loop: Array) -> cranking.Start:
        load = self.value("starter_motor", "friction_factor") * self.value("engine_turning", "drag_factor")
        load = load * np.exp(self.trait("nominal_current", self.spread("nominal_current_spread")))
        motor = np.exp(self.trait("motor_resistance", self.spread("motor_resistance_spread")))
        speed = np.exp(self.trait("nominal_speed", self.spread("nominal_speed_spread")))
        brush = self.spread("brush_drop_mean") + self.trait("brush_drop", self.spread("brush_drop_spread"))
        return cranking.solve_start(
            emf, ohmic, polarisation, loop, load, self.setting.nominal_current, motor * self.setting.motor_resistance,
            brush_drop=np.maximum(brush, 0.3), nominal_speed=speed * self.spread("nominal_speed_mean"),
        )  # fmt: skip

    # ---- the charging circuit ---

    def balance(self, state: str) -> tuple[Array, Array, Array]:
        """Volts at the posts [V], alternator current and current into the battery [A] in one running state."""
        emf = self.rest_emf()
        accepted = battery.acceptance_current(
            np.minimum(self.charge, 0.985), self.setting.capacity, self.electrolyte, 14.4,
            self.lasting("battery", "acceptance_factor"),
        ) * np.exp(self.trait("acceptance", self.spread("acceptance_rest_spread")))  # fmt: skip
        _, ohmic, polarisation = self.loaded
        volts, current, into = charging.charging_voltage(
            self._regulated(state), self._capability(state), self._load(state), emf,
            charging.charging_resistance(np.maximum(accepted, 0.3), emf), self.value("charge_cable", "resistance"),
            ohmic + polarisation,
        )  # fmt: skip
        return np.asarray(volts), np.asarray(current), np.asarray(into)

    @cached_property
    def loads_on(self) -> tuple[Array, Array, Array]:
        """The balance with all loads on."""
        return self.balance("charge_loaded")

    def _regulated(self, state: str) -> Array:
        warm = self.spread("regulator_temperature_rise") * expit(1.7 * self.normal("trait regulator_warmth"))
        warm = self.setting.air + warm
        if state == "charge_hot":
            warm = self.spread("regulator_temperature_hot") + self.trait("hot_regulator", running.HOT_SPREAD)
        shift = self.value("regulator", "set_point_shift") + self.value("charge_control", "set_point_shift")
        if self.setting.car.charge_control == "load_responsive":
            shift = shift + self.spread("load_responsive_mean") - self.spread("set_point_nominal")
            shift = shift + self.trait("command", self.spread("load_responsive_spread"))
        return np.asarray(charging.set_point(warm, "fixed") + shift)

    def _capability(self, state: str) -> Array:
        engine: Array | float = self.spread("raised_speed")
        if state == "charge_idle":
            engine = self.spread("idle_speed") + self.trait("idle_speed", self.spread("idle_speed_spread"))
        ratio = self.spread("pulley_ratio_mean") * np.exp(
            self.trait("pulley_ratio", self.spread("pulley_ratio_spread"))
        )
        most = charging.output_capability(charging.alternator_speed(engine, ratio), self.setting.car.alternator_rating)
        share: Array = np.asarray(1.0)
        for part in charge.SUPPLY_PARTS:
            share = share * self.value(part, "output_factor")
        return np.asarray(most * share)

    def _load(self, state: str) -> Array:
        name, trait = ("load_on", "many_loads") if state == "charge_loaded" else ("load_base", "few_loads")
        return self.spread(name) * np.exp(self.trait(trait, self.spread(f"{name}_ln_spread")))


@dataclass(frozen=True, eq=False)
class Start:
    """An attempt to start; names and units as of :class:`faultnet.simulation.car.circuit.Circuit`."""

    emf: Array
    polarisation: Array
    developed: Array
    positive_joint: Array
    cable: Array
    contact: Array
    negative_joint: Array
    ground: Array
    moved: NDArray[np.bool_]
    coil: Array
    current: Array
    drawn: Array
    posts: Array
    clamps: Array
    solved: cranking.Start


# ---- the true value behind each number, and the standard deviation of what is drawn anew at each reading ---

True_ = tuple[Array, "Array | float"]
FEW = 1e-9


def _rest_voltage(cars: Cars) -> True_:
    return cars.rest_emf() + cars.surface, FEW


def _gravity_level(cars: Cars) -> True_:
    level = battery.specific_gravity(cars.charge, cars.setting.car.battery.kind)
    single = cars.is_mode("battery", *resting.SINGLE_CELL)
    lost = np.where(single, cars.lasting("battery", "gravity_spread"), cars.lasting("battery", "rest_loss"))
    return np.asarray(
        level - lost / resting.CELLS + cars.trait("acid_strength", cars.spread("rest_voltage_spread")) / resting.CELLS
    ), FEW


def _gravity_spread(cars: Cars) -> True_:
    return cars.lasting("battery", "gravity_spread"), FEW


def _key_off_current(cars: Cars) -> True_:
    return cars.value("drain", "current") + cars.lasting("rectifier", "leakage"), FEW


def _overnight_fall(cars: Cars) -> True_:
    after = cars.after_standing(cars.charge, _key_off_current(cars)[0], cars.spread("overnight_hours"))
    return cars.rest_emf() - cars.rest_emf(np.maximum(after, charge.PAST_EMPTY)), resting.ROUGH


def _source_resistance(cars: Cars) -> True_:
    _, ohmic, polarisation = cars.loaded
    return ohmic + polarisation * (0.6 + 0.4 * ndtr(cars.normal("two loads"))), FEW


def _conductance_rating(cars: Cars) -> True_:
    _, ohmic, _ = cars.loaded
    new = battery.ohmic_resistance(cars.setting.rating, cars.electrolyte)
    shown = cars.setting.rating * (new / ohmic) ** 0.95
    return shown * np.exp(cars.spread("conductance_spread") * cars.normal("conductance")), FEW


def _half_rating_voltage(cars: Cars) -> True_:
    emf, ohmic, polarisation = cars.loaded
    current = 0.5 * cars.setting.rating
    current = current * np.exp(cars.spread("half_rating_current_spread") * cars.normal("half rating"))
    developed = ohmic + battery.polarisation_share(cars.spread("half_rating_time")) * polarisation
    return np.asarray(battery.load_voltage(emf, developed, current)), FEW


def _acceptance_current(cars: Cars) -> True_:
    taken = battery.acceptance_current(
        cars.charge, cars.setting.capacity, cars.electrolyte, 14.4, cars.lasting("battery", "acceptance_factor")
    )
    return np.asarray(taken * np.exp(cars.trait("acceptance", cars.spread("acceptance_rest_spread")))), FEW


def _hold_after_charge(cars: Cars) -> True_:
    accepting = np.minimum(cars.lasting("battery", "acceptance_factor"), 1.0)
    full = np.clip(1.0 - charge.REACH_LOST * (1.0 - accepting), 0.3, 1.0) - 0.04 * ndtr(cars.normal("when full"))
    hours = cars.spread("hold_hours")
    held = cars.after_standing(full, 0.0, hours)
    volts = battery.open_circuit_voltage(held, cars.electrolyte, cars.setting.car.battery.kind)
    fresh = np.exp(cars.spread("surface_charge_ln_spread") * cars.normal("surface after charger"))
    skin = battery.surface_charge(cars.spread("surface_charge_median") * fresh, hours, cars.electrolyte)
    volts = volts + skin - cars.lasting("battery", "rest_loss") + cars.trait("acid_strength", 0.04)
    return np.asarray(volts), FEW


def _module_offset(cars: Cars) -> True_:
    return cars.spread("module_offset_mean") + cars.trait("module_offset", cars.spread("module_offset_spread")), FEW


def _after(cars: Cars, seconds: float) -> Array:
    found = cars.start if seconds == 0.0 else cars.start_after(seconds)
    return np.asarray(cranking.sustained_after(found.posts, found.drawn, found.polarisation, seconds))


def _held(cars: Cars, seconds: float = 0.0) -> True_:
    return _after(cars, seconds), cars.spread("start_volts_spread")


def _sag(cars: Cars) -> True_:
    return _after(cars, 1.0) - _after(cars, starting.LONG_SECONDS), 0.04


def _crank_current(cars: Cars) -> True_:
    return cars.start.current + cars.start.coil, 0.03 * cars.start.current


def _inrush(cars: Cars) -> True_:
    peak = cars.start.solved.stall_current * cars.spread("inrush_seen_share")
    peak = peak * np.exp(0.12 * cars.normal("inrush"))
    return np.where(cars.start.moved, peak, cars.start.coil), FEW


def _speed(cars: Cars) -> True_:
    turning = np.where(cars.start.moved, cars.start.solved.speed, 0.0)
    return turning, 0.05 * turning


def _drop(cars: Cars, quantity: str) -> True_:
    start, parts = cars.start, starting.DROP_PARTS[quantity]
    through = start.current + start.coil
    volts: Array = np.zeros_like(through)
    for part in parts:
        volts = volts + getattr(start, part) * (start.current if part == "contact" else through)
    if "contact" in parts:
        volts = volts + np.where(start.moved, 0.0, start.clamps - through * start.ground)
    return np.minimum(volts, start.emf), 0.004


def _control_voltage(cars: Cars) -> True_:
    control = cars.value("start_control", "control_resistance")
    volts = cranking.control_terminal_voltage(cars.start.clamps, cars.start.coil, control)
    return np.maximum(volts, 0.0), 0.1


def _running(cars: Cars, state: str) -> True_:
    return (cars.loads_on if state == "charge_loaded" else cars.balance(state))[0], cars.spread("charge_volts_spread")


def _alternator_current(cars: Cars) -> True_:
    return cars.loads_on[1], 2.0


def _cable_drop(cars: Cars) -> True_:
    return cars.loads_on[1] * cars.value("charge_cable", "resistance"), 0.01


def _ground_drop(cars: Cars) -> True_:
    _, current, into = cars.loads_on
    drop = current * cars.value("ground_path", "resistance")
    return drop + np.maximum(into, 0.0) * cars.value("negative_joint", "resistance"), 0.003


def _ripple(cars: Cars) -> True_:
    full = cars.lasting("rectifier", "ripple") * cars.value("alternator", "ripple_factor")
    share = np.minimum(cars.loads_on[1] / running.LITTLE_CURRENT, 1.0)
    return np.maximum(full * share, running.LEAST_RIPPLE), FEW


NUMBERS: dict[str, Callable[[Cars], True_]] = {
    "rest_voltage": _rest_voltage,
    "overnight_fall": _overnight_fall,
    "gravity_level": _gravity_level,
    "gravity_spread": _gravity_spread,
    "key_off_current": _key_off_current,
    "source_resistance": _source_resistance,
    "conductance_rating": _conductance_rating,
    "half_rating_voltage": _half_rating_voltage,
    "acceptance_current": _acceptance_current,
    "hold_after_charge": _hold_after_charge,
    "module_offset": _module_offset,
    "crank_sustained": _held,
    "crank_sag": _sag,
    "crank_current": _crank_current,
    "inrush_current": _inrush,
    "cranking_speed": _speed,
    "control_voltage": _control_voltage,
    **{name: partial(_drop, quantity=name) for name in starting.DROP_PARTS},
    **{name: partial(_running, state=name) for name in running.STATES},
    "alternator_current": _alternator_current,
    "charge_cable_drop": _cable_drop,
    "charge_ground_drop": _ground_drop,
    "ripple": _ripple,
}


def true_value(cars: Cars, test: Test, instrument: Instrument, interval: float | None = None) -> True_:
    """What the quantity of a test is on each car, and the spread of what is drawn anew at each reading.

    Parameters
    ----------
    cars : Cars
    test : Test
    instrument : Instrument
    interval : float, optional
        Of a log [s].

    Returns
    -------
    value : array, shape (cars,)
        Where a module may freeze while cranking it is taken not to; see :func:`frozen`.
    scatter : float or array
        Standard deviation [unit of the test].
    """
    if test.quantity in ("crank_minimum", "clamp_minimum"):
        seconds = interval if is_recorder(instrument) else instrument.interval
        return _minimum(cars, test.quantity, instrument, seconds)
    if test.id == "dead_crank_level":
        return _held(cars, starting.STEADY_SECONDS)
    return NUMBERS[test.quantity](cars)


def _minimum(cars: Cars, quantity: str, instrument: Instrument, interval: float | None) -> True_:
    start = cars.start
    dip, held = start.solved.first_dip, start.posts
    if quantity == "clamp_minimum":
        dip = dip - start.solved.stall_current * (start.positive_joint + start.negative_joint)
        held = start.clamps
    stretch = np.exp(cars.trait("dip_time", cars.spread("dip_time_spread")))
    ripple = cranking.compression_ripple(start.current, start.developed, cars.setting.car.cylinders)
    ripple = ripple * np.exp(cars.trait("ripple", cars.spread("compression_ripple_ln_spread")))
    speed = np.maximum(start.solved.speed, 30.0)
    frequency = cranking.compression_frequency(speed, cars.setting.car.cylinders)
    shape = {"hold": HOLD * stretch, "rise": RISE * stretch}
    phase = ndtr(cars.normal(f"phase {instrument.id}"))
    dip = np.minimum(dip, held)
    if interval is not None and interval > (instrument.window or 0.0):
        seen = cranking.sampled_minimum(start.emf, dip, held, ripple, interval, phase, frequency, **shape)
    else:
        window = instrument.window or 1e-3
        seen = cranking.windowed_minimum(start.emf, dip, held, ripple, window, phase, frequency, **shape)
    scatter = np.where(start.moved, cars.spread("start_volts_spread"), FEW)
    return np.where(start.moved, seen, held), scatter


def frozen(cars: Cars, test: Test, instrument: Instrument) -> tuple[float, Array] | None:
    """Chance that a module's reading freezes while cranking, and what it shows then [V]; None where none can."""
    if test.quantity == "clamp_minimum" and instrument.place == "module":
        return cars.spread("module_freeze"), cars.start.emf
    return None


def offset(cars: Cars, instrument: Instrument) -> Array | float:
    """Difference of the instrument's place from the posts at rest [V]."""
    if instrument.place == "module":
        return _module_offset(cars)[0]
    if instrument.place == "socket":
        return cars.spread("socket_offset_mean") + cars.trait("socket_offset", cars.spread("socket_offset_spread"))
    return 0.0


# ---- chances of what is heard and seen ---


def _above(cars: Cars, value: Array, edge: str, width: str) -> Array:
    return np.asarray(expit((value - cars.spread(edge)) / cars.spread(width)))


def heard(cars: Cars) -> dict[str, Array]:
    """Chance of each way the engine turns over [-]."""
    start = cars.start
    turns = _above(cars, start.solved.speed, "stands_speed", "stands_speed_width") * start.moved
    brisk = _above(cars, start.solved.speed, "slow_speed", "slow_speed_width")
    left = start.clamps - start.current * start.ground
    left = left - start.coil * cars.value("start_control", "control_resistance")
    clicks = left < cars.spread("clicking_voltage") + cars.trait("clicking", cars.spread("clicking_voltage_spread"))
    stands = start.moved - turns
    return {
        "normal": turns * brisk, "slow": turns * (1.0 - brisk), "one_clunk": stands * ~clicks,
        "rapid_clicking": stands * clicks, "nothing": 1.0 - start.moved,
    }  # fmt: skip


def lamps(cars: Cars) -> dict[str, Array]:
    """Chance of what the headlamps do while cranking [-]."""
    start = cars.start
    drawn = start.current + start.coil + cars.spread("lamp_current")
    through = start.developed + start.positive_joint + start.negative_joint
    volts = np.maximum(start.emf - drawn * through, 0.0)
    bright = _above(cars, volts, "lamp_dim_voltage", "lamp_dim_width")
    lit = _above(cars, volts, "lamp_out_voltage", "lamp_out_width")
    return {"stay_bright": bright, "dim": (1.0 - bright) * lit, "go_out": (1.0 - bright) * (1.0 - lit)}


def eye_colour(cars: Cars) -> dict[str, Array]:
    """Chance of each colour of the built-in hydrometer [-]."""
    dried = cars.is_mode("battery", "dried_out")
    clear = np.where(dried, answers.CLEAR_DRIED, answers.CLEAR_USUAL)
    bad = np.where(cars.is_mode("battery", *resting.SINGLE_CELL), 1.0 / cars.spread("eye_cells"), 0.0)
    above = ndtr((cars.charge - cars.spread("eye_green_charge")) / cars.spread("eye_green_charge_spread"))
    green = answers.GREEN_SHARE * above * (1.0 - bad) * (1.0 - clear)
    return {"clear": clear, "green": green, "dark": 1.0 - clear - green}


CHOICES: dict[str, Callable[[Cars], dict[str, Array]]] = {
    "crank_behaviour": heard,
    "clamp_lamps": lamps,
    "eye": eye_colour,
}
