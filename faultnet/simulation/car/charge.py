"""State of charge and surface charge of a virtual car, when it is brought in and after it was charged or driven."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from faultnet.model.balance import SPENT, supply_share
from faultnet.model.setting import Setting
from faultnet.model.source import SUPPLY_STATES, brisk_speed, kept_in_use, reached
from faultnet.physics import battery, charging, drain
from faultnet.physics.quantity import Quantity
from faultnet.simulation.car.spreads import World

Parameters = Mapping[tuple[str, str, str], float]
Modes = Mapping[str, str]

SUPPLY_PARTS = ("alternator", "rectifier", "belt", "charge_control")


def supply_word(setting: Setting, modes: Modes, parameters: Parameters) -> str:
    """How well the charging side has fed the battery lately: "good", "weak", "none" or "over"."""
    return SUPPLY_STATES[int(supply_state(setting, modes, parameters))]


def supply_state(setting: Setting, modes: Modes, parameters: Parameters) -> NDArray[np.intp]:
    """The same as an index into :data:`faultnet.model.source.SUPPLY_STATES`.

    Parameters
    ----------
    setting : Setting
    modes : mapping of component to mode
    parameters : mapping of (component, mode, parameter) to float

    Notes
    -----
    From the share of its output that the alternator can give and the volts that reach the battery over the cable. A
    fault that comes and goes counts as having been on: the car was brought in because of it. On the road an
    engine turns briskly often enough for an alternator to excite itself that begins at such a speed.
    """
    output = np.asarray(math.prod(parameters[(part, modes[part], "output_factor")] for part in SUPPLY_PARTS))
    excited_from = parameters[("charge_control", modes["charge_control"], "excited_from")]
    begins = charging.begins_to_charge(excited_from, setting.car.charge_control)
    output = np.where(begins <= brisk_speed(setting), output, 0.0)
    volts = setting.number("set_point_nominal")
    for part in ("regulator", "charge_control"):
        volts = volts + parameters[(part, modes[part], "set_point_shift")]
    cable = parameters[("charge_cable", modes["charge_cable"], "resistance")]
    reaching = np.asarray(volts - np.minimum(cable * setting.number("drive_supply_current"), 14.0))

    def below(state: str) -> NDArray[np.bool_]:
        by_output = output < setting.number(f"supply_{state}_below_output")
        return np.asarray(by_output | (reaching < setting.number(f"supply_{state}_below_volts")))

    holds = {
        "none": below("none"),
        "weak": below("weak"),
        "over": reaching > setting.number("supply_over_above_volts"),
    }
    return np.select(list(holds.values()), [SUPPLY_STATES.index(state) for state in holds], SUPPLY_STATES.index("good"))


def charge_brought_in(
    rng: np.random.Generator, setting: Setting, modes: Modes, parameters: Parameters, hours: float, world: World
) -> Quantity:
    """State of charge when the visit starts [-].

    Parameters
    ----------
    rng : numpy.random.Generator
    setting : Setting
    modes : mapping of component to mode
    parameters : mapping of (component, mode, parameter) to float
    hours : float
        Since the engine last ran [h].
    world : World

    Notes
    -----
    What driving left in it, less what its use keeps it short of, less drain and self-discharge while it stood, less
    what was left on. A drain that only sometimes stays on did so this time with its chance per visit.
    """
    filled = usual_charge(rng, setting, modes, parameters, world)
    drawing = rng.random() < setting.catalogue.on_rate("drain", modes["drain"], ())
    current = np.where(drawing, parameters[("drain", modes["drain"], "current")], 0.0)
    left = after_standing(setting, modes, parameters, filled, current, hours)
    return np.clip(left - parameters[("use", modes["use"], "left_on_charge")], -setting.number("past_empty"), 1.0)


def accepting_of_its_own(modes: Modes, parameters: Parameters) -> Quantity:
    """Current the battery takes for each ampere hour that it has left, over that of one as labelled [-]."""
    taken, left = (parameters[("battery", modes["battery"], name)] for name in ("acceptance_factor", "capacity_factor"))
    return battery.acceptance_of_its_own(taken, left)


def usual_charge(
    rng: np.random.Generator, setting: Setting, modes: Modes, parameters: Parameters, world: World
) -> Quantity:
    """State of charge that driving leaves in the long run, with this use of the car [-]."""
    state = supply_state(setting, modes, parameters)
    middle, spread = (
        np.array([setting.number(f"charge_after_{word}_supply{end}") for word in SUPPLY_STATES])[state]
        for end in ("", "_sd")
    )
    filled = np.clip(middle + world.widening * spread * rng.standard_normal(), 0.02, 1.0)
    filled = filled * kept_in_use(setting, accepting_of_its_own(modes, parameters))
    usual = setting.effect("use", "normal", "usual_charge").centre
    return np.asarray(filled - usual + parameters[("use", modes["use"], "usual_charge")])


def charge_brought_again(
    rng: np.random.Generator,
    setting: Setting,
    modes: Modes,
    parameters: Parameters,
    charge: float,
    days: float,
    hours: float,
    world: World,
) -> float:
    """State of charge when a car comes again [-].

    Parameters
    ----------
    rng : numpy.random.Generator
    setting : Setting
        Of the new visit.
    modes : mapping of component to mode
        With the way of use that goes on.
    parameters : mapping of (component, mode, parameter) to float
    charge : float
        When it left [-].
    days : float
        Since then [d].
    hours : float
        Of these, since the engine last ran [h].
    world : World

    Notes
    -----
    :func:`faultnet.physics.drain.charge_in_use` over the hours driven, then what the drain, the diodes and the battery
    itself took while it stood.
    """
    usual = usual_charge(rng, setting, modes, parameters, world)
    driven = parameters[("use", modes["use"], "hours_driven_per_day")] * max(days - hours / 24.0, 0.0)
    word = supply_word(setting, modes, parameters)
    held = drain.charge_in_use(
        charge,
        usual,
        max(driven, setting.number("trip_hours")),
        setting.capacity * parameters[("battery", modes["battery"], "capacity_factor")],
        supply_share(word, setting) * setting.number("drive_supply_current") * _supply_spread(rng, setting, world),
        setting.number(SPENT[word]),
        setting.electrolyte,
        accepting_of_its_own(modes, parameters),
        float(setting.regulated(setting.air)),
    )
    drawing = rng.random() < setting.catalogue.on_rate("drain", modes["drain"], ())
    sound = setting.modes("drain")[0]
    current = parameters[("drain", modes["drain"] if drawing else sound, "current")]
    current += parameters[("rectifier", modes["rectifier"], "leakage")]
    left = after_standing(
        setting, modes, parameters, float(np.clip(held, -setting.number("past_empty"), 1.0)), current, hours
    )
    return float(np.maximum(left, -setting.number("past_empty")))


def _supply_spread(rng: np.random.Generator, setting: Setting, world: World) -> float:
    return float(np.exp(world.widening * setting.number("drive_supply_ln_spread") * rng.standard_normal()))


def after_standing(
    setting: Setting, modes: Modes, parameters: Parameters, charge: Quantity, current: Quantity, hours: Quantity
) -> Quantity:
    """State of charge after some hours with a drain of so many amperes [-], not held to what it can give."""
    capacity = setting.capacity * parameters[("battery", modes["battery"], "capacity_factor")]
    fading = parameters[("battery", modes["battery"], "self_discharge_factor")]
    kind = setting.car.battery.kind
    return drain.charge_left(charge, current, hours, capacity, setting.electrolyte, kind, fading, -np.inf)


def surface_after_charging(rng: np.random.Generator, setting: Setting, world: World) -> Quantity:
    """Surface charge just after charging or driving [V]."""
    spread = world.widening * setting.number("surface_charge_ln_spread")
    return np.asarray(setting.number("surface_charge_median") * np.exp(spread * rng.standard_normal()))


def surface_after_driving(
    rng: np.random.Generator, setting: Setting, modes: Modes, parameters: Parameters, world: World
) -> Quantity:
    """Surface charge just after a drive [V]; none where the charging side gives nothing."""
    fed = supply_state(setting, modes, parameters) != SUPPLY_STATES.index("none")
    return np.where(fed, surface_after_charging(rng, setting, world), 0.0) if np.any(fed) else 0.0


def surface_left(setting: Setting, initial: Quantity, hours: Quantity) -> Quantity:
    """Surface charge left after so many hours without load [V]."""
    return battery.surface_charge(initial, hours, setting.electrolyte)


def charge_after_charger(
    rng: np.random.Generator, setting: Setting, modes: Modes, parameters: Parameters, charge: float, hours: float
) -> float:
    """State of charge after so many hours on a charger [-].

    Notes
    -----
    The charger fills what the battery accepts for each ampere hour that it has left: 1 - 0.45 (1 - a) less up to 0.04,
    a sulphated one with a = 0.25 / 0.55 to three quarters; it gets there with 2.5 a time constants in one full
    charging time.
    """
    accepting = min(float(accepting_of_its_own(modes, parameters)), 1.3)
    reach = float(charge_when_full(rng, setting, accepting))
    speed = setting.number("charger_time_constants") * accepting * hours / setting.number("charger_hours")
    return float(np.clip(charge + max(reach - charge, 0.0) * -np.expm1(-speed), -setting.number("past_empty"), 1.0))


def charge_when_full(rng: np.random.Generator, setting: Setting, accepting: Quantity) -> Quantity:
    """State of charge at the end of a long charge [-]."""
    return np.asarray(reached(setting, accepting) - setting.number("charge_short_of_full") * rng.random())


def charge_after_drive(
    rng: np.random.Generator,
    setting: Setting,
    modes: Modes,
    parameters: Parameters,
    charge: float,
    hours: float,
    world: World,
) -> float:
    """State of charge after a drive of so many hours [-].

    Notes
    -----
    :func:`faultnet.physics.drain.drive_recharge` with what the charging side has to spare: the named supply current
    when it is well, part of it when it is weak, and a loss of the engine's own consumption when it gives nothing.
    """
    word = supply_word(setting, modes, parameters)
    spare = supply_share(word, setting) * setting.number("drive_supply_current")
    if word == "none":
        spare = -setting.number("load_base")
    accepting = accepting_of_its_own(modes, parameters)
    capacity = setting.capacity * parameters[("battery", modes["battery"], "capacity_factor")]
    volts = float(setting.regulated(setting.air))
    spare *= _supply_spread(rng, setting, world)
    above = max(charge, 0.0)
    gained = float(drain.drive_recharge(above, hours, capacity, spare, setting.electrolyte, accepting, volts)) - above
    return float(np.clip(charge + gained, -setting.number("past_empty"), 1.0))


def drawn_hours(rng: np.random.Generator, setting: Setting, name: str, world: World) -> float:
    """How long something took that nobody timed [h or d, the unit of the named spread]."""
    spread = world.widening * setting.number(f"{name}_ln_spread")
    return float(setting.number(name) * np.exp(spread * rng.standard_normal()))
