"""The charging system: set point, output against speed, and the balance at the posts.

What the diodes do is :mod:`~faultnet.physics.rectifier`; its functions can be imported from here too.
"""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity, chosen
from faultnet.physics.rectifier import diode_leakage, diode_output_factor, ripple_frequency, ripple_voltage

__all__ = [
    "alternator_speed",
    "begins_to_charge",
    "charging_resistance",
    "charging_voltage",
    "diode_leakage",
    "diode_output_factor",
    "output_capability",
    "ripple_frequency",
    "ripple_voltage",
    "self_excitation_speed",
    "set_point",
]

# Regulated voltage at 20 degC and slope [V], [V/K]. Fixed: middle of a maker's band, service manual (secondary).
# Load-responsive control moves between modes: cruise 12.6 to 13.2, charge 14.0 to 14.8, overrun 15 to 15.5 V, trade
# pages (secondary); "load_responsive" is its charge mode, which headlamps or a cold battery bring about.
SET_POINT = {
    "fixed": (14.15, -0.010),
    "load_responsive": (14.4, -0.010),
    "load_responsive_cruise": (12.9, 0.0),
    "load_responsive_overrun": (15.2, -0.005),
}

CUT_IN = 1000.0  # [rev/min] of the alternator; derived fit to ISO 8854 ratings
RISE_SPEED = 1000.0  # [rev/min]; derived fit: 0.4 of the rating at 1500, 0.99 at 6000
CUT_IN_VOLTS = 14.0  # [V] at the cut-in speed with the full field; derived: the voltage of SET_POINT
HUGE = 1e9  # [ohm] stands for an open cable


def set_point(temperature: Quantity, kind: str = "fixed", offset: Quantity = 0.0) -> Quantity:
    """Voltage a regulator holds at its own terminal.

    Parameters
    ----------
    temperature : float or array
        Of the regulator [degC]; -40 to 120.
    kind : {"fixed", "load_responsive", "load_responsive_cruise", "load_responsive_overrun"}
    offset : float or array
        Of this unit against the middle [V]; sound units spread by about 0.25 V.

    Returns
    -------
    float or array
        Set point [V].

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    14.15 V at 20 degC, -10 mV/K. Load-responsive control may sit at 12.6 to 13.2 V for minutes and be sound.

    Examples
    --------
    >>> set_point(20.0)
    14.15

    References
    ----------
    Service manual of one maker, band against temperature (secondary), its middle derived.
    """
    at_20, slope = chosen(SET_POINT, kind, "charge control")
    return at_20 + slope * (temperature - 20.0) + offset


def output_capability(alternator_speed: Quantity, rating: Quantity) -> Quantity:
    """Largest current an alternator can give at a speed.

    Parameters
    ----------
    alternator_speed : float or array
        [rev/min] of the alternator, 2.2 to 3.2 times the engine's.
    rating : float or array
        Rated current at 6000 rev/min [A].

    Returns
    -------
    float or array
        Current [A]; zero below the cut-in speed.

    Notes
    -----
    I = I_R (1 - exp(-(n - 1000) / 1000)), at 13.5 V and about 23 degC; hot, some 10 to 20 % less.

    Examples
    --------
    >>> round(float(output_capability(1500.0, 90.0)), 1)
    35.4

    References
    ----------
    ISO 8854 gives the speeds 1500 and 6000 rev/min (from memory); curve derived.
    """
    return rating * -np.expm1(-np.maximum(alternator_speed - CUT_IN, 0.0) / RISE_SPEED)


def alternator_speed(engine_speed: Quantity, pulley_ratio: Quantity = 2.7, slip: Quantity = 0.0) -> Quantity:
    """Speed of the alternator behind its belt.

    Parameters
    ----------
    engine_speed : float or array
        [rev/min].
    pulley_ratio : float or array
        [-]; 2.2 to 3.2.
    slip : float or array
        Share of the speed lost by a slipping belt [-]; 1 when the belt is gone.

    Returns
    -------
    float or array
        [rev/min].

    Notes
    -----
    n = engine speed * ratio * (1 - slip).

    Examples
    --------
    >>> round(alternator_speed(750.0))
    2025

    References
    ----------
    2.8 in one service manual (secondary).
    """
    return engine_speed * pulley_ratio * (1.0 - slip)


