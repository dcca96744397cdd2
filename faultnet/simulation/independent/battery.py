"""The battery of the independent world: six cells in a row, five alike and one that may be odd.

What is taken out [A h] is common to all cells; a cell's acid follows what was taken out of it, and what it can still
give follows its own plates. Volts under load are EMF less three losses: an ohmic one, the kinetics of the plates
(Butler and Volmer's equation in its arcsinh form, behind the double layer's time constant), and the acid in the pores,
which is used up by current and refilled by diffusion; a cell whose pores are empty gives way and reverses. The rating
on the label fixes the ohmic part: a new full battery at -18 degC holds 7.2 V after 30 s at its SAE rating.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from math import asinh, exp

import numpy as np

from faultnet.simulation.independent.numbers import typical

CELLS = 6
ORDINARY = 5  # cells that are alike
# Specific gravity lost against charge taken out: battery maker's table at 26.7 degC (secondary), 1.265 full and 1.120
# empty; beyond empty on the same line.
USED, ACID_LOST = (0.0, 0.25, 0.5, 0.75, 1.0, 2.0), (0.0, 0.04, 0.075, 0.11, 0.145, 0.285)
GRAVITIES = (1.0, 1.05, 1.1, 1.12, 1.155, 1.19, 1.225, 1.25, 1.265, 1.28, 1.3, 1.33)
# [V] of a cell at 25 degC: Bode 1977 as read in an open battery model, each within 14 mV of a maker's table of rest
# volts (secondary); below 1.05 from memory.
CELL_VOLTS = (1.80, 1.910, 1.963, 1.981, 2.012, 2.042, 2.074, 2.097, 2.111, 2.125, 2.145, 2.176)
# Resistance against charge of a cell: 1.05 to 1.15 at 75 %, 1.15 to 1.35 at 50 %, 1.5 to 2 at 25 %, 3 to 10 near empty
# (common practice, no source); beyond empty an estimate.
CHARGES = (-0.3, -0.1, 0.0, 0.25, 0.5, 0.75, 1.0)
RESISTANCES = (80.0, 15.0, 5.5, 1.75, 1.25, 1.1, 1.0)
PAST_EMPTY = 0.3  # [-] of a cell's capacity over which its volts fall away when drawn on; estimate
EMPTY_LOSS = 0.6  # [V] of a cell drawn so far; rested, deeply flat batteries read some 8 to 11.8 V (common practice)
REVERSED = 2.4  # [V] the most a cell with empty pores loses: it then stands reversed; estimate
LEAST_PORES = 0.02  # [-] so that the loss stays a number
LAST_ACID = 0.1  # [-] of the acid in the pores that an empty cell still has; it gives way within seconds (practice)
RATED_DEGREES, RATED_SECONDS, RATED_VOLTS = -18.0, 30.0, 7.2  # SAE J537, secondary
GASSING_VOLTS = 0.8  # [V] for a factor e of gassing current, 1.8 V for a decade: textbook, memory
SHORTED_OHMS = 2e-3  # [ohm] of a cell that is bridged by sludge or a grown plate; estimate


@dataclass(frozen=True)
class Source:
    """A battery in one state, as a circuit sees it.

    Parameters
    ----------
    emf : float
        At rest, all six cells [V].
    ohmic : float
        [ohm]
    kinetic : float
        Scale of the plates' kinetics, all cells [V].
    exchange : float
        Exchange current [A].
    pores, odd_pores : float
        Charge in the acid of the pores of the five cells, and of the odd one [A s].
    pore_volts : float
        Scale of the loss in the pores of one cell [V].
    five, odd : float
        How many cells stand behind each of the two losses [-].
    """

    emf: float
    ohmic: float
    kinetic: float
    exchange: float
    pores: float
    odd_pores: float
    pore_volts: float
    five: float = 5.0
    odd: float = 1.0

    def kinetic_loss(self, current: float) -> float:
        """Settled loss of the kinetics [V]."""
        return self.kinetic * asinh(0.5 * current / self.exchange)

    def pore_loss(self, filled: float, odd_filled: float) -> float:
        """Loss in the pores of all cells [V]."""
        return self.five * _pore(self.pore_volts, filled) + self.odd * _pore(self.pore_volts, odd_filled)

    def filled(self, current: float, seconds: float) -> tuple[float, float]:
        """Share of the acid left in the pores after a steady current, of the five cells and of the odd one [-]."""
        refill = typical("pore_refill")
        gone = current * refill * (1.0 - exp(-seconds / refill))
        return 1.0 - gone / self.pores, 1.0 - gone / self.odd_pores

    def volts(self, current: float, seconds: float) -> float:
        """Volts at the posts after a steady current [V]."""
        return (
            self.emf
            - self.ohmic * current
            - self.kinetic_loss(current)
            - self.pore_loss(*self.filled(current, seconds))
        )


def _pore(scale: float, filled: float) -> float:
    return min(scale * (1.0 / max(filled, LEAST_PORES) - 1.0), REVERSED) if filled < 1.0 else 0.0


def gravity(battery: Mapping[str, float], removed: float, *, odd: bool = False) -> float:
    """Specific gravity of a cell at 25 degC [-].

    Parameters
    ----------
    battery : mapping of str to float
        Condition of the battery.
    removed : float
        Charge taken out [A h].
    odd : bool
        Of the cell that may be odd.
    """
    used = removed / battery["capacity"] + (battery["lag"] if odd else 0.0) + 0.5 * battery["locked"]
    full = battery["gravity"] + typical("dry_gravity") * battery["dry"]
    return max(full - float(np.interp(used, USED, ACID_LOST)), 1.0)


def charge_of(battery: Mapping[str, float], removed: float, *, odd: bool = False) -> float:
    """What a cell can still give, as a share of its own capacity [-]; below nought it is drawn past empty."""
    usable = battery["capacity"] * battery["active"] * (1.0 - battery["locked"]) * (1.0 - battery["dry"])
    if not odd:
        return 1.0 - removed / usable
    return 1.0 - (removed + 0.3 * battery["lag"] * battery["capacity"]) / (usable * battery["odd"])


def cell_volts(battery: Mapping[str, float], removed: float, degrees: float, *, odd: bool = False) -> float:
    """Rest volts of a cell [V]."""
    if odd and battery["shorted"]:
        return 0.0
    volts = float(np.interp(gravity(battery, removed, odd=odd), GRAVITIES, CELL_VOLTS))
    past = max(-charge_of(battery, removed, odd=odd), 0.0)
    return volts + typical("emf_per_kelvin") * (degrees - 25.0) - EMPTY_LOSS * min(past / PAST_EMPTY, 1.0)


def rest_volts(battery: Mapping[str, float], removed: float, degrees: float) -> float:
    """Rest volts at the posts without surface charge [V]."""
    ordinary = cell_volts(battery, removed, degrees)
    return ORDINARY * ordinary + cell_volts(battery, removed, degrees, odd=True)


def source_of(battery: Mapping[str, float], removed: float, degrees: float, *, link_open: bool = False) -> Source:
    """The battery as a circuit sees it.

    Parameters
    ----------
    battery : mapping of str to float
    removed : float
        Charge taken out [A h].
    degrees : float
        Of the acid [degC].
    link_open : bool
        Whether its broken link does not touch.
    """
    rated = battery["rated"]
    cold = 25.0 - degrees
    ohmic = new_ohmic(rated) * exp(typical("ohmic_per_kelvin") * cold) * battery["ohmic"] / (1.0 - battery["dry"])
    five, odd = (charge_of(battery, removed, odd=which) for which in (False, True))
    spread = ORDINARY * float(np.interp(five, CHARGES, RESISTANCES))
    if battery["shorted"]:
        own = SHORTED_OHMS * CELLS / new_ohmic(rated)
    else:
        own = float(np.interp(odd, CHARGES, RESISTANCES)) / max(battery["odd"], 0.05) ** 0.5
    plates = battery["active"] * (1.0 - battery["locked"]) * (1.0 - battery["dry"])
    acid = rated * typical("pore_seconds") * exp(-typical("pore_per_kelvin") * cold) * plates**0.5
    left = [acid * (LAST_ACID + (1.0 - LAST_ACID) * max(min(x, 1.0), 0.0)) for x in (five, odd)]
    kelvin = (degrees + 273.15) / 298.15
    return Source(
        emf=rest_volts(battery, removed, degrees),
        ohmic=ohmic * (spread + own) / CELLS + (battery["link"] if link_open else 0.0),
        kinetic=CELLS * typical("kinetic_volts") * kelvin,
        exchange=rated * typical("kinetic_share") * exp(-typical("kinetic_per_kelvin") * cold) * plates**0.5,
        pores=left[0],
        odd_pores=max(left[1] * battery["odd"], 1.0),
        pore_volts=typical("pore_volts") * kelvin,
        odd=0.0 if battery["shorted"] else 1.0,
    )


@lru_cache(maxsize=256)
def new_ohmic(rated: float) -> float:
    """Ohmic resistance at 25 degC of a new full battery that just meets its rating [ohm].

    Parameters
    ----------
    rated : float
        SAE rating it meets [A].

    Examples
    --------
    >>> 2.2 < new_ohmic(600.0) * 600.0 < 3.3
    True
    """
    cold = 25.0 - RATED_DEGREES
    kelvin = (RATED_DEGREES + 273.15) / 298.15
    acid = rated * typical("pore_seconds") * exp(-typical("pore_per_kelvin") * cold)
    exchange = rated * typical("kinetic_share") * exp(-typical("kinetic_per_kelvin") * cold)
    new = Source(
        float(CELLS * (np.interp(1.265, GRAVITIES, CELL_VOLTS) - typical("emf_per_kelvin") * cold)), 0.0,
        CELLS * typical("kinetic_volts") * kelvin, exchange, acid, acid, typical("pore_volts") * kelvin,
    )  # fmt: skip
    left = new.volts(rated, RATED_SECONDS) - RATED_VOLTS
    return left / rated / exp(typical("ohmic_per_kelvin") * cold)


@dataclass(frozen=True)
class Acceptance:
    """A battery on a supply.

    Parameters
    ----------
    rest : float
        [V]
    gives : float
        Resistance behind which it gives current [ohm].
    ohmic : float
        [ohm]
    taken : float
        Current it takes at 14.4 V [A].
    cells_lost : float
        Shorted cells [-].
    """

    rest: float
    gives: float
    ohmic: float
    taken: float
    cells_lost: float

    def current(self, volts: float) -> float:
        """Current into it at some volts [A]; negative where it gives current."""
        if volts <= self.rest:
            return (volts - self.rest) / self.gives
        reach = max(14.4 - 2.1 * self.cells_lost - self.rest, 0.3)
        over = (volts - 14.4 + 2.4 * self.cells_lost) / GASSING_VOLTS
        gassing = exp(min(max(over, 0.0), 3.0))
        return (volts - self.rest) / (reach / max(self.taken * gassing, 1e-3) + self.ohmic)


def acceptance(battery: Mapping[str, float], removed: float, degrees: float) -> Acceptance:
    """How a battery takes charge.

    Parameters
    ----------
    battery : mapping of str to float
    removed : float
        Charge taken out [A h].
    degrees : float
        Of the acid [degC].

    Notes
    -----
    At 14.4 V it takes a C (1 - s + floor)^1.07 amperes, in proportion to the volts above rest, behind its own
    resistance; above 14.4 V gassing takes a decade more for each 1.8 V. Below rest it gives what its resistance lets
    through. A shorted cell leaves its 2.4 V to the other five.
    """
    source = source_of(battery, removed, degrees)
    empty = min(max(1.0 - charge_of(battery, removed), 0.0), 1.0) + typical("acceptance_floor")
    taken = battery["acceptance_scale"] * battery["acceptance"] * battery["capacity"] * (1.0 - battery["dry"])
    taken *= empty ** typical("acceptance_power") * exp(typical("acceptance_per_kelvin") * min(degrees - 25.0, 15.0))
    gives = source.ohmic + 0.5 * source.kinetic / source.exchange
    return Acceptance(source.emf, gives, source.ohmic, taken, battery["shorted"])


def accepted(battery: Mapping[str, float], removed: float, degrees: float, volts: float) -> float:
    """Current into a battery held at some volts [A]."""
    return acceptance(battery, removed, degrees).current(volts)


def charged(battery: Mapping[str, float], removed: float, degrees: float, volts: float, hours: float, most: float,
            loss: float = 0.0) -> float:  # fmt: skip
    """What is still taken out after some hours on a supply [A h].

    Parameters
    ----------
    battery : mapping of str to float
    removed, degrees, volts, hours : float
    most : float
        Largest current of the supply [A].
    loss : float
        Current that flows out beside it all the time [A].

    Notes
    -----
    Steps of a tenth of the time. Nothing goes in beyond full: what flows then makes gas.
    """
    step = hours / 10.0
    for _ in range(10):
        current = min(accepted(battery, removed, degrees, volts), most) - loss
        removed = max(removed - 0.92 * current * step, 0.0)  # [-] 0.9 to 0.95 goes in: textbook, memory
    return removed


def stood(battery: Mapping[str, float], removed: float, degrees: float, hours: float, current: float) -> float:
    """What is taken out after standing [A h]: what flows while parked, and self-discharge that doubles per 10 K."""
    own = battery["self_discharge"] * 2.0 ** ((degrees - 25.0) / 10.0)
    left = max(battery["capacity"] - removed, 0.0)
    drawn = removed + current * hours + left * (1.0 - exp(-own * hours / 24.0))
    return min(drawn, 1.3 * battery["capacity"] * battery["active"])
