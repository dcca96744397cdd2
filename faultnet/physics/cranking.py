"""The loop that turns the engine: battery, joints, cables, solenoid, motor, ground, against the engine's drag.

A start begins with the rotor at rest, when only resistances hold the current back (the first dip), and settles where
the motor's torque equals the drag (the sustained level). Both are solved in closed form. The shape in between, and
what an instrument sees of it, are :mod:`~faultnet.physics.waveform` and :mod:`~faultnet.physics.sampling`; their
functions can be imported from here too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from faultnet.physics.quantity import Quantity, chosen
from faultnet.physics.resistance import EARLY_POLARISATION, polarisation_share
from faultnet.physics.sampling import sampled_minimum, windowed_minimum
from faultnet.physics.waveform import (
    compression_frequency,
    compression_ripple,
    speed_from_frequency,
    waveform,
)

__all__ = [
    "Start",
    "compression_frequency",
    "compression_ripple",
    "control_terminal_voltage",
    "cranking_current_nominal",
    "motor_resistance",
    "oil_factor",
    "sampled_minimum",
    "solve_start",
    "speed_from_frequency",
    "sustained_after",
    "waveform",
    "windowed_minimum",
]

# Current at 25 degC: amperes, and amperes per litre. Common practice: petrol 60 A + 40 to 60 A/l, diesel 110 to
# 160 A/l for 1.5 to 3 l; spread of 20 % between cars of a size.
CRANKING_CURRENT = {"petrol": (60.0, 60.0), "diesel": (40.0, 110.0)}

# Resistance inside the starter, least and most [ohm]: common practice, checked by locked-rotor currents of 550 to
# 1000 A (petrol) and 900 to 1500 A (diesel).
MOTOR_RESISTANCE = {"petrol": (5.0e-3, 8.0e-3), "diesel": (3.5e-3, 5.0e-3)}

BREAK_AWAY = 0.6  # [-] share of the nominal torque that does not depend on speed (compression, dry friction); estimate
NOMINAL_BACK_EMF = 8.5  # [V] at nominal speed; estimate from 180 to 280 rev/min of sound warm cars
HUGE = 1e9  # stands for an endless resistance or drag, so that no infinity meets another


@dataclass(frozen=True)
class Start:
    """What one attempt to start looks like electrically; every field has the broadcast shape of the inputs.

    Parameters
    ----------
    current : float or array
        Sustained mean current [A].
    post_voltage : float or array
        Sustained mean voltage between the battery posts in the first second [V].
    speed : float or array
        Engine speed [rev/min]; 0 when it does not turn.
    stall_current : float or array
        Current with the rotor at rest [A].
    first_dip : float or array
        Lowest true voltage between the posts, with the rotor at rest [V].
    """

    current: Quantity
    post_voltage: Quantity
    speed: Quantity
    stall_current: Quantity
    first_dip: Quantity


def oil_factor(temperature: Quantity) -> Quantity:
    """Factor by which a cold engine needs more cranking torque than at 25 degC.

    Parameters
    ----------
    temperature : float or array
        Oil temperature [degC]; held to -40..40.

    Returns
    -------
    float or array
        Factor [-]: 1.45 at 0 degC, 1.91 at -18 degC, 0.8 from 40 degC up.

    Notes
    -----
    exp(0.015 (25 - T)), for thin multi-grade oil; single-grade oil asks 1.5 to 1.65 at 0 and 2.1 to 2.5 at -18 degC.

    Examples
    --------
    >>> round(float(oil_factor(-18.0)), 2)
    1.91

    References
    ----------
    1.5 to 2 at -18 degC: general page (secondary); oil as the largest influence: SAE 640146, abstract (published).
    """
    return np.exp(0.015 * (25.0 - np.clip(temperature, -40.0, 40.0)))


def cranking_current_nominal(displacement: Quantity, fuel: str, temperature: Quantity = 20.0) -> Quantity:
    """Steady current a sound starter takes while it turns a sound engine at nominal speed.

    Parameters
    ----------
    displacement : float or array
        Of the engine [l].
    fuel : {"petrol", "diesel"}
    temperature : float or array
        Oil temperature [degC].

    Returns
    -------
    float or array
        Current [A], with a spread between cars of about 20 %.

    Raises
    ------
    CarError
        If the fuel is unknown.

    Notes
    -----
    (60 A + 60 A/l) petrol, (40 A + 110 A/l) diesel, times :func:`oil_factor`. Above 4 l it is an extrapolation.

    Examples
    --------
    >>> float(cranking_current_nominal(1.6, "petrol", 25.0))
    156.0

    References
    ----------
    Common practice, no source; 100 to 200 A for four cylinders, general page (secondary).
    """
    base, per_litre = chosen(CRANKING_CURRENT, fuel, "fuel")
    return (base + per_litre * displacement) * oil_factor(temperature)


def motor_resistance(displacement: Quantity, fuel: str) -> Quantity:
    """Resistance of the circuit inside a sound starter sized for an engine.

    Parameters
    ----------
    displacement : float or array
        Of the engine [l].
    fuel : {"petrol", "diesel"}

    Returns
    -------
    float or array
        Windings and inner connections [ohm], without the brush drop.

    Raises
    ------
    CarError
        If the fuel is unknown.

    Notes
    -----
    A starter is sized so that about 1 V falls across its windings at nominal current: 1 V / I, held to 5..8 mohm for
    petrol and 3.5..5 mohm for diesel.

    Examples
    --------
    >>> round(1e3 * float(motor_resistance(1.6, "petrol")), 1)
    6.4

    References
    ----------
    5 to 8 mohm: common practice, no source; the rule of 1 V: estimate.
    """
    least, most = chosen(MOTOR_RESISTANCE, fuel, "fuel")
    return np.clip(1.0 / cranking_current_nominal(displacement, fuel, 25.0), least, most)


def solve_start(
    emf: Quantity,
    source_ohmic: Quantity,
    source_polarisation: Quantity,
    loop_resistance: Quantity,
    drag: Quantity,
    nominal_current: Quantity,
    motor_resistance: Quantity,
    brush_drop: Quantity = 1.0,
    nominal_voltage: Quantity = NOMINAL_BACK_EMF,
    nominal_speed: Quantity = 220.0,
    polarisation_share: Quantity = EARLY_POLARISATION,
) -> Start:
    """Balance of a start: voltage round the loop and torque on the crankshaft.

    Parameters
    ----------
    emf : float or array
        Rest voltage of the battery, less what bad cells take [V].
    source_ohmic, source_polarisation : float or array
        Battery resistance at once, and what is added to it when fully developed [ohm].
    loop_resistance : float or array
        Cables, joints, contacts and ground, everything outside battery and motor [ohm]; huge or infinite when open.
    drag : float or array
        Torque asked for over that of a sound engine at this temperature [-]; huge or infinite when seized.
    nominal_current : float or array
        Of :func:`cranking_current_nominal` [A].
    motor_resistance : float or array
        Of :func:`motor_resistance` [ohm].
    brush_drop : float or array
        Across both brushes [V].
    nominal_voltage, nominal_speed : float or array
        The motor generates this back-EMF [V] at this engine speed [rev/min].
    polarisation_share : float or array
        How much of the polarisation has developed while the level is read [-].

    Returns
    -------
    Start
        Arrays of the broadcast shape. An engine that stands draws the stall current; an open loop draws nothing.

    Notes
    -----
    Torque is taken as proportional to current, so the current needed at relative speed x = n / nominal_speed is
    I = I_n d (0.6 + 0.4 x); the loop gives E - V_b - I R = V_n x. Together x = (E - V_b - 0.6 I_n d R) /
    (V_n + 0.4 I_n d R), and where that is negative x = 0 and I = (E - V_b) / R. The first dip has the rotor at rest
    and the ohmic part only; inductance, which takes a little off so short a peak, is left out.

    Examples
    --------
    >>> start = solve_start(12.66, 0.0044, 0.0021, 0.0025, 1.0, 150.0, 0.0066)
    >>> round(float(start.current)), round(float(start.post_voltage), 1), round(float(start.first_dip), 1)
    (156, 11.7, 8.9)

    References
    ----------
    Torque proportional to current of a calibrated starter: practice of SAE J1253 and J544 (from memory).
    """
    developed = source_ohmic + polarisation_share * source_polarisation
    outside = np.minimum(loop_resistance, HUGE) + motor_resistance
    available = np.maximum(emf - brush_drop, 0.0)
    needed = nominal_current * np.minimum(drag, HUGE)
    fall = needed * (developed + outside)
    turning = (available - BREAK_AWAY * fall) / (nominal_voltage + (1.0 - BREAK_AWAY) * fall)
    turning = np.maximum(turning, 0.0)
    current = np.minimum(needed * (BREAK_AWAY + (1.0 - BREAK_AWAY) * turning), available / (developed + outside))
    stall = available / (source_ohmic + outside)
    return Start(
        current=current,
        post_voltage=emf - current * developed,
        speed=nominal_speed * turning,
        stall_current=stall,
        first_dip=emf - stall * source_ohmic,
    )


def sustained_after(
    sustained: Quantity,
    current: Quantity,
    source_polarisation: Quantity,
    seconds: Quantity,
    weak_cell_loss: Quantity = 0.0,
) -> Quantity:
    """Voltage at the posts after some seconds of cranking an engine that is kept from firing.

    Parameters
    ----------
    sustained : float or array
        Level in the first second, `post_voltage` of :func:`solve_start` [V].
    current : float or array
        Sustained current [A].
    source_polarisation : float or array
        Fully developed polarisation resistance [ohm].
    seconds : float or array
        Length of the crank [s]; up to 30.
    weak_cell_loss : float or array
        Voltage a weak cell gives up when it is exhausted, 1 to 4 [V].

    Returns
    -------
    float or array
        Voltage at the posts [V], never below zero.

    Notes
    -----
    V - I R_p (share(t) - share(0)) - loss (1 - exp(-t / 5 s)). The current is held, which overstates the sag by a few
    per cent of itself; the charge drawn (0.6 A h in 15 s at 150 A) moves the EMF by less than 0.02 V.

    Examples
    --------
    >>> round(float(sustained_after(11.5, 160.0, 0.0021, 15.0)), 2)
    11.41

    References
    ----------
    A weak cell that drops to zero or reverses within seconds: common practice, no source; 5 s: estimate.
    """
    sag = current * source_polarisation * (polarisation_share(seconds) - EARLY_POLARISATION)
    exhausted = weak_cell_loss * -np.expm1(-np.maximum(seconds, 0.0) / 5.0)
    return np.maximum(sustained - sag - exhausted, 0.0)


def control_terminal_voltage(post_voltage: Quantity, coil_current: Quantity, control_resistance: Quantity) -> Quantity:
    """Voltage at the control terminal of the solenoid, against the battery's negative post.

    Parameters
    ----------
    post_voltage : float or array
        Between the posts at that moment [V].
    coil_current : float or array
        Through the control wire [A]: 60 to 85 with both windings, 10 to 20 with the holding winding alone.
    control_resistance : float or array
        Switch, relay, interlock and wire [ohm]; infinite when open.

    Returns
    -------
    float or array
        Voltage [V], never below zero.

    Notes
    -----
    V - I R. The coil current is the one a sound circuit would carry; an open one (infinite resistance) leaves 0 V.

    Examples
    --------
    >>> float(control_terminal_voltage(11.0, 15.0, 0.05))
    10.25

    References
    ----------
    Limit 1.0 V with both windings on: US Army TM 5-2420-230-24-2 (published).
    """
    return np.maximum(post_voltage - coil_current * np.minimum(control_resistance, HUGE), 0.0)
