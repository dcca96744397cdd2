"""The network in other libraries' forms: nothing lost on the way out and back."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from faultnet.errors import CaseError, EntryError
from faultnet.inference.evidence import Evidence
from faultnet.model.export import (
    ancestral,
    fixed_sound,
    for_tests,
    seen_scale,
    to_bif,
    to_pgmpy,
    to_xmlbif,
    unrolled,
    with_brought_in,
    with_seen,
)
from faultnet.model.network import Network, Node
from tests.inference import demo
from tests.inference.outside import counted_out, marginals_of, pyagrum
from tests.inference.random_networks import random_network

LITTLE = ("key_off_current", "charge_ripple", "spark_and_fuel")


def tiny(seed: int = 5) -> Network:
    rng = np.random.default_rng(seed)
    return random_network(rng, charge=True, battery=True, unlisted=True, parameters=3, quantities=3)


def assert_same_tables(model: Any, network: Network, within: float = 1e-12) -> None:
    """Every table of a pgmpy model against ours, axis by axis and state by state, whatever order it holds them in."""
    assert set(model.nodes()) == set(network.nodes)
    for name, node in network.nodes.items():
        table = model.get_cpds(name)
        assert set(table.variables) == set(node.axes)
        values = np.asarray(table.values).transpose([table.variables.index(a) for a in node.axes])
        for axis, variable in enumerate(node.axes):
            order = [table.state_names[variable].index(s) for s in network.nodes[variable].states]
            values = np.take(values, order, axis=axis)
        np.testing.assert_allclose(values, node.table, rtol=0, atol=within, err_msg=name)


def test_the_whole_car_in_pgmpys_form() -> None:
    model = to_pgmpy(demo.network())
    assert model.check_model()
    assert_same_tables(model, demo.network(), 0.0)


@pytest.mark.parametrize("whole", [tiny(), for_tests(demo.network(), LITTLE[:1])], ids=["random", "car"])
def test_bif_is_read_back_by_pgmpy_unchanged(whole: Network) -> None:
    from pgmpy.readwrite import BIFReader

    assert_same_tables(BIFReader(string=to_bif(whole)).get_model(), whole)


def test_xmlbif_is_read_back_by_pgmpy_unchanged() -> None:
    from pgmpy.readwrite import XMLBIFReader

    text = to_xmlbif(demo.network(), tests=("rest_voltage", *LITTLE))
    assert_same_tables(XMLBIFReader(string=text).get_model(), for_tests(demo.network(), ("rest_voltage", *LITTLE)))


def test_bif_is_read_by_pyagrum_unchanged(tmp_path: Path) -> None:
    """A reader that shares no code with the writer; it keeps single precision only, so 24 bits of each figure."""
    place = tmp_path / "car.bif"
    part = for_tests(demo.network(), ("rest_voltage", *LITTLE))
    place.write_text(to_bif(demo.network(), tests=("rest_voltage", *LITTLE)))
    read = pyagrum().loadBN(str(place))
    assert set(read.names()) == set(part.nodes)
    for name, node in part.nodes.items():
        table = read.cpt(name)
        names = list(reversed(table.names))
        values = table.toarray().transpose([names.index(a) for a in node.axes])
        assert tuple(read.variable(name).labels()) == node.states
        np.testing.assert_allclose(values, node.table, rtol=0, atol=2.0**-23, err_msg=name)


def test_a_test_the_network_does_not_have_is_named() -> None:
    with pytest.raises(EntryError, match="rest_volts") as caught:
        to_bif(demo.network(), tests=["rest_volts"])
    assert caught.value.expected is not None
    assert "rest_voltage" in caught.value.expected


def test_the_part_for_some_tests_has_all_components_and_whole_families() -> None:
    part = for_tests(demo.network(), ["key_off_current"])
    part.check()
    assert part.components == demo.network().components
    assert {n.name for n in part.of_layer("reading")} == {"reading_key_off_current"}
    assert len(part.nodes) < 25


def test_leaving_out_what_hangs_below_changes_no_belief() -> None:
    whole = tiny()
    seen = [Evidence("quantity_1", np.arange(1.0, 1.0 + whole.nodes["quantity_1"].card), 0.7)]
    part = ancestral(whole, ["quantity_1"])
    expected = marginals_of(counted_out(whole, seen), whole.components)
    for component, chances in marginals_of(counted_out(part, seen), whole.components).items():
        np.testing.assert_allclose(chances, expected[component], rtol=0, atol=1e-12)


def test_a_reading_as_a_node_weighs_as_its_likelihood_does() -> None:
    whole = tiny()
    card = whole.nodes["quantity_0"].card
    reading = Evidence("quantity_0", np.linspace(4.0, 9.0, card), 2.0)
    node = with_seen(whole, [reading]).nodes["seen_1"]
    assert node.parents == ("quantity_0", "unlisted")
    assert seen_scale(reading) == 0.5 / 9.0
    np.testing.assert_allclose(node.table[0, :, 0], reading.likelihood * 0.5 / 9.0)
    np.testing.assert_allclose(node.table[0, :, 1], 2.0 * 0.5 / 9.0)
    with_seen(whole, [reading, reading]).check()


def test_a_reading_in_a_network_without_an_unlisted_fault() -> None:
    part = Node("part", "component", ("sound", "bad"), (), np.array([0.9, 0.1]))
    volts = Node("volts", "quantity", ("low", "high"), ("part",), np.array([[0.1, 0.7], [0.9, 0.3]]))
    node = with_seen(Network({"part": part, "volts": volts}), [Evidence("volts", np.array([1.0, 0.25]), 0.5)]).nodes[
        "seen_1"
    ]
    assert node.parents == ("volts",)
    np.testing.assert_allclose(node.table, [[0.5, 0.125], [0.5, 0.875]])


@pytest.mark.parametrize("when_sound", [0.0, 0.04, 1.0])
def test_brought_in_weighs_only_the_car_with_nothing_wrong(when_sound: float) -> None:
    whole = tiny()
    complaint = with_brought_in(whole, when_sound)
    prior = counted_out(whole)
    expected = np.ones_like(prior)
    expected[(0,) * prior.ndim] = when_sound
    joint = Network({**complaint.nodes, "complaint": _as_quantity(complaint.nodes["brought_in"])})
    found = counted_out(joint, [Evidence("complaint", np.array([1.0, 0.0]), 1.0)]) / prior
    sound_unlisted = (slice(None),) * 3 + (0,)
    np.testing.assert_allclose(found[sound_unlisted], expected[sound_unlisted], rtol=0, atol=1e-12)
    assert all(n.table.size <= 12 for n in complaint.nodes.values() if n.name.startswith("fault_among"))


def _as_quantity(node: Node) -> Node:
    return Node("complaint", "quantity", node.states, node.parents, node.table)


def test_a_network_without_components_is_brought_in_as_a_sound_one() -> None:
    np.testing.assert_allclose(with_brought_in(Network({}), 0.04).nodes["brought_in"].table, [0.04, 0.96])


def test_visits_share_components_and_nothing_else() -> None:
    one, two = demo.network(), demo.network(demo.FROSTY)
    both = unrolled([one, two])
    both.check()
    assert both.components == one.components
    assert len(both.nodes) == 2 * len(one.nodes) - len(one.components)
    np.testing.assert_array_equal(both.nodes["charge_visit_2"].table, two.nodes["charge"].table)
    assert both.nodes["charge_visit_2"].parents == ("battery", "supply_visit_2", "drain", "use")


def test_what_hangs_on_a_mended_part_hangs_on_its_sound_mode() -> None:
    whole = demo.network()
    both = unrolled([whole, whole], [(), ("battery", "solenoid")])
    both.check()
    later = [n for n in both.nodes.values() if n.name.endswith("_visit_2")]
    assert not any({"battery", "solenoid"} & set(n.parents) for n in later)
    assert both.nodes["battery"] == whole.nodes["battery"]
    np.testing.assert_array_equal(both.nodes["rest_voltage_visit_2"].table, whole.nodes["rest_voltage"].table[:, 0])


def test_parts_that_are_no_parents_are_not_touched() -> None:
    node = demo.network().nodes["rest_voltage"]
    assert fixed_sound(node, ("belt",)) == node


def test_visits_of_two_cars_are_refused() -> None:
    other = tiny(6)
    with pytest.raises(CaseError, match="not of one car"):
        unrolled([tiny(5), other])
    with pytest.raises(CaseError, match="not of one car"):
        unrolled([Network({}), other])


def test_importing_the_module_does_not_import_pgmpy() -> None:
    """pgmpy takes seconds and a quarter of a gigabyte; the command line must not pay for it."""
    program = "import sys, faultnet.model.export; print('pgmpy' in sys.modules, 'pandas' in sys.modules)"
    path = ":".join(p for p in sys.path if p)
    done = subprocess.run(
        [sys.executable, "-c", program], env={"PYTHONPATH": path}, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["False", "False"]
