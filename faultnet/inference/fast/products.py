"""Products worked out for some of the configurations under one set of readings.

What depends on few configurations (those of the battery, say) is worked out for all of them, and kept while the
readings stay. The rest is worked out for the configurations asked about only. All tests share every product that does
not depend on the test itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Index, RowSets
from faultnet.inference.contraction import Tensor, finished, product
from faultnet.inference.fast.clique_tables import Bound
from faultnet.inference.fast.prepare import schedule_for, schedule_of
from faultnet.inference.fast.query_cache import CommonProducts
from faultnet.inference.fast.schedule import KEEP, OUTCOME, Named, Schedule, Step
from faultnet.inference.fast.support import States


@dataclass(frozen=True)
class _Table:
    """A table with its number; cut (2) not at all, (1) to the states that are kept, (0) to the configurations too."""

    number: int
    tensor: Tensor
    reach: int


@dataclass(frozen=True, eq=False)
class Products:
    """Products for some configurations and states of charge.

    Parameters
    ----------
    bound : Bound
    rows : RowSets
        The cluster's own, or some of them.
    charge_states : int array, optional
        Some states of charge; all when left out.
    common : CommonProducts
        Those under the same readings and kept states that depend on few configurations; several may share them.
    states : mapping of axis to int array, optional
        Some states of hidden axes, in rising order; the others count as impossible, but for an axis already summed out
        in what no reading bears on.
    """

    bound: Bound
    rows: RowSets
    charge_states: Index | None = None
    common: CommonProducts = field(default_factory=CommonProducts, repr=False)
    states: States = field(default_factory=dict)
    own: dict[tuple[int, int], Tensor] = field(default_factory=dict, repr=False)

    def contract(self, factors: Sequence[Tensor], outcomes: Named | None = None) -> Tensor:
        """Sum the hidden nodes out.

        Parameters
        ----------
        factors : sequence of Tensor
            Of the readings; the same ones whenever these products are used.
        outcomes : Named, optional
            Of tests.

        Returns
        -------
        Tensor
            Axes `combination`, `charge` and `outcome`, where they matter.
        """
        leading, cut = self.rows is not self.bound.rows, self.charge_states is not None
        schedule = schedule_for(self.bound, factors, outcomes, leading=leading, cut=cut)
        return self._followed(schedule, factors)

    def joint(self, axes: Sequence[str]) -> Tensor:
        """Chances of some axes that are kept, before any reading."""
        return self._followed(schedule_of(self.bound, axes), ())

    def _followed(self, schedule: Schedule, factors: Sequence[Tensor]) -> Tensor:
        given = [_Table(number, tensor, 2) for number, tensor in schedule.constants]
        given += [_Table(number, tensor, 2) for number, tensor in zip(schedule.factors, factors, strict=True)]
        last = len(given) + len(schedule.steps) - 1
        return finished(self._at(self._table(last, given, schedule.steps), 0), KEEP)

    def _table(self, place: int, given: Sequence[_Table], steps: Sequence[Step]) -> _Table:
        """The table at a place of a schedule; of what is kept, nothing it was made of is made anew."""
        if place < len(given):
            return given[place]
        step = steps[place - len(given)]
        reach = 1 if step.common else 0
        kept, key = self.common.tables if step.common else self.own, (step.number, reach)
        found = kept.get(key)
        if found is None:
            left, right = (self._at(self._table(p, given, steps), reach) for p in (step.left, step.right))
            found = product(left, right, step.needed, self.bound.rows if step.common else self.rows)
            if step.common or OUTCOME not in found.axes:  # what one test would show serves no other test
                kept[key] = found
        return _Table(step.number, found, reach)

    def _at(self, table: _Table, reach: int) -> Tensor:
        """A table cut to the states that are kept, and to the configurations too where only these are wanted."""
        tensor, charge = table.tensor, self.charge_states
        if table.reach > reach == 0:
            self.common.lasting.add((table.number, 1))
        if table.reach == 2:
            tensor = tensor.within(self.states)
            if charge is not None and CHARGE in tensor.axes:
                tensor = self._charge_cut(table.number, tensor, charge)
        if table.reach > 0 == reach and tensor.components and self.rows is not self.bound.rows:
            tensor = self._rows_cut(table.number, tensor)
        return tensor

    def _charge_cut(self, number: int, tensor: Tensor, states: Index) -> Tensor:
        found = self.common.tables.get((number, 1))
        if found is None:
            found = self.common.tables[number, 1] = tensor.taken(states, CHARGE)
        return found

    def _rows_cut(self, number: int, tensor: Tensor) -> Tensor:
        found = self.own.get((number, 0))
        if found is None:
            found = self.own[number, 0] = tensor.taken(self.rows.up(tensor.components))
        return found
