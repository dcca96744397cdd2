"""Readings drawn from the network's own tables: what the model could tell apart if the world were as it says.

Where a fault is lost here too, readings, tables or base rates leave no more to find; where it is lost only in the
continuous world, the network departs from the physics.
"""

from __future__ import annotations

import numpy as np

from faultnet.case.types import Car, Case, Conditions, Reading, Visit
from faultnet.instruments import place_offset, reading_spread
from faultnet.model.build import quantity_of
from faultnet.model.cache import network_for
from faultnet.model.network import Network, Node
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Instrument, Test

States = dict[str, int]


def ancestral(network: Network, cause: tuple[str, str], on: bool, rng: np.random.Generator) -> States:
    """State of every node of a car with one fault; `on` puts it on where it comes and goes."""
    states: States = {}
    for node in network.nodes.values():
        if node.layer == "component":
            states[node.name] = node.states.index(cause[1]) if node.name == cause[0] else 0
        elif on and node.name == f"{cause[0]}_now":
            states[node.name] = states[cause[0]]
        elif on and node.name == "battery_link_now" and cause == ("battery", "broken_link"):
            states[node.name] = node.states.index("open")
        else:
            column = node.table[:, *(states[p] for p in node.parents)]
            states[node.name] = int(rng.choice(node.card, p=column / column.sum()))
    return states


def read(network: Network, states: States, catalogue: Catalogue, test: Test, rng: np.random.Generator) -> Reading:
    """What the ordinary instrument shows of a test; anything at all when it slips or the fault is not listed."""
    instrument = catalogue.instrument(test.instruments[0])
    node = network.nodes[quantity_of(test, instrument)]
    wrong = states["unlisted"] > 0 or rng.random() < instrument.slip
    if test.kind == "choice":
        state = str(rng.choice(node.states)) if wrong else node.states[states[node.name]]
        return Reading(test.id, state=state)
    value = float(rng.uniform(node.edges[0], node.edges[-1])) if wrong else _shown(node, states, test, instrument, rng)
    low, high = test.plausible or (node.edges[0], node.edges[-1])
    return Reading(test.id, value=min(max(value, low), high))


def _shown(node: Node, states: States, test: Test, instrument: Instrument, rng: np.random.Generator) -> float:
    low, high = node.edges[states[node.name]], node.edges[states[node.name] + 1]
    value = float(rng.uniform(low, high))
    if test.quantity != "module_offset":
        offset = place_offset(instrument)
        value += offset.mean + offset.spread * float(rng.standard_normal())
    return value + reading_spread(instrument, value) * float(rng.standard_normal())


def case_from_tables(
    catalogue: Catalogue, car: Car, conditions: Conditions, cause: tuple[str, str], days: list[list[str]],
    rng: np.random.Generator,
) -> Case:  # fmt: skip
    """A case of a car with one fault, on at the first of the days, its tests read from the tables."""
    network = network_for(Setting(car, conditions, catalogue))
    visits = []
    for day, tests in enumerate(days):
        states = ancestral(network, cause, day == 0, rng)
        entries = tuple(read(network, states, catalogue, catalogue.test(t), rng) for t in tests)
        visits.append(Visit(entries, conditions))
    return Case(car, tuple(visits), invented=True)
