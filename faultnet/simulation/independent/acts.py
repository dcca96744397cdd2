"""Acts on a car of the independent world, and what the driver says afterwards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from faultnet.errors import EntryError
from faultnet.simulation.independent import battery
from faultnet.simulation.independent.answers import heard, try_start
from faultnet.simulation.independent.charging import driven, parked, tested
from faultnet.simulation.independent.life import SLOW_SHARE, boosted, fires, showing, starts, usual_speed, word_of
from faultnet.simulation.independent.numbers import at
from faultnet.simulation.independent.parts import Dice, condition
from faultnet.simulation.independent.vehicle import IndependentCar

# What each repair puts right, by mode; "*" is every mode. A repair that takes does so in the share beside it: new parts
# fit and are sound 96 times of 100, cleaned joints hold 93, the rest estimates.
MENDS: dict[str, tuple[tuple[str, ...], float]] = {
    "tighten_joint": (("slack", "breaks_contact"), 0.93),
    "clean_joint": (("slack", "corroded", "breaks_contact", "high_resistance"), 0.93),
    "repair_cable": (("*",), 0.96),
    "replace": (("*",), 0.96),
    "adjust_belt": (("*",), 0.96),
    "adjust_regulator": (("*",), 0.96),
    "refill": (("dried_out",), 0.3),  # plates that stood dry for long do not come back
    "reset": (("wrong_command",), 0.9),
    "repair_circuit": (("*",), 0.93),
    "remove_drain": (("*",), 0.93),
    "advise_use": (("*",), 0.96),
    "repair_engine": (("*",), 0.96),
    "look_further": (("*",), 0.8),
    "long_charge": (("sulphated",), 0.25),
}
NEW_WEAR = -1.0  # [-] of a part from the shelf
SHELF_CHARGE = (0.86, 0.99)  # [-] of a new battery; common practice, no source
CHARGER_AMPERES, CHARGE_VOLTS, SLOW_VOLTS = 15.0, 14.5, 15.2  # [A], [V], [V]; common practice, no source
CHARGE_HOURS, SLOW_HOURS, WAIT_HOURS, DRIVE_HOURS = 10.0, 24.0, 10.0, 0.5  # [h] as the acts say
LAMPS_HOURS = 5.0 / 60.0  # [h] of headlamps against surface charge
BRIDGE = 2e-3  # [ohm] of a jump lead with its clamps; derived
PASSING = ("jump_start", "jumper_ground_on", "bypass_control")


def after_act(
    car: IndependentCar, act: str, component: str | None, rng: np.random.Generator, *, hours: float | None = None
) -> IndependentCar:
    """The car after something was done to it.

    Parameters
    ----------
    car : IndependentCar
    act : str
        Act id of the catalogue.
    component : str or None
        What it was done to; needed for acts that may be done to several.
    rng : numpy.random.Generator
    hours : float, optional
        How long it took, for charging, waiting and driving [h].

    Returns
    -------
    IndependentCar
        A passing act (jump start, bridge) leaves it as it was.

    Raises
    ------
    PriorsError
        If the act is unknown.
    EntryError
        If it cannot be done to that component, or which one is left open.
    """
    spec = car.catalogue.act(act)
    if act in MENDS or act in ("charge", "drive"):  # what was heard before is no longer what it does today
        car = replace(car, log=replace(car.log, word=""))
    dice = Dice(rng, car.wear)
    if act in ("charge", "long_charge"):
        slow = act == "long_charge"
        time = hours if hours is not None else SLOW_HOURS if slow else CHARGE_HOURS
        car = _charged(car, time, SLOW_VOLTS if slow else CHARGE_VOLTS)
    elif act == "wait":
        time = WAIT_HOURS if hours is None else hours
        if time >= 6.0:  # another night: what stays awake may stay awake or not
            drawn = showing(dice, car, {"damp"} if car.conditions.damp else ())
            car = replace(car, showing=(car.showing - {"drain"}) | (drawn & {"drain"}))
        car = parked(car, time)
    elif act == "drive":
        car = _drive(car, rng, DRIVE_HOURS if hours is None else hours)
    elif act == "shed_surface_charge":
        left = 0.15 * car.surface
        car = replace(car, removed=car.removed + car.build.lamps * LAMPS_HOURS, surface=left)
    elif act in ("disable_fuel", "enable_fuel"):
        car = replace(car, firing=act == "enable_fuel")
    if act not in MENDS:
        return car
    possible = spec.components
    chosen = component or (possible[0] if len(possible) == 1 else None)
    if chosen not in possible:
        raise EntryError(f"{spec.label}: which part?", got=repr(component), expected=", ".join(possible))
    return _mended(car, act, chosen, dice)


def _charged(car: IndependentCar, hours: float, volts: float) -> IndependentCar:
    loss = car.now("drain")["amperes"] + car.now("rectifier")["leak"]
    removed = battery.charged(car.parts["battery"], car.removed, car.acid, volts, hours, CHARGER_AMPERES, loss)
    surface = at("surface_volts", car.traits["surface"])
    return replace(car, removed=removed, surface=surface, warm=car.warm * 0.3, hours=car.hours + hours)


def _drive(car: IndependentCar, rng: np.random.Generator, hours: float) -> IndependentCar:
    """It is driven if it can be got to run; the shaking lets faults that come and go show or hide anew."""
    running = replace(car, firing=True)
    if not (starts(running)[0] or starts(running, helped=True)[0]):
        return car
    after, died = driven(running, 60.0 * hours)
    drawn = showing(Dice(rng, car.wear), after, {"rough", "hot"})
    return parked(replace(after, showing=drawn), 0.1 if not died else 0.5)


def _mended(car: IndependentCar, act: str, component: str, dice: Dice) -> IndependentCar:
    """A repair: sound from then on if it is the right one and takes; a new part is another example in any case."""
    modes, takes = MENDS[act]
    mode = car.modes[component]
    sound = car.catalogue.component(component).modes[0].id
    right = "*" in modes or mode in modes
    new = Dice(dice.rng, NEW_WEAR)
    renews = "*" in modes and act not in ("advise_use", "remove_drain")
    if not right or not dice.happens(takes):
        return car
    if mode == sound and not renews:
        return car
    fitted = car
    if component == "battery" and act == "replace":
        fitted = _right_size(car)
    drawn = condition(new, fitted.build, component, sound)
    if component == "drain":
        drawn = dict(car.calm["drain"])
    if component == "battery" and act in ("long_charge", "refill"):
        drawn = {**car.calm["battery"], "ohmic": max(car.calm["battery"]["ohmic"], 1.15)}
    after = replace(
        fitted,
        modes={**car.modes, component: sound},
        parts={**car.parts, component: drawn},
        calm={**car.calm, component: drawn},
        showing=car.showing - {component},
    )
    if component == "battery" and act == "replace":
        share = float(dice.rng.uniform(*SHELF_CHARGE))
        after = replace(after, removed=(1.0 - share) * drawn["capacity"], surface=0.0)
    return after


def _right_size(car: IndependentCar) -> IndependentCar:
    """A new battery is bought by what the car needs."""
    label = replace(car.build.car.battery, rating=max(car.build.needed, car.build.fitted), age=0.0)
    return replace(car, build=replace(car.build, car=replace(car.build.car, battery=label)))


def act_outcome(before: IndependentCar, after: IndependentCar, act: str, rng: np.random.Generator) -> str | None:
    """What is said of the complaint after an act: "cured", "better", "no_change"; None where nobody asks.

    Notes
    -----
    The car is tried. A fault that does not show before and after tells the driver nothing, and he says what he hopes
    or fears. A repair elsewhere cures nothing, whatever is said.
    """
    if act in PASSING:
        return _word(_helped(after, act, rng))
    if act == "charge":
        return _word(heard(after, rng))
    if act not in MENDS:
        return None
    ill, well = not _all_well(before, rng), _all_well(after, rng)
    if ill and well:
        return "cured" if rng.random() < 0.92 else "better"
    if ill:
        faster = try_start(after, rng).speed > 1.1 * try_start(before, rng).speed + 5.0
        return "better" if faster and rng.random() < 0.7 else "no_change"
    return str(rng.choice(["cured", "better", "no_change"], p=[0.45, 0.1, 0.45]))


def _all_well(car: IndependentCar, rng: np.random.Generator) -> bool:
    """Whether a driver who tries it finds nothing amiss: it turns over, fires, and its lamps are as they should be."""
    running = replace(car, firing=True)
    start = try_start(running, rng)
    if word_of(running, start, usual_speed(running), SLOW_SHARE) != "normal" or not fires(running, start.speed):
        return False
    found = tested(running, "charge_unloaded")
    return found.works and 12.4 < found.posts < 15.3


def _helped(car: IndependentCar, act: str, rng: np.random.Generator) -> str:
    """How it turns over with a booster or a bridge in place."""
    circuit = car.circuit()
    if act == "jump_start":
        changed = {"source": boosted(car), "positive": min(circuit.positive, BRIDGE),
                   "negative": min(circuit.negative, BRIDGE), "ground": min(circuit.ground, BRIDGE)}  # fmt: skip
    elif act == "jumper_ground_on":
        changed = {"negative": 0.0, "ground": min(circuit.ground, BRIDGE)}
    else:
        changed = {"control": 0.02}
    start = try_start(car, rng, **changed)  # type: ignore[arg-type]
    return word_of(car, start, usual_speed(car))


def _word(behaviour: str) -> str:
    return {"normal": "cured", "slow": "better"}.get(behaviour, "no_change")
