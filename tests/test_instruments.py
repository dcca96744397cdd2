"""A reading's likelihood: its error, its slip, the offset of its place, against values worked by hand and by sums."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from math import erf, sqrt

import numpy as np
import pytest

from faultnet.instruments import (
    Offset,
    above_likelihood,
    background_shares,
    choice_likelihood,
    comparison_offset,
    number_likelihood,
    outcome_table,
    place_offset,
    reading_spread,
)
from faultnet.prior_set import load_catalogue

EDGES = tuple(np.linspace(8.0, 14.0, 25))
METER = load_catalogue().instrument("multimeter")
MODULE = load_catalogue().instrument("socket_adapter_5hz")
PERFECT = replace(METER, percent=0.0, floor=0.0, resolution=0.0, slip=0.0)


def below(x: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * (1.0 + erf(x / sqrt(2.0)))


def test_half_the_limit_of_error_and_the_last_digit_make_the_spread() -> None:
    """By hand: 0.5 % of 12 V and 0.02 V give a limit of 0.08 V; a last digit of 0.01 V adds 0.01 / sqrt(12)."""
    meter = replace(METER, percent=0.5, floor=0.02, resolution=0.01)
    assert reading_spread(meter, 12.0) == pytest.approx(sqrt(0.04**2 + 0.01**2 / 12.0))
    assert reading_spread(meter, -12.0) == reading_spread(meter, 12.0)


def test_read_in_passing_is_three_times_as_wide_and_one_and_a_half_per_cent_more() -> None:
    """The second part is all there is for a meter without an error of its own: 0.015 x 12 V."""
    assert reading_spread(PERFECT, 12.0, roughly=True) == pytest.approx(0.18)
    assert reading_spread(METER, 12.0, roughly=True) == pytest.approx(3.0 * reading_spread(METER, 12.0) + 0.18)


def test_an_offset_found_by_comparison_has_the_errors_of_both_instruments() -> None:
    found = comparison_offset(12.2, 12.5, MODULE, METER)
    own, posts = reading_spread(MODULE, 12.2), reading_spread(METER, 12.5)
    assert found.mean == pytest.approx(-0.3)
    assert found.spread == pytest.approx(sqrt(own**2 + posts**2))
    assert found.spread > 1.0001 * max(own, posts)  # neither of the two is lost in the other


def test_a_place_that_was_not_compared_has_the_offset_of_its_instrument() -> None:
    assert place_offset(MODULE) == Offset(MODULE.offset, MODULE.offset_spread)
    assert place_offset(METER) == Offset(0.0, 0.0)


def test_a_density_is_the_normal_error_over_each_bin_with_a_slip_anywhere() -> None:
    """Written out bin by bin, spread of the offset and the slip's even share of the range included."""
    offset = Offset(-0.3, 0.1)
    found, _ = number_likelihood(10.1, EDGES, METER, offset=offset)
    sd = sqrt(reading_spread(METER, 10.1) ** 2 + 0.1**2)
    width = EDGES[1] - EDGES[0]
    exact = [(below((b - 10.4) / sd) - below((a - 10.4) / sd)) / width for a, b in pairwise(EDGES)]
    np.testing.assert_allclose(found, (1.0 - METER.slip) * np.array(exact) + METER.slip / 6.0, rtol=1e-9)


@pytest.mark.parametrize("slip", [0.01, 0.2])
def test_far_from_the_reading_only_a_slip_is_left(slip: float) -> None:
    """A wrong spot or range puts the figure anywhere in 6 V, so one bad entry never makes certainty."""
    careless = replace(METER, slip=slip)
    found, _ = number_likelihood(9.0, EDGES, careless)
    assert found[-1] == pytest.approx(slip / 6.0, rel=1e-6)
    over, _ = above_likelihood(11.0, EDGES, careless)
    assert over[0] == pytest.approx(slip * 3.0 / 6.0, rel=1e-6)
    table, _, cuts = outcome_table(EDGES, careless)
    assert table[0, -1] == pytest.approx(slip * (cuts[-1] - cuts[-2]) / 6.0, rel=1e-6)


def test_a_reading_beyond_the_bins_counts_as_just_inside() -> None:
    for reading, end in ((3.0, 8.0), (20.0, 14.0)):
        np.testing.assert_allclose(number_likelihood(reading, EDGES, PERFECT)[0].argmax(), 0 if end == 8.0 else 23)


def test_over_the_limit_is_the_tail_of_the_density() -> None:
    """The second road: what reads above 11 V, summed over the readings."""
    found, background = above_likelihood(11.0, EDGES, METER)
    step = 0.002
    readings = np.arange(11.0, 14.0, step) + step / 2
    summed = np.sum([number_likelihood(float(v), EDGES, METER)[0] for v in readings], axis=0) * step
    inside = np.asarray(EDGES[1:]) < 13.5
    np.testing.assert_allclose(found[inside], summed[inside], atol=0.02)
    assert background == pytest.approx(0.5)


def test_a_level_is_as_likely_at_every_volt_and_a_drop_in_every_bin() -> None:
    level, drop = (8.0, 10.0, 12.0, 12.5), (0.0, 0.1, 0.5, 12.0)
    np.testing.assert_allclose(background_shares(level), np.array([2.0, 2.0, 0.5]) / 4.5)
    np.testing.assert_allclose(background_shares(drop), 1.0 / 3.0)
    np.testing.assert_allclose(number_likelihood(11.0, level, METER)[1], 1.0 / 4.5)
    np.testing.assert_allclose(number_likelihood(5.0, drop, METER)[1], 1.0 / 3.0 / 11.5)


def test_an_answer_is_what_was_said_but_for_a_wrong_word() -> None:
    sure, even = choice_likelihood("b", ("a", "b", "c"), 0.03)
    np.testing.assert_allclose(sure, [0.01, 0.98, 0.01])
    assert even == pytest.approx(1.0 / 3.0)
    unsure, _ = choice_likelihood("b", ("a", "b", "c"), 0.03, roughly=True)
    np.testing.assert_allclose(unsure, [1.0 / 9.0, 7.0 / 9.0, 1.0 / 9.0])


@pytest.mark.parametrize("instrument", [METER, MODULE], ids=["posts", "away"])
def test_what_an_instrument_would_show_is_a_distribution_that_the_densities_give(instrument) -> None:
    """The second road: densities of the readings of a class, summed, for every bin well inside."""
    table, background, cuts = outcome_table(EDGES, instrument)
    np.testing.assert_allclose(table.sum(axis=1), 1.0)
    assert background.sum() == pytest.approx(1.0)
    step = 0.002
    readings = np.arange(cuts[5], cuts[6], step) + step / 2
    offset = place_offset(instrument)
    summed = np.sum([number_likelihood(float(v), EDGES, instrument, offset=offset)[0] for v in readings], axis=0) * step
    np.testing.assert_allclose(table[3:-3, 5], summed[3:-3], atol=0.01)
