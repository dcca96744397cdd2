"""The hypotheses that a whole history is worked out on, and the groups of cars in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from faultnet.case.types import Battery, Car, Case, Conditions
from faultnet.inference.configurations import IndexArray
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.learning.result import HistoryError
from faultnet.model.modes import component_nodes
from faultnet.model.network import Network
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import AGE_BANDS, Catalogue, age_band

MAY_DROP = 5e-3
MOST_FAULTS = 4
UNCOUNTED = ("use",)
Cell = tuple[str, str]


@dataclass(frozen=True, eq=False)
class Space:
    """Hypotheses shared by all cars of a history.

    Parameters
    ----------
    components : tuple of str
    modes : int array, shape (hypotheses, components)
        Subsets of the faults of a hypothesis are hypotheses too, but for the unlikeliest.
    cells : tuple of (age band, climate)
        Groups of cars that occur.
    networks : tuple of Network
        Component nodes of each cell, by the old prior set.
    """

    components: tuple[str, ...]
    modes: IndexArray = field(repr=False)
    cells: tuple[Cell, ...]
    networks: tuple[Network, ...] = field(repr=False)

    def __len__(self) -> int:
        return len(self.modes)

    def hypotheses(self) -> Hypotheses:
        """The same as the engine takes it; its prior is flat and not to be used."""
        return Hypotheses(self.components, self.modes, np.full(len(self), 1.0 / len(self)), 0.0)


def cell_of(car: Car) -> Cell:
    """Age band of the battery and climate."""
    return age_band(car.battery.age), car.climate


def space_for(cases: Sequence[Case], catalogue: Catalogue, may_drop: float = MAY_DROP) -> Space:
    """Hypotheses for a history: those likely in any of its groups, and every confirmed outcome.

    Parameters
    ----------
    cases : sequence of Case
    catalogue : Catalogue
    may_drop : float
        Prior mass of three and more faults that each group may leave out [-].

    Raises
    ------
    HistoryError
        If there is no case.
    """
    if not cases:
        raise HistoryError("the history has no case", to_do="give at least one closed case")
    cells = tuple(sorted({cell_of(c.car) for c in cases}))
    networks = tuple(_component_network(catalogue, cell) for cell in cells)
    components = networks[0].components
    brought_in = catalogue.number("brought_in_when_sound")
    rows = [
        enumerate_hypotheses(
            n, max_faults=MOST_FAULTS, uncounted=UNCOUNTED, brought_in_when_sound=brought_in, may_drop=may_drop
        ).modes
        for n in networks
    ]
    known = {c.outcome.causes for c in cases if c.outcome is not None}
    rows.append(np.array([modes_of(components, networks[0], causes) for causes in sorted(known)], np.int16))
    return Space(
        components, np.unique(np.concatenate([r.reshape(-1, len(components)) for r in rows]), axis=0), cells, networks
    )


def modes_of(components: tuple[str, ...], network: Network, causes: tuple[tuple[str, str], ...]) -> list[int]:
    """Modes of all components when exactly these causes are there.

    Raises
    ------
    HistoryError
        If a cause is unknown, or a component has two.
    """
    found = [0] * len(components)
    for component, mode in causes:
        if component not in components or mode not in network.nodes[component].states[1:]:
            raise HistoryError(
                "a confirmed cause is unknown", got=f"{component}:{mode}", to_do="see `faultnet catalogue`"
            )
        place = components.index(component)
        if found[place]:
            raise HistoryError("a component has two confirmed causes", got=component, expected="one mode for each")
        found[place] = network.nodes[component].states.index(mode)
    return found


def _component_network(catalogue: Catalogue, cell: Cell) -> Network:
    age, climate = cell
    years = next((low for name, low, _ in AGE_BANDS if name == age), None)
    car = Car(Battery(600.0, age=years), climate=climate)  # type: ignore[arg-type]
    return Network({n.name: n for n in component_nodes(Setting(car, Conditions(), catalogue))})
