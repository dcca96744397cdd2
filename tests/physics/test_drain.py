"""Standing and driving against the days-to-flat table and the balance of charge."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.physics.battery import self_discharge_rate
from faultnet.physics.drain import charge_left, drive_recharge

MILLIAMPERES = np.array([20, 30, 50, 85, 100, 250, 500, 1000, 2000])
TO_HALF = [62, 42, 25, 15, 12.5, 5.0, 2.5, 1.25, 0.6]
TO_A_FIFTH = [100, 67, 40, 23, 20, 8, 4, 2, 1]
TIRED = [37, 25, 15, 9, 7.5, 3, 1.5, 0.75, 0.4]


@pytest.mark.parametrize(
    "days, start, end, capacity", [(TO_HALF, 1, 0.5, 60), (TO_A_FIFTH, 1, 0.2, 60), (TIRED, 0.9, 0.5, 45)]
)
def test_days_to_flat(days: list[float], start: float, end: float, capacity: float) -> None:
    """Three rows of nine currents: derived, charge over current. 7 %: the table is rounded to whole and half days."""
    hours = 24.0 * np.array(days)
    left = charge_left(start, 1e-3 * MILLIAMPERES, hours, capacity, empty=-1.0)
    lost_by_itself = self_discharge_rate(20.0) * np.array(days)
    np.testing.assert_allclose(start - left - lost_by_itself, start - end, rtol=0.07)


def test_lamp_left_on_overnight() -> None:
    """A 5 W lamp (0.4 A, derived) leaves a full 60 A h battery fit to start after a night; headlamps (9 A) do not."""
    assert charge_left(1.0, 0.4, 12.0, 60.0) > 0.9
    assert charge_left(1.0, 9.0, 8.0, 60.0) == 0.0


def test_four_weeks_at_the_airport() -> None:
    """30 mA needs 42 days to half charge (derived): 28 days leave two thirds, less 2 % of self-discharge in a month
    (abstract on storage, secondary)."""
    left = charge_left(1.0, 0.030, 28.0 * 24.0, 60.0)
    assert left == pytest.approx(1.0 - 0.030 * 672.0 / 60.0 - 0.02 * 28.0 / 30.0, abs=0.002)


def test_drive_limited_by_supply_is_current_times_time() -> None:
    """5 A for two hours into a half charged battery: 10 A h / 60 A h, of which 0.95 is kept: a charging factor
    of 1.05 (from memory)."""
    assert drive_recharge(0.5, 2.0, 60.0, 5.0) - 0.5 == pytest.approx(10.0 / 60.0 / 1.05, rel=0.01)


def test_drive_with_a_deficit_drains() -> None:
    assert drive_recharge(0.8, 1.0, 60.0, -12.0) == pytest.approx(0.6)


def test_short_drive_puts_little_back() -> None:
    """Ten minutes give back less than 3 % at 80 % charge and less than 6 % at half charge: derived from acceptance."""
    assert 0.8 < drive_recharge(0.8, 1.0 / 6.0, 60.0, 60.0) < 0.83
    assert 0.5 < drive_recharge(0.5, 1.0 / 6.0, 60.0, 60.0) < 0.56


def test_longer_and_warmer_is_fuller_and_never_above_full() -> None:
    hours = np.array([0.0, 0.5, 1.0, 3.0, 10.0, 30.0])
    warm, cold = drive_recharge(0.4, hours, 60.0, 50.0, 25.0), drive_recharge(0.4, hours, 60.0, 50.0, -10.0)
    assert np.all(np.diff(warm) > 0.0)
    assert warm[0] == cold[0] == pytest.approx(0.4)
    assert np.all(warm[1:] > cold[1:])
    assert warm[-1] <= 1.0


def test_sulphated_battery_gains_little() -> None:
    sound, sulphated = (drive_recharge(0.5, 1.0, 60.0, 50.0, acceptance=share) - 0.5 for share in (1.0, 0.1))
    assert sulphated < 0.25 * sound


def test_steps_are_fine_enough() -> None:
    """Second road: the same drive in twenty pieces of forty steps each, within 0.2 % of charge."""
    charge = 0.4
    for _ in range(20):
        charge = drive_recharge(charge, 0.25, 60.0, 50.0)
    assert drive_recharge(0.4, 5.0, 60.0, 50.0) == pytest.approx(charge, abs=2e-3)
