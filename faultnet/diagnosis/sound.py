"""What a sound example of this very car would read today."""

from __future__ import annotations

import numpy as np

from faultnet.diagnosis.evidence import offset_for
from faultnet.diagnosis.models import Model
from faultnet.inference.posterior import TINY
from faultnet.model.build import quantity_of
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Instrument, Test

LOW, HIGH = 0.05, 0.95


def sound_ranges(model: Model, catalogue: Catalogue) -> dict[str, tuple[float, float]]:
    """Range from the 5th to the 95th percentile of each number test on a sound car [unit of the test].

    Parameters
    ----------
    model : Model
        Of the visit; car and temperatures are its own.
    catalogue : Catalogue
    """
    network = model.compiled.network
    asked = {t.id: network.nodes[f"reading_{t.id}"].parents[0] for t in catalogue.tests if t.kind == "number"}
    return {t: percentiles(network.nodes[q].edges, network.sound[q]) for t, q in asked.items()}


def sound_range_with(
    model: Model, catalogue: Catalogue, test: Test, instrument: Instrument, interval: float | None = None
) -> tuple[float, float] | None:
    """The same range as this instrument would show it, where it measures: None for a choice.

    Parameters
    ----------
    model : Model
    catalogue : Catalogue
    test : Test
    instrument : Instrument
        One of those the test can be done with.
    interval : float, optional
        Between samples of a log [s].

    Notes
    -----
    An instrument away from the posts reads the range shifted by its offset, and wider by 1.64 spreads of it, as both
    ends are to hold 95 % of sound cars.
    """
    if test.kind != "number":
        return None
    network = model.compiled.network
    quantity = quantity_of(test, instrument, interval)
    low, high = percentiles(network.nodes[quantity].edges, network.sound[quantity])
    offset = offset_for(catalogue, test, instrument)
    return low + offset.mean - 1.64 * offset.spread, high + offset.mean + 1.64 * offset.spread


def percentiles(edges: tuple[float, ...], weight: Array, low: float = LOW, high: float = HIGH) -> tuple[float, float]:
    """Two percentiles of a distribution over bins, evenly spread within each.

    Examples
    --------
    >>> percentiles((0.0, 1.0, 2.0), np.array([1.0, 1.0]), 0.25, 0.75)
    (0.5, 1.5)
    """
    cumulative = np.concatenate([[0.0], np.cumsum(weight / max(float(weight.sum()), TINY))])
    first, last = np.interp([low, high], cumulative, np.asarray(edges))
    return float(first), float(last)
