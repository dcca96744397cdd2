"""The battery under one name: its rest voltage, and everything the modules below it say.

Import battery physics from here; :mod:`~faultnet.physics.acid`, :mod:`~faultnet.physics.rating`,
:mod:`~faultnet.physics.resistance` and :mod:`~faultnet.physics.charge` hold the parts.
"""

from __future__ import annotations

import numpy as np

from faultnet.physics.acid import cell_voltage, freezing_point, molality, specific_gravity
from faultnet.physics.charge import (
    acceptance_current,
    acceptance_of_its_own,
    capacity_at,
    self_discharge_rate,
    surface_charge,
)
from faultnet.physics.quantity import Quantity, looked_up
from faultnet.physics.rating import (
    UNKNOWN_BESIDE_NEEDED_SPREAD,
    UNKNOWN_RATING_SPREAD,
    UNKNOWN_STANDARD_SPREAD,
    capacity_from_rating,
    half_rating_limit,
    sae_rating,
    usual_rating,
)
from faultnet.physics.resistance import (
    charge_factor,
    cold_factor,
    load_voltage,
    ohmic_resistance,
    polarisation_resistance,
    polarisation_share,
    resistance,
)

__all__ = [
    "UNKNOWN_BESIDE_NEEDED_SPREAD",
    "UNKNOWN_RATING_SPREAD",
    "UNKNOWN_STANDARD_SPREAD",
    "acceptance_current",
    "acceptance_of_its_own",
    "capacity_at",
    "capacity_from_rating",
    "cell_voltage",
    "charge_factor",
    "charge_from_voltage",
    "cold_factor",
    "freezing_point",
    "half_rating_limit",
    "load_voltage",
    "molality",
    "ohmic_resistance",
    "open_circuit_voltage",
    "polarisation_resistance",
    "polarisation_share",
    "resistance",
    "sae_rating",
    "self_discharge_rate",
    "specific_gravity",
    "surface_charge",
    "usual_rating",
]

CELLS = 6


def open_circuit_voltage(charge: Quantity, temperature: Quantity = 25.0, kind: str = "flooded") -> Quantity:
    """Rest voltage of six good cells without surface charge.

    Parameters
    ----------
    charge : float or array
        State of charge [-]; held to 0..1.
    temperature : float or array
        Electrolyte temperature [degC].
    kind : {"flooded", "enhanced_flooded", "agm"}

    Returns
    -------
    float or array
        Rest EMF [V]. A shorted cell takes about 2.1 V from it.

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    Six times the cell voltage at the molality of that charge; about 8 mV per 1 % of charge and +1.2 mV/K near full.

    Examples
    --------
    >>> round(float(open_circuit_voltage(1.0)), 2)
    12.66

    References
    ----------
    Bode 1977 as coded in PyBaMM (published); Craig and Vinal 1940 (from memory).
    """
    return CELLS * cell_voltage(molality(specific_gravity(charge, kind)), temperature)


def charge_from_voltage(voltage: Quantity, temperature: Quantity = 25.0, kind: str = "flooded") -> Quantity:
    """State of charge from a rest voltage without surface charge.

    Parameters
    ----------
    voltage : float or array
        Rest voltage [V].
    temperature : float or array
        Electrolyte temperature [degC].
    kind : {"flooded", "enhanced_flooded", "agm"}

    Returns
    -------
    float or array
        State of charge [-], held to 0..1; means nothing when a cell is weak or shorted.

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    Interpolation in :func:`open_circuit_voltage` at 25 degC after taking off the temperature slope, which itself
    depends a little on charge: four rounds leave less than 1e-4.

    Examples
    --------
    >>> round(float(charge_from_voltage(12.45)), 2)
    0.76

    References
    ----------
    Inverse of :func:`open_circuit_voltage`.
    """
    grid = np.linspace(0.0, 1.0, 201)
    at_25 = np.asarray(open_circuit_voltage(grid, 25.0, kind))
    slope = np.asarray(open_circuit_voltage(grid, 26.0, kind)) - at_25
    charge: Quantity = 0.7
    for _ in range(4):
        charge = looked_up(voltage - looked_up(charge, grid, slope) * (temperature - 25.0), at_25, grid)
    return charge
