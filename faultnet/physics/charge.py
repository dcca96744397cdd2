"""What goes into a battery and what leaks away: acceptance, surface charge, self-discharge, cold capacity."""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity, chosen, looked_up

# Current a sound battery takes at 14.4 V and 25 degC, per ampere hour [1/h]: middle of ranges of common practice.
ACCEPTANCE_CHARGE = np.array([0.0, 0.5, 0.8, 0.95, 1.0])
ACCEPTANCE = np.array([0.45, 0.40, 0.145, 0.033, 0.0045])

# Capacity at 0 degC and -18 degC, US Army TM 10-6140-200-14 (published); the two ends are estimates.
CAPACITY_TEMPERATURE = np.array([-40.0, -18.0, 0.0, 25.0, 40.0])  # [degC]
CAPACITY_SHARE = np.array([0.10, 0.40, 0.75, 1.00, 1.05])

# Self-discharge at 27 degC, share of full charge per day. Antimonial wet: 0.001 SG a day of 0.145, US Army
# TM 9-6140-200-14 section 4-8 (published), smoothed over its three temperatures. Flooded and enhanced flooded of
# today (calcium, 1 to 4 % a month) and AGM (2 % a month): secondary.
SELF_DISCHARGE = {"antimonial": 0.0075, "flooded": 0.0011, "enhanced_flooded": 0.0011, "agm": 0.0007}


def capacity_at(capacity: Quantity, temperature: Quantity) -> Quantity:
    """Capacity left when the battery is cold.

    Parameters
    ----------
    capacity : float or array
        Twenty-hour capacity at 25 degC [A h].
    temperature : float or array
        Electrolyte temperature [degC]; held to -40..40.

    Returns
    -------
    float or array
        Capacity [A h].

    Notes
    -----
    75 % at 0 degC, 40 % at -18 degC; table of traction batteries, so a starter battery at a small current does better.

    Examples
    --------
    >>> float(capacity_at(60.0, 0.0))
    45.0

    References
    ----------
    US Army TM 10-6140-200-14 (published).
    """
    return capacity * looked_up(temperature, CAPACITY_TEMPERATURE, CAPACITY_SHARE)


def surface_charge(initial: Quantity, hours: Quantity, temperature: Quantity = 25.0) -> Quantity:
    """Voltage above the true rest voltage that is left some hours after charging.

    Parameters
    ----------
    initial : float or array
        Surface charge as the charger or engine stopped [V]; 0.1 to 0.5.
    hours : float or array
        Time without load or charge [h].
    temperature : float or array
        Electrolyte temperature [degC].

    Returns
    -------
    float or array
        What is left of it [V], to be added to the rest voltage.

    Notes
    -----
    S (0.7 exp(-t / 0.5 h) + 0.3 exp(-t / 6 h)); both times longer by 2 % per kelvin of cold (diffusion). A load,
    such as five minutes of headlamps, removes it far faster.

    Examples
    --------
    >>> round(float(surface_charge(0.3, 2.0)), 3)
    0.068

    References
    ----------
    Most of it in 1 to 2 h, the last 20 to 50 mV in 4 to 24 h: common practice; two exponentials: estimate.
    """
    slowness = np.exp(0.02 * (25.0 - temperature))
    aged = np.maximum(hours, 0.0) / slowness
    return initial * (0.7 * np.exp(-aged / 0.5) + 0.3 * np.exp(-aged / 6.0))


def acceptance_current(
    charge: Quantity,
    capacity: Quantity,
    temperature: Quantity = 25.0,
    voltage: Quantity = 14.4,
    acceptance: Quantity = 1.0,
) -> Quantity:
    """Charging current the battery takes at a held voltage.

    Parameters
    ----------
    charge : float or array
        State of charge [-].
    capacity : float or array
        Twenty-hour capacity [A h].
    temperature : float or array
        Electrolyte temperature [degC].
    voltage : float or array
        Held at the posts [V].
    acceptance : float or array
        1 when sound, about 0.1 when sulphated [-].

    Returns
    -------
    float or array
        Current into the battery [A]; zero where the voltage does not exceed the rest voltage.

    Notes
    -----
    Logarithmic interpolation over charge; exp(0.037 (T - 25)) for the cold, held at 40 degC; proportional to the
    voltage above a rest voltage of 11.9 V + 0.76 V s. Settled values, a minute or more after the voltage was applied.

    Examples
    --------
    >>> round(float(acceptance_current(0.5, 60.0)), 1)
    24.0

    References
    ----------
    0.3 to 0.5 A/A h at half charge, halved to a third at 0 degC, a fifth at -18 degC: common practice, no source.
    Lower bound IEC 60095-1, EN 50342-1 charge acceptance (from memory).
    """
    taken = np.exp(looked_up(charge, ACCEPTANCE_CHARGE, np.log(ACCEPTANCE)))
    cold = np.exp(0.037 * (np.minimum(temperature, 40.0) - 25.0))
    rest = 11.9 + 0.76 * np.clip(charge, 0.0, 1.0)
    push = np.maximum(voltage - rest, 0.0) / (14.4 - rest)
    return acceptance * capacity * taken * cold * push


def acceptance_of_its_own(acceptance: Quantity, capacity_share: Quantity) -> Quantity:
    """Current a battery takes for each ampere hour that it has left, over that of one as labelled.

    Parameters
    ----------
    acceptance : float or array
        Current it takes over that of a sound battery of the same label [-].
    capacity_share : float or array
        What is left of the capacity on its label [-].

    Returns
    -------
    float or array
        How fast its state of charge rises, over that of a battery as labelled [-].

    Notes
    -----
    A worn battery takes less, and there is less in it to fill: after a night on the charger it is as full as any. One
    whose acid is bound in hard sulphate takes less than belongs to what it has left.

    Examples
    --------
    >>> acceptance_of_its_own(0.6, 0.5), acceptance_of_its_own(0.25, 0.5)
    (1.2, 0.5)

    References
    ----------
    Derived: a state of charge is a charge over a capacity.
    """
    return acceptance / capacity_share


def self_discharge_rate(temperature: Quantity, kind: str = "flooded") -> Quantity:
    """Share of full charge a standing battery loses in a day by itself.

    Parameters
    ----------
    temperature : float or array
        Electrolyte temperature [degC].
    kind : {"flooded", "enhanced_flooded", "agm", "antimonial"}
        Antimonial is the old flooded battery of the army tables.

    Returns
    -------
    float or array
        Rate [1/day].

    Raises
    ------
    CarError
        If the kind is unknown.

    Notes
    -----
    Rate at 27 degC times 2.13 for every 10 K.

    Examples
    --------
    >>> round(30.0 * float(self_discharge_rate(25.0)), 3)
    0.028

    References
    ----------
    US Army TM 9-6140-200-14 section 4-8 (published, antimonial); 1 to 4 % a month for calcium (secondary).
    """
    at_27 = chosen(SELF_DISCHARGE, kind, "kind of battery")
    return at_27 * np.exp(0.0756 * (temperature - 27.0))
