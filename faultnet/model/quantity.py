"""What one entry of the registry of quantities says, and how it becomes a node of a visit's network.

A quantity depends on hidden nodes and on components. Its table is worked out by a function of its own, or follows from
a *law*: a pure function of what it depends on, which serves the table on arrays of samples and the virtual car on
single numbers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Literal, TypeVar

import numpy as np

from faultnet.model import bins
from faultnet.model.bins import Bins
from faultnet.model.modes import active_node
from faultnet.model.network import Array, Node
from faultnet.model.points import low_discrepancy_points
from faultnet.model.sampling import OffBy, blurred, histogram, unlike
from faultnet.model.setting import Setting

Circuit = Literal["battery", "starting", "charging", "parked"]
Made = TypeVar("Made")

# Hidden nodes that a law may depend on, with their bins; the virtual car gives its own value for each of them.
SCALES: dict[str, Bins] = {
    "charge": bins.CHARGE,
    "surface": bins.SURFACE,
    "source_emf": bins.SOURCE_EMF,
    "source_factor": bins.SOURCE_FACTOR,
    "source_factor_fine": bins.SOURCE_FACTOR_FINE,
    "positive_joint_resistance": bins.JOINT,
    "negative_joint_resistance": bins.JOINT,
    "starter_cable_resistance": bins.CABLE,
    "ground_path_resistance": bins.GROUND,
    "starter_motor_resistance": bins.BRUSH,
    "turning_load": bins.TURNING_LOAD,
    "set_point": bins.SET_POINT,
    "charge_cable_resistance": bins.CHARGE_CABLE,
    "charge_cable_resistance_fine": bins.CHARGE_CABLE_FINE,
    "acceptance_fine": bins.ACCEPTANCE_FINE,
    "alternator_level": bins.ALTERNATOR_AMPERES,
}


class Now(str):
    """A component by what it does at this visit: a fault that comes and goes acts as sound while it is off."""


class Workings:
    """A setting, and what several tables of one network share, worked out once."""

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self._made: dict[Callable[[Setting], Any], Any] = {}

    def once(self, make: Callable[[Setting], Made]) -> Made:
        """What a function of the setting gives; worked out the first time."""
        if make not in self._made:
            self._made[make] = make(self.setting)
        found: Made = self._made[make]
        return found


@dataclass(frozen=True)
class Law:
    """A quantity as a pure function of what it depends on.

    Parameters
    ----------
    of : callable
        Takes the setting, each hidden node of :attr:`Quantity.depends_on` by its name, and each parameter of `draws` as
        ``component_parameter``; returns the quantity in its unit. Works on arrays that broadcast and on numbers alike.
    draws : tuple of (component, parameter)
        Parameters of the components among :attr:`Quantity.depends_on`.
    scatter : str, optional
        Name of the number that says what the law leaves out: a standard deviation in the quantity's unit.
    points : int
        Samples within each cell of the table.
    """

    of: Callable[..., Array | float]
    draws: tuple[tuple[str, str], ...] = ()
    scatter: str | None = None
    points: int = 512


@dataclass(frozen=True)
class Quantity:
    """One entry of the registry.

    Parameters
    ----------
    name : str
        By which `quantity` of a test names it.
    unit : str
        SI unit; empty for what is seen or heard.
    circuit : {"battery", "starting", "charging", "parked"}
    depends_on : tuple of str
        Hidden nodes and components, in the order of the table's axes; a component as :class:`Now` by what it does now.
    scale : Bins or tuple of str
        Bins of a number, or choices.
    table : callable or Law
        Gives the table, shape (states, states of what it depends on ...), from the workings of the visit.
    scatter : float or str
        Standard deviation by which two readings of it differ beyond their instruments' errors [unit of the quantity],
        or the name of that number; it is in the table already.
    unlike : str
        Name of the number by which a car is off the model in it, at every reading alike (:attr:`off_by`); of numbers.
    sampled : bool
        Whether it is seen through the window or the sampling interval of the instrument, one table for each.
    """

    name: str
    unit: str
    circuit: Circuit
    depends_on: tuple[str, ...]
    scale: Bins | tuple[str, ...]
    table: Callable[..., Array] | Law = field(repr=False)
    scatter: float | str = 0.0
    unlike: str = ""
    sampled: bool = False

    @property
    def states(self) -> tuple[str, ...]:
        """Slugs of its bins, or its choices."""
        return self.scale.states if isinstance(self.scale, Bins) else self.scale

    @property
    def off_by(self) -> OffBy:
        """Whether a car is off by an amount, by a factor (``_ln``) or in the odds of a share of a whole (``_odds``)."""
        return {"ln": "factor", "odds": "share"}.get(self.unlike.rpartition("_")[2], "amount")  # type: ignore[return-value]

    def node(self, at: Workings, name: str | None = None, *sampling: float | None) -> Node:
        """The quantity as a node of a visit's network.

        Parameters
        ----------
        at : Workings
        name : str, optional
            Of the node, where one quantity has several.
        *sampling : float or None
            Window and interval of the instrument [s], where it is seen through them.
        """
        catalogue = at.setting.catalogue
        parents = tuple(active_node(catalogue, d) if isinstance(d, Now) else str(d) for d in self.depends_on)
        table = law_table(self, self.table, at.setting) if isinstance(self.table, Law) else self.table(at, *sampling)
        if isinstance(self.scale, Bins) and self.unlike:
            tail = at.setting.number("unlike_far"), at.setting.number("unlike_far_times")
            table = unlike(table, self.scale, at.setting.number(self.unlike), tail, self.off_by)
        edges = self.scale.edges if isinstance(self.scale, Bins) else ()
        scatter = at.setting.number(self.scatter) if isinstance(self.scatter, str) else self.scatter
        return Node(name or self.name, "quantity", self.states, parents, table, edges, scatter)


def law_table(quantity: Quantity, law: Law, setting: Setting) -> Array:
    """The table of a law, by low-discrepancy points in every cell; shape (bins, states of what it depends on ...)."""
    assert isinstance(quantity.scale, Bins)
    axes = len(quantity.depends_on)
    places = [(axis, name) for axis, name in enumerate(quantity.depends_on) if name in SCALES]
    draws = [(quantity.depends_on.index(component), component, parameter) for component, parameter in law.draws]
    share = low_discrepancy_points(law.points, len(places) + len(draws))

    def along(axis: int, values: Array) -> Array:
        shape = [1] * axes + [values.shape[1]]
        shape[axis] = values.shape[0]
        return values.reshape(shape)

    values = {name: along(axis, SCALES[name].at(share[k])) for k, (axis, name) in enumerate(places)}
    for k, (axis, component, parameter) in enumerate(draws, start=len(places)):
        values[f"{component}_{parameter}"] = along(axis, setting.drawn(component, parameter, share[k]))
    table = histogram(np.asarray(law.of(setting, **values)), quantity.scale)
    return table if law.scatter is None else blurred(table, quantity.scale, setting.number(law.scatter))
