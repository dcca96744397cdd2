"""What the acid says: its strength, the voltage of a cell standing in it, and when it freezes.

The chain is charge -> specific gravity (how much acid the plates have given back) -> molality (handbook table) -> cell
voltage (Bode's polynomial) -> temperature.
"""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity, chosen, looked_up

# Sulphuric acid at 25 degC: share by weight [-] and density [g/mL]. CRC-type handbook table, from memory.
ACID_WEIGHT = np.array([0.0, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35, 0.40, 0.45, 0.50])
ACID_DENSITY = np.array([0.99705, 1.0300, 1.0640, 1.0994, 1.1365, 1.1750, 1.2150, 1.2563, 1.2991, 1.3437, 1.3911])
SULPHURIC_ACID = 0.09808  # [kg/mol]

# Charge [-] and specific gravity [-] of a flooded battery: battery maker's technical page, secondary.
FLOODED_CHARGE = np.array([0.0, 0.25, 0.50, 0.75, 1.0])
FLOODED_GRAVITY = np.array([1.120, 1.155, 1.190, 1.225, 1.265])

# Empty and full specific gravity [-] by kind. Flooded: the table above. Enhanced flooded: 1.130 and 1.280, US Army
# TM 5-1185 table II (published). AGM: full 1.30 to 1.31, derived from 12.8 to 13.0 V at rest; empty an estimate.
GRAVITY_RANGE = {"flooded": (1.120, 1.265), "enhanced_flooded": (1.130, 1.280), "agm": (1.090, 1.305)}

# Slope of a cell's rest voltage at fixed acid strength: Craig and Vinal (NBS 1940), from memory.
SLOPE_MOLALITY = np.array([1.75, 2.75, 3.90, 5.20, 6.07, 6.70])  # [mol/kg], SG 1.10 to 1.30
SLOPE = np.array([0.30, 0.33, 0.30, 0.24, 0.20, 0.18]) * 1e-3  # [V/K]

# Freezing point of acid: US Army TM 5-1185 table III and TM 10-6140-200-14 table 1-1 (published; two rows from an
# equipment manual), degF turned into degC.
FREEZING_GRAVITY = np.array([1.000, 1.050, 1.100, 1.150, 1.160, 1.200, 1.220, 1.250, 1.280])
FREEZING_POINT = np.array([0.0, -3.0, -7.0, -15.0, -17.2, -27.0, -35.0, -52.0, -69.0])  # [degC]


def specific_gravity(charge: Quantity, kind: str = "flooded") -> Quantity:
    """Specific gravity of the acid at 25 degC from the state of charge.

    Parameters
    ----------
    charge : float or array
        State of charge [-]; held to 0..1.
    kind : {"flooded", "enhanced_flooded", "agm"}

    Returns
    -------
    float or array
        Specific gravity [-], acid and water both at 25 degC. Six equal cells.

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    The share of acid given back between empty and full follows the flooded table for every kind; only the two ends
    differ. Leaves out layering of the acid and loss of water.

    Examples
    --------
    >>> round(float(specific_gravity(0.75)), 3)
    1.225

    References
    ----------
    Battery maker's technical page (secondary); US Army TM 5-1185, table II.
    """
    empty, full = chosen(GRAVITY_RANGE, kind, "kind of battery")
    share = (looked_up(charge, FLOODED_CHARGE, FLOODED_GRAVITY) - 1.120) / (1.265 - 1.120)
    return empty + (full - empty) * share


def molality(specific_gravity: Quantity) -> Quantity:
    """Molality of sulphuric acid from its specific gravity.

    Parameters
    ----------
    specific_gravity : float or array
        [-], both at 25 degC; 1.00 to 1.39, held to that range.

    Returns
    -------
    float or array
        Molality [mol/kg].

    Notes
    -----
    m = w / (M (1 - w)) with w the share by weight, interpolated in the density table (steps of 5 %).

    Examples
    --------
    >>> round(float(molality(1.265)), 2)
    5.63

    References
    ----------
    CRC-type handbook table of density at 25 degC (from memory).
    """
    weight = looked_up(specific_gravity, ACID_DENSITY / ACID_DENSITY[0], ACID_WEIGHT)
    return weight / (SULPHURIC_ACID * (1.0 - weight))


def cell_voltage(molality: Quantity, temperature: Quantity = 25.0) -> Quantity:
    """Rest voltage of one lead-acid cell from the molality of its acid.

    Parameters
    ----------
    molality : float or array
        [mol/kg]; 0.1 to 10.
    temperature : float or array
        Electrolyte temperature [degC]; -40 to 60.

    Returns
    -------
    float or array
        Voltage of the cell at rest [V].

    Notes
    -----
    E = 1.922 + 0.148 L + 0.063 L^2 + 0.074 L^3 + 0.034 L^4 at 25 degC, L = log10(m), plus a slope of 0.18 to
    0.33 mV/K that depends on m. Larger slopes in circulation correct a hydrometer or a charger, not a rest voltage.

    Examples
    --------
    >>> round(float(cell_voltage(1.0)), 3)
    1.922

    References
    ----------
    H. Bode, Lead-Acid Batteries, Wiley 1977, sum of both electrodes as coded in PyBaMM (published). Slope: Craig and
    Vinal, NBS 1940 (from memory).
    """
    log = np.log10(np.clip(molality, 0.1, 10.0))
    at_25: Quantity = 1.922 + log * (0.148 + log * (0.063 + log * (0.074 + log * 0.034)))
    return at_25 + looked_up(molality, SLOPE_MOLALITY, SLOPE) * (temperature - 25.0)


def freezing_point(specific_gravity: Quantity) -> Quantity:
    """Temperature at which the acid begins to freeze.

    Parameters
    ----------
    specific_gravity : float or array
        [-], both at 25 degC; held to 1.00..1.28.

    Returns
    -------
    float or array
        Freezing point [degC]. A battery below it must be thawed before it is charged.

    Notes
    -----
    Interpolated in a table. Above 1.28 the true point rises again; no car battery gets that cold.

    Examples
    --------
    >>> float(freezing_point(1.100))
    -7.0

    References
    ----------
    US Army TM 5-1185 table III; TM 10-6140-200-14 table 1-1; Army OD1002 (published).
    """
    return looked_up(specific_gravity, FREEZING_GRAVITY, FREEZING_POINT)
