"""Where each hypothesis finds its row in the messages of a cluster, and what these are for some readings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from math import prod

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.cliques import Cluster
from faultnet.inference.configurations import Components, Index, IndexArray, RowSets, distinct_rows
from faultnet.inference.contraction import Tensor
from faultnet.inference.evidence import Evidence, evidence_key, pooled
from faultnet.inference.fast.clique_tables import Asked, Bound, asked_key
from faultnet.inference.fast.products import Products
from faultnet.inference.fast.query import Likelihoods, Query
from faultnet.model.network import Array, Network

MOST_QUERIES = 2
SMALL = 1 << 14


@dataclass(frozen=True, eq=False)
class Placed:
    """A cluster bound to all hypotheses.

    Parameters
    ----------
    bound : Bound
    which : unsigned int array, shape (hypotheses,)
        Row of each hypothesis among the configurations of the cluster's components.
    """

    bound: Bound
    which: NDArray[np.unsignedinteger]

    @cached_property
    def small(self) -> bool:
        """Whether answering for all configurations at once costs next to nothing."""
        nodes = self.bound.cluster.network.nodes
        return prod(nodes[h].card for h in self.bound.cluster.hidden) * len(self.bound.rows.table) <= SMALL

    def rows_of(self, components: Components) -> NDArray[np.unsignedinteger]:
        """Row of each hypothesis among the configurations of some of the cluster's components."""
        found = self.bound.cache.rows.get(components)
        if found is None:
            found = self.bound.cache.rows[components] = _packed(self.bound.rows.part(components).which)[self.which]
        return found

    def factors(self, evidence: Sequence[Evidence]) -> tuple[list[Tensor], float]:
        """Likelihood factors of evidence over hidden nodes, and the logarithm of what was divided out of them."""
        together, pooled_scale = pooled(evidence)
        tensors, log_scale = multiply_alike([self._factor(q, likelihood) for q, likelihood in together.items()])
        return tensors, log_scale + pooled_scale

    def _factor(self, quantity: str, likelihood: Array) -> Tensor:
        return self.bound.cache.factors.get(
            (quantity, likelihood.tobytes()), lambda: self.bound.factor(quantity, likelihood)
        )

    def message(self, evidence: tuple[Evidence, ...]) -> tuple[Tensor, float]:
        """Likelihood of evidence over configurations and charge, and its log scale; kept for the next time."""

        def make() -> tuple[Tensor, float]:
            tensors, log_scale = self.factors(evidence)
            return Products(self.bound, self.bound.rows).contract(tensors), log_scale

        return self.bound.cache.messages.get(evidence_key(evidence), make)

    def likelihoods(self, evidence: tuple[Evidence, ...], rows: NDArray[np.integer]) -> tuple[Array, float]:
        """Likelihood of evidence for some configurations, and its log scale; kept, and added to the next time."""
        kept: Likelihoods = self.bound.cache.likelihoods.get(evidence_key(evidence), Likelihoods)
        return kept.of(rows, self.bound, lambda: self.factors(evidence))

    def answer(self, evidence: tuple[Evidence, ...], questions: tuple[Asked, ...]) -> Tensor:
        """What tests of one site would show, for all configurations; kept for the next time."""

        def make() -> Tensor:
            products = Products(self.bound, self.bound.rows)
            return products.contract(self.factors(evidence)[0], self.bound.outcomes(questions))

        return self.bound.cache.answers.get((evidence_key(evidence), asked_key(questions)), make)

    def query(self, evidence: tuple[Evidence, ...], charge_states: Index | None) -> Query:
        """How tests are answered under some evidence for some states of charge; kept for the next time."""
        kept: list[Query] = self.bound.cache.queries.get(evidence_key(evidence), list)
        for query in kept:
            if query.covers(charge_states):
                return query
        query = Query(self.bound, tuple(self.factors(evidence)[0]), charge_states)
        kept.append(query)
        del kept[:-MOST_QUERIES]
        return query


def _packed(rows: Index) -> NDArray[np.unsignedinteger]:
    """Row numbers in as few bytes as they need: there is one for each hypothesis and each cluster."""
    return rows.astype(np.min_scalar_type(int(rows.max(initial=0))))


def bind(cluster: Cluster, components: Sequence[str], modes: IndexArray) -> Placed:
    """Bind a cluster to the configurations that occur among hypotheses."""
    table = modes[:, [components.index(c) for c in cluster.components]]
    first, which = distinct_rows(table)
    return Placed(Bound(cluster, RowSets(cluster.components, table[first])), _packed(which))


@dataclass(frozen=True, eq=False)
class Placements:
    """All clusters of a visit, each bound to the hypotheses when it is first needed.

    Parameters
    ----------
    clusters : tuple of Cluster
    components : tuple of str
        Order of the columns of `modes`.
    modes : int array, shape (hypotheses, components)
    """

    clusters: tuple[Cluster, ...]
    components: tuple[str, ...]
    modes: IndexArray
    _made: dict[int, Placed] = field(default_factory=dict, repr=False)

    @cached_property
    def owner(self) -> Mapping[str, int]:
        """Cluster of each quantity."""
        return {q: i for i, c in enumerate(self.clusters) for q in c.quantities}

    def __getitem__(self, k: int) -> Placed:
        found = self._made.get(k)
        if found is None:
            found = self._made.setdefault(k, bind(self.clusters[k], self.components, self.modes))
        return found

    def made(self) -> list[Placed]:
        """The clusters bound so far."""
        return list(self._made.values())

    def forget(self) -> None:
        """Drop what was worked out for readings."""
        for place in self.made():
            place.bound.cache.forget()

    def with_node(self, network: Network, changed: str) -> Placements:
        """The same with another table for one hidden node; the other clusters keep what they have worked out."""
        touched = {k for k, c in enumerate(self.clusters) if changed in c.hidden}
        clusters = tuple(replace(c, network=network) if k in touched else c for k, c in enumerate(self.clusters))
        made = {k: p for k, p in dict(self._made).items() if k not in touched}
        return Placements(clusters, self.components, self.modes, made)

    def by_cluster(self, evidence: Sequence[Evidence]) -> dict[int, tuple[Evidence, ...]]:
        """Evidence grouped by the cluster it bears on."""
        groups: dict[int, tuple[Evidence, ...]] = {}
        for e in evidence:
            k = self.owner[e.quantity]
            groups[k] = (*groups.get(k, ()), e)
        return groups


def multiply_alike(tensors: Sequence[Tensor]) -> tuple[list[Tensor], float]:
    """Multiply tensors that have the same axes, keeping each product's largest entry at one.

    Returns
    -------
    tensors : list of Tensor
        One for each set of axes.
    log_scale : float
        Natural logarithm of what was divided out.
    """
    groups: dict[tuple[tuple[str, ...], Components], Array] = {}
    log_scale = 0.0
    for t in tensors:
        place = (t.axes, t.components)
        values = groups[place] * t.values if place in groups else t.values
        top = float(values.max())
        if top > 0.0:
            values = values / top
            log_scale += float(np.log(top))
        groups[place] = values
    return [Tensor(values, axes, components) for (axes, components), values in groups.items()], log_scale
