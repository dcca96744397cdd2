"""Copper against IEC 60228, ASTM B258 and a handbook's wire table."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.physics.conductors import CLASS5_AREA, awg_area, class5_maximum, copper_resistance

GAUGES = [(-3, 107.2, 0.161), (-1, 67.4, 0.256), (0, 53.5, 0.322), (1, 42.4, 0.407), (2, 33.6, 0.513), (4, 21.1, 0.815)]
GAUGES += [(6, 13.3, 1.296), (8, 8.37, 2.06), (10, 5.26, 3.28), (12, 3.31, 5.21), (14, 2.08, 8.29), (16, 1.31, 13.2)]
CLASS5 = [(0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4, 4.95), (6, 3.30), (10, 1.91), (16, 1.21)]
CLASS5 += [(25, 0.780), (35, 0.554), (50, 0.386), (70, 0.272), (95, 0.206)]


@pytest.mark.parametrize("gauge, area, milliohm", GAUGES)
def test_wire_gauges(gauge: int, area: float, milliohm: float) -> None:
    """ASTM B258 diameters and IEC 60028 copper at 20 degC (from memory), twelve sizes."""
    assert awg_area(gauge) == pytest.approx(area, rel=0.005)
    assert 1e3 * copper_resistance(1.0, awg_area(gauge)) == pytest.approx(milliohm, rel=0.005)


@pytest.mark.parametrize("gauge, milliohm", [(4, 0.793), (0, 0.314)])
def test_wire_table_of_pure_copper(gauge: int, milliohm: float) -> None:
    """CRC wire table for pure copper, 1.678e-8 ohm m (secondary): our annealed copper is 2.7 % above it."""
    assert 1e3 * copper_resistance(1.0, awg_area(gauge)) == pytest.approx(milliohm * 1.7241 / 1.678, rel=0.005)


@pytest.mark.parametrize("area, milliohm", CLASS5)
def test_flexible_conductors(area: float, milliohm: float) -> None:
    """IEC 60228 class 5 maxima at 20 degC (from memory), thirteen sizes."""
    assert 1e3 * class5_maximum(area) == pytest.approx(milliohm, rel=1e-9)


def test_flexible_conductors_allow_more_than_solid_copper() -> None:
    """The maxima of IEC 60228 class 5 (from memory) lie 5 to 18 % above copper of the nominal size (derived)."""
    ratio = class5_maximum(CLASS5_AREA) / copper_resistance(1.0, CLASS5_AREA)
    assert np.all((ratio > 1.04) & (ratio < 1.19))


@pytest.mark.parametrize("temperature, factor", [(-20.0, 0.84), (20.0, 1.0), (80.0, 1.24)])
def test_copper_with_temperature(temperature: float, factor: float) -> None:
    """IEC 60028 coefficient 0.00393 /K (from memory), factors derived."""
    assert copper_resistance(1.0, 25.0, temperature) / copper_resistance(1.0, 25.0) == pytest.approx(factor, abs=0.005)


def test_drop_of_a_starter_cable() -> None:
    """1.5 m + 1 m of 25 mm2 at 180 A drop 0.35 V by the class 5 maximum: derived."""
    assert 2.5 * class5_maximum(25.0) * 180.0 == pytest.approx(0.35, abs=0.005)


def test_road_vehicle_cable_lies_between() -> None:
    """ISO 6722: 0.527 mohm/m for 35 mm2 (from memory): between bare copper and the class 5 maximum."""
    assert copper_resistance(1.0, 35.0) < 0.527e-3 < class5_maximum(35.0)
