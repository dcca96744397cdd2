"""What holds for the network of every car: sums, positivity, slugs, a reading for each test, one direction of flow."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions
from faultnet.errors import PriorsError
from faultnet.model import bins
from faultnet.model.build import SLUG, build_network, nearest_recorder_interval, quantity_of, reading_node, variant
from faultnet.model.charging import ONLY_REVVED
from faultnet.model.network import Network, Node, normalised
from faultnet.model.setting import Setting
from faultnet.model.starting import NOT_MOVED
from tests.inference import demo

LAYERS = ("component", "state", "parameter", "quantity", "reading")
CARS = {
    "mild_petrol": (demo.CAR, demo.MILD),
    "cold_diesel": (
        Car(Battery(800.0, "EN", "enhanced_flooded", age=7.0), "diesel", 2.2, climate="cold"),
        Conditions(air_temperature=-20.0, hours_standing=60.0),
    ),
    "hot_agm": (
        Car(Battery(680.0, "SAE", "agm", capacity=70.0), displacement=3.0, cylinders=6, climate="hot",
            alternator_rating=180.0, charge_control="load_responsive"),
        Conditions(air_temperature=38.0, engine_warm=True, rough_road=True),
    ),
    "nothing_known": (Car(Battery(None), displacement=1.0, cylinders=3), Conditions()),
}  # fmt: skip


@lru_cache(maxsize=8)
def network(name: str) -> Network:
    if name == "mild_petrol":
        return demo.network()
    car, conditions = CARS[name]
    return build_network(Setting(car, conditions, demo.catalogue()))


every_car = pytest.mark.parametrize("name", CARS)


@every_car
def test_tables_have_their_shape_sum_to_one_and_rule_nothing_out(name: str) -> None:
    network(name).check()
    assert all(np.isfinite(n.table).all() for n in network(name).nodes.values())


@every_car
def test_names_and_states_are_slugs(name: str) -> None:
    for node in network(name).nodes.values():
        assert SLUG.match(node.name), node.name
        assert all(SLUG.match(s) for s in node.states), node.name
        assert len(set(node.states)) == node.card
        assert len(set(node.parents)) == len(node.parents)


@every_car
def test_every_test_has_its_reading_below_its_quantity_and_the_unlisted_fault(name: str) -> None:
    built = network(name)
    for test in demo.catalogue().tests:
        reading = built.nodes[f"reading_{test.id}"]
        instrument = demo.catalogue().instrument(test.instruments[0])
        assert reading.layer == "reading"
        assert reading.parents == (quantity_of(test, instrument), "unlisted")
        background = reading.table[:, :, 1]
        np.testing.assert_allclose(
            background, np.repeat(background[:, :1], background.shape[1], axis=1), rtol=0, atol=1e-12
        )


@every_car
def test_every_instrument_of_every_test_finds_its_quantity(name: str) -> None:
    for test in demo.catalogue().tests:
        for instrument in test.instruments:
            for interval in (None, 0.003, 0.4):
                found = quantity_of(test, demo.catalogue().instrument(instrument), interval)
                assert network(name).nodes[found].layer == "quantity"


@every_car
def test_belief_flows_from_modes_to_readings(name: str) -> None:
    """No node depends on one of a later layer, and the unlisted fault bears on readings only."""
    nodes = network(name).nodes
    for node in nodes.values():
        ranks = [LAYERS.index(nodes[p].layer) for p in node.parents]
        assert all(r <= LAYERS.index(node.layer) for r in ranks), node.name
        if node.layer in ("quantity", "reading"):
            assert all(nodes[p].layer != node.layer for p in node.parents), node.name
        if "unlisted" in node.parents:
            assert node.layer == "reading"


@every_car
def test_binned_nodes_have_one_edge_more_than_bins(name: str) -> None:
    for node in network(name).nodes.values():
        if node.edges:
            parted = sum(s.startswith("most_") for s in node.states)  # the last bin, told apart by the charge
            bins_of = node.card - sum(s in (*NOT_MOVED, ONLY_REVVED) for s in node.states) - max(parted - 1, 0)
            assert len(node.edges) == bins_of + 1, node.name
            assert list(node.edges) == sorted(node.edges)


@every_car
def test_nothing_hangs_on_the_history_of_the_charge_but_the_charge(name: str) -> None:
    """What the engine's clusters take for granted."""
    for node in network(name).nodes.values():
        if "supply" in node.parents:
            assert node.name == "charge"


