"""Figures from outside that are narrow enough to see a number of the physics that is wrong by 15 %.

`tests/bench/mutations.py` says which numbers these and the other tests notice.
"""

from __future__ import annotations

import inspect
import math

import numpy as np
import pytest

from faultnet.physics import battery
from faultnet.physics.acid import cell_voltage, freezing_point, molality
from faultnet.physics.charging import alternator_speed, charging_voltage, set_point
from faultnet.physics.cranking import cranking_current_nominal, motor_resistance
from faultnet.physics.drain import charge_in_use, drive_recharge
from faultnet.physics.rectifier import diode_leakage, diode_output_factor, ripple_voltage
from faultnet.physics.waveform import RIPPLE_FREQUENCY, waveform


@pytest.mark.parametrize("weight, density", [(0.30, 1.2185), (0.40, 1.3028), (0.45, 1.3476), (0.50, 1.3951)])
def test_strong_acid_by_a_table_at_twenty_degrees(weight: float, density: float) -> None:
    """Handbook densities at 20 degC (CRC-type table, from memory), against water of 0.9982: a road of its own. 2 %: the
    ratio to water of the same temperature moves by 0.002 between 20 and 25 degC."""
    assert molality(density / 0.9982) == pytest.approx(weight / (0.09808 * (1.0 - weight)), rel=0.02)


def test_temperature_slope_of_the_strongest_acid() -> None:
    """0.18 mV/K per cell at 1.300: Craig and Vinal, NBS 1940 (from memory)."""
    strength = molality(1.300)
    assert 50.0 * (cell_voltage(strength, 25.0) - cell_voltage(strength, 5.0)) == pytest.approx(0.18, abs=0.01)


def test_the_polynomial_is_held_to_where_it_holds() -> None:
    """0.1 to 10 mol/kg: range of the polynomial after Bode 1977 (from memory); beyond, its end values."""
    printed = np.polynomial.Polynomial([1.9228, 0.147519, 0.063552, 0.073772, 0.033612])
    assert cell_voltage(0.01) == pytest.approx(printed(-1.0), abs=0.002)
    assert cell_voltage(30.0) == pytest.approx(printed(1.0), abs=0.002)


def test_thin_acid_freezes_at_twenty_seven_fahrenheit() -> None:
    """1.050: +27 degF, equipment manual (published): within 0.3 K, the rounding to whole degrees."""
    assert freezing_point(1.050) == pytest.approx((27 - 32) / 1.8, abs=0.3)


@pytest.mark.parametrize(
    "charge, low, high", [(0.5, 0.3, 0.5), (0.8, 0.1, 0.2), (0.95, 0.02, 0.05), (1.0, 0.002, 0.01)]
)
def test_accepted_current_is_the_middle_of_what_is_quoted(charge: float, low: float, high: float) -> None:
    """Amperes per ampere hour at 14.4 V and 25 degC (common practice, no source): between the geometric and the
    arithmetic mean of the range, give or take 5 %."""
    taken = battery.acceptance_current(charge, 1.0)
    assert 0.95 * math.sqrt(low * high) <= taken <= 1.05 * (low + high) / 2.0


@pytest.mark.parametrize("charge, volts", [(0.0, 11.89), (0.5, 12.24), (1.0, 12.65)])
def test_charging_begins_at_the_rest_voltage(charge: float, volts: float) -> None:
    """Rest voltages of a battery maker's page (secondary), within 40 mV: below, nothing flows in; above, something."""
    assert battery.acceptance_current(charge, 60.0, voltage=volts - 0.035) == 0.0
    assert battery.acceptance_current(charge, 60.0, voltage=volts + 0.045) > 0.0


def test_capacity_in_the_heat() -> None:
    """Nought to one per cent for each kelvin above 25 degC: temperature coefficients of battery standards (from
    memory)."""
    assert 1.0 <= battery.capacity_at(1.0, 40.0) <= 1.15


def test_self_discharge_of_absorbed_glass_mat() -> None:
    """2 % a month (abstract on storage, secondary), at 20 to 27 degC."""
    month = [30.0 * battery.self_discharge_rate(t, "agm") for t in (20.0, 27.0)]
    assert 0.012 <= month[0] <= 0.020 <= month[1] <= 0.022


@pytest.mark.parametrize("kind", ["fixed", "load_responsive"])
def test_slope_of_the_set_point(kind: str) -> None:
    """Middles of the band at four temperatures, service manual of one model (secondary): 10.4 mV/K by a straight line,
    within a tenth."""
    temperature, middle = np.array([-20.0, 20.0, 60.0, 80.0]), np.array([14.55, 14.15, 13.75, 13.50])
    slope = np.polynomial.Polynomial.fit(temperature, middle, 1).convert().coef[1]
    assert (set_point(80.0, kind) - set_point(-20.0, kind)) / 100.0 == pytest.approx(slope, rel=0.1)


@pytest.mark.parametrize(
    "kind, low, high",
    [("load_responsive_cruise", 12.6, 13.2), ("load_responsive", 14.0, 14.8), ("load_responsive_overrun", 15.0, 15.5)],
)
def test_modes_stand_in_the_middle_of_what_is_quoted(kind: str, low: float, high: float) -> None:
    """Trade glossary and training pages (secondary), three modes: the middle within 0.1 V."""
    assert set_point(20.0, kind) == pytest.approx((low + high) / 2.0, abs=0.1)