def self_excitation_speed(residual: Quantity, drops: Quantity = 2.1) -> Quantity:
    """Speed from which an alternator whose rotor is fed by nobody begins to feed it itself.

    Parameters
    ----------
    residual : float or array
        Field that is left in the iron, as a share of the full field [-]; some 0.02 to 0.05.
    drops : float or array
        Volts lost before any current flows through the rotor [V]: two diodes and the regulator's transistor.

    Returns
    -------
    float or array
        [rev/min] of the alternator.

    Notes
    -----
    The voltage of the winding is in proportion to field and speed, and the full field gives 14 V at the cut-in speed:
    n = n_0 * drops / (14 V * residual). Once begun it goes on down to the cut-in speed until the engine stops.

    Examples
    --------
    >>> round(self_excitation_speed(0.03))
    5000

    References
    ----------
    Law of induction; 0.7 V across a silicon junction (textbooks, from memory). The residual field is an estimate.
    """
    return CUT_IN * drops / (CUT_IN_VOLTS * residual)


def begins_to_charge(excited_from: Quantity, control: str) -> Quantity:
    """Speed from which an alternator charges by its excitation, by how it is controlled.

    Parameters
    ----------
    excited_from : float or array
        Speed from which it is excited [rev/min]; below the cut-in speed when it is excited from outside.
    control : {"fixed", "load_responsive"}

    Returns
    -------
    float or array
        [rev/min] of the alternator; infinite where it never begins.

    Notes
    -----
    A regulator that follows the load waits for its command: without it the rotor is fed at no speed.

    Examples
    --------
    >>> begins_to_charge(4000.0, "fixed"), begins_to_charge(4000.0, "load_responsive")
    (4000.0, inf)

    References
    ----------
    Common practice, no source; some of them hold a voltage of their own at high speed, which is left out.
    """
    if control == "fixed":
        return excited_from
    waits = np.where(np.asarray(excited_from) > CUT_IN, np.inf, excited_from)
    return float(waits) if np.ndim(excited_from) == 0 else waits


def charging_voltage(
    set_point: Quantity,
    capability: Quantity,
    load: Quantity,
    battery_emf: Quantity,
    battery_resistance_charge: Quantity,
    cable_resistance: Quantity = 0.0,
    battery_resistance_discharge: Quantity = 0.010,
) -> tuple[Quantity, Quantity, Quantity]:
    """Balance of alternator, consumers and battery.

    Parameters
    ----------
    set_point : float or array
        Held at the alternator's terminal as long as it can [V].
    capability : float or array
        Largest alternator current [A]; zero when it gives nothing.
    load : float or array
        Current of the consumers, taken at the battery [A].
    battery_emf : float or array
        Rest voltage of the battery [V].
    battery_resistance_charge : float or array
        Apparent resistance while charging, of :func:`charging_resistance` [ohm].
    cable_resistance : float or array
        Charge cable, fuse and ground side together [ohm]; huge or infinite when open.
    battery_resistance_discharge : float or array
        Battery resistance when it has to help out [ohm].

    Returns
    -------
    post_voltage : float or array
        At the battery posts [V].
    alternator_current : float or array
        [A].
    battery_current : float or array
        Into the battery, negative when it is drained [A].

    Notes
    -----
    Regulated: I_alt = (V_set - E + R_b load) / (R_b + R_cable), held to 0..capability; I_bat = I_alt - load;
    V = E + R_b I_bat. R_b is the charging one when current flows in, the small one when it flows out. Settled state,
    minutes after a change.

    Examples
    --------
    >>> [round(float(x), 2) for x in charging_voltage(14.2, 90.0, 20.0, 12.6, 0.16)]
    [14.2, 30.0, 10.0]
    >>> [round(float(x), 2) for x in charging_voltage(14.2, 0.0, 20.0, 12.6, 0.16)]
    [12.4, 0.0, -20.0]

    References
    ----------
    Kirchhoff's laws.
    """
    cable_resistance = np.minimum(cable_resistance, HUGE)
    filling = (set_point - cable_resistance * np.maximum(load, 0.0) > battery_emf) & (np.asarray(capability) > load)
    inner = np.where(filling, battery_resistance_charge, battery_resistance_discharge)
    regulated = (set_point - battery_emf + inner * load) / (inner + cable_resistance)
    alternator = np.clip(regulated, 0.0, capability)
    battery = alternator - load
    return battery_emf + inner * battery, alternator, battery


def charging_resistance(accepted: Quantity, emf: Quantity, voltage: Quantity = 14.4) -> Quantity:
    """Apparent resistance of a battery on charge.

    Parameters
    ----------
    accepted : float or array
        Current it takes at `voltage`, of :func:`faultnet.physics.battery.acceptance_current` [A].
    emf : float or array
        Rest voltage [V].
    voltage : float or array
        [V].

    Returns
    -------
    float or array
        [ohm]; at least 1 mohm.

    Notes
    -----
    (V - E) / I.

    Examples
    --------
    >>> round(float(charging_resistance(10.0, 12.4)), 2)
    0.2

    References
    ----------
    Definition.
    """
    return np.maximum(voltage - emf, 1e-3) / np.maximum(accepted, 1e-3)