def mean_of(built: Network, quantity: str, scale: bins.Bins, **states: str) -> float:
    """Mean of a quantity with all components sound but those given, by brute sums over a few parents."""
    node = built.nodes[quantity]
    table = node.table
    for parent in reversed(node.parents):
        owner = built.nodes[parent]
        axis = node.axes.index(parent)
        chosen = owner.states.index(states[parent]) if parent in states else 0
        table = np.take(table, chosen, axis=axis)
    return float(table @ scale.middles)


@every_car
def test_a_fuller_battery_shows_more_volts_at_rest(name: str) -> None:
    built = network(name)
    volts = [mean_of(built, "rest_voltage", bins.REST_VOLTS, charge=s) for s in built.nodes["charge"].states]
    assert volts == sorted(volts)
    assert volts[-1] - volts[0] > 0.5


@every_car
def test_a_cell_short_costs_about_a_cell(name: str) -> None:
    """A shorted cell takes about 2.1 V off the rest voltage (common practice: a cell has 2.1 V)."""
    built = network(name)
    full = built.nodes["charge"].states[-1]
    sound = mean_of(built, "rest_voltage", bins.REST_VOLTS, charge=full)
    shorted = mean_of(built, "rest_voltage", bins.REST_VOLTS, charge=full, battery="shorted_cell")
    assert 1.7 < sound - shorted < 2.5


def test_cold_slows_cranking() -> None:
    """A diesel at -20 degC turns more slowly than a petrol engine at 10 degC with the same volts and a good loop."""
    at = {
        "source_emf": bins.SOURCE_EMF.index(np.array(12.6)), "source_factor": bins.SOURCE_FACTOR.index(np.array(1.1)),
        "loop": 0, "turning_load": bins.TURNING_LOAD.index(np.array(1.0)),
    }  # fmt: skip
    speeds = []
    for name in ("cold_diesel", "mild_petrol"):
        built = network(name)
        states = {p: built.nodes[p].states[int(k)] for p, k in at.items()}
        speeds.append(mean_of(built, "cranking_speed", bins.CRANK_SPEED, **states))
    assert 50.0 < speeds[0] < speeds[1] - 30.0


def test_a_load_responsive_control_widens_the_set_point() -> None:
    """Legitimately low or high at times, so the spread of a sound car is wider than that of a fixed control."""
    spreads = []
    for name in ("mild_petrol", "hot_agm"):
        share = network(name).sound["charge_idle"]
        middles = bins.CHARGE_VOLTS.middles
        spreads.append(share @ middles**2 - (share @ middles) ** 2)
    assert spreads[1] > 2.0 * spreads[0]


@pytest.mark.parametrize(
    "asked, nearest", [(0.0005, 0.001), (0.012, 0.01), (0.06, 0.05), (0.15, 0.2), (0.3, 0.2), (5.0, 0.5)]
)
def test_the_nearest_sampling_interval_in_ratio(asked: float, nearest: float) -> None:
    assert nearest_recorder_interval(asked) == nearest


def test_a_window_longer_than_the_interval_rules() -> None:
    assert variant("crank_minimum", 0.1, 0.2) == "crank_minimum_i200"
    assert variant("crank_minimum", 0.3, 0.2) == "crank_minimum_w300"


def test_a_quantity_nothing_computes_is_named() -> None:
    test = replace(demo.catalogue().test("rest_voltage"), quantity="flux")
    with pytest.raises(PriorsError, match="flux") as caught:
        reading_node(demo.setting(), test, {}, {})
    assert caught.value.where == "tests.toml, test rest_voltage"
    assert caught.value.to_do is not None


def wrong(table: np.ndarray, parents: tuple[str, ...] = ()) -> Network:
    part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    return Network({"part": part, "volts": Node("volts", "quantity", ("low", "high"), parents, table)})


@pytest.mark.parametrize(
    "network, complaint",
    [
        (wrong(np.array([0.5, 0.6])), "sum to one"),
        (wrong(np.array([0.0, 1.0])), "not positive"),
        (wrong(np.array([[0.5, 0.5], [0.5, 0.5]])), "shape"),
        (wrong(np.array([[0.5, 0.5], [0.5, 0.5]]), ("later",)), "not defined before"),
    ],
)
def test_a_wrong_table_is_refused(network: Network, complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        network.check()


def test_normalised_never_rules_a_state_out() -> None:
    table = normalised(np.array([[3.0, 0.0], [0.0, 0.0], [1.0, 0.0]]), leak=0.03)
    np.testing.assert_allclose(table.sum(axis=0), 1.0, rtol=0, atol=1e-15)
    np.testing.assert_allclose(table[:, 0], [0.97 * 0.75 + 0.01, 0.01, 0.97 * 0.25 + 0.01])
    np.testing.assert_allclose(table[:, 1], 1.0 / 3.0)
