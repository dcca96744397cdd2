"""The acid against handbook tables, army manuals and PyBaMM."""

from __future__ import annotations

import os

import numpy as np
import pytest

from faultnet.errors import CarError
from faultnet.physics.acid import cell_voltage, freezing_point, molality, specific_gravity

os.environ.setdefault("PYBAMM_DISABLE_TELEMETRY", "true")


@pytest.mark.parametrize("charge, expected", [(1.0, 1.265), (0.75, 1.225), (0.5, 1.190), (0.25, 1.155), (0.0, 1.120)])
def test_specific_gravity_of_a_flooded_battery(charge: float, expected: float) -> None:
    """Battery maker's technical page at 26.7 degC, five rows (secondary); within half a digit of the table."""
    assert specific_gravity(charge) == pytest.approx(expected, abs=0.0005)


@pytest.mark.parametrize("charge, expected", [(1.0, 1.280), (0.75, 1.250), (0.5, 1.220)])
def test_specific_gravity_of_strong_acid(charge: float, expected: float) -> None:
    """US Army TM 5-1185 table II (published): 1.280 full, 1.250, 1.220; its 25 % steps reach "nearly flat" at 1.160 and
    flat at 1.130, so the middle of a scale that ends at 1.130 lies lower: within 0.02."""
    assert specific_gravity(charge, "enhanced_flooded") == pytest.approx(expected, abs=0.02)


@pytest.mark.parametrize(
    "gravity, weight, expected",
    [
        (1.050, 0.075, 0.82),
        (1.100, 0.146, 1.75),
        (1.155, 0.220, 2.87),
        (1.190, 0.264, 3.66),
        (1.225, 0.308, 4.53),
        (1.250, 0.338, 5.20),
        (1.265, 0.356, 5.63),
        (1.280, 0.373, 6.07),
        (1.300, 0.397, 6.70),
    ],
)
def test_molality_from_specific_gravity(gravity: float, weight: float, expected: float) -> None:
    """Handbook density points at 25 degC (CRC-type table, from memory), nine rows; 1.5 % covers their rounding."""
    assert molality(gravity) == pytest.approx(expected, rel=0.015)
    assert molality(gravity) == pytest.approx(weight / (0.09808 * (1 - weight)), rel=0.015)


@pytest.mark.parametrize("strength", [0.5, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])
def test_cell_voltage_is_what_pybamm_computes(strength: float) -> None:
    """Bode 1977 through PyBaMM's two electrode functions (published code): the polynomial is the same sum."""
    from pybamm.input.parameters.lead_acid import Sulzer2019

    reference = Sulzer2019.lead_dioxide_ocp_Bode1977(strength) - Sulzer2019.lead_ocp_Bode1977(strength)
    assert cell_voltage(strength) == pytest.approx(reference, abs=1e-9)


@pytest.mark.parametrize("charge", np.linspace(0.0, 1.0, 11))
def test_rest_voltage_by_the_road_of_pybamm(charge: float) -> None:
    """A second road from acid to volts: handbook density -> concentration -> Sulzer et al. 2019 partial volumes (as in
    PyBaMM, published) -> Bode's electrodes. The six cells agree within 15 mV from empty to full."""
    from pybamm.input.parameters.lead_acid import Sulzer2019

    gravity = float(specific_gravity(charge))
    strength = float(molality(gravity))
    weight = 0.09808 * strength / (1.0 + 0.09808 * strength)
    concentration = gravity * 997.05 * weight / 0.09808
    water_volume, acid_volume, water_mass = 1.75e-5, 4.5e-5, 0.01801
    by_volumes = concentration * water_volume / ((1.0 - concentration * acid_volume) * water_mass)
    reference = 6.0 * (Sulzer2019.lead_dioxide_ocp_Bode1977(by_volumes) - Sulzer2019.lead_ocp_Bode1977(by_volumes))
    assert 6.0 * cell_voltage(molality(gravity)) == pytest.approx(reference, abs=0.015)


@pytest.mark.parametrize("strength", [0.5, 1.0, 2.0, 4.0, 6.0])
def test_cell_voltage_against_the_printed_polynomial(strength: float) -> None:
    """Six-digit polynomial quoted after Bode 1977 and Salameh et al., IEEE TEC 1992 (from memory): within 2 mV."""
    printed = np.polynomial.Polynomial([1.9228, 0.147519, 0.063552, 0.073772, 0.033612])
    assert cell_voltage(strength) == pytest.approx(printed(np.log10(strength)), abs=0.002)


@pytest.mark.parametrize("gravity", [1.18, 1.20, 1.225, 1.25, 1.265, 1.28, 1.30])
def test_rule_of_thumb_for_a_cell(gravity: float) -> None:
    """Cell volts = specific gravity + 0.845, Vinal, Storage Batteries, 4th ed. 1955 (from memory): within 10 mV."""
    assert cell_voltage(molality(gravity)) == pytest.approx(gravity + 0.845, abs=0.010)


@pytest.mark.parametrize("gravity, slope", [(1.10, 0.30), (1.15, 0.33), (1.20, 0.30), (1.25, 0.24), (1.28, 0.20)])
def test_temperature_slope_at_fixed_acid(gravity: float, slope: float) -> None:
    """Craig and Vinal, NBS 1940 (from memory), five rows in mV/K per cell."""
    warm, cold = cell_voltage(molality(gravity), 25.0), cell_voltage(molality(gravity), 5.0)
    assert 1e3 * (warm - cold) / 20.0 == pytest.approx(slope, abs=0.01)


@pytest.mark.parametrize("gravity, fahrenheit", [(1.0, 32), (1.1, 19), (1.15, 5), (1.16, 1), (1.2, -16), (1.22, -31)])
def test_freezing_point(gravity: float, fahrenheit: float) -> None:
    """US Army TM 5-1185 table III, TM 10-6140-200-14 table 1-1 (published): within 0.6 K, the rounding to degrees."""
    assert freezing_point(gravity) == pytest.approx((fahrenheit - 32) / 1.8, abs=0.6)


@pytest.mark.parametrize("gravity, fahrenheit", [(1.05, 27), (1.225, -35), (1.25, -62), (1.28, -92)])
def test_freezing_point_of_the_other_rows(gravity: float, fahrenheit: float) -> None:
    """Equipment manual (1.050, 1.225) and the cold end, where army tables differ by 3 K (published): within 2 K."""
    assert freezing_point(gravity) == pytest.approx((fahrenheit - 32) / 1.8, abs=2.0)


def test_unknown_kind_is_refused() -> None:
    with pytest.raises(CarError, match=r"unknown kind of battery.*'gel'"):
        specific_gravity(0.5, "gel")
