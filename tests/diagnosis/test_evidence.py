"""Entries become evidence: the right quantity, the right instrument, the right place; nonsense is refused in full."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Reading
from faultnet.diagnosis.evidence import check_reading, evidence_of, instrument_of, module_offset
from faultnet.errors import EntryError
from faultnet.inference.evidence import Evidence
from faultnet.instruments import Offset
from tests.inference import demo


def evidence(reading: Reading, offset: Offset | None = None) -> Evidence:
    found = evidence_of(demo.network(), demo.catalogue(), reading, offset)
    assert found is not None
    return found


def middle(found: Evidence) -> float:
    """Value that a number reading points at: mean of the bins by likelihood times width."""
    edges = np.asarray(demo.network().nodes[found.quantity].edges)
    weight = found.likelihood * np.diff(edges)
    return float(weight @ (edges[:-1] + edges[1:]) / 2 / weight.sum())


def test_a_reading_points_at_its_own_bin() -> None:
    found = evidence(Reading("rest_voltage", value=12.42))
    edges = demo.network().nodes["rest_voltage"].edges
    best = int(found.likelihood.argmax())
    assert found.quantity == "rest_voltage"
    assert edges[best] <= 12.42 <= edges[best + 1]
    spoilt, sound = demo.catalogue().number("unlisted_mixture"), demo.network().sound["rest_voltage"]
    even = 1.0 / (edges[-1] - edges[0])
    assert found.background == pytest.approx(spoilt * even + (1.0 - spoilt) * float(sound @ found.likelihood))
    assert 0.0 < spoilt < 1.0


def test_a_meter_over_its_limit_says_that_the_value_is_above_and_no_more() -> None:
    """The second road: the chance to read above the limit is the sum of the chances of all readings above it."""
    found = evidence(Reading("rest_voltage", value=12.0, bound="above"))
    step = 0.005
    above = [
        evidence(Reading("rest_voltage", value=float(v))).likelihood for v in np.arange(12.0, 16.0, step) + step / 2
    ]
    edges = np.asarray(demo.network().nodes["rest_voltage"].edges)
    inside = edges[1:] < 13.5  # a reading beyond the last bin counts as in it, so that the sum is for bins well inside
    np.testing.assert_allclose(found.likelihood[inside], (np.sum(above, axis=0) * step)[inside], atol=0.03)
    low, high = edges[1:] < 11.8, edges[:-1] > 12.2
    assert found.likelihood[low].max() < 0.02 < 0.95 < found.likelihood[high].min()
    assert np.ptp(found.likelihood[high]) < 1e-6


def test_a_meter_under_its_limit_says_what_over_it_does_not() -> None:
    """Second road: to read above a limit and to read below it are all there is, up to a slip of either."""
    above, below = (evidence(Reading("rest_voltage", value=12.0, bound=b)) for b in ("above", "below"))
    np.testing.assert_allclose(above.likelihood + below.likelihood, 1.0, atol=1e-9)
    edges = np.asarray(demo.network().nodes["rest_voltage"].edges)
    low, high = edges[1:] < 11.8, edges[:-1] > 12.2
    assert below.likelihood[high].max() < 0.02 < 0.95 < below.likelihood[low].min()


def test_a_density_over_all_bins_has_unit_mass() -> None:
    """What is no slip; a slip's is the same in every bin."""
    found = evidence(Reading("rest_voltage", value=12.42))
    assert found.number is not None
    widths = np.diff(np.asarray(demo.network().nodes["rest_voltage"].edges))
    np.testing.assert_allclose((found.likelihood - found.number.floor) @ widths, found.number.kept, rtol=1e-6)
    assert found.number.kept == pytest.approx(0.99)


def test_a_rough_reading_says_less() -> None:
    sharp, rough = (evidence(Reading("rest_voltage", value=12.4, roughly=r)) for r in (False, True))
    assert rough.likelihood.max() < sharp.likelihood.max()
    assert (rough.likelihood > sharp.background).sum() > (sharp.likelihood > sharp.background).sum()


def test_a_choice_not_sure_of_says_less() -> None:
    sure, unsure = (evidence(Reading("how_it_turns_over", state="slow", roughly=r)) for r in (False, True))
    assert sure.quantity == "crank_behaviour"
    assert sure.likelihood.argmax() == unsure.likelihood.argmax()
    assert 1.0 < unsure.likelihood.max() / unsure.likelihood.min() < sure.likelihood.max() / sure.likelihood.min()


@pytest.mark.parametrize("reason", ["skipped", "cannot_reach", "unstable", "not_fitted"])
def test_what_was_not_measured_says_nothing(reason: str) -> None:
    assert evidence_of(demo.network(), demo.catalogue(), Reading("rest_voltage", not_measured=reason)) is None  # type: ignore[arg-type]


def test_every_instrument_of_every_number_test_gives_positive_evidence() -> None:
    for test in demo.catalogue().tests:
        if test.kind == "number":
            assert test.plausible is not None
            for instrument in test.instruments:
                for value in (*test.plausible, sum(test.plausible) / 2):
                    found = evidence(Reading(test.id, value=value, instrument=instrument))
                    assert (found.likelihood > 0).all(), (test.id, instrument, value)
                    assert np.isfinite(found.likelihood).all()
                    assert found.background > 0


