"""Case histories drawn from the network's own tables: the truth behind them is known, so tuning can be held to it.

Cars are drawn by base rates that are given, and only those with a complaint are kept. What is measured next depends on
what was read before, as in a workshop. Readings come from the tables of one setting, without detour through physics.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.types import Battery, Car, Case, CaseOutcome, Conditions, Entry, Reading, Visit
from faultnet.instruments import reading_spread
from faultnet.model.build import quantity_of
from faultnet.model.cache import network_for
from faultnet.model.modes import component_nodes
from faultnet.model.network import Network, Node
from faultnet.model.setting import Setting
from faultnet.prior_set.catalogue import Catalogue

States = dict[str, np.ndarray]
CONDITIONS = Conditions(air_temperature=12.0, hours_standing=10.0)
START = ("how_it_turns_over", "when_it_fails", "flat_how_often", "rest_voltage")
WHEN_LOW = ("hydrometer_level", "left_something_on", "key_off_current", "charge_idle_voltage", "standing_habit")
WHEN_HIGH = ("crank_minimum", "negative_joint_drop", "positive_joint_drop", "fires_when_cranked", "solenoid_drop")
LATER = ("charge_loaded_voltage", "charge_ripple", "two_load_resistance", "hydrometer_spread", "belt_look")
LOW = 12.35


@dataclass(frozen=True)
class World:
    """What the histories are drawn from.

    Parameters
    ----------
    rates : mapping of (component, mode) to float
        Factors on the base rates of the prior set [-].
    confirmed : float
        Share of cases whose causes are confirmed [-].
    visits : int
        Visits of each car.
    """

    rates: Mapping[tuple[str, str], float]
    confirmed: float = 0.5
    visits: int = 1


def scaled(catalogue: Catalogue, rates: Mapping[tuple[str, str], float]) -> Catalogue:
    """The prior set with some base rates multiplied, in all groups."""
    rows = {
        key: {g: replace(r, value=r.value * rates.get(key, 1.0)) for g, r in found.items()}
        for key, found in catalogue.base_rates.items()
    }
    return replace(catalogue, base_rates=rows, fingerprint=catalogue.fingerprint + repr(sorted(rates.items())))


def drawn_cases(
    catalogue: Catalogue, count: int, world: World, rng: np.random.Generator,
    cells: Sequence[tuple[float, str]] = ((5.0, "temperate"),),
) -> list[Case]:  # fmt: skip
    """Closed cases of cars that were brought in.

    Parameters
    ----------
    catalogue : Catalogue
        The prior set that the world's factors apply to.
    count : int
    world : World
    rng : numpy.random.Generator
    cells : sequence of (age of the battery [years], climate)
        In turn.
    """
    found: list[Case] = []
    for k, (age, climate) in enumerate(cells):
        car = Car(Battery(600.0, age=age), climate=climate)  # type: ignore[arg-type]
        mine = len(range(k, count, len(cells)))
        found += _of_cell(catalogue, car, mine, world, rng)
    return [found[i] for i in rng.permutation(len(found))]


def _of_cell(catalogue: Catalogue, car: Car, count: int, world: World, rng: np.random.Generator) -> list[Case]:
    true = scaled(catalogue, world.rates)
    parts = Network({n.name: n for n in component_nodes(Setting(car, CONDITIONS, true))})
    modes = _brought_in(parts, count, true.number("brought_in_when_sound"), rng)
    network = network_for(Setting(replace(car, battery=Battery(600.0), climate="temperate"), CONDITIONS, catalogue))
    days = [_rest(network, modes, count, rng) for _ in range(world.visits)]
    confirmed = rng.random(count) < world.confirmed
    reader = _Reader(network, catalogue, rng)
    cases = []
    for i in range(count):
        causes = tuple((c, parts.nodes[c].states[modes[c][i]]) for c in modes if modes[c][i])
        visits = tuple(Visit(reader.visit(states, i), CONDITIONS) for states in days)
        outcome = CaseOutcome(causes, "invented") if confirmed[i] else None
        cases.append(Case(car, visits, name=f"drawn {i}", invented=True, outcome=outcome))
    return cases


def _brought_in(parts: Network, count: int, when_sound: float, rng: np.random.Generator) -> States:
    kept: list[States] = []
    have = 0
    while have < count:
        some = _drawn(parts, {}, 4 * count, rng)
        faulty = np.any([some[c] > 0 for c in some], axis=0)
        come = faulty | (rng.random(4 * count) < when_sound)
        kept.append({c: v[come] for c, v in some.items()})
        have += int(come.sum())
    return {c: np.concatenate([k[c] for k in kept])[:count] for c in kept[0]}


def _rest(network: Network, modes: States, count: int, rng: np.random.Generator) -> States:
    wanted = {n: node for n, node in network.nodes.items() if node.layer not in ("component", "reading")}
    return _drawn(Network(wanted), modes, count, rng)


def _drawn(network: Network, given: States, count: int, rng: np.random.Generator) -> States:
    """States of all nodes of so many cars, parents first."""
    states = dict(given)
    for node in network.nodes.values():
        columns = node.table.reshape(node.card, -1)
        at = np.zeros(count, dtype=np.intp)
        for parent, card in zip(node.parents, node.table.shape[1:], strict=True):
            at = at * card + states[parent]
        upto = np.cumsum(columns, axis=0)[:, at]
        states[node.name] = np.minimum((rng.random(count) * upto[-1] > upto).sum(axis=0), node.card - 1)
    return states


class _Reader:
    """Takes readings off drawn cars the way a simple chart would."""

    def __init__(self, network: Network, catalogue: Catalogue, rng: np.random.Generator) -> None:
        self.network, self.catalogue, self.rng = network, catalogue, rng
        self.tests = {t: catalogue.test(t) for t in (*START, *WHEN_LOW, *WHEN_HIGH, *LATER)}
        self.nodes = {
            t: network.nodes[quantity_of(test, catalogue.instrument(test.instruments[0]))]
            for t, test in self.tests.items()
        }

    def visit(self, states: States, i: int) -> tuple[Entry, ...]:
        entries = [self.read(states, i, t) for t in START]
        rest = entries[-1].value
        assert rest is not None
        for test in WHEN_LOW if rest < LOW else WHEN_HIGH:
            entries.append(self.read(states, i, test))
        found = entries[-2].value
        if found is None or found > 0.2 or rest < LOW - 0.5:
            entries += [self.read(states, i, t) for t in LATER]
        return tuple(entries)

    def read(self, states: States, i: int, name: str) -> Reading:
        test, node = self.tests[name], self.nodes[name]
        instrument = self.catalogue.instrument(test.instruments[0])
        wrong = states["unlisted"][i] > 0 or self.rng.random() < instrument.slip
        if test.kind == "choice":
            state = node.states[int(self.rng.integers(node.card)) if wrong else int(states[node.name][i])]
            return Reading(name, state=state)
        value = self._number(node, int(states[node.name][i]), wrong)
        value += 0.0 if wrong else reading_spread(instrument, value) * float(self.rng.standard_normal())
        low, high = test.plausible or (node.edges[0], node.edges[-1])
        return Reading(name, value=min(max(value, low), high))

    def _number(self, node: Node, state: int, wrong: bool) -> float:
        low, high = (0, -1) if wrong else (state, state + 1)
        return float(self.rng.uniform(node.edges[low], node.edges[high]))
