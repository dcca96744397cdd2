"""Ratings as resistances, against the standards' end voltages and the load-test table."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.errors import CarError
from faultnet.physics import battery

LOAD_TEST = [(21, 9.6), (16, 9.5), (10, 9.4), (4, 9.3), (-1, 9.1), (-7, 8.9), (-12, 8.7), (-18, 8.5)]


def volts_after(seconds: float, current: float, rating: float, temperature: float, worn: float = 1.0) -> float:
    """Post voltage of a full flooded battery after some seconds of steady load."""
    developed = battery.ohmic_resistance(rating, temperature) + battery.polarisation_share(
        seconds
    ) * battery.polarisation_resistance(rating, temperature)
    return float(battery.load_voltage(battery.open_circuit_voltage(1.0, temperature), worn * developed, current))


@pytest.mark.parametrize("rating", [350.0, 600.0, 900.0])
def test_end_voltage_of_sae_j537(rating: float) -> None:
    """SAE J537 (secondary): 7.2 V after 30 s at -18 degC and the rated current."""
    assert volts_after(30.0, rating, rating, -18.0) == pytest.approx(7.2, abs=0.02)


@pytest.mark.parametrize("rating", [350.0, 600.0, 900.0])
def test_end_voltage_of_en_50342(rating: float) -> None:
    """EN 50342-1 (secondary): 7.5 V after 10 s at -18 degC and the rated current, which is 1/1.03 of the SAE one."""
    assert volts_after(10.0, rating, float(battery.sae_rating(rating, "EN")), -18.0) == pytest.approx(7.5, abs=0.02)


def test_usual_ratings_lie_where_labels_do() -> None:
    """Small petrol car 400 to 500 A, two-litre diesel 650 to 800 A, none beyond 1000 A: common practice, no source."""
    assert 400.0 <= battery.usual_rating(1.0, "petrol") <= 500.0
    assert 650.0 <= battery.usual_rating(2.0, "diesel") <= 800.0
    assert battery.usual_rating(8.0, "diesel") == 1000.0
    with pytest.raises(CarError, match="fuel"):
        battery.usual_rating(1.6, "gas")


@pytest.mark.parametrize("temperature, limit", LOAD_TEST)
def test_half_rating_limit(temperature: float, limit: float) -> None:
    """Half rating for 15 s: service manuals of one maker group (secondary), BCI practice (from memory), eight rows."""
    assert battery.half_rating_limit(temperature) == pytest.approx(limit, abs=1e-12)


@pytest.mark.parametrize("temperature, limit", LOAD_TEST)
def test_battery_at_the_pass_line_lands_on_the_table(temperature: float, limit: float) -> None:
    """Same table: 1.5 times the new resistance just passes. 0.11 V: other manuals' tables differ by 0.1 V at the warm
    end and 0.5 V at the cold end (secondary), and degF rounded to degC moves a row by 0.02 V."""
    assert volts_after(15.0, 300.0, 600.0, temperature, worn=1.5) == pytest.approx(limit, abs=0.11)


def test_pass_line_is_about_two_thirds_of_the_rating() -> None:
    """Derived from the table and SAE J537: on the line at -18 degC the battery holds 7.2 V at 0.66 of its rating."""
    assert volts_after(30.0, 0.66 * 600.0, 600.0, -18.0, worn=1.5) == pytest.approx(7.2, abs=0.1)


def test_new_battery_at_half_its_rating() -> None:
    """10.4 to 11.0 V after 15 s at 21 degC: common practice, no source."""
    assert 10.4 <= volts_after(15.0, 300.0, 600.0, 21.0) <= 11.0


@pytest.mark.parametrize("rating, milliohm", [(350, 15.4), (450, 12.0), (550, 9.8), (650, 8.3), (750, 7.2), (900, 6.0)])
def test_cold_resistance_by_rating(rating: float, milliohm: float) -> None:
    """5.4 V over the rating at -18 degC: derived from SAE J537, six rows."""
    assert 1e3 * battery.resistance(rating, -18.0) == pytest.approx(milliohm, rel=0.02)


@pytest.mark.parametrize("rating, low, high", [(350, 9.0, 13.0), (550, 5.8, 8.0), (750, 4.3, 5.9)])
def test_resistance_of_a_healthy_battery(rating: float, low: float, high: float) -> None:
    """3.2 to 4.4 V over the rating at 21 degC [mohm]: derived from common practice."""
    assert low <= 1e3 * battery.resistance(rating, 21.0) <= high


def test_ohmic_resistance_is_what_a_conductance_tester_finds() -> None:
    """4 to 6 mohm for 550 A at 25 degC: common practice, no source."""
    assert 4e-3 <= battery.ohmic_resistance(550.0) <= 6e-3


@pytest.mark.parametrize(
    "charge, low, high", [(0.75, 1.05, 1.15), (0.5, 1.15, 1.35), (0.25, 1.5, 2.0), (0.0, 3.0, 10.0)]
)
def test_resistance_against_charge(charge: float, low: float, high: float) -> None:
    """Four bands of common practice, no source."""
    assert low <= battery.charge_factor(charge) <= high


def test_resistance_against_cold() -> None:
    """Upper bound 1.5 at -1 degC and 2.5 at -18 degC against 27 degC from cranking power of 65 and 40 %, US Army
    TM 5-1185 (published); at least the 1.3 that SAE J537 and the load-test table leave (derived)."""
    assert 1.1 < battery.cold_factor(-1.0) / battery.cold_factor(27.0) < 65.0 / 40.0
    assert 1.3 < battery.cold_factor(-18.0) / battery.cold_factor(21.0) < 2.5


@pytest.mark.parametrize(
    "standard, label, low, high",
    [("EN", 540, 540, 572), ("DIN", 320, 512, 572), ("CA", 720, 576, 600), ("SAE", 600, 600, 600)],
)
def test_conversion_of_ratings(standard: str, label: float, low: float, high: float) -> None:
    """SAE = 1.00 to 1.06 EN (label pairs 540 / 560 to 570), 1.6 to 1.7 DIN and up with EN's factor, CA = 1.20 to 1.25
    CCA: from memory, common practice, DIN secondary."""
    assert low <= battery.sae_rating(label, standard) <= high


def test_din_and_ca_end_points_against_the_resistance() -> None:
    """DIN 43539-2 (secondary): 9.0 V after 30 s at -18 degC; CA (secondary): 7.2 V after 30 s at 0 degC. The
    currents at which the straight-line resistance reaches them are 12 % and 5 % off the factors of practice; documented
    as such."""
    cold, mild = (battery.resistance(600.0, temperature) for temperature in (-18.0, 0.0))
    at_din = (battery.open_circuit_voltage(1.0, -18.0) - 9.0) / cold
    at_ca = (battery.open_circuit_voltage(1.0, 0.0) - 7.2) / mild
    assert battery.sae_rating(at_din, "DIN") == pytest.approx(1.12 * 600.0, rel=0.02)
    assert battery.sae_rating(at_ca, "CA") == pytest.approx(0.95 * 600.0, rel=0.02)


@pytest.mark.parametrize("label, capacity", [(400, 45), (540, 60), (640, 70), (680, 74), (800, 95)])
def test_capacity_from_rating(label: float, capacity: float) -> None:
    """Label pairs EN amperes / A h: common practice, five rows, within 12 %."""
    assert battery.capacity_from_rating(label) == pytest.approx(capacity, rel=0.12)


def test_unknown_standard_is_refused() -> None:
    with pytest.raises(CarError, match=r"unknown rating standard.*'JIS'.*'SAE' or 'EN'"):
        battery.sae_rating(500.0, "JIS")


def test_parts_make_the_whole_and_shapes_broadcast() -> None:
    rating, temperature, charge = np.array([400.0, 600.0])[:, None], np.array([-20.0, 0.0, 25.0]), 0.8
    whole = battery.resistance(rating, temperature, charge)
    parts = battery.ohmic_resistance(rating, temperature, charge) + battery.polarisation_resistance(
        rating, temperature, charge
    )
    np.testing.assert_allclose(whole, parts, rtol=1e-12)
    assert np.shape(whole) == (2, 3)


def test_load_voltage_stops_at_zero() -> None:
    assert battery.load_voltage(12.0, 0.02, 2000.0) == 0.0
