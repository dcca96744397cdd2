"""What a slip of the hand reads: nought, the battery's own volts, a power of ten, or else anything.

A probe that does not touch, or is on the wrong side of a part, reads nought or the battery's volts; a wrong range reads
a power of ten of what is there, for which a sound car's value is taken; a figure misread may be anything (common
practice, no source; the shares are estimates).
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import erf, exp, pi, sqrt

import numpy as np

from faultnet.instruments import background_shares, reading_spread
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Instrument

NOUGHT, BATTERY, DECADE, ANYTHING = KINDS = ("nought", "battery", "decade", "anything")
DISPLAYS = 2.0  # spreads of the instrument at nought within which a display counts as nought


def slips_of(catalogue: Catalogue, instrument: Instrument, unit: str) -> dict[str, float]:
    """Share of each kind among the slips with an instrument in a unit [-].

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> catalogue = load_catalogue()
    >>> sorted(slips_of(catalogue, catalogue.instrument("clamp_meter"), "A"))
    ['anything', 'decade', 'nought']
    """
    possible = {"V": KINDS, "-": (ANYTHING,)}.get(unit, (NOUGHT, DECADE, ANYTHING))
    if instrument.place not in ("posts", "-"):  # no probe and no range; it may show what it had before
        possible = (BATTERY, ANYTHING)
    shares = {kind: catalogue.number(f"slip_reads_{kind}") for kind in possible}
    return {kind: share / sum(shares.values()) for kind, share in shares.items()}


@lru_cache(maxsize=64)
def _alike(edges: tuple[float, ...]) -> Array:
    return background_shares(edges)


@dataclass(frozen=True)
class Misread:
    """Distribution of what a slip reads.

    Parameters
    ----------
    edges : tuple of float, length bins + 1
        Of the quantity [unit].
    sound : array, shape (bins,)
        What it is on a sound car [-].
    kinds : dict of kind to float
        By :func:`slips_of` [-].
    nought : float
        Spread of a display that shows nothing [unit].
    battery : tuple of float
        The battery's volts and their spread [V].

    Examples
    --------
    >>> none = Misread((0.0, 1.0, 20.0), np.array([0.9, 0.1]), {"nought": 0.5, "anything": 0.5}, 0.01, (12.4, 0.4))
    >>> none.density(0.0) > 100.0 * none.density(5.0), round(none.above(1.0), 2)
    (True, 0.25)
    """

    edges: tuple[float, ...]
    sound: Array
    kinds: dict[str, float]
    nought: float
    battery: tuple[float, float]

    def density(self, value: float) -> float:
        """How likely a slip reads about a value [1/unit]."""
        return sum(self.density_of(kind, value) for kind in self.kinds)

    def density_of(self, kind: str, value: float) -> float:
        """The part of it that is of one kind [1/unit]."""
        return self.kinds[kind] * self._density(kind, value) / self._within

    def above(self, value: float) -> float:
        """Chance that a slip reads more than a value [-]."""
        return float(np.clip((self._below(self.edges[-1]) - self._below(value)) / self._within, 0.0, 1.0))

    def shares(self, cuts: tuple[float, ...]) -> Array:
        """Chance of each class of readings, shape (classes,) [-]; what lies beside the outer cuts is in them."""
        below = np.array([self._below(c) for c in (min(cuts[0], 0.0), *cuts[1:])])
        return np.asarray(np.diff(below) / np.diff(below).sum())

    @cached_property
    def _within(self) -> float:
        return self._below(self.edges[-1]) - self._below(min(self.edges[0], -3.0 * self.nought))

    def _density(self, kind: str, value: float) -> float:
        at = min(max(value, self.edges[0]), self.edges[-1])
        if kind == NOUGHT:
            return _normal(value, 0.0, self.nought)
        if kind == BATTERY:
            return _normal(value, *self.battery)
        if kind == DECADE:
            return 0.5 * (0.1 * self._share(self.sound, 0.1 * value) + 10.0 * self._share(self.sound, 10.0 * value))
        return self._share(_alike(self.edges), at)

    def _share(self, shares: Array, value: float) -> float:
        """Density over the bins at a value [1/unit]."""
        if not self.edges[0] <= value <= self.edges[-1]:
            return 0.0
        k = min(bisect_right(self.edges, value) - 1, len(shares) - 1)
        return float(shares[k] / (self.edges[k + 1] - self.edges[k]))

    def _below(self, value: float) -> float:
        return sum(share * below for share, below in zip(self.kinds.values(), self._each_below(value), strict=True))

    def _each_below(self, value: float) -> Iterator[float]:
        for kind in self.kinds:
            if kind == NOUGHT:
                yield _below(value, 0.0, self.nought)
            elif kind == BATTERY:
                yield _below(value, *self.battery)
            elif kind == DECADE:
                yield 0.5 * (self._cumulative(self.sound, 0.1 * value) + self._cumulative(self.sound, 10.0 * value))
            else:
                yield self._cumulative(_alike(self.edges), value)

    def _cumulative(self, shares: Array, value: float) -> float:
        return float(np.interp(value, self.edges, np.append(0.0, np.cumsum(shares))))


def misread(catalogue: Catalogue, instrument: Instrument, unit: str, edges: tuple[float, ...], sound: Array) -> Misread:
    """What a slip with an instrument reads of a quantity."""
    return _law(
        edges,
        sound.tobytes(),
        tuple(slips_of(catalogue, instrument, unit).items()),
        DISPLAYS * reading_spread(instrument, 0.0),
        (catalogue.number("usual_rest_voltage"), catalogue.number("slip_battery_spread")),
    )


@lru_cache(maxsize=512)
def _law(
    edges: tuple[float, ...], sound: bytes, kinds: tuple[tuple[str, float], ...], nought: float,
    battery: tuple[float, float],
) -> Misread:  # fmt: skip
    """The same for the same numbers, kept with what was worked out for it."""
    return Misread(edges, np.frombuffer(sound), dict(kinds), nought, battery)


def _normal(value: float, middle: float, spread: float) -> float:
    return exp(-0.5 * ((value - middle) / spread) ** 2) / (spread * sqrt(2.0 * pi))


def _below(value: float, middle: float, spread: float) -> float:
    return 0.5 * (1.0 + erf((value - middle) / spread / sqrt(2.0)))
