"""The axis of hypotheses: every assignment of modes with few faults at once, and its prior.

A *hypothesis* gives each component one mode. Components are independent a priori; cars are then conditioned on
having been brought in, which a car with nothing wrong seldom is. Assignments with more than `max_faults` faults are
left out (contributing conditions such as the way the car is used do not count towards that number); the prior mass
they would have had is computed and reported, never silently dropped.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from faultnet.network.structure import Array, Network

IndexArray = NDArray[np.int16]


@dataclass(frozen=True)
class Hypotheses:
    """All assignments considered.

    Parameters
    ----------
    components : tuple of str
    modes : int array, shape (hypotheses, components)
        Index of the mode each component is in; 0 is sound.
    prior : array, shape (hypotheses,)
        Probability given that the car was brought in [-]; sums to ``1 - dropped``.
    dropped : float
        Prior mass of the assignments left out [-].
    """

    components: tuple[str, ...]
    modes: IndexArray
    prior: Array
    dropped: float

    def __len__(self) -> int:
        return len(self.prior)


def enumerate_hypotheses(
    network: Network,
    *,
    max_faults: int = 3,
    uncounted: tuple[str, ...] = (),
    brought_in_when_sound: float = 1.0,
) -> Hypotheses:
    """List every assignment with at most `max_faults` counted faults.

    Parameters
    ----------
    network : Network
        Its component nodes give the prior of the modes before conditioning on the complaint; mode 0 is sound.
    max_faults : int
        Largest number of counted components at fault at once.
    uncounted : tuple of str
        Components whose modes are contributing conditions and do not count.
    brought_in_when_sound : float
        Chance that a car with nothing wrong is brought in, relative to one with a fault [-].

    Returns
    -------
    Hypotheses

    Examples
    --------
    >>> from faultnet.network.structure import Node
    >>> nodes = [Node(n, "component", ("sound", "bad"), (), np.array([1 - p, p])) for n, p in (("a", 0.1), ("b", 0.2))]
    >>> space = enumerate_hypotheses(Network({n.name: n for n in nodes}), max_faults=1)
    >>> len(space), round(space.dropped, 3)
    (3, 0.02)
    """
    names = network.components
    cards = [network.nodes[n].card for n in names]
    table = _assignments(cards, [n not in uncounted for n in names], max_faults)
    weight = np.ones(len(table))
    for name in names:
        node = network.nodes[name]
        weight *= node.table[tuple(table[:, names.index(a)] for a in node.axes)]
    nothing = ~table.any(axis=1)
    all_sound = float(weight[nothing].sum())
    weight[nothing] *= brought_in_when_sound
    prior = weight / (1.0 - all_sound + all_sound * brought_in_when_sound)
    return Hypotheses(names, table, prior, max(0.0, 1.0 - float(prior.sum())))


def _assignments(cards: list[int], counts: list[bool], max_faults: int) -> IndexArray:
    """Every row of modes with at most so many counted components away from mode 0."""
    counted = [i for i, c in enumerate(counts) if c]
    rows = [np.zeros((1, len(cards)), dtype=np.int16)]
    for size in range(1, max_faults + 1):
        for chosen in combinations(counted, size):
            modes = np.array(list(product(*(range(1, cards[i]) for i in chosen))), dtype=np.int16)
            block = np.zeros((len(modes), len(cards)), dtype=np.int16)
            block[:, list(chosen)] = modes
            rows.append(block)
    table = np.concatenate(rows)
    for i in (i for i, c in enumerate(counts) if not c):
        table = np.repeat(table, cards[i], axis=0)
        table[:, i] = np.tile(np.arange(cards[i], dtype=np.int16), len(table) // cards[i])
    return table


def combinations_of(modes: IndexArray, columns: list[int]) -> tuple[IndexArray, NDArray[np.intp]]:
    """Distinct joint modes of some components, and which one each hypothesis has.

    Parameters
    ----------
    modes : int array, shape (hypotheses, components)
    columns : list of int

    Returns
    -------
    distinct : int array, shape (combinations, len(columns))
    which : int array, shape (hypotheses,)
        Row of `distinct` for each hypothesis.
    """
    if not columns:
        return np.zeros((1, 0), dtype=np.int16), np.zeros(len(modes), dtype=np.intp)
    code = np.zeros(len(modes), dtype=np.int64)
    for column in columns:
        code = code * (int(modes[:, column].max()) + 1) + modes[:, column]
    _, first, which = np.unique(code, return_index=True, return_inverse=True)
    return modes[first][:, columns], which.astype(np.intp)
