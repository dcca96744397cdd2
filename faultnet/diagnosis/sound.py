"""What a sound example of this very car would read today."""

from __future__ import annotations

import json
from weakref import WeakKeyDictionary

import numpy as np

from faultnet.cache import cache_folder, keep_file
from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis.models import Model
from faultnet.engine.belief import TINY
from faultnet.engine.visit import compile_visit
from faultnet.network.cache import setting_key
from faultnet.network.structure import Array, Network

LOW, HIGH = 0.05, 0.95

_kept: WeakKeyDictionary[Model, tuple[tuple[str, ...], tuple[tuple[str, tuple[float, float]], ...]]] = (
    WeakKeyDictionary()
)


def sound_ranges(model: Model, catalogue: Catalogue) -> dict[str, tuple[float, float]]:
    """Range from the 5th to the 95th percentile of each number test on a sound car [unit of the test].

    Parameters
    ----------
    model : Model
        Of the visit; car and temperatures are its own.
    catalogue : Catalogue
    """
    return dict(_ranges(model, tuple(t.id for t in catalogue.tests if t.kind == "number")))


def _ranges(model: Model, tests: tuple[str, ...]) -> tuple[tuple[str, tuple[float, float]], ...]:
    """Kept as long as the model lives and no longer: a model is large, and this must not hold on to it."""
    kept = _kept.get(model)
    if kept is None or kept[0] != tests:
        kept = _kept[model] = (tests, _from_file(model, tests))
    return kept[1]


def _from_file(model: Model, tests: tuple[str, ...]) -> tuple[tuple[str, tuple[float, float]], ...]:
    """From the file kept beside the network, or worked out and then kept there."""
    path = cache_folder() / f"{setting_key(model.setting)}.sound.json"
    try:
        kept = json.loads(path.read_bytes())
        return tuple((t, (float(kept[t][0]), float(kept[t][1]))) for t in tests)
    except (OSError, ValueError, KeyError, TypeError, IndexError):
        found = _worked_out(model, tests)
    keep_file(path, json.dumps(dict(found)).encode())
    return found


def _worked_out(model: Model, tests: tuple[str, ...]) -> tuple[tuple[str, tuple[float, float]], ...]:
    sound = np.flatnonzero(~model.space.modes.any(axis=1))
    network, space = model.compiled.network, model.space
    compiled = compile_visit(network, space.components, space.modes[sound])  # takes no room afterwards
    asked = {t: network.nodes[f"reading_{t}"].parents[0] for t in tests}
    found = compiled.predict([], {t: _whole(network, q) for t, q in asked.items()})
    return tuple((t, percentiles(network.nodes[asked[t]].edges, found[t][0])) for t in tests)


def _whole(network: Network, quantity: str) -> tuple[str, Array, Array]:
    card = network.nodes[quantity].card
    return quantity, np.eye(card), np.full(card, 1.0 / card)


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
