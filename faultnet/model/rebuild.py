"""A visit's network built anew in part: where a number of the prior set changes, only what was made from it.

Most physical numbers bear on one or two nodes, and building the others takes a second. What each node was made from is
found by watching which numbers are asked for while it is made.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from faultnet.model.build import Maker, makers
from faultnet.model.network import Node
from faultnet.model.quantity import Made, Workings
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Effect

Number = tuple[str, ...]
"""(component, mode, parameter) of a row of ``effects.csv``, or (name,) of one of ``spreads.csv``."""


@dataclass(frozen=True)
class Watched(Setting):
    """A setting that writes down which numbers are asked for."""

    read: set[Number] = field(default_factory=set, compare=False, repr=False)

    def effect(self, component: str, mode: str, parameter: str) -> Effect:
        """As of any setting."""
        own = self.catalogue.effect(component, mode, parameter) is not None
        self.read.add((component, mode if own else self.modes(component)[0], parameter))
        return super().effect(component, mode, parameter)

    def number(self, name: str) -> float:
        """As of any setting."""
        self.read.add((name,))
        return super().number(name)


Shared = dict[Callable[[Setting], Any], tuple[Any, set[Number]]]


class _Workings(Workings):
    """Workings of one node; what several nodes share is worked out once for all of them, and watched too."""

    def __init__(self, setting: Watched, shared: Shared) -> None:
        super().__init__(setting)
        self.read, self.shared = setting.read, shared

    def once(self, make: Callable[[Setting], Made]) -> Made:
        if make not in self.shared:
            own = Watched(self.setting.car, self.setting.conditions, self.setting.catalogue)
            self.shared[make] = (make(own), own.read)
        found, read = self.shared[make]
        self.read |= read
        made: Made = found
        return made


class Rebuilt:
    """The nodes of one setting with what each was made from.

    Parameters
    ----------
    setting : Setting
    """

    def __init__(self, setting: Setting) -> None:
        self.setting = setting
        self._shared: Shared = {}
        self._parts: list[tuple[Maker, list[Node], set[Number]]] = []
        for make in makers(setting):
            at = _Workings(Watched(setting.car, setting.conditions, setting.catalogue), self._shared)
            self._parts.append((make, list(make(at)), at.read))

    def bears_on(self, number: Number) -> set[str]:
        """Names of the nodes that were made from a number."""
        return {node.name for _, nodes, read in self._parts if number in read for node in nodes}

    def nodes(self, catalogue: Catalogue, changed: Iterable[Number], without: Iterable[str] = ()) -> dict[str, Node]:
        """The nodes that another prior set changes.

        Parameters
        ----------
        catalogue : Catalogue
            That of the setting but for some numbers.
        changed : iterable of Number
            Those.
        without : iterable of str
            Nodes that are not wanted.
        """
        numbers, unwanted = set(changed), set(without)
        shared = {make: (value, read) for make, (value, read) in self._shared.items() if not read & numbers}
        found: dict[str, Node] = {}
        for make, nodes, read in self._parts:
            if read & numbers and not {node.name for node in nodes} <= unwanted:
                own = Watched(self.setting.car, self.setting.conditions, catalogue)
                found |= {node.name: node for node in make(_Workings(own, shared))}
        return found
