"""What a reading says of a fault, from the edge of what sound cars show to the end of what the fault itself shows.

Odds are those of one mode alone against a car on which all is sound, by the likelihood of one reading. Nothing here
knows what a right answer is: it is taken over every number, instrument and mode of a prior set.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.sound import HIGH, LOW, percentiles
from faultnet.case.types import Reading
from faultnet.inference.plain import conditioned, summed
from faultnet.model.build import quantity_of
from faultnet.model.network import Array, Network
from faultnet.prior_set.catalogue import Catalogue

POINTS = 48  # readings between the edge and the end
SHIFTS = 2.0  # a mode shifts a number where it is so many times as often beyond the edge as a sound part
END = 0.99


@dataclass(frozen=True)
class Sweep:
    """One number, one instrument, one mode, one side.

    Parameters
    ----------
    readings : array, shape (points,)
        From the edge of the sound range outwards [unit of the test].
    log_odds : array, shape (points,)
        What each moves the odds of the mode against sound by [nat].
    """

    test: str
    instrument: str
    component: str
    mode: str
    side: str
    readings: Array
    log_odds: Array

    @property
    def fall(self) -> float:
        """By how much the odds fall at most on the way outwards [nat]."""
        return float((np.maximum.accumulate(self.log_odds) - self.log_odds).max())

    @property
    def worst(self) -> int:
        """Where that is."""
        return int((np.maximum.accumulate(self.log_odds) - self.log_odds).argmax())


def shares_by_mode(network: Network, quantity: str) -> dict[tuple[str, str], Array]:
    """Chance of each bin with one mode and all else sound, by component and mode; all sound under ("", "")."""
    everything = dict.fromkeys(network.components, 0)
    found = {("", ""): summed(conditioned(network, everything, [quantity]), (quantity,))}
    for component in sorted(ancestors(network, quantity)):
        free = {c: 0 for c in everything if c != component}
        factors = conditioned(network, free, [quantity])
        table = summed(factors, (quantity, component))
        for k, mode in enumerate(network.nodes[component].states[1:], start=1):
            found[component, mode] = table[:, k]
    return found


def ancestors(network: Network, quantity: str) -> set[str]:
    """Components that a quantity hangs on."""
    pending, found, seen = [quantity], set(), set()
    while pending:
        node = network.nodes[pending.pop()]
        if node.layer == "component":
            found.add(node.name)
        elif node.name not in seen:
            seen.add(node.name)
            pending += node.parents
    return found


def sweeps(network: Network, catalogue: Catalogue, *, every_instrument: bool = True) -> Iterator[Sweep]:
    """Every number against every mode that shifts it."""
    kept: dict[str, dict[tuple[str, str], Array]] = {}
    for test in catalogue.tests:
        if test.kind != "number":
            continue
        for instrument in test.instruments if every_instrument else test.instruments[:1]:
            quantity = quantity_of(test, catalogue.instrument(instrument))
            if quantity not in kept:
                kept[quantity] = shares_by_mode(network, quantity)
            shares = kept[quantity]
            edges = network.nodes[quantity].edges
            low, high = percentiles(edges, shares["", ""], LOW, HIGH)
            for (component, mode), share in shares.items():
                if not component:
                    continue
                for side, edge in (("below", low), ("above", high)):
                    beyond = share_beyond(edges, share, edge, side)
                    if beyond < SHIFTS * LOW:
                        continue
                    end = percentiles(edges, share, 1.0 - END, END)[side == "above"]
                    readings = np.linspace(edge, end, POINTS)
                    odds = []
                    for value in readings:
                        told = evidence_of(network, catalogue, Reading(test.id, value=float(value), instrument=instrument))
                        assert told is not None
                        odds.append(np.log(share @ told.likelihood) - np.log(shares["", ""] @ told.likelihood))
                    yield Sweep(test.id, instrument, component, mode, side, readings, np.array(odds))


def share_beyond(edges: tuple[float, ...], share: Array, edge: float, side: str) -> float:
    """Share of a distribution over bins that lies beyond an edge."""
    below = float(np.interp(edge, edges, np.append(0.0, np.cumsum(share))))
    return below if side == "below" else 1.0 - below
