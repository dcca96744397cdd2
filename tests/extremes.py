"""What a reading says of a fault, from the edge of what sound cars show to the end of what the fault itself shows.

Odds are those of one mode alone against a car on which all is sound, by the likelihood of one reading. Nothing here
knows what a right answer is: it is taken over every number and every mode of a prior set.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from faultnet.case.types import Reading
from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.sound import HIGH, LOW, percentiles
from faultnet.inference.plain import conditioned, summed
from faultnet.model.build import quantity_of
from faultnet.model.misread import ANYTHING, Misread, misread
from faultnet.model.network import Array, Network
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test

SHIFTS = 2.0  # a mode shifts a number where it is so many times as often beyond the edge as a sound part
END = 0.99
ENOUGH = float(np.log(20.0))  # [nat] the odds of a mode after one reading count no further than this
PLAIN_SLIP = 2.0  # a reading is that of a slip where its density is so many times that of any other figure

Mode = tuple[str, str]


@dataclass(frozen=True)
class Sweep:
    """One number, one instrument, one mode, one side.

    Parameters
    ----------
    readings : array, shape (points,)
        From the edge of the sound range outwards [unit of the test].
    log_odds : array, shape (points,)
        What each moves the odds of the mode against sound by [nat].
    plain : bool array, shape (points,)
        Whether it is none that a slip gives: nought, the battery's volts, a power of ten.
    """

    test: str
    instrument: str
    mode: Mode
    side: str
    readings: Array
    log_odds: Array
    plain: NDArray[np.bool_]

    def fall(self, enough: float = ENOUGH) -> float:
        """By how much the odds fall at most on the way outwards, as far as they count [nat]."""
        odds = np.minimum(self.log_odds[self.plain], enough)
        return float((np.maximum.accumulate(odds) - odds).max(initial=0.0))


def shares_by_mode(network: Network, quantity: str) -> dict[Mode, Array]:
    """Chance of each bin with one mode and all else sound, by component and mode; all sound under ("", "")."""
    sound = dict.fromkeys(network.components, 0)
    found = {("", ""): summed(conditioned(network, sound, [quantity]), (quantity,))}
    for component in ancestors(network, quantity):
        others = {c: 0 for c in sound if c != component}
        table = summed(conditioned(network, others, [quantity]), (quantity, component))
        for k, mode in enumerate(network.nodes[component].states[1:], start=1):
            found[component, mode] = table[:, k]
    return found


def ancestors(network: Network, quantity: str) -> list[str]:
    """Components that a quantity depends on."""
    pending, seen = [quantity], {quantity}
    while pending:
        for parent in network.nodes[pending.pop()].parents:
            if parent not in seen:
                seen.add(parent)
                if network.nodes[parent].layer != "component":
                    pending.append(parent)
    return [c for c in network.components if c in seen]


def sweeps(network: Network, catalogue: Catalogue, points: int, *, every_instrument: bool = False) -> Iterator[Sweep]:
    """Every number against every mode that shifts it.

    Parameters
    ----------
    network : Network
    catalogue : Catalogue
    points : int
        Readings between the edge and the end.
    every_instrument : bool
        The ordinary one of each test otherwise.
    """
    kept: dict[str, dict[Mode, Array]] = {}
    for test in catalogue.tests:
        if test.kind == "number":
            for instrument in test.instruments if every_instrument else test.instruments[:1]:
                quantity = quantity_of(test, catalogue.instrument(instrument))
                if quantity not in kept:
                    kept[quantity] = shares_by_mode(network, quantity)
                yield from _of_number(network, catalogue, test, instrument, kept[quantity], points)


def _of_number(
    network: Network, catalogue: Catalogue, test: Test, instrument: str, shares: dict[Mode, Array], points: int
) -> Iterator[Sweep]:
    meter = catalogue.instrument(instrument)
    quantity = quantity_of(test, meter)
    edges, sound = network.nodes[quantity].edges, shares["", ""]
    slip = misread(catalogue, meter, test.unit, edges, network.sound[quantity])
    low, high = percentiles(edges, sound, LOW, HIGH)
    for mode, share in shares.items():
        ends = percentiles(edges, share, 1.0 - END, END)
        for side, edge, end in (("below", low, ends[0]), ("above", high, ends[1])):
            if _beyond(edges, share, edge, side) > SHIFTS * LOW:
                readings = np.linspace(edge, end, points)
                told = [
                    evidence_of(network, catalogue, Reading(test.id, value=float(v), instrument=instrument))
                    for v in readings
                ]
                odds = [np.log(share @ t.likelihood) - np.log(sound @ t.likelihood) for t in told if t is not None]
                plain = np.array([_is_plain(slip, float(v)) for v in readings])
                yield Sweep(test.id, instrument, mode, side, readings, np.array(odds), plain)


def _beyond(edges: tuple[float, ...], share: Array, edge: float, side: str) -> float:
    """Share of a distribution over bins that lies beyond an edge."""
    below = float(np.interp(edge, edges, np.append(0.0, np.cumsum(share))))
    return below if side == "below" else 1.0 - below


def _is_plain(slip: Misread, value: float) -> bool:
    """Whether a reading is none that a slip of the hand gives."""
    return slip.density(value) < PLAIN_SLIP * slip.density_of(ANYTHING, value)