def test_pulley_ratio_when_none_is_told() -> None:
    """2.2 to 3.2, 2.8 in one service manual (secondary): the middle within a tenth."""
    assert alternator_speed(1000.0) / 1000.0 == pytest.approx(2.7, rel=0.1)


def test_a_battery_that_helps_out() -> None:
    """8 mohm healthy to 11 mohm at the fail line of 550 A: derived from the load-test table (secondary)."""
    volts, _, _ = charging_voltage(14.2, 0.0, 20.0, 12.6, 0.16)
    assert 0.008 <= (12.6 - volts) / 20.0 <= 0.011


def test_cranking_current_without_displacement() -> None:
    """60 A, and 40 to 60 A for each litre: common practice, no source."""
    assert cranking_current_nominal(0.0, "petrol", 25.0) == pytest.approx(60.0, rel=0.05)
    assert 40.0 <= cranking_current_nominal(1.0, "petrol", 25.0) - 60.0 <= 60.0


@pytest.mark.parametrize("fuel, least, most", [("petrol", 5e-3, 8e-3), ("diesel", 3.5e-3, 5e-3)])
def test_starters_of_all_sizes_span_what_is_quoted(fuel: str, least: float, most: float) -> None:
    """5 to 8 mohm petrol, 3.5 to 5 mohm diesel (common practice, no source): the smallest engine has the most, the
    largest the least."""
    assert motor_resistance(0.8, fuel) == pytest.approx(most, rel=0.05)
    assert motor_resistance(6.0, fuel) == pytest.approx(least, rel=0.05)


@pytest.mark.parametrize("displacement, fuel, amperes", [(1.6, "petrol", 520.0), (2.0, "diesel", 730.0)])
def test_usual_ratings(displacement: float, fuel: str, amperes: float) -> None:
    """1.6 l petrol 520 A, 2 l diesel 730 A: common practice, no source. 5 %, a step of the labels."""
    assert battery.usual_rating(displacement, fuel) == pytest.approx(amperes, rel=0.05)


@pytest.mark.parametrize("standard", ["IEC", "not_known"])
def test_other_labels_are_like_those_of_en(standard: str) -> None:
    """Later IEC 60095-1 has EN's end point; a label that names no standard is mostly one of these or SAE (from memory,
    common practice): 1.00 to 1.06."""
    assert 1.00 <= battery.sae_rating(1.0, standard) <= 1.06


def test_what_is_put_in_is_not_all_kept() -> None:
    """Charging factor 1.05 to 1.2, ampere hours in over out (from memory, common practice)."""
    gained = drive_recharge(0.2, 1.0, 60.0, 6.0) - 0.2
    assert 1.05 <= (6.0 / 60.0) / gained <= 1.2


@pytest.mark.parametrize("function", [drive_recharge, charge_in_use])
def test_volts_on_a_drive_when_none_are_told(function: object) -> None:
    """13.5 to 14.8 V warm, 14.2 in the mean: common practice, no source."""
    assert inspect.signature(function).parameters["voltage"].default == pytest.approx(14.2, abs=0.1)  # type: ignore[arg-type]


def test_a_cold_drive_by_small_steps() -> None:
    """Charge is current times time, with 95 % kept: derived, an integral in 4,000 steps of the accepted current."""
    charge, hours, steps = 0.5, 3.0, 4000
    for _ in range(steps):
        taken = min(50.0, float(battery.acceptance_current(charge, 60.0, 0.0, 14.2)))
        charge += 0.95 * taken / 60.0 * hours / steps
    assert drive_recharge(0.5, hours, 60.0, 50.0, 0.0) == pytest.approx(charge, abs=2e-3)


def test_ripple_of_an_ideal_bridge() -> None:
    """4.2 % of the mean: ripple factor of a six-pulse rectifier in textbooks (from memory)."""
    assert ripple_voltage(1000.0, 0, 1.0) / 1000.0 == pytest.approx(0.042, abs=0.001)


def test_output_with_a_shorted_diode_is_the_middle_of_what_is_quoted() -> None:
    """30 to 60 % lost: common practice, no source; the middle within a tenth."""
    assert diode_output_factor(0, 1) == pytest.approx(0.55, rel=0.1)


def test_leakage_of_sound_diodes() -> None:
    """0.5 mA at 25 degC often quoted (from memory), doubling every 10 K as silicon does (from memory); through a leak
    as much as the 12.6 V of a full battery drive (battery maker's page, secondary)."""
    assert diode_leakage() == pytest.approx(0.0005, rel=0.1)
    assert diode_leakage(temperature=45.0) / diode_leakage(temperature=25.0) == pytest.approx(4.0, rel=0.08)
    assert diode_leakage(defect=126.0) == pytest.approx(0.1, rel=0.02)


def test_an_ordinary_start_has_the_ripple_of_its_speed() -> None:
    """Four cylinders at 180 to 280 rev/min, two compressions a turn (handbook, from memory): 6.7 to 8.4 Hz in the
    middle."""
    assert 6.7 <= RIPPLE_FREQUENCY <= 8.4


def test_volts_come_back_in_forty_milliseconds() -> None:
    """ISO 16750-2:2003 section 4.5.3 (published waveform file): half way back to 12 V after 20 ms."""
    assert waveform(1.090, 12.0, 8.0, 10.5, lasting=1.070) == pytest.approx(11.25, abs=0.05)
