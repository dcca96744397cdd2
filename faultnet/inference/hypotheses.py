"""The axis of hypotheses: every assignment of modes with few faults at once, and its prior.

A *hypothesis* gives each component one mode. Components are independent a priori; cars are then conditioned on
having been brought in, which a car with nothing wrong seldom is. Assignments with more than `max_faults` faults are
left out (contributing conditions such as the way the car is used do not count towards that number), and of those with
three or more the unlikeliest; the prior mass they would have had is computed and reported, never silently dropped.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations, product

import numpy as np
from numpy.typing import NDArray

from faultnet.model.network import Array, Network

IndexArray = NDArray[np.int16]
LEAST_SHARE = 1e-5


@dataclass(frozen=True, eq=False)
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

    @cached_property
    def table(self) -> ModeTable:
        """The modes, for finding a hypothesis by what it is."""
        return ModeTable(self.components, self.modes)

    @cached_property
    def faults(self) -> tuple[NDArray[np.int32], NDArray[np.int16], list[int]]:
        """Every fault of every hypothesis, for adding weights up by mode.

        Returns
        -------
        rows : int array, shape (faults,)
            The hypothesis.
        places : int array, shape (faults,)
            The mode, counted through over all components.
        starts : list of int
            Where the modes of each component begin in that count, and where the last ones end.
        """
        cards = self.modes.max(axis=0, initial=0).astype(np.intp) + 1
        starts = np.concatenate([np.zeros(1, dtype=np.intp), np.cumsum(cards, dtype=np.intp)])
        rows, columns = np.nonzero(self.modes)
        places = starts[columns] + self.modes[rows, columns]
        return rows.astype(np.int32), places.astype(np.int16), starts.tolist()


@dataclass(frozen=True, eq=False)
class ModeTable:
    """Configurations of all components, each of which can be found by what it is.

    Parameters
    ----------
    components : tuple of str
    modes : int array, shape (rows, components)
        Distinct rows.

    Examples
    --------
    >>> table = ModeTable(("a", "b"), np.array([[0, 0], [1, 0], [1, 2]], dtype=np.int16))
    >>> table.with_sound(("b",)).tolist(), table.with_sound(("a",)).tolist()
    ([0, 1, 1], [0, 0, -1])
    >>> len(table.closed([("a",)]).modes)
    4
    """

    components: tuple[str, ...]
    modes: IndexArray
    _sound: dict[tuple[str, ...], NDArray[np.intp]] = field(default_factory=dict, repr=False)
    _closed: dict[tuple[str, ...], ModeTable] = field(default_factory=dict, repr=False)

    def __len__(self) -> int:
        return len(self.modes)

    @cached_property
    def _steps(self) -> NDArray[np.int64]:
        cards = self.modes.max(axis=0, initial=0).astype(object) + 1
        steps = [1]
        for card in cards[:-1]:
            steps.append(steps[-1] * int(card))
        assert steps[-1] * int(cards[-1]) < 2**62, "too many components to number their configurations"
        return np.array(steps, dtype=np.int64)

    @cached_property
    def _sorted(self) -> tuple[NDArray[np.int64], NDArray[np.intp]]:
        codes = self.modes.astype(np.int64) @ self._steps
        order = np.argsort(codes, kind="stable")
        return codes[order], order

    def find(self, modes: IndexArray) -> NDArray[np.intp]:
        """Row with these modes, -1 where there is none, shape (modes,); no mode is larger than those of the table."""
        codes, order = self._sorted
        wanted = modes.astype(np.int64) @ self._steps
        place = np.minimum(np.searchsorted(codes, wanted), len(codes) - 1)
        return np.where(codes[place] == wanted, order[place], -1)

    def with_sound(self, components: tuple[str, ...]) -> NDArray[np.intp]:
        """For each row the one in which some components are sound, and -1 where there is none."""
        found = self._sound.get(components)
        if found is None:
            columns = [self.components.index(c) for c in components]
            changed = np.flatnonzero((self.modes[:, columns] > 0).any(axis=1))
            modes = self.modes[changed]
            modes[:, columns] = 0
            found = np.arange(len(self))
            found[changed] = self.find(modes)
            self._sound[components] = found
        return found

    def closed(self, sets: Sequence[tuple[str, ...]]) -> ModeTable:
        """The table with what is missing of its rows with one set of components sound after the other."""
        table = self
        for components in sets:
            missing = np.flatnonzero(table.with_sound(components) < 0)
            if len(missing):
                table = table._closed.get(components) or table._with_more(missing, components)
        return table

    def _with_more(self, rows: NDArray[np.intp], components: tuple[str, ...]) -> ModeTable:
        """The table with some rows once more, some components being sound in them; kept for the next time."""
        more = self.modes[rows]
        more[:, [self.components.index(c) for c in components]] = 0
        table = ModeTable(self.components, np.concatenate([self.modes, np.unique(more, axis=0)]))
        return self._closed.setdefault(components, table)


def enumerate_hypotheses(
    network: Network,
    *,
    max_faults: int = 4,
    uncounted: tuple[str, ...] = (),
    brought_in_when_sound: float = 1.0,
    may_drop: float = 0.0,
    always: int = 2,
) -> Hypotheses:
    """List the assignments with at most `max_faults` counted faults that matter a priori.

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
    may_drop : float
        Prior mass that may be left out [-]: of the assignments with more than `always` faults the likeliest are kept
        until no more than this is missing. With 0 all of them are kept.
    always : int
        Assignments with so many counted faults are kept however unlikely they are.

    Returns
    -------
    Hypotheses

    Examples
    --------
    >>> from faultnet.model.network import Node
    >>> nodes = [Node(n, "component", ("sound", "bad"), (), np.array([1 - p, p])) for n, p in (("a", 0.1), ("b", 0.2))]
    >>> space = enumerate_hypotheses(Network({n.name: n for n in nodes}), max_faults=1)
    >>> len(space), round(space.dropped, 3)
    (3, 0.02)
    """
    names = network.components
    counts = np.array([n not in uncounted for n in names])
    floor = may_drop * LEAST_SHARE
    table = _assignments(network, counts, max_faults, always, floor)
    prior = _prior(network, table, brought_in_when_sound)
    if may_drop > 0.0:
        kept = _weighty(prior, (table[:, counts] > 0).sum(axis=1) <= always, may_drop)
        table, prior = table[kept], prior[kept]
    return Hypotheses(names, table, prior, max(0.0, 1.0 - float(prior.sum())))


def _prior(network: Network, table: IndexArray, brought_in_when_sound: float) -> Array:
    names = network.components
    weight = np.ones(len(table))
    for name in names:
        node = network.nodes[name]
        weight *= node.table[tuple(table[:, names.index(a)] for a in node.axes)]
    nothing = ~table.any(axis=1)
    all_sound = float(weight[nothing].sum())
    weight[nothing] *= brought_in_when_sound
    return weight / (1.0 - all_sound + all_sound * brought_in_when_sound)


def _weighty(prior: Array, always: NDArray[np.bool_], may_drop: float) -> NDArray[np.intp]:
    """Rows that are kept: those kept always, and the likeliest others until little enough is missing."""
    others = np.flatnonzero(~always)
    order = others[np.argsort(-prior[others], kind="stable")]
    missing = 1.0 - float(prior[always].sum()) - np.cumsum(prior[order])
    count = int(np.searchsorted(-missing, -may_drop)) + 1
    return np.sort(np.concatenate([np.flatnonzero(always), order[:count]]))


def _assignments(
    network: Network, counted: NDArray[np.bool_], max_faults: int, always: int, floor: float
) -> IndexArray:
    """Rows of modes with at most so many counted components away from mode 0.

    Above `always` faults, sets of components none of whose modes together can reach the floor are not listed.
    """
    nodes = [network.nodes[n] for n in network.components]
    cards = [n.card for n in nodes]
    likeliest = [float(n.table[1:].max() / max(float(n.table[0].max()), 1e-12)) for n in nodes]
    rows = [np.zeros((1, len(cards)), dtype=np.int16)]
    for size in range(1, max_faults + 1):
        for chosen in combinations(np.flatnonzero(counted).tolist(), size):
            if size > always and float(np.prod([likeliest[i] for i in chosen])) < floor:
                continue
            modes = np.array(list(product(*(range(1, cards[i]) for i in chosen))), dtype=np.int16)
            block = np.zeros((len(modes), len(cards)), dtype=np.int16)
            block[:, list(chosen)] = modes
            rows.append(block)
    table = np.concatenate(rows)
    for i in np.flatnonzero(~counted):
        table = np.repeat(table, cards[i], axis=0)
        table[:, i] = np.tile(np.arange(cards[i], dtype=np.int16), len(table) // cards[i])
    return table
