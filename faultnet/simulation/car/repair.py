"""Acts on a virtual car: repairs, charging, waiting, driving, and what the driver says afterwards."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from faultnet.diagnosis.acts import ALL_MODES, MENDS, PASSING, SUCCESS
from faultnet.errors import EntryError
from faultnet.simulation.car import charge
from faultnet.simulation.car.answers import heard
from faultnet.simulation.car.resting import parked_current
from faultnet.simulation.car.running import volts
from faultnet.simulation.car.spreads import drawn
from faultnet.simulation.car.vehicle import VirtualCar, effect_of

UNTIMED = {
    "charge": "charger_hours",
    "desulphate": "long_charge_hours",
    "wait": "overnight_hours",
    "drive": "drive_hours",
}

UNSEEN = {"cured": 0.45, "better": 0.1, "no_change": 0.45}  # where nothing was amiss before; estimate, no source
CHARGES_WELL = (12.4, 15.3)  # volts at which nobody sees anything; common practice, no source


def after_act(
    vehicle: VirtualCar,
    act: str,
    component: str | None,
    rng: np.random.Generator,
    *,
    hours: float | None = None,
) -> VirtualCar:
    """The car after something was done to it.

    Parameters
    ----------
    vehicle : VirtualCar
    act : str
        Act id from the catalogue.
    component : str or None
        What it was done to; needed for acts that may be done to several.
    rng : numpy.random.Generator
    hours : float, optional
        How long it took, for charging, waiting and driving [h]; drawn when left out.

    Returns
    -------
    VirtualCar
        A repair takes with its chance in the prior set; a passing act (jump start, bridge) leaves the car as it was.

    Raises
    ------
    PriorsError
        If the act is unknown.
    EntryError
        If it cannot be done to that component, or which one is left open.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.simulation.car.world import draw_car
    >>> rng = np.random.default_rng(3)
    >>> vehicle = draw_car(rng, load_catalogue(), modes={"positive_joint": "corroded"})
    >>> after_act(vehicle, "clean_joint", "positive_joint", rng).faults
    ()
    """
    spec = vehicle.catalogue.act(act)
    if spec.effect in UNTIMED and hours is None:
        hours = charge.drawn_hours(rng, vehicle.setting, UNTIMED[spec.effect], vehicle.world)
    if spec.effect in ("charge", "desulphate"):
        vehicle = _charged(vehicle, rng, hours or 0.0)
    elif spec.effect == "shed_surface_charge":
        left = vehicle.number("surface_charge_left_after_lamps") * float(rng.uniform(0.0, 2.0))
        vehicle = replace(vehicle, surface=min(vehicle.surface, left))
    elif spec.effect == "wait":
        vehicle = stood(vehicle, hours or 0.0)
    elif spec.effect == "drive":
        vehicle = _driven(vehicle, rng, hours or 0.0)
    if spec.effect not in MENDS:
        return vehicle
    return _mended(vehicle, rng, spec.effect, _component(vehicle, act, component))


def _component(vehicle: VirtualCar, act: str, component: str | None) -> str:
    possible = vehicle.catalogue.act(act).components
    chosen = component or (possible[0] if len(possible) == 1 else None)
    if chosen not in possible:
        raise EntryError(
            f"{vehicle.catalogue.act(act).label}: which part?", got=repr(component), expected=", ".join(possible)
        )
    return chosen


def _charged(vehicle: VirtualCar, rng: np.random.Generator, hours: float) -> VirtualCar:
    held = charge.charge_after_charger(rng, vehicle.setting, vehicle.modes, vehicle.parameters, vehicle.charge, hours)
    surface = charge.surface_after_charging(rng, vehicle.setting, vehicle.world)
    return replace(vehicle, charge=held, surface=float(surface))


def stood(vehicle: VirtualCar, hours: float) -> VirtualCar:
    """The car after standing so many hours, with what drains it at this visit."""
    current = parked_current(vehicle)
    left = charge.after_standing(vehicle.setting, vehicle.modes, vehicle.parameters, vehicle.charge, current, hours)
    held = max(float(left), -vehicle.number("past_empty"))
    surface = float(charge.surface_left(vehicle.setting, vehicle.surface, hours))
    return replace(vehicle, charge=held, surface=surface, hours_standing=vehicle.hours_standing + hours)


def _driven(vehicle: VirtualCar, rng: np.random.Generator, hours: float) -> VirtualCar:
    setting, modes, parameters = vehicle.setting, vehicle.modes, vehicle.parameters
    held = charge.charge_after_drive(rng, setting, modes, parameters, vehicle.charge, hours, vehicle.world)
    surface = charge.surface_after_driving(rng, setting, modes, parameters, vehicle.world)
    return replace(vehicle, charge=held, surface=float(surface), hours_standing=0.0)


def _mended(vehicle: VirtualCar, rng: np.random.Generator, effect: str, component: str) -> VirtualCar:
    """Make a component sound, with the chance that the repair takes; a new battery comes charged."""
    mends, mode = MENDS[effect], vehicle.modes[component]
    takes = rng.random() < vehicle.number(SUCCESS.get(effect, "repair_works_replace"))
    if not takes or (mends != ALL_MODES and mode not in mends):
        return vehicle
    vehicle = made_sound(vehicle, component)
    if mends == ALL_MODES and effect == "replace":
        vehicle = _renewed(vehicle, rng, component)
    if component == "battery" and effect == "replace":
        vehicle = replace(vehicle, charge=_of_new_battery(vehicle, rng), surface=0.0)
    return vehicle


def _of_new_battery(vehicle: VirtualCar, rng: np.random.Generator) -> float:
    """Charge of a battery from the shelf, or of one that helps to start [-]."""
    return float(rng.uniform(vehicle.number("new_battery_charge_least"), vehicle.number("new_battery_charge_most")))


def made_sound(vehicle: VirtualCar, *components: str) -> VirtualCar:
    """The car with components in their sound mode, by their own sound parameters."""
    sound = {c: vehicle.catalogue.component(c).modes[0].id for c in components}
    sticks = vehicle.sticks and "solenoid" not in sound
    return replace(vehicle, modes={**vehicle.modes, **sound}, active={**vehicle.active, **sound}, sticks=sticks)


def _renewed(vehicle: VirtualCar, rng: np.random.Generator, component: str) -> VirtualCar:
    """Another example of the part: its parameters drawn afresh."""
    sound = vehicle.catalogue.component(component).modes[0].id
    fresh = {
        (component, sound, p): drawn(effect_of(vehicle.catalogue, component, sound, p), rng, vehicle.world.widening)
        for p in vehicle.catalogue.parameters(component)
    }
    return replace(vehicle, parameters={**vehicle.parameters, **fresh})


def act_outcome(before: VirtualCar, after: VirtualCar, act: str, rng: np.random.Generator) -> str | None:
    """What the driver says after an act: "cured", "better" or "no_change"; None for acts nobody asks about.

    Parameters
    ----------
    before, after : VirtualCar
        Around :func:`after_act`.
    act : str
        Act id.
    rng : numpy.random.Generator

    Notes
    -----
    After a charge, a jump start or a bridge: from how it cranks then. After a repair: from the outcome chances of the
    prior set, by whether something was mended and whether a fault other than the use of the car is left; but where
    nothing was amiss before it, the driver says what he hopes or fears.
    """
    effect = after.catalogue.act(act).effect
    if effect in PASSING:
        return _word(heard(_bridged(after, rng, effect), rng))
    if effect == "charge":
        return _word(heard(after, rng))
    if effect not in MENDS:
        return None
    if not is_amiss(before, rng):
        return str(rng.choice(list(UNSEEN), p=list(UNSEEN.values())))
    mended, left = before.faults != after.faults, still_at_fault(after)
    name = f"outcome_{'left' if left else 'none_left'}_{'mended' if mended else 'nothing_mended'}"
    cured, better = after.number(f"{name}_cured"), after.number(f"{name}_better")
    return str(rng.choice(["cured", "better", "no_change"], p=[cured, better, 1.0 - cured - better]))


def is_amiss(vehicle: VirtualCar, rng: np.random.Generator) -> bool:
    """Whether somebody who tries a car finds something wrong with how it turns over, fires and charges."""
    if heard(vehicle, rng) != "normal" or vehicle.acts_in("engine_running", "no_fire"):
        return True
    low, high = CHARGES_WELL
    return not low < float(volts(vehicle, rng, "charge_unloaded")) < high


def still_at_fault(vehicle: VirtualCar) -> bool:
    """Whether a component other than the use of the car is not sound."""
    return any(component != "use" for component, _ in vehicle.faults)


def _word(behaviour: str) -> str:
    return {"normal": "cured", "slow": "better"}.get(behaviour, "no_change")


def _bridged(vehicle: VirtualCar, rng: np.random.Generator, effect: str) -> VirtualCar:
    """The car while a jump start or a bridge makes parts of it sound for the moment."""
    helped = made_sound(vehicle, *PASSING[effect])
    return replace(helped, charge=_of_new_battery(vehicle, rng)) if effect == "jump_start" else helped
