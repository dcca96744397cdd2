"""What has to be multiplied for a question about a cluster, once the readings and the configurations are given."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple

from faultnet.inference.cliques import CHARGE
from faultnet.inference.contraction import COMBINATION, Tensor

OUTCOME = "outcome"
KEEP = (COMBINATION, CHARGE, OUTCOME)


@dataclass(frozen=True, eq=False)
class Named:
    """A table for all configurations and states of charge, with what it is known by.

    Parameters
    ----------
    key : hashable
    tensor : Tensor
    free : bool
        Whether it is the same whatever is read.
    """

    key: Hashable
    tensor: Tensor
    free: bool

    @cached_property
    def names(self) -> tuple[str, ...]:
        """Axes and components, for planning."""
        return (*(a for a in self.tensor.axes if a != COMBINATION), *sorted(self.tensor.components))


class Step(NamedTuple):
    """One product: two places in the list of tables so far, the axes needed after it, a number it is kept under, and
    whether it depends on so few configurations that it is worked out for all of them."""

    left: int
    right: int
    needed: frozenset[str]
    number: int
    common: bool

    @property
    def key(self) -> tuple[int, int]:
        """What the product is kept under: its number, and 1 where it is worked out for all configurations."""
        return self.number, int(self.common)


@dataclass(frozen=True, eq=False)
class Schedule:
    """The contraction schedule of a question: the products that answer it.

    Parameters
    ----------
    constants : tuple of (int, Tensor)
        What no reading bears on, already multiplied as far as it goes, each with a number of its own; they come first.
    factors : tuple of int
        Numbers of the likelihood factors of the readings, which come next in the order they are given.
    steps : tuple of Step
        Every product is put at the end; the last table is the answer.
    """

    constants: tuple[tuple[int, Tensor], ...]
    factors: tuple[int, ...]
    steps: tuple[Step, ...]

    @property
    def last(self) -> int:
        """Place of the answer."""
        return len(self.constants) + len(self.factors) + len(self.steps) - 1

    def number(self, place: int) -> int:
        """Number of the table at a place."""
        constants, given = len(self.constants), len(self.constants) + len(self.factors)
        if place < constants:
            return self.constants[place][0]
        return self.factors[place - constants] if place < given else self.steps[place - given].number


@lru_cache(maxsize=8192)
def places(
    axes: tuple[tuple[str, ...], ...], order: tuple[tuple[int, ...], ...]
) -> tuple[tuple[int, int, frozenset[str]], ...]:
    """Turn an order of a plan into places in a list that every product is put at the end of.

    Returns
    -------
    tuple of (int, int, frozenset of str)
        The places of both tables, and the axes still needed after their product.
    """
    here = list(range(len(axes)))
    held = [frozenset(a) for a in axes]
    found = []
    for first, second in order:
        one, two = here[first], here[second]
        here = [p for i, p in enumerate(here) if i not in (first, second)]
        needed = frozenset(KEEP).union(*(held[p] for p in here))
        found.append((one, two, needed))
        here.append(len(held))
        held.append((held[one] | held[two]) & needed)
    return tuple(found)
