"""Resistance of copper conductors by length, cross-section and temperature."""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity, looked_up

COPPER_RESISTIVITY = 1.7241e-8  # [ohm m] at 20 degC, annealed, 100 % IACS: IEC 60028, from memory
COPPER_COEFFICIENT = 0.00393  # [1/K] at 20 degC: IEC 60028, from memory

# IEC 60228 class 5 (flexible), plain copper: largest resistance at 20 degC, from memory.
CLASS5_AREA = np.array([0.75, 1.0, 1.5, 2.5, 4.0, 6.0, 10.0, 16.0, 25.0, 35.0, 50.0, 70.0, 95.0])  # [mm2]
CLASS5_MAXIMUM = np.array([26.0, 19.5, 13.3, 7.98, 4.95, 3.30, 1.91, 1.21, 0.780, 0.554, 0.386, 0.272, 0.206])  # mohm/m


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


def awg_area(gauge: Quantity) -> Quantity:
    """Cross-section of an American wire gauge.

    Parameters
    ----------
    gauge : float or array
        Gauge number [-]; 1/0 is 0, 2/0 is -1, 4/0 is -3.

    Returns
    -------
    float or array
        Cross-section of a solid round wire [mm2].

    Notes
    -----
    d = 0.127 mm 92^((36 - n) / 39).

    Examples
    --------
    >>> round(float(awg_area(4)), 1)
    21.2

    References
    ----------
    ASTM B258 (from memory).
    """
    diameter = 0.127 * np.power(92.0, (36.0 - gauge) / 39.0)
    return np.pi / 4.0 * diameter**2


def class5_maximum(area: Quantity) -> Quantity:
    """Largest resistance per metre of a flexible copper conductor of a nominal size.

    Parameters
    ----------
    area : float or array
        Nominal cross-section [mm2]; 0.75 to 95, held to that range.

    Returns
    -------
    float or array
        Resistance at 20 degC [ohm/m].

    Notes
    -----
    Between sizes, a straight line in the logarithms. Road-vehicle cables (ISO 6722, ISO 19642) lie 3 to 6 % lower.

    Examples
    --------
    >>> round(1e3 * float(class5_maximum(35.0)), 3)
    0.554

    References
    ----------
    IEC 60228, class 5 (from memory).
    """
    return 1e-3 * np.exp(looked_up(np.log(area), np.log(CLASS5_AREA), np.log(CLASS5_MAXIMUM)))
