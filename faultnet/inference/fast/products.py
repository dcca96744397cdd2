"""Products worked out for some of the configurations under one set of readings.

What depends on few configurations (those of the battery, say) is worked out for all of them, and kept while the
readings stay. The rest is worked out for the configurations asked about only. All tests share every product that does
not depend on the test itself; how often each is fetched is counted beforehand, and it is let go after the last time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Index, RowSets
from faultnet.inference.contraction import Tensor, finished, product
from faultnet.inference.fast.clique_tables import Bound
from faultnet.inference.fast.prepare import schedule_for, schedule_of
from faultnet.inference.fast.query_cache import CommonProducts, Key
from faultnet.inference.fast.schedule import KEEP, Named, Schedule, Step
from faultnet.inference.fast.support import States

LARGEST_LASTING = 16 << 20  # [byte]


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
    own: dict[Key, Tensor] = field(default_factory=dict, repr=False)
    left: Counter[Key] = field(default_factory=Counter, repr=False)

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
        return next(self.contract_each(factors, [outcomes]))

    def contract_each(self, factors: Sequence[Tensor], asked: Sequence[Named | None]) -> Iterator[Tensor]:
        """The same for the outcomes of several sites, one after the other, with what they share worked out once."""
        leading, cut = self.rows is not self.bound.rows, self.charge_states is not None
        schedules = [schedule_for(self.bound, factors, o, leading=leading, cut=cut) for o in asked]
        self.left.update(fetches(schedules, {*self.common.tables, *self.own}))
        return (self._followed(schedule, factors) for schedule in schedules)

    def joint(self, axes: Sequence[str]) -> Tensor:
        """Chances of some axes that are kept, before any reading."""
        return self._followed(schedule_of(self.bound, axes), ())

    def _followed(self, schedule: Schedule, factors: Sequence[Tensor]) -> Tensor:
        given = [_Table(number, tensor, 2) for number, tensor in schedule.constants]
        given += [_Table(number, tensor, 2) for number, tensor in zip(schedule.factors, factors, strict=True)]
        return finished(self._at(schedule.last, given, schedule.steps, 0), KEEP)

    def _at(self, place: int, given: Sequence[_Table], steps: Sequence[Step], reach: int) -> Tensor:
        """The table at a place of a schedule, cut to the states that are kept, and where only some configurations are
        wanted to these."""
        table = given[place] if place < len(given) else self._made(steps[place - len(given)], given, steps, reach)
        tensor, charge = table.tensor, self.charge_states
        if table.reach == 2:
            tensor = tensor.within(self.states)
            if charge is not None and CHARGE in tensor.axes:
                tensor = self._charge_cut(table.number, tensor, charge, reach)
        if table.reach > 0 == reach and tensor.components and self.rows is not self.bound.rows:
            tensor = self._rows_cut(table.number, tensor)
        return tensor

    def _made(self, step: Step, given: Sequence[_Table], steps: Sequence[Step], wanted: int) -> _Table:
        """A product; while it is held, nothing it was made of is made anew."""
        key = step.key
        kept = self.common.tables if step.common else self.own
        if step.common and not wanted:
            self.common.lasting.add(key)
        found = kept.get(key)
        if found is None:
            left, right = (self._at(place, given, steps, key[1]) for place in (step.left, step.right))
            found = product(left, right, step.needed, self.bound.rows if step.common else self.rows)
        self._hold(kept, key, found)
        return _Table(step.number, found, key[1])

    def _hold(self, kept: dict[Key, Tensor], key: Key, tensor: Tensor) -> None:
        """Keep what will be fetched again, or what further configurations begin with, until the last time."""
        self.left[key] -= 1
        lasting = key in self.common.lasting and tensor.values.nbytes <= LARGEST_LASTING
        if self.left[key] > 0 or lasting:
            kept[key] = tensor
        else:
            kept.pop(key, None)

    def _charge_cut(self, number: int, tensor: Tensor, states: Index, reach: int) -> Tensor:
        if not reach:
            self.common.lasting.add((number, 1))
        found = self.common.tables.get((number, 1))
        if found is None:
            found = self.common.tables[number, 1] = tensor.taken(states, CHARGE)
        return found

    def _rows_cut(self, number: int, tensor: Tensor) -> Tensor:
        found = self.own.get((number, 0))
        if found is None:
            found = tensor.taken(self.rows.up(tensor.components))
        self._hold(self.own, (number, 0), found)
        return found


def fetches(schedules: Sequence[Schedule], held: Iterable[Key]) -> Counter[Key]:
    """How often each product, and each table cut to some configurations, is fetched if schedules are followed in turn.

    Parameters
    ----------
    schedules : sequence of Schedule
    held : iterable of Key
        Products that are there already. What is made is taken to be there from then on.
    """
    there, found = set(held), Counter[Key]()
    for schedule in schedules:
        given = len(schedule.constants) + len(schedule.factors)
        pending = [(schedule.last, 0)]
        while pending:
            place, reach = pending.pop()
            step = schedule.steps[place - given] if place >= given else None
            if not reach and (step is None or step.common):
                found[schedule.number(place), 0] += 1
            if step is not None:
                found[step.key] += 1
                if step.key not in there:
                    there.add(step.key)
                    pending += [(step.left, step.key[1]), (step.right, step.key[1])]
    return found
