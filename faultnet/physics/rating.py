"""What the label says: ratings of five standards in one, the capacity they go with, and the load-test limit."""

from __future__ import annotations

import numpy as np

from faultnet.physics.quantity import Quantity, chosen, looked_up

# Factor from a label's rating to SAE J537 amperes. EN: label pairs of 1.00 to 1.06 (from memory, common practice);
# IEC: later editions use the EN end point. DIN: EN = 1.6 to 1.7 DIN (secondary). CA at 0 degC: 1.20 to 1.25 CCA
# (from memory).
TO_SAE = {"SAE": 1.0, "EN": 1.03, "IEC": 1.03, "DIN": 1.65 * 1.03, "CA": 1.0 / 1.22, "not_known": 1.02}

# Of a label without its standard, which is mostly EN, SAE or IEC: standard deviation of the logarithm (estimate).
UNKNOWN_STANDARD_SPREAD = 0.12  # [-]
# Of what is fitted about what is usual for the engine, and about what the maker asks for (common practice, no source).
UNKNOWN_RATING_SPREAD = 0.20  # [-]
UNKNOWN_BESIDE_NEEDED_SPREAD = 0.12  # [-]
# Usual rating by SAE J537 over engine displacement: 1.6 l petrol 520 A, 2 l diesel 730 A (common practice, no source).
USUAL_RATING = {"petrol": (330.0, 120.0), "diesel": (450.0, 140.0)}  # [A], [A/l]
LARGEST_USUAL = 1000.0  # [A]

# Half the rating for 15 s: lowest volts at the posts. Service manuals of one maker group (secondary); BCI practice
# (from memory). Variants in other manuals differ by 0.1 V warm and 0.5 V at the cold end.
LOAD_TEST_TEMPERATURE = np.array([-18.0, -12.0, -7.0, -1.0, 4.0, 10.0, 16.0, 21.0])  # [degC]
LOAD_TEST_LIMIT = np.array([8.5, 8.7, 8.9, 9.1, 9.3, 9.4, 9.5, 9.6])  # [V]


def sae_rating(rating: Quantity, standard: str) -> Quantity:
    """Cold-cranking rating turned into SAE J537 amperes.

    Parameters
    ----------
    rating : float or array
        Current on the label [A].
    standard : {"SAE", "EN", "IEC", "DIN", "CA", "not_known"}
        Standard the label names: it has to be read, not guessed. Where it names none, what most labels mean is taken.

    Returns
    -------
    float or array
        Rating by SAE J537 [A], about +/-5 %.

    Raises
    ------
    CarError
        If the standard is unknown.

    Notes
    -----
    SAE J537: 7.2 V after 30 s at -18 degC. EN 50342-1 and later IEC 60095-1: 7.5 V after 10 s, factor 1.03. DIN 43539
    (withdrawn): 9.0 V after 30 s, EN = 1.65 DIN. CA: 7.2 V after 30 s at 0 degC, CA = 1.22 SAE. The factors are taken
    from practice: the straight line of :mod:`~faultnet.physics.resistance` would give DIN 12 % more and CA 5 % less.

    Examples
    --------
    >>> round(float(sae_rating(540.0, "EN")))
    556

    References
    ----------
    SAE J537, EN 50342-1, IEC 60095-1, DIN 43539-2, BCI (definitions secondary, factors from memory).
    """
    return rating * chosen(TO_SAE, standard, "rating standard")


def usual_rating(displacement: Quantity, fuel: str) -> Quantity:
    """Cold-cranking rating that a car of this engine usually carries.

    Parameters
    ----------
    displacement : float or array
        Engine displacement [l].
    fuel : {"petrol", "diesel"}

    Returns
    -------
    float or array
        Rating by SAE J537 [A], of which what is fitted differs by some 20 %.

    Raises
    ------
    CarError
        If the fuel is unknown.

    Notes
    -----
    A straight line in the displacement, held to 1000 A.

    Examples
    --------
    >>> float(usual_rating(1.6, "petrol")), float(usual_rating(2.0, "diesel"))
    (522.0, 730.0)

    References
    ----------
    Common practice, no source.
    """
    base, slope = chosen(USUAL_RATING, fuel, "fuel")
    return np.minimum(base + slope * np.asarray(displacement), LARGEST_USUAL)


def half_rating_limit(temperature: Quantity) -> Quantity:
    """Lowest volts a battery may show after 15 s at half its cold-cranking rating.

    Parameters
    ----------
    temperature : float or array
        Electrolyte temperature [degC]; held to -18..21.

    Returns
    -------
    float or array
        Limit [V]. A battery on the line has about two thirds of its rating left.

    Notes
    -----
    Interpolated in the table. Valid from 75 % charge, without surface charge.

    Examples
    --------
    >>> float(half_rating_limit(21.0)), float(half_rating_limit(-18.0))
    (9.6, 8.5)

    References
    ----------
    Service manuals of one maker group (secondary); BCI practice (from memory).
    """
    return looked_up(temperature, LOAD_TEST_TEMPERATURE, LOAD_TEST_LIMIT)


def capacity_from_rating(rating_en: Quantity) -> Quantity:
    """Twenty-hour capacity to expect from a cold-cranking rating, when the label does not tell.

    Parameters
    ----------
    rating_en : float or array
        Cold-cranking current by EN 50342-1 [A].

    Returns
    -------
    float or array
        Capacity [A h], about +/-12 %.

    Notes
    -----
    C = rating / 9; labels lie between 8 and 10.5 A per A h.

    Examples
    --------
    >>> capacity_from_rating(540.0)
    60.0

    References
    ----------
    Survey of labels: common practice, no source.
    """
    return rating_en / 9.0
