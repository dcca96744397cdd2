"""Which mode each component of a virtual car is in, and which faults that come and go are on at a visit."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np

from faultnet.case.types import Car
from faultnet.errors import CarError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.car.spreads import World

MOST_TRIES = 10_000


def draw_modes(rng: np.random.Generator, catalogue: Catalogue, car: Car, world: World) -> dict[str, str]:
    """Modes of a car that was brought in, by the base rates of its battery's age and its climate.

    Parameters
    ----------
    rng : numpy.random.Generator
    catalogue : Catalogue
    car : Car
    world : World

    Returns
    -------
    dict of component to mode
        Of every component, in the catalogue's order; any number may be at fault.

    Notes
    -----
    Cars are drawn until one is brought in: always with a fault, seldom without.
    """
    stays_away = 1.0 - catalogue.number("brought_in_when_sound")
    modes: dict[str, str] = {}
    for _ in range(MOST_TRIES):
        modes = {c.id: _mode(rng, _weights(catalogue, car, world, c.id)) for c in catalogue.components}
        modes["battery"] = _mode(rng, _battery_weights(catalogue, car, world, modes))
        if any(modes[c.id] != c.modes[0].id for c in catalogue.components) or rng.random() >= stays_away:
            break
    return modes


def _mode(rng: np.random.Generator, weights: Mapping[str, float]) -> str:
    chances = np.array(list(weights.values()))
    return str(rng.choice(list(weights), p=chances / chances.sum()))


def _weights(catalogue: Catalogue, car: Car, world: World, component: str) -> dict[str, float]:
    """Cars out of a thousand with each mode of a component; the sound mode gets the rest."""
    factor = world.rates.get(component, 1.0)
    sound, *faults = (m.id for m in catalogue.component(component).modes)
    rates = {m: catalogue.rate(component, m, car.battery.age, car.climate) for m in faults}
    counts = {m: 1000.0 * factor * value / of for m, (value, of) in rates.items()}
    return {sound: max(1000.0 - sum(counts.values()), 1.0), **counts}


def _battery_weights(catalogue: Catalogue, car: Car, world: World, modes: Mapping[str, str]) -> dict[str, float]:
    """The battery suffers from how it is used, drained and charged; the strongest reason counts."""
    weights = _weights(catalogue, car, world, "battery")
    reasons = {
        "sulphation_short_trips_factor": modes["use"] == "short_trips",
        "sulphation_long_standing_factor": modes["use"] == "long_standing",
        "sulphation_charging_fault_factor": modes["alternator"] != "sound" or modes["regulator"] == "low",
        "sulphation_drain_factor": modes["drain"] != "sound",
    }
    weights["sulphated"] *= max([1.0, *(catalogue.number(name) for name, holds in reasons.items() if holds)])
    if modes["regulator"] == "high":
        weights["dried_out"] *= catalogue.number("dried_out_overcharge_factor")
    return weights


def completed(catalogue: Catalogue, given: Mapping[str, str]) -> dict[str, str]:
    """Given modes, all other components sound.

    Raises
    ------
    PriorsError
        If a component is unknown.
    CarError
        If a component has no such mode.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> modes = completed(load_catalogue(), {"belt": "slips"})
    >>> modes["belt"], modes["battery"], modes["use"]
    ('slips', 'sound', 'normal')
    """
    for component, mode in given.items():
        known = [m.id for m in catalogue.component(component).modes]
        if mode not in known:
            raise CarError(f"unknown mode of {component}", got=repr(mode), expected=", ".join(known))
    return {c.id: given.get(c.id, c.modes[0].id) for c in catalogue.components}


def draw_active(
    rng: np.random.Generator,
    catalogue: Catalogue,
    modes: Mapping[str, str],
    conditions: Collection[str],
    faults_on: bool | None,
) -> dict[str, str]:
    """The mode each component acts in at this visit: a fault that is off acts as sound.

    Parameters
    ----------
    rng : numpy.random.Generator
    catalogue : Catalogue
    modes : mapping of component to mode
    conditions : collection of str
        Which of vibration, heat, cold, damp, standing hold.
    faults_on : bool, optional
        Puts every fault that comes and goes on, or off, instead of drawing it.
    """
    active = {}
    for component in catalogue.components:
        mode = modes[component.id]
        chance = catalogue.on_rate(component.id, mode, conditions)
        on = rng.random() < chance
        if faults_on is not None and chance < 1.0:
            on = faults_on
        active[component.id] = mode if on else component.modes[0].id
    return active
