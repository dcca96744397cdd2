"""Resistance of copper conductors by length, cross-section and temperature."""

from __future__ import annotations

from faultnet.physics.quantity import Quantity

COPPER_RESISTIVITY = 1.7241e-8  # [ohm m] at 20 degC, annealed, 100 % IACS: IEC 60028, from memory
COPPER_COEFFICIENT = 0.00393  # [1/K] at 20 degC: IEC 60028, from memory


def copper_resistance(length: Quantity, area: Quantity, temperature: Quantity = 20.0) -> Quantity:
    """Resistance of a copper conductor.

    Parameters
    ----------
    length : float or array
        One way [m].
    area : float or array
        Cross-section of the copper [mm2].
    temperature : float or array
        Of the copper [degC]; -40 to 150.

    Returns
    -------
    float or array
        Resistance [ohm], without its ends. Copper-clad aluminium has 1.5 to 1.6 times as much.

    Notes
    -----
    R = rho l / A (1 + 0.00393 (T - 20)).

    Examples
    --------
    >>> round(1e3 * float(copper_resistance(1.0, 25.0)), 3)
    0.69

    References
    ----------
    IEC 60028; NBS Handbook 100, 1966 (from memory).
    """
    return COPPER_RESISTIVITY * length / (area * 1e-6) * (1.0 + COPPER_COEFFICIENT * (temperature - 20.0))
