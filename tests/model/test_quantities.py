"""The registry of quantities: network, tests, virtual car and the guide follow from it and cover each other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions
from faultnet.errors import PriorsError
from faultnet.model.bins import Bins
from faultnet.model.build import build_network
from faultnet.model.modes import active_node
from faultnet.model.quantities import QUANTITIES, TABLE, quantities_page, quantity_read
from faultnet.model.quantity import SCALES, Law, Now, Quantity, Workings
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.simulation.car import measure
from faultnet.simulation.car.hidden import HIDDEN, by_law
from faultnet.simulation.car.measure import not_covered
from faultnet.simulation.car.world import draw_car

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"


@pytest.fixture(scope="module")
def setting() -> Setting:
    return Setting(Car(Battery(540.0, "EN")), Conditions(air_temperature=15.0), load_catalogue())


def test_every_entry_is_read_by_a_test_and_every_test_reads_an_entry() -> None:
    read = {test.quantity for test in load_catalogue().tests}
    assert read - {TABLE} == set(QUANTITIES)
    for test in load_catalogue().tests:
        assert test.quantity == TABLE or quantity_read(test).name == test.quantity


def test_the_network_has_each_as_it_is_declared(setting: Setting) -> None:
    nodes = build_network(setting).nodes
    for quantity in QUANTITIES.values():
        mine = [n for n in nodes.values() if n.name == quantity.name or (quantity.sampled and
                n.name.startswith(f"{quantity.name}_"))]  # fmt: skip
        assert mine
        for node in mine:
            assert node.layer == "quantity"
            assert node.states == quantity.states
            assert node.parents == tuple(
                active_node(setting.catalogue, d) if isinstance(d, Now) else d for d in quantity.depends_on
            )
    known = {n.name for n in nodes.values() if n.layer == "quantity" and not n.name.startswith("answer_")}
    assert all(any(name == q or name.startswith(f"{q}_") for q in QUANTITIES) for name in known)


def test_the_virtual_car_gives_a_value_for_each_and_for_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    assert not_covered() == {"without a true value": (), "not in the registry": ()}
    unknown = replace(QUANTITIES["crank_current"], name="flux")
    others = {name: quantity for name, quantity in QUANTITIES.items() if name != "ripple"}
    monkeypatch.setattr(measure, "QUANTITIES", others | {"flux": unknown})
    assert not_covered() == {"without a true value": ("flux",), "not in the registry": ("ripple",)}


def test_the_virtual_car_has_every_hidden_node_that_a_law_may_use(setting: Setting) -> None:
    """Its values lie within the bins that the table is made over."""
    assert set(HIDDEN) == set(SCALES)
    assert set(SCALES) <= set(build_network(setting).nodes)
    rng = np.random.default_rng(11)
    for _ in range(20):
        car = draw_car(rng, setting.catalogue)
        for name, value in ((n, hidden(car)) for n, hidden in HIDDEN.items()):
            scale = SCALES[name]
            assert scale.edges[0] - 0.3 <= value <= scale.edges[-1] * 1.2, name


def test_a_law_is_one_function_for_table_and_car(setting: Setting) -> None:
    """The mean of the table, over what it depends on in the car's own cell, is near the car's value."""
    law = Law(lambda s, source_emf, source_factor: source_emf - 10.0 * source_factor * s.source_resistance)
    quantity = Quantity(
        "lamp_volts", "V", "battery", ("source_emf", "source_factor"), Bins(tuple(np.arange(0.0, 14.1, 0.1)), "V"), law
    )
    node = quantity.node(Workings(setting))
    assert np.allclose(node.table.sum(axis=0), 1.0)
    rng = np.random.default_rng(3)
    for _ in range(10):
        car = draw_car(rng, setting.catalogue, setting.car, {}, setting.conditions)
        cell = [int(SCALES[n].index(np.array(HIDDEN[n](car)))) for n in quantity.depends_on]
        middles = np.asarray(node.edges[:-1]) + 0.05
        assert isinstance(quantity.table, Law)
        assert by_law(car, rng, quantity, quantity.table) == pytest.approx(
            float(middles @ node.table[:, cell[0], cell[1]]), abs=0.25
        )


@pytest.mark.parametrize(
    "change, said",
    [
        ({"quantity": "flux"}, "nothing computes"),
        ({"unit": "A"}, "another unit"),
        ({"kind": "choice", "unit": "V", "choices": (("a", "A"), ("b", "B"))}, "other choices"),
    ],
)
def test_a_test_that_does_not_fit_its_quantity_is_refused(change: dict[str, object], said: str) -> None:
    with pytest.raises(PriorsError, match=said):
        quantity_read(replace(load_catalogue().test("rest_voltage"), **change))  # type: ignore[arg-type]


def test_the_guide_prints_the_registry() -> None:
    assert quantities_page(load_catalogue()) in GUIDE.read_text(encoding="utf-8")
