"""Single numbers drawn from the prior set's spreads, and the two worlds they may be drawn in."""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from faultnet.errors import CarError
from faultnet.prior_set.types import Effect

# How much more or less often a mode of a component occurs in the mismatched world: estimate, chosen so that a
# workshop with corroded cars in a wet place differs openly from the shipped base rates.
OTHER_RATES = {
    "battery": 0.6,
    "positive_joint": 2.0,
    "negative_joint": 2.0,
    "ground_path": 2.0,
    "starter_cable": 1.5,
    "start_control": 1.5,
    "charge_control": 2.0,
    "drain": 1.7,
    "use": 0.6,
    "unlisted": 2.0,
}


@dataclass(frozen=True)
class World:
    """How the virtual cars differ from what the prior set says.

    Parameters
    ----------
    name : str
    widening : float
        Every spread is multiplied by this [-].
    rates : mapping of component to float
        The counts of its fault modes are multiplied by this [-]; 1 where it is not listed.
    slip : float, optional
        Chance of a wrong spot, range or word [-]; that of each instrument when left out.
    unlisted_share : float
        Share of the readings a fault the model does not know spoils, relative to what the model takes it to be [-].
    """

    name: str
    widening: float = 1.0
    rates: MappingProxyType[str, float] = field(default_factory=lambda: MappingProxyType({}))
    slip: float | None = None
    unlisted_share: float = 1.0


WORLDS: dict[str, World] = {
    "standard": World("standard"),
    "mismatched": World("mismatched", 1.3, MappingProxyType(OTHER_RATES), 0.05, 0.5),
}


def world_named(name: str) -> World:
    """Return one of the two worlds.

    Raises
    ------
    CarError
        If there is none of that name.

    Examples
    --------
    >>> world_named("mismatched").slip
    0.05
    """
    if name not in WORLDS:
        raise CarError(
            "unknown world of virtual cars", got=repr(name), expected=", ".join(WORLDS), to_do="name one of them"
        )
    return WORLDS[name]


def drawn(effect: Effect, rng: np.random.Generator, widening: float = 1.0) -> float:
    """One value of a parameter [unit of the effect].

    Parameters
    ----------
    effect : Effect
    rng : numpy.random.Generator
    widening : float
        Factor on the spread [-].

    Returns
    -------
    float

    Notes
    -----
    Lognormal: centre exp(w s N); normal: centre + w s N; uniform: widened about its middle and cut at nought where
    the original does not go below it.

    Examples
    --------
    >>> flat = Effect("c", "m", "p", "uniform", 1.0, 4.0, "V", "", "estimate", "")
    >>> 1.0 <= drawn(flat, np.random.default_rng(1)) <= 4.0
    True
    """
    if effect.shape == "lognormal":
        return effect.centre * float(np.exp(widening * effect.spread * rng.standard_normal()))
    if effect.shape == "normal":
        return effect.centre + widening * effect.spread * float(rng.standard_normal())
    middle, half = 0.5 * (effect.centre + effect.spread), 0.5 * (effect.spread - effect.centre)
    value = middle + widening * half * float(rng.uniform(-1.0, 1.0))
    return max(0.0, value) if effect.centre >= 0.0 else value
