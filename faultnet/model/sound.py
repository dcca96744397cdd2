"""What each quantity is on a sound car of a setting: what half the readings show under a fault that is not listed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array, Node

SAMPLES = 8192
SEED = 20


def sound_shares(nodes: Mapping[str, Node], samples: int = SAMPLES) -> dict[str, Array]:
    """Share of each state of every quantity with all components sound, by ancestral sampling with a fixed seed.

    Parameters
    ----------
    nodes : mapping of name to Node
        Parents before children; the first state of a component is the sound one.
    samples : int

    Returns
    -------
    dict of quantity to array, shape (states,)
        Means over the samples of the chances given their parents, which sum to one.

    Examples
    --------
    >>> part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    >>> volts = Node("volts", "quantity", ("low", "high"), ("part",), np.array([[0.2, 0.7], [0.8, 0.3]]))
    >>> sound_shares({"part": part, "volts": volts})["volts"]
    array([0.2, 0.8])
    """
    rng = np.random.default_rng(SEED)
    drawn: dict[str, NDArray[np.intp]] = {}
    found: dict[str, Array] = {}
    for node in nodes.values():
        if node.layer == "component":
            drawn[node.name] = np.zeros(samples, dtype=np.intp)  # the first mode is the sound one
        elif node.layer != "reading":
            place: tuple[Any, ...] = (slice(None), *(drawn[p] for p in node.parents))
            chances = node.table[place]
            if not node.parents:
                chances = np.repeat(chances[:, None], samples, axis=1)
            if node.layer == "quantity":
                found[node.name] = chances.mean(axis=1)
            else:
                drawn[node.name] = (chances.cumsum(axis=0) < rng.random(samples)).sum(axis=0)
    return found
