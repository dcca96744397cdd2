"""What a sound car shows: sampled with the network, against exact inference on the sound hypothesis."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Case, Conditions, Visit
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.sound import percentiles, sound_range_with, sound_ranges
from faultnet.inference.visit import compile_visit
from faultnet.model.build import quantity_of
from faultnet.prior_set import load_catalogue


@pytest.fixture(scope="module")
def model() -> Model:
    visit = Visit(conditions=Conditions(air_temperature=-5.0, hours_standing=12.0))
    return work_through(Case(Car(Battery(600.0, age=4.0)), (visit,)), load_catalogue()).models[-1]


def test_shares_of_a_sound_car_are_those_of_exact_inference(model: Model) -> None:
    """8,192 samples: the mean of chances between nought and one is off by at most 3 times 0.5 / sqrt(8192)."""
    network, space = model.compiled.network, model.space
    sound = np.flatnonzero(~space.modes.any(axis=1))
    exact = compile_visit(network, space.components, space.modes[sound])
    asked = {q.name: (q.name, np.eye(q.card), np.full(q.card, 1.0 / q.card)) for q in network.of_layer("quantity")}
    assert set(network.sound) == set(asked)
    for name, found in exact.predict([], asked).items():
        np.testing.assert_allclose(network.sound[name], found[0] / found[0].sum(), rtol=0, atol=0.017, err_msg=name)


def test_ranges_are_percentiles_of_those_shares(model: Model) -> None:
    ranges = sound_ranges(model, load_catalogue())
    low, high = ranges["rest_voltage"]
    node = model.compiled.network.nodes["rest_voltage"]
    assert (low, high) == percentiles(node.edges, model.compiled.network.sound["rest_voltage"])
    assert 12.2 < low < high < 12.9
    assert set(ranges) == {t.id for t in load_catalogue().tests if t.kind == "number"}


def test_an_instrument_away_from_the_posts_reads_a_sound_car_by_its_offset(model: Model) -> None:
    """By hand from the adapter's row: 0.15 V low, 0.1 V of spread; an ordinary meter reads as all tests do."""
    catalogue = load_catalogue()
    adapter, test = catalogue.instrument("socket_adapter_5hz"), catalogue.test("recorded_sustained")
    found = sound_range_with(model, catalogue, test, adapter)
    assert found is not None
    node = model.compiled.network.nodes[quantity_of(test, adapter)]
    low, high = percentiles(node.edges, model.compiled.network.sound[node.name])
    assert found == pytest.approx((low - 0.15 - 0.164, high - 0.15 + 0.164))
    rest = catalogue.test("rest_voltage")
    assert sound_range_with(model, catalogue, rest, catalogue.instrument("multimeter")) == pytest.approx(
        sound_ranges(model, catalogue)["rest_voltage"]
    )
    smell = catalogue.test("smell")
    assert sound_range_with(model, catalogue, smell, catalogue.instrument(smell.instruments[0])) is None
