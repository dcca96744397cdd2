"""What the tests of one cluster would show under one set of readings, kept for the joint modes asked about so far.

The next reading mostly bears on another cluster. Then nothing here changes but which joint modes are likely enough to
be asked about, and only those not met before are worked out.
"""

from __future__ import annotations

import threading
from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from faultnet.engine.bound import Bound
from faultnet.engine.clusters import CHARGE
from faultnet.engine.contraction import COMBINATION, Tensor
from faultnet.engine.recipe import Named
from faultnet.engine.rows import Index
from faultnet.engine.sheet import Sheet
from faultnet.engine.shelf import Shelf
from faultnet.network.structure import Array

MISSING = -1


@dataclass(eq=False)
class Answers:
    """Answers of one site's tests, joint mode by joint mode.

    Parameters
    ----------
    place : int array, shape (joint modes of the cluster,)
        Where the answer for a joint mode stands in `values`; negative where there is none yet.
    values : array, shape (answers, charge states, outcomes)
    """

    place: Index
    values: Array

    def add(self, rows: Index, values: Array) -> None:
        """Put answers for more joint modes at the end."""
        self.place[rows] = np.arange(len(self.values), len(self.values) + len(rows))
        self.values = np.concatenate([self.values, values])


@dataclass(frozen=True, eq=False)
class Desk:
    """Answers of a cluster's tests under one set of readings.

    Parameters
    ----------
    bound : Bound
    weights : tuple of Tensor
        Of the readings.
    charge_states : int array, optional
        States of charge answered for; all when left out.
    """

    bound: Bound
    weights: tuple[Tensor, ...]
    charge_states: Index | None = None
    _common: Shelf = field(default_factory=Shelf, repr=False)
    _sites: dict[Hashable, Answers] = field(default_factory=dict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def covers(self, charge_states: Index | None) -> bool:
        """Whether these states of charge are among those answered for."""
        if self.charge_states is None or charge_states is None:
            return self.charge_states is None
        return bool(np.isin(charge_states, self.charge_states).all())

    def size(self) -> int:
        """What its answers take [bytes]."""
        return sum(kept.values.nbytes + kept.place.nbytes for kept in list(self._sites.values()))

    def answers(self, sites: Sequence[Named], rows: NDArray[np.integer], charge_states: Index | None) -> list[Array]:
        """What the tests of each site would show.

        Parameters
        ----------
        sites : sequence of Named
            Outcomes of tests, as :meth:`Bound.outcomes` gives them.
        rows : int array, shape (hypotheses,)
            Joint mode of each hypothesis.
        charge_states : int array, optional
            States of charge asked about; all when left out.

        Returns
        -------
        list of array, shape (hypotheses, charge states or 1, outcomes)
        """
        with self._lock:
            wanted = np.unique(rows)
            sheets: dict[bytes, Sheet] = {}
            for site in sites:
                self._complete(site, wanted, sheets)
            if sheets:
                self._common.tidied()
            kept = [self._sites[s.key] for s in sites]
            found = [k.values[k.place[rows]] for k in kept]
        if charge_states is None or self.charge_states is charge_states:
            return found
        states = charge_states if self.charge_states is None else np.searchsorted(self.charge_states, charge_states)
        return [v if v.shape[1] == 1 else v[:, states] for v in found]

    def _complete(self, site: Named, wanted: Index, sheets: dict[bytes, Sheet]) -> None:
        """Work out what one site still lacks, on a sheet shared with the sites that lack the same."""
        kept = self._sites.get(site.key)
        missing = wanted if kept is None else wanted[kept.place[wanted] == MISSING]
        if not len(missing):
            return
        key = missing.tobytes()
        if key not in sheets:
            whole = len(missing) == len(self.bound.rows.table)
            rows = self.bound.rows if whole else self.bound.rows.restricted(missing)
            sheets[key] = Sheet(self.bound, rows, self.charge_states, self._common)
        values = self._laid_out(sheets[key], sheets[key].worked_out(self.weights, site))
        if kept is None:
            place = np.full(len(self.bound.rows.table), MISSING, dtype=np.intp)
            kept = self._sites[site.key] = Answers(place, np.empty((0, *values.shape[1:])))
        kept.add(missing, values)

    def _laid_out(self, sheet: Sheet, message: Tensor) -> Array:
        """A message for each joint mode of the sheet, shape (joint modes, charge states or 1, outcomes)."""
        values = message.values if CHARGE in message.axes else message.values[..., None, :]
        if COMBINATION not in message.axes:
            return np.broadcast_to(values, (len(sheet.rows.table), *values.shape))
        return values[sheet.rows.part(message.components).which]
