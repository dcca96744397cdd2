"""Chances that faults which come and go are on at a visit, as they are tuned.

At a visit the highest of the chances that apply counts, and what was seen counts for that row alone. The prior set has
no counts for these chances, so the old one is taken as worth :data:`WORTH` visits times `strength`.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from faultnet.learning.em.activity import Fault
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue

WORTH = 20.0
HALVINGS = 6
LEAST = 1e-3
Key = tuple[str, str, str]
OnRates = dict[Key, float]
When = frozenset[str]


def started(catalogue: Catalogue) -> OnRates:
    """The old chances, by component, mode and condition."""
    return {(*fault, c): row.value for fault, rows in catalogue.on_rates.items() for c, row in rows.items()}


def holding(rates: Mapping[Key, float], fault: Fault, when: When) -> Key:
    """The row that counts for a fault at a visit with these conditions."""
    apply = [k for k in rates if k[:2] == fault and (k[2] == "any" or k[2] in when)]
    return max(apply, key=lambda k: (rates[k], k[2] == "any"))


def chances(rates: Mapping[Key, float], faults: tuple[Fault, ...], when: When) -> Array:
    """Chance of each fault to be on at a visit, shape (faults,)."""
    return np.array([rates[holding(rates, fault, when)] for fault in faults])


def improved(old: OnRates, rates: OnRates, counts: Mapping[tuple[Fault, When], Array], strength: float) -> OnRates:
    """Chances that raise the expected log posterior.

    Parameters
    ----------
    old, rates : dict
        At the start and now.
    counts : dict of (fault, conditions) to array (on, off)
        Expected visits.
    strength : float
    """
    gained = by_row(rates, counts)
    wanted = {k: _mode(old[k], gained.get(k, np.zeros(2)), strength * WORTH) for k in rates}
    now = _expected(old, rates, counts, strength)
    for step in 0.5 ** np.arange(HALVINGS):
        tried = {k: float((1.0 - step) * rates[k] + step * wanted[k]) for k in rates}
        if _expected(old, tried, counts, strength) >= now:
            return tried
    return rates


def by_row(rates: OnRates, counts: Mapping[tuple[Fault, When], Array]) -> dict[Key, Array]:
    """Expected visits (on, off) by the row that counts for them."""
    found: dict[Key, Array] = {}
    for (fault, when), seen in counts.items():
        key = holding(rates, fault, when)
        found[key] = found.get(key, np.zeros(2)) + seen
    return found


def _mode(old: float, seen: Array, worth: float) -> float:
    chance = (worth * old + seen[0]) / (worth + seen.sum())
    return float(np.clip(chance, LEAST, 1.0 - LEAST))


def log_prior(old: OnRates, rates: OnRates, strength: float) -> float:
    """Logarithm of the Beta priors of the chances, up to a constant [nat]."""
    worth = strength * WORTH
    return float(sum(worth * (o * np.log(rates[k]) + (1.0 - o) * np.log(1.0 - rates[k])) for k, o in old.items()))


def _expected(old: OnRates, rates: OnRates, counts: Mapping[tuple[Fault, When], Array], strength: float) -> float:
    total = log_prior(old, rates, strength)
    for (fault, when), (on, off) in counts.items():
        chance = rates[holding(rates, fault, when)]
        total += on * np.log(chance) + off * np.log(1.0 - chance)
    return float(total)
