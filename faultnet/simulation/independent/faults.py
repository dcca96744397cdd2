"""Which faults a car has: counts of a thousand cars, drawn so that worn cars have several at once.

Every count is multiplied by exp(b w - b^2 / 2) for a car of wear w, standard normal over all cars: on the mean the
count stays what the table says, and faults meet in the same cars. How a car is used does not depend on its wear.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import exp

from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.independent.parts import COMPONENTS, Dice

Rates = Mapping[tuple[str, str], float]

CLUSTERS = 0.5  # [-] b above: the worst twentieth of cars has 2 times the mean; estimate
NOT_BY_WEAR = ("use", "unlisted")
SOUND_IS_BROUGHT_IN = 0.05  # [-] chance that a car without a fault is brought in all the same; estimate
SULPHATED_BY_USE = 2.0  # [-] times as often where it is kept short of charge; estimate
MOST_TRIES = 2000

# Other base rates, of a thousand: a patrol of a wet, cold country with old cars. Battery to alternator to starter as
# 0.68 to 0.19 to 0.13 (a motoring club's counts of 2011, secondary); joints and ground paths three times as often, for
# salt and damp; fewer cars left to stand, more drains, for the accessories of old cars. All but the ratio estimates.
OTHER_RATES: dict[tuple[str, str], float] = {
    ("battery", "sulphated"): 30.0, ("battery", "worn"): 60.0, ("battery", "weak_cell"): 25.0,
    ("battery", "shorted_cell"): 15.0, ("battery", "broken_link"): 6.0, ("battery", "dried_out"): 4.0,
    ("battery", "undersized"): 12.0,
    ("positive_joint", "slack"): 22.0, ("positive_joint", "corroded"): 38.0,
    ("negative_joint", "slack"): 20.0, ("negative_joint", "corroded"): 30.0,
    ("starter_cable", "high_resistance"): 8.0,
    ("ground_path", "high_resistance"): 20.0, ("ground_path", "breaks_contact"): 12.0,
    ("solenoid", "worn_contacts"): 10.0, ("solenoid", "weak_winding"): 3.0,
    ("starter_motor", "worn_brushes"): 10.0, ("starter_motor", "dragging"): 5.0, ("starter_motor", "open"): 2.0,
    ("start_control", "intermittent"): 14.0, ("start_control", "open"): 8.0,
    ("engine_turning", "heavy"): 4.0, ("engine_turning", "seized"): 2.0,
    ("engine_running", "no_fire"): 50.0,
    ("alternator", "worn_brushes"): 20.0, ("alternator", "no_output"): 8.0,
    ("regulator", "low"): 6.0, ("regulator", "high"): 4.0,
    ("rectifier", "open_diode"): 5.0, ("rectifier", "leaking_diode"): 4.0,
    ("belt", "slips"): 12.0, ("belt", "lost"): 3.0,
    ("charge_cable", "high_resistance"): 8.0, ("charge_cable", "open"): 3.0,
    ("charge_control", "not_excited"): 7.0, ("charge_control", "wrong_command"): 2.0,
    ("drain", "moderate"): 30.0, ("drain", "heavy"): 12.0, ("drain", "stays_awake"): 6.0,
    ("use", "short_trips"): 60.0, ("use", "long_standing"): 20.0, ("use", "left_on"): 45.0,
    ("unlisted", "present"): 10.0,
}  # fmt: skip


def standard_rates(catalogue: Catalogue, age: float | None, climate: str) -> dict[tuple[str, str], float]:
    """The base rates of a prior set as plain numbers, of a thousand cars."""
    found = {}
    for component in COMPONENTS:
        for mode in catalogue.component(component).modes[1:]:
            count, of = catalogue.rate(component, mode.id, age, climate)
            found[component, mode.id] = 1000.0 * count / of
    return found


def draw_modes(dice: Dice, catalogue: Catalogue, rates: Rates) -> dict[str, str]:
    """A mode for every component of a car that was brought in.

    Parameters
    ----------
    dice : Dice
        With the car's wear.
    catalogue : Catalogue
        For the ids.
    rates : mapping of (component, mode) to float
        Of a thousand cars.
    """
    modes: dict[str, str] = {}
    for _ in range(MOST_TRIES):
        modes = {}
        for component in sorted(COMPONENTS, key=lambda c: c == "battery"):
            sound, *others = (m.id for m in catalogue.component(component).modes)
            weight = 1.0 if component in NOT_BY_WEAR else exp(CLUSTERS * dice.wear - 0.5 * CLUSTERS**2)
            chances = {m: rates.get((component, m), 0.0) * weight / 1000.0 for m in others}
            if component == "battery" and _kept_short(modes):
                chances["sulphated"] *= SULPHATED_BY_USE
            modes[component] = _one_of(dice, chances) or sound
        if any(modes[c] != catalogue.component(c).modes[0].id for c in COMPONENTS) or dice.happens(SOUND_IS_BROUGHT_IN):
            break
    return {c: modes[c] for c in COMPONENTS}


def _kept_short(modes: Mapping[str, str]) -> bool:
    return (
        modes["use"] in ("short_trips", "long_standing") or modes["alternator"] != "sound" or modes["drain"] != "sound"
    )


def _one_of(dice: Dice, chances: Mapping[str, float]) -> str | None:
    left = float(dice.rng.random())
    for mode, chance in chances.items():
        left -= chance
        if left < 0.0:
            return mode
    return None
