"""What the tests of one cluster would show under one set of readings, kept for the configurations asked about so far.

The next reading mostly bears on another cluster. Then nothing here changes but which configurations are likely enough
to be asked about, and only those not met before are worked out.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.cliques import CHARGE
from faultnet.inference.configurations import Index, RowSets
from faultnet.inference.contraction import COMBINATION, Tensor
from faultnet.inference.fast.clique_tables import TINY, Bound
from faultnet.inference.fast.products import Products
from faultnet.inference.fast.query_cache import CommonProducts
from faultnet.inference.fast.schedule import Named
from faultnet.inference.fast.support import States, axes_told_of, carry_on, likely_states, worth_cutting
from faultnet.model.network import Array

MISSING = -1
MOST_NARROWED = 2


@dataclass(eq=False)
class Answers:
    """Answers of one site's tests, configuration by configuration.

    Parameters
    ----------
    place : int array, shape (configurations of the cluster,)
        Where the answer for a configuration stands in `values`; negative where there is none yet.
    values : array, shape (answers, charge states, outcomes)
    """

    place: Index
    values: Array

    @classmethod
    def none_yet(cls, configurations: int, shape: tuple[int, ...]) -> Answers:
        """No answer, of a cluster with so many configurations; each will have this shape."""
        return cls(np.full(configurations, MISSING, dtype=np.intp), np.empty((0, *shape)))

    def add(self, rows: Index, values: Array) -> None:
        """Put answers for more configurations at the end."""
        self.place[rows] = np.arange(len(self.values), len(self.values) + len(rows))
        self.values = np.concatenate([self.values, values])


@dataclass(frozen=True, eq=False)
class Query:
    """Answers of a cluster's tests under one set of readings.

    Parameters
    ----------
    bound : Bound
    factors : tuple of Tensor
        Of the readings.
    charge_states : int array, optional
        States of charge answered for; all when left out.
    states : mapping of axis to int array, optional
        Some states of hidden axes, in rising order; the others count as impossible, but for an axis already summed out
        in what no reading bears on.
    """

    bound: Bound
    factors: tuple[Tensor, ...]
    charge_states: Index | None = None
    states: States = field(default_factory=dict)
    _narrower: list[Query] = field(default_factory=list, repr=False)
    _common: CommonProducts = field(default_factory=CommonProducts, repr=False)
    _sites: dict[Hashable, Answers] = field(default_factory=dict, repr=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def covers(self, charge_states: Index | None) -> bool:
        """Whether these states of charge are among those answered for."""
        if self.charge_states is None or charge_states is None:
            return self.charge_states is None
        return bool(np.isin(charge_states, self.charge_states).all())

    def size(self) -> int:
        """What its answers take [bytes]."""
        own = sum(kept.values.nbytes + kept.place.nbytes for kept in list(self._sites.values()))
        return own + sum(query.size() for query in list(self._narrower))

    def trim(self) -> None:
        """Drop the products that work on further configurations would begin with; the answers stay."""
        self._common.tables.clear()
        for query in list(self._narrower):
            query.trim()

    @cached_property
    def _told(self) -> tuple[str, ...]:
        return axes_told_of(self.factors, self.bound.tables.keys())

    def narrowed(
        self,
        rows: NDArray[np.integer],
        before: Array,
        charge_states: Index | None,
        expected: NDArray[np.integer] | None,
        belief: Array,
    ) -> Query:
        """A query that answers for the likely states of hidden axes only; this one where that does not pay.

        Parameters
        ----------
        rows, before, charge_states, expected
            What is to be asked about, as of :meth:`answers`.
        belief : array, shape (hypotheses,)

        Notes
        -----
        The states are those that are likely by now, whatever was asked before: the same case gives the same answer.
        """
        if not self._told:
            return self
        shares = self._shares(self.answers(self._states, rows, before, charge_states, expected), belief)
        if not worth_cutting(shares):
            return self
        together = carry_on(shares, self.bound.tables.values())
        likely = {a: likely_states(s) for a, s in together.items()}
        with self._lock:
            for query in self._narrower:
                if all(np.array_equal(query.states[a], kept) for a, kept in likely.items()):
                    return query
            query = Query(self.bound, self.factors, self.charge_states, likely)
            self._narrower[:] = [query, *self._narrower[: MOST_NARROWED - 1]]
            return query

    @cached_property
    def _states(self) -> list[Named]:
        return [self.bound.states(a) for a in self._told]

    def _shares(self, shown: Sequence[Array], belief: Array) -> dict[str, Array]:
        """Belief in the states of each axis that a reading tells of."""
        each = [belief @ (s / np.maximum(s.sum(axis=1, keepdims=True), TINY)) for s in shown]
        return dict(zip(self._told, each, strict=True))

    def answers(
        self,
        sites: Sequence[Named],
        rows: NDArray[np.integer],
        before: Array,
        charge_states: Index | None,
        expected: NDArray[np.integer] | None = None,
    ) -> list[Array]:
        """What the tests of each site would show.

        Parameters
        ----------
        sites : sequence of Named
            Outcomes of tests, as :meth:`Bound.outcomes` gives them.
        rows : int array, shape (hypotheses,)
            Configuration of each hypothesis.
        before : array, shape (hypotheses, charge states)
            Weight over the state of charge from everything else.
        charge_states : int array, optional
            States of charge asked about; all when left out.
        expected : int array, optional
            Configurations that may be asked about next; worked out along with others that are missing, never alone.

        Returns
        -------
        list of array, shape (hypotheses, outcomes)
            Summed over the state of charge.
        """
        wanted, which = np.unique(rows, return_inverse=True)
        with self._lock:
            for missing, lacking in self._lacking(sites, wanted, expected):
                self._complete(missing, lacking)
            kept = [self._sites[s.key] for s in sites]
            found = [self._cut(k.values[k.place[wanted]], charge_states) for k in kept]
        return over_charge(found, which, before)

    def _cut(self, values: Array, charge_states: Index | None) -> Array:
        """Answers for the states of charge answered for, cut to some of them."""
        if values.shape[1] == 1 or charge_states is None or charge_states is self.charge_states:
            return values
        if self.charge_states is None:
            return values[:, charge_states]
        return values[:, np.searchsorted(self.charge_states, charge_states)]

    def _lacking(
        self, sites: Sequence[Named], wanted: Index, expected: NDArray[np.integer] | None
    ) -> list[tuple[Index, list[Named]]]:
        """Configurations that have no answer yet, with the sites at which they lack one."""
        found: dict[bytes, tuple[Index, dict[Hashable, Named]]] = {}
        for site in sites:
            kept = self._sites.get(site.key)
            missing = _missing(kept, wanted)
            if len(missing):
                if expected is not None:
                    missing = _missing(kept, np.union1d(wanted, expected))
                found.setdefault(missing.tobytes(), (missing, {}))[1][site.key] = site
        return [(missing, list(lacking.values())) for missing, lacking in found.values()]

    def _complete(self, missing: Index, sites: Sequence[Named]) -> None:
        """Work out what some sites lack for the same configurations."""
        whole = len(missing) == len(self.bound.rows.table)
        rows = self.bound.rows if whole else self.bound.rows.restricted(missing)
        products = Products(self.bound, rows, self.charge_states, self._common, self.states)
        for site, message in zip(sites, products.contract_each(self.factors, sites), strict=True):
            values = self._laid_out(rows, message)
            kept = self._sites.get(site.key)
            if kept is None:
                kept = self._sites[site.key] = Answers.none_yet(len(self.bound.rows.table), values.shape[1:])
            kept.add(missing, values)
        self._common.tidy()

    def _laid_out(self, rows: RowSets, message: Tensor) -> Array:
        """A message for each of some configurations, shape (configurations, charge states or 1, outcomes)."""
        values = message.values if CHARGE in message.axes else message.values[..., None, :]
        if COMBINATION not in message.axes:
            return np.broadcast_to(values, (len(rows.table), *values.shape))
        return values[rows.part(message.components).which]


@dataclass(eq=False)
class Likelihoods:
    """Likelihood of some readings, configuration by configuration, for those asked about so far."""

    _kept: Answers | None = None
    _scale: float = 0.0
    _lock: threading.Lock = field(default_factory=threading.Lock, repr=False)

    def of(
        self, rows: NDArray[np.integer], bound: Bound, factors: Callable[[], tuple[Sequence[Tensor], float]]
    ) -> tuple[Array, float]:
        """Likelihoods, shape (rows, charge states or 1), and their log scale.

        Parameters
        ----------
        rows : int array
            Configurations, which may occur more than once.
        bound : Bound
        factors : callable
            Likelihood factors of the readings and their log scale, asked for where a configuration is new.
        """
        wanted, which = np.unique(rows, return_inverse=True)
        with self._lock:
            missing = _missing(self._kept, wanted)
            if len(missing):
                tensors, self._scale = factors()
                values = _likelihoods(bound, missing, tensors)
                if self._kept is None:
                    self._kept = Answers.none_yet(len(bound.rows.table), values.shape[1:])
                self._kept.add(missing, values)
            assert self._kept is not None
            return self._kept.values[self._kept.place[wanted]][which], self._scale


def _likelihoods(bound: Bound, rows: Index, factors: Sequence[Tensor]) -> Array:
    """Likelihood of readings for some configurations, shape (rows, charge states or 1)."""
    some = bound.rows.restricted(rows)
    message = Products(bound, some).contract(factors)
    alike = np.zeros(len(rows), dtype=np.intp)
    return message.arranged((COMBINATION, CHARGE))[some.part(message.components).which if message.components else alike]


def _missing(kept: Answers | None, rows: Index) -> Index:
    """Those of some configurations that have no answer yet."""
    return rows if kept is None else rows[kept.place[rows] == MISSING]


def over_charge(sites: Sequence[Array], which: NDArray[np.integer], before: Array) -> list[Array]:
    """Answers of configurations, weighted over the state of charge for each hypothesis.

    Parameters
    ----------
    sites : sequence of array, shape (configurations, charge states or 1, outcomes)
    which : int array, shape (hypotheses,)
        Configuration of each hypothesis.
    before : array, shape (hypotheses, charge states)

    Returns
    -------
    list of array, shape (hypotheses, outcomes)
    """
    charged = [i for i, values in enumerate(sites) if values.shape[1] > 1]
    found = {i: values[which, 0] for i, values in enumerate(sites) if values.shape[1] == 1}
    if charged:
        together = _by_rows(np.concatenate([sites[i] for i in charged], axis=2), which, before)
        ends = np.cumsum([0, *(sites[i].shape[2] for i in charged)]).tolist()
        found |= {i: together[:, a:b] for i, (a, b) in zip(charged, pairwise(ends), strict=True)}
    return [found[i] for i in range(len(sites))]


def _by_rows(values: Array, which: NDArray[np.integer], before: Array) -> Array:
    """One matrix product for each configuration, with all hypotheses that have it."""
    order = np.argsort(which, kind="stable")
    ends = np.searchsorted(which[order], np.arange(len(values) + 1)).tolist()
    weight = before[order]
    found = np.empty((len(which), values.shape[2]))
    for row, (first, stop) in zip(values, pairwise(ends), strict=True):
        if stop > first:
            np.matmul(weight[first:stop], row, out=found[first:stop])
    result = np.empty_like(found)
    result[order] = found
    return result
