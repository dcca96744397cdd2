"""What a slip reads and what the model does not know of a car, by a second road: sums, and draws one by one."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.model import bins
from faultnet.model.bins import Bins
from faultnet.model.misread import Misread, misread, slips_of
from faultnet.model.quantities import QUANTITIES, quantity_read
from faultnet.model.sampling import OffBy, unlike
from faultnet.simulation.car.world import draw_car
from tests.inference import demo

NUMBERS = [t.id for t in demo.catalogue().tests if t.kind == "number"]


def law(name: str) -> Misread:
    test = demo.catalogue().test(name)
    meter = demo.catalogue().instrument(test.instruments[0])
    reading = demo.network().nodes[f"reading_{name}"]
    quantity = demo.network().nodes[reading.parents[0]]
    return misread(demo.catalogue(), meter, test.unit, quantity.edges, demo.network().sound[quantity.name])


@pytest.mark.parametrize("name", ["crank_minimum", "positive_joint_drop", "key_off_current", "crank_current"])
def test_a_density_adds_up_to_the_chance_of_more(name: str) -> None:
    """Steps finer than nought's lump, over the whole scale."""
    slip = law(name)
    near, far = np.linspace(0.0, 8.0 * slip.nought, 4001), np.geomspace(1e-4, slip.edges[-1], 20001)
    points = np.unique(np.concatenate([near, far]))
    heights = np.array([slip.density(float(x)) for x in 0.5 * (points[1:] + points[:-1])])
    for at in (0.3, 0.6, 0.9):
        value = float(np.quantile(points, at))
        above = float((heights * np.diff(points))[points[:-1] >= value].sum())
        assert slip.above(value) == pytest.approx(above, abs=0.012)


@pytest.mark.parametrize("name", NUMBERS)
def test_slips_are_shared_out_in_full(name: str) -> None:
    slip = law(name)
    assert sum(slip.kinds.values()) == pytest.approx(1.0)
    shares = slip.shares(slip.edges)
    assert shares.sum() == pytest.approx(1.0)
    assert (shares > 0.0).all()


def test_only_volts_read_the_batterys_and_only_probes_read_nought() -> None:
    catalogue = demo.catalogue()
    assert "battery" not in slips_of(catalogue, catalogue.instrument("clamp_meter"), "A")
    assert "nought" not in slips_of(catalogue, catalogue.instrument("socket_adapter_5hz"), "V")
    assert "decade" not in slips_of(catalogue, catalogue.instrument("hydrometer"), "-")


@pytest.mark.parametrize(
    ("scale", "off_by"), [(bins.CRANK_VOLTS, "amount"), (bins.KEY_OFF, "factor"), (bins.DROP, "share")]
)
def test_a_table_is_widened_as_cars_drawn_one_by_one_are(scale: Bins, off_by: OffBy) -> None:
    """A tenth of them four times further off; in half of the bins, each drawn evenly in the way it is off."""
    rng, count, size = np.random.default_rng(5), 40_000, 0.08
    table = unlike(np.eye(len(scale)), scale, size, (0.1, 4.0), off_by)
    np.testing.assert_allclose(table.sum(axis=0), 1.0)
    end = scale.edges[-1]
    for k in range(len(scale) // 4, len(scale) - 3, 5):
        low, high = scale.edges[k], scale.edges[k + 1]
        off = size * np.where(rng.random(count) < 0.1, 4.0, 1.0) * rng.laplace(size=count)
        share = rng.random(count)
        if off_by == "amount":
            values = low + (high - low) * share + off
        elif off_by == "factor":
            values = low * (high / low) ** share * np.exp(off)
        else:
            odds = low / (end - low) * (high / (end - high) / (low / (end - low))) ** share * np.exp(off)
            values = end * odds / (1.0 + odds)
        drawn = np.bincount(scale.index(values), minlength=len(scale)) / count
        assert 0.5 * np.abs(drawn - table[:, k]).sum() < 0.02, k


def test_every_number_that_is_read_has_a_discrepancy_of_its_own_and_no_choice_has() -> None:
    for test in demo.catalogue().tests:
        if test.quantity != "table":
            quantity = quantity_read(test)
            assert bool(quantity.unlike) == isinstance(quantity.scale, Bins), quantity.name
            if quantity.unlike:
                assert demo.catalogue().number(quantity.unlike) > 0.0


def test_a_car_is_off_by_the_same_at_every_reading_and_cars_differ() -> None:
    rng = np.random.default_rng(3)
    cars = [draw_car(rng, demo.catalogue(), demo.CAR, {}, demo.MILD) for _ in range(400)]
    volts = QUANTITIES["crank_sustained"]
    off = np.array([car.unlike(volts, 10.0) - 10.0 for car in cars])
    assert [car.unlike(volts, 10.0) - 10.0 for car in cars] == off.tolist()
    scale = demo.catalogue().number("unlike_crank_volts")
    assert np.mean(np.abs(off)) == pytest.approx(1.3 * scale, rel=0.2)
    assert cars[0].unlike(QUANTITIES["positive_drop"], 12.9) < 13.0