def test_every_choice_of_every_test_gives_positive_evidence() -> None:
    for test in demo.catalogue().tests:
        for choice, _ in test.choices:
            found = evidence(Reading(test.id, state=choice))
            assert demo.network().nodes[found.quantity].states[int(found.likelihood.argmax())] == choice
            assert (found.likelihood > 0).all()


def test_instruments_with_other_windows_see_other_quantities() -> None:
    """The waveform is the quantity; the instrument's window turns it into the reading."""
    test = demo.catalogue().test("crank_minimum")
    seen = {evidence(Reading("crank_minimum", value=9.0, instrument=i)).quantity for i in test.instruments}
    assert "crank_minimum_w100" in seen
    assert len(seen) > 1


def test_a_log_is_read_by_its_own_sampling_interval() -> None:
    recorders = [
        (t.id, i) for t in demo.catalogue().tests if t.quantity == "crank_minimum" for i in t.instruments
        if demo.catalogue().instrument(i).window is None and demo.catalogue().instrument(i).interval is None
    ]  # fmt: skip
    assert recorders
    for test, instrument in recorders:
        quick = evidence(Reading(test, value=9.0, instrument=instrument, interval=0.001))
        slow = evidence(Reading(test, value=9.0, instrument=instrument, interval=0.21))
        assert quick.quantity.endswith("_w1") or quick.quantity.endswith("_i1")
        assert slow.quantity.endswith("_i200")


def test_a_module_reading_is_shifted_by_the_offset_found_at_rest() -> None:
    """The module showed 0.30 V less than the posts at rest, so 9.0 V there is 9.3 V at the posts."""
    reading = Reading("module_crank_minimum", value=9.0)
    assert instrument_of(demo.catalogue(), demo.catalogue().test(reading.test), reading).place == "module"
    known = evidence(reading, Offset(-0.30, 0.01))
    np.testing.assert_allclose(middle(known), 9.3, atol=0.12)


def test_a_module_reading_without_comparison_says_less() -> None:
    reading = Reading("module_crank_minimum", value=9.0)
    alone, compared = evidence(reading).number, evidence(reading, Offset(-0.2, 0.01)).number
    assert alone is not None
    assert compared is not None
    assert alone.spread > compared.spread


def test_a_reading_at_the_posts_takes_no_offset() -> None:
    reading = Reading("crank_minimum", value=9.0)
    np.testing.assert_array_equal(evidence(reading, Offset(-0.4, 0.01)).likelihood, evidence(reading).likelihood)


def test_the_last_comparison_at_rest_counts() -> None:
    readings = [
        Reading("module_offset_at_rest", value=-0.5), Reading("rest_voltage", value=12.4),
        Reading("module_offset_at_rest", value=-0.1), Reading("module_offset_at_rest", not_measured="skipped"),
    ]  # fmt: skip
    found = module_offset(demo.catalogue(), readings)
    assert found is not None
    assert found.mean == pytest.approx(-0.1)
    assert 0.0 < found.spread < 0.3
    assert module_offset(demo.catalogue(), readings[1:2]) is None


@pytest.mark.parametrize(
    "reading, what, got",
    [
        (Reading("rest_volts", value=12.0), "unknown test", "'rest_volts'"),
        (Reading("rest_voltage", value=12.0, instrument="ear"), "does not take that reading", "'ear'"),
        (Reading("rest_voltage", state="slow"), "a number is wanted", "'slow'"),
        (Reading("how_it_turns_over", value=3.0), "a choice is wanted", "3"),
        (Reading("how_it_turns_over", state="sideways"), "no such choice", "'sideways'"),
        (Reading("rest_voltage", value=124.0), "this cannot be", "124 V"),
        (Reading("rest_voltage", value=12.66, unit="A", entered="12,66 A"), "a unit of current", "'12,66 A'"),
        (Reading("rest_voltage", value=float("nan")), "this cannot be", "nan V"),
    ],
)
def test_nonsense_is_refused_with_all_there_is_to_say(reading: Reading, what: str, got: str) -> None:
    with pytest.raises(EntryError) as caught:
        check_reading(demo.catalogue(), reading, "visit 1, entry 3")
    assert what in caught.value.what
    assert caught.value.where == "visit 1, entry 3"
    assert caught.value.got == got
    assert caught.value.expected


def test_a_misspelt_test_is_answered_with_the_nearest() -> None:
    with pytest.raises(EntryError) as caught:
        check_reading(demo.catalogue(), Reading("rest_voltge", value=12.0), "here")
    assert caught.value.expected is not None
    assert "rest_voltage" in caught.value.expected


@pytest.mark.parametrize("edge", [0, 1])
def test_the_ends_of_what_can_be_are_taken(edge: int) -> None:
    for test in demo.catalogue().tests:
        if test.plausible is not None:
            check_reading(demo.catalogue(), Reading(test.id, value=test.plausible[edge]), "here")
