"""Rows of the shipped prior set against the ranges that practice and its pages quote, narrow enough to bite.

`tests/bench/mutations.py` moves every number by 15 % and says what nobody notices. What a quoted range says is read the
same way throughout: of *sound* parts nearly all lie inside it; a value that is *somewhere in it* stands in its middle
(between the geometric and the arithmetic mean, give or take a tenth); a limit is the limit. Ranges are those of the
sources, not of the rows. "Practice" is common practice, no source; "secondary" a trade or training page, a college
hand-out or a workshop manual without a title.
"""

from __future__ import annotations

import csv
import math
from statistics import NormalDist

import numpy as np
import pytest

from faultnet.physics import battery
from faultnet.physics.cranking import cranking_current_nominal, motor_resistance, solve_start
from faultnet.prior_set import Catalogue, Effect, load_catalogue
from faultnet.shipped import shipped

NORMAL = NormalDist()


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def effect(catalogue: Catalogue, name: str) -> Effect:
    """A row of `effects.csv` by "component mode parameter"."""
    component, mode, parameter = name.split()
    found = catalogue.effect(component, mode, parameter)
    assert found is not None
    return found


def below(row: Effect, value: float) -> float:
    """Share of a row's cars that lie below a value."""
    if row.shape == "lognormal":
        return NORMAL.cdf(math.log(value / row.centre) / row.spread)
    assert row.shape == "normal"
    return NORMAL.cdf((value - row.centre) / row.spread)


def middle(low: float, high: float) -> tuple[float, float]:
    """The middle of a quoted range: from the geometric to the arithmetic mean, give or take a tenth."""
    return 0.9 * math.sqrt(low * high), 1.1 * (low + high) / 2.0


# values in the middle of what is quoted


@pytest.mark.parametrize(
    "name, low, high, source",
    [
        ("battery sulphated resistance_factor", 1.3, 3.0, "practice: resistance up 1.3 to 3 times"),
        ("battery worn resistance_factor", 1.3, 2.5, "practice: resistance up 1.3 to 2.5 times"),
        ("rectifier open_diode output_factor", 0.75, 0.90, "practice: one open diode takes 10 to 25 %"),
        ("rectifier leaking_diode output_factor", 0.40, 0.70, "practice: one shorted diode takes 30 to 60 %"),
        ("drain moderate current", 0.1, 0.5, "practice: moderate is 0.1 to 0.5 A"),
        ("drain stays_awake current", 0.1, 5.0, "practice: one module 0.1 to 1 A, a whole network 1 to 5 A"),
        ("drain sound current", 0.010, 0.050, "college hand-out (secondary): 10 to 50 mA asleep"),
        ("rectifier sound ripple", 0.010, 0.050, "practice: 10 to 50 mV"),
    ],
)
def test_effects_stand_in_the_middle_of_what_is_quoted(
    catalogue: Catalogue, name: str, low: float, high: float, source: str
) -> None:
    """Common practice and secondary: the median lies in the middle of the range."""
    least, most = middle(low, high)
    assert least <= effect(catalogue, name).centre <= most, source


@pytest.mark.parametrize(
    "name, low, high, source",
    [
        ("nominal_speed_mean", 180, 280, "engine handbooks, from memory: 180 to 280 rev/min warm"),
        ("starter_cable_area_petrol", 16, 35, "practice: 16 to 35 mm2"),
        ("starter_cable_area_diesel", 35, 70, "practice: 35 to 70 mm2"),
        ("pulley_ratio_mean", 2.2, 3.2, "workshop manuals (secondary): 2.2 to 3.2"),
        ("idle_speed", 700, 800, "practice: 700 to 800 rev/min"),
        ("load_base", 11, 15, "workshop manual (secondary): 11 to 15 A, loads off"),
        ("eye_green_charge", 0.65, 0.75, "practice: green from 65 to 75 % charge"),
        ("load_responsive_mean", 12.2, 15.5, "trade glossary (secondary): 12.2 to 15.5 V by mode"),
        ("minutes_for_booster", 5, 10, "practice: 5 to 10 min"),
    ],
)
def test_numbers_stand_in_the_middle_of_what_is_quoted(
    catalogue: Catalogue, name: str, low: float, high: float, source: str
) -> None:
    """Common practice, secondary and from memory: the middle of the range."""
    least, most = middle(low, high)
    assert least <= catalogue.number(name) <= most, source


@pytest.mark.parametrize(
    "name, low, high, source",
    [
        ("slow_share", 150 / 220, 180 / 220, "handbooks, from memory: slow below 150 to 180 of some 220 rev/min"),
        ("coil_current_pull", 60, 85, "two workshop manuals (secondary): 60 to 85 A"),
        ("coil_current_hold", 10, 20, "two workshop manuals (secondary): 10 to 20 A"),
        ("supply_weak_below_volts", 13.2, 13.3, "practice: below 13.2 to 13.3 V with loads off"),
        ("supply_over_above_volts", 15.0, 15.5, "practice: over 15.0 V warm, over 15.5 V in any case"),
        ("supply_none_below_volts", 12.7, 12.8, "practice: within 0.1 to 0.2 V of a full battery's 12.6 V"),
        ("load_responsive_loaded_mean", 14.0, 14.8, "training pages (secondary): 14.0 to 14.8 V when it charges"),
        ("minutes_for_cells_read", 10, 15, "practice: six cells in 10 to 15 min"),
        ("drive_supply_current", 20, 60, "practice: 20 to 60 A after a start"),
        ("module_offset_mean", -0.16, -0.14, "practice: 0.15 V in the mean, of 0.05 to 0.4 V"),
        ("module_offset_spread", 0.09, 0.11, "practice: standard deviation 0.1 V"),
        ("flat_with_load_lowest", 2.4, 3.0, "practice: 3 to 8 V with the load on; a fifth beyond at most"),
        ("flat_with_load_highest", 8.0, 9.6, "practice: 3 to 8 V with the load on; a fifth beyond at most"),
        ("set_point_nominal", 14.10, 14.20, "workshop manual (secondary): 13.7 to 14.6 V at 20 degC, its middle"),
        ("load_on", 0.9 * 67, 78, "workshop manual (secondary): 67 A at idle to 78 A, loads on"),
        ("nearly_flat", 0.2, 0.25, "US Army TM 5-1185 table II (published): the step above nearly flat is 25 %"),
    ],
)
def test_numbers_lie_in_what_is_quoted(catalogue: Catalogue, name: str, low: float, high: float, source: str) -> None:
    """Published, secondary, from memory and common practice."""
    assert low <= catalogue.number(name) <= high, source


@pytest.mark.parametrize(
    "name, value, source",
    [
        ("dead_crank_time", 15, "workshop manuals (secondary): at most 15 s"),
        ("half_rating_time", 15, "half the rating for 15 s: workshop manuals (secondary)"),
        ("coil_current_volts", 10, "two workshop manuals (secondary): currents at 10 V"),
        ("charged_enough", 0.75, "workshop manuals (secondary): 75 % and more"),
        ("eye_cells", 6, "practice: one cell of six"),
        ("raised_speed", 2000, "practice: loads on at 2000 rev/min"),
        ("charger_volts", 14.4, "makers' pages (secondary): ideal at 25 degC"),
        ("surface_charge_gone_after", 6, "mailing list of the trade (secondary): 6 h and more"),
        ("draw_worth_finding", 0.050, "college hand-out (secondary): 50 mA is the most a sleeping car draws"),
        ("surface_charge_left_after_lamps", 0.020, "practice: the last 20 mV alone last for hours"),
        ("long_charge_hours", 24, "practice: 6 to 24 h, a long one"),
    ],
)
def test_limits_are_the_limits(catalogue: Catalogue, name: str, value: float, source: str) -> None:
    """Secondary and common practice: to the digits that are quoted."""
    assert catalogue.number(name) == pytest.approx(value, rel=0.01), source


def test_strip_surface_charge_and_read_takes_five_minutes(catalogue: Catalogue) -> None:
    """Five minutes with the reading: common practice, no source."""
    whole = catalogue.number("minutes_for_surface_charge_gone") + catalogue.test("rest_voltage").minutes
    assert whole == pytest.approx(5.0, abs=0.5)


# what nearly all sound parts, or most bad ones, show


@pytest.mark.parametrize(
    "name, low, high, share, source",
    [
        ("positive_joint sound resistance", 0.02e-3, 0.2e-3, 0.95, "practice: 0.02 to 0.2 mohm clean and tight"),
        ("negative_joint sound resistance", 0.02e-3, 0.2e-3, 0.95, "practice: 0.02 to 0.2 mohm clean and tight"),
        ("regulator sound set_point_shift", -0.45, 0.45, 0.95, "manual (secondary): 13.7 to 14.6 V at 20 degC"),
        ("battery weak_cell rest_loss", 1e-9, 0.3, 0.95, "practice: 0 to 0.3 V"),
        ("battery weak_cell gravity_spread", 0.025, 1.0, 0.97, "US Army TM 9-6140-200-14 (published): unserviceable"),
        ("rectifier sound leakage", 1e-9, 0.002, 0.90, "training page (secondary): below 1 to 2 mA"),
        ("rectifier leaking_diode leakage", 0.060, 2.3, 0.95, "pages (secondary): over 60 mA; 0.8 to 2.3 A"),
        ("regulator high set_point_shift", 15.0 - 14.15, 9.0, 0.90, "practice: over 15.0 V warm"),
        ("battery sulphated resistance_factor", 1.3, 3.0, 0.80, "practice: 1.3 to 3 times"),
        ("battery sound resistance_factor", 0.85, 1.3, 0.90, "practice: 1.0 to 1.3 times, new up to 15 % better"),
        ("drain moderate current", 0.1, 0.5, 0.90, "practice: moderate is 0.1 to 0.5 A"),
        ("drain heavy current", 0.4, 10.0, 0.90, "practice: a lamp 0.4 A, headlamps 10 A"),
        ("rectifier sound ripple", 0.0, 0.050, 0.95, "practice: 10 to 50 mV"),
    ],
)
def test_most_cars_lie_in_what_is_quoted(
    catalogue: Catalogue, name: str, low: float, high: float, share: float, source: str
) -> None:
    """Published, secondary and common practice: at least that share of the cars of a row."""
    row = effect(catalogue, name)
    inside = below(row, high) - (below(row, low) if low else 0.0)
    assert inside >= share, source


@pytest.mark.parametrize("fuel, low, high, share", [("petrol", 50.0, 90.0, 0.8), ("diesel", 80.0, 200.0, 0.9)])
def test_most_engines_fire_from_the_speeds_that_are_quoted(
    catalogue: Catalogue, fuel: str, low: float, high: float, share: float
) -> None:
    """At -20 degC; engine handbook values, from memory: the geometric middle, and most engines within the range."""
    middle, spread = catalogue.number(f"speed_to_fire_{fuel}"), catalogue.number("speed_to_fire_ln_spread")
    assert middle == pytest.approx(math.sqrt(low * high), rel=0.01)
    within = NormalDist(math.log(middle), spread)
    assert within.cdf(math.log(high)) - within.cdf(math.log(low)) >= share


def test_a_lasting_capacity_is_between_new_and_the_end_of_life(catalogue: Catalogue) -> None:
    """End of life at 80 % of the rating (IEEE 450, from memory), new at 100 %: a sound one's median lies between. A
    worn one reaches from about 40 % at replacement (public education page, secondary) to that end of life: both lie
    within one and two standard deviations of its median."""
    assert 0.8 <= effect(catalogue, "battery sound capacity_factor").centre <= 1.0
    worn = effect(catalogue, "battery worn capacity_factor")
    assert worn.centre * math.exp(-worn.spread) <= 0.4
    assert worn.centre * math.exp(2.0 * worn.spread) >= 0.8


def test_a_weak_cell_gives_up_one_to_four_volts(catalogue: Catalogue) -> None:
    """1 to 4 V within seconds: common practice, no source; three in four, the others have not come so far yet."""
    row = effect(catalogue, "battery weak_cell load_loss")
    assert row.spread == pytest.approx(4.0, rel=0.05)
    assert (4.0 - 1.0) / (row.spread - row.centre) == pytest.approx(0.75, abs=0.05)


def test_a_month_of_standing(catalogue: Catalogue) -> None:
    """2 % a month at 20 degC for calcium alloy (abstract on storage, secondary)."""
    factor = effect(catalogue, "battery sound self_discharge_factor").centre
    for kind in ("flooded", "enhanced_flooded"):
        assert 30.0 * factor * battery.self_discharge_rate(20.0, kind) == pytest.approx(0.02, rel=0.1)


def test_most_batteries_lose_one_to_four_per_cent_in_a_month(catalogue: Catalogue) -> None:
    """1 to 4 % at 20 to 25 degC (abstract on storage and makers' pages, secondary): nine in ten."""
    row = effect(catalogue, "battery sound self_discharge_factor")
    month = 30.0 * float(battery.self_discharge_rate(20.0, "flooded"))
    assert below(row, 0.04 / month) - below(row, 0.01 / month) >= 0.9


def test_a_sound_battery_takes_what_sound_ones_take(catalogue: Catalogue) -> None:
    """0.3 to 0.5 A for each ampere hour at half charge (common practice, no source): the middle, give or take 5 %."""
    taken = effect(catalogue, "battery sound acceptance_factor").centre * battery.acceptance_current(0.5, 1.0)
    assert 0.95 * math.sqrt(0.3 * 0.5) <= taken <= 1.05 * 0.4


def test_a_sound_alternator_gives_what_it_is_rated_for_and_seven_tenths_at_least(catalogue: Catalogue) -> None:
    """At least 70 % of the rating, workshop manual (secondary); the rating is the most: ISO 8854, from memory."""
    row = effect(catalogue, "alternator sound output_factor")
    assert row.centre <= 1.0
    assert below(row, 0.7) < 0.001


def test_a_sound_control_circuit_keeps_its_limit(catalogue: Catalogue) -> None:
    """At most 1.0 V with both coils at 97 A: US Army TM 5-2420-230-24-2 (published). Half the limit is usual
    (common practice, no source): more than a third of it at 40 A, the least that both coils draw (TM 5-3895-382-24)."""
    row = effect(catalogue, "start_control sound control_resistance")
    assert row.centre * 97.0 <= 1.0
    assert row.centre * 40.0 >= 0.35


def test_nearly_all_sound_control_circuits_keep_the_limit(catalogue: Catalogue) -> None:
    """At most 1.0 V (US Army TM 5-2420-230-24-2, published) with both coils of a light starter, 45 A
    (TM 5-3895-382-24, published)."""
    assert below(effect(catalogue, "start_control sound control_resistance"), 1.0 / 45.0) >= 0.97


def test_a_solenoid_becomes_unreliable_between_eight_and_nine_volts(catalogue: Catalogue) -> None:
    """Below 8 to 9 V it does not pull in reliably (common practice, no source): the voltage at which one in twenty
    does not."""
    row = effect(catalogue, "solenoid sound pull_in_voltage")
    assert 8.0 <= row.centre + 1.645 * row.spread <= 9.0


def current(drag: float | np.ndarray, nominal: float | np.ndarray = 1.0, temperature: float = 25.0) -> np.ndarray:
    """Sustained current of a 1.6 l petrol car with a good battery of 600 A [A]."""
    start = solve_start(
        battery.open_circuit_voltage(1.0, temperature),
        battery.ohmic_resistance(600.0, temperature),
        battery.polarisation_resistance(600.0, temperature),
        0.0022,
        drag,
        nominal * cranking_current_nominal(1.6, "petrol", temperature),
        motor_resistance(1.6, "petrol"),
    )
    return np.asarray(start.current)


def test_a_sound_engine_takes_the_middle_of_what_four_cylinders_take(catalogue: Catalogue) -> None:
    """100 to 200 A warm: general page (secondary)."""
    least, most = middle(100.0, 200.0)
    assert least <= current(effect(catalogue, "engine_turning sound drag_factor").centre) <= most


def test_engines_of_one_size_differ_by_a_fifth(catalogue: Catalogue) -> None:
    """20 % of the current (common practice, no source): within a fifth of that."""
    generator = np.random.default_rng(3)
    engine = np.exp(generator.normal(0.0, effect(catalogue, "engine_turning sound drag_factor").spread, 4000))
    starter = np.exp(generator.normal(0.0, catalogue.number("nominal_current_spread"), 4000))
    assert float(np.log(current(engine, starter)).std()) == pytest.approx(0.20, abs=0.04)


@pytest.mark.parametrize("name", ["starter_motor dragging friction_factor", "engine_turning heavy drag_factor"])
def test_a_heavy_engine_takes_that_much_more(catalogue: Catalogue, name: str) -> None:
    """1.3 to 2 times the current: diagnosis lists of workshop manuals (secondary). The middle, and two thirds of
    them (the middle four fifths begin at 1.28, a little below it)."""
    row = effect(catalogue, name)
    least, most = middle(1.3, 2.0)
    assert least <= current(row.centre) / current(1.0) <= most
    low, high = (current(row.centre * math.exp(row.spread * z)) / current(1.0) for z in (-1.0, 1.0))
    assert 1.3 <= low < high <= 2.0


def test_a_wrong_command_holds_the_low_end(catalogue: Catalogue) -> None:
    """The low end of a control that follows the load is 12.6 to 13.2 V (trade glossary, secondary): its middle."""
    volts = (
        catalogue.number("load_responsive_mean")
        + effect(catalogue, "charge_control wrong_command set_point_shift").centre
    )
    assert 12.8 - 1e-9 <= volts <= 13.0 + 1e-9


def test_control_that_follows_the_load_stays_in_its_range(catalogue: Catalogue) -> None:
    """12.2 to 15.5 V is normal by mode (trade glossary and training pages, secondary): nearly all of them."""
    mode = NormalDist(catalogue.number("load_responsive_mean"), catalogue.number("load_responsive_spread"))
    assert mode.cdf(15.5) - mode.cdf(12.2) >= 0.97


def test_surface_charge_just_after_charging(catalogue: Catalogue) -> None:
    """0.1 to 0.5 V (common practice, no source): hardly any above, most of them not below."""
    logarithm = NormalDist(
        math.log(catalogue.number("surface_charge_median")), catalogue.number("surface_charge_ln_spread")
    )
    assert logarithm.cdf(math.log(0.5)) >= 0.975
    assert logarithm.cdf(math.log(0.1)) <= 0.34


def test_a_sound_car_draws_what_is_quoted_until_its_modules_sleep(catalogue: Catalogue) -> None:
    """0.3 A, latched, to 5 A with a door open (college hand-out, secondary): all but one in forty at each end."""
    draw = NormalDist(math.log(catalogue.number("awake_draw")), catalogue.number("awake_draw_ln_spread"))
    for beyond in (draw.cdf(math.log(0.3)), 1.0 - draw.cdf(math.log(5.0))):
        assert 0.019 < beyond < 0.031


def test_two_draws_of_one_car_before_its_modules_sleep_differ_as_two_cars_do(catalogue: Catalogue) -> None:
    """A door open or latched (college hand-out, secondary): standard deviation of that lognormal, in closed form."""
    square = catalogue.number("awake_draw_ln_spread") ** 2
    spread = catalogue.number("awake_draw") * math.sqrt(math.exp(square) * (math.exp(square) - 1.0))
    assert catalogue.number("awake_draw_between_readings") == pytest.approx(spread, rel=0.05)


def test_a_charge_that_nobody_timed_took_six_to_twenty_four_hours(catalogue: Catalogue) -> None:
    """6 to 24 h (common practice, no source): nine in ten."""
    logarithm = NormalDist(math.log(catalogue.number("charger_hours")), catalogue.number("charger_hours_ln_spread"))
    assert logarithm.cdf(math.log(24.0)) - logarithm.cdf(math.log(6.0)) >= 0.9


# instruments


@pytest.mark.parametrize(
    "name, percent, floor, resolution, source",
    [
        ("multimeter", 0.5, 0.02, 0.01, "tutorials on meters (secondary): 0.5 % + 2 digits, range of 20 V"),
        ("multimeter_millivolts", 0.5, 0.002, 0.001, "tutorials on meters (secondary): 0.5 % + 2 digits, range of 2 V"),
        ("better_multimeter", 0.1, 0.002, 0.001, "tutorials on meters (secondary): 0.1 % + 2 digits of 1 mV"),
        ("fast_meter", 0.5, 0.02, 0.01, "tutorials on meters (secondary): 0.5 % + 2 digits, range of 20 V"),
        (
            "multimeter_amperes",
            1.5,
            0.03,
            0.01,
            "the looser end of meters' specifications, from memory: 1.5 % + 3 digits",
        ),
        ("clamp_meter", 2.0, 0.5, 0.1, "example specification (secondary): 2 % + 5 digits of 0.1 A"),
        ("clamp_meter_fine", 2.0, 0.005, 0.001, "trade page (secondary): 2 % + 5 digits of 1 mA"),
        ("hydrometer", 0.0, 0.005, 0.005, "practice: read to half a division of 0.010"),
        ("infrared_thermometer", 2.0, 2.0, 0.1, "usual specification, from memory: 2 % or 2 degC"),
    ],
)
def test_instruments_are_as_good_as_their_specification(
    catalogue: Catalogue, name: str, percent: float, floor: float, resolution: float, source: str
) -> None:
    """Secondary, from memory and common practice: percent of the reading and digits."""
    meter = catalogue.instrument(name)
    found = (meter.percent, meter.floor, meter.resolution)
    assert found == pytest.approx((percent, floor, resolution), rel=0.05), source


@pytest.mark.parametrize(
    "name, window, source",
    [
        ("multimeter", 0.1, "lowest and highest of about 100 ms"),
        ("multimeter_millivolts", 0.1, "lowest and highest of about 100 ms"),
        ("better_multimeter", 0.1, "lowest and highest of about 100 ms"),
        ("clamp_meter", 0.1, "inrush over about 100 ms"),
        ("fast_meter", 0.001, "peaks of 0.25 to 1 ms"),
    ],
)
def test_how_long_a_meter_averages(catalogue: Catalogue, name: str, window: float, source: str) -> None:
    """Common practice, no source."""
    assert catalogue.instrument(name).window == pytest.approx(window, rel=0.1), source


@pytest.mark.parametrize("rate", [2, 5, 10])
def test_what_the_diagnostic_socket_gives(catalogue: Catalogue, rate: int) -> None:
    """2 to 10 readings a second, 0.15 V below the posts in the mean, 0.1 V of standard deviation: common practice, no
    source. Displayed to 0.01 V of the 1 mV that SAE J1979 sends (secondary)."""
    adapter = catalogue.instrument(f"socket_adapter_{rate}hz")
    assert adapter.interval == pytest.approx(1.0 / rate)
    assert (adapter.offset, adapter.offset_spread) == pytest.approx((-0.15, 0.1), rel=0.05)
    assert adapter.resolution == pytest.approx(0.01, rel=0.05)


# prices and minutes of work


@pytest.mark.parametrize(
    "kind, name, low, high",
    [
        ("shop", "hourly_rate", 60, 180), ("shop", "call_back", 200, 500),
        ("part", "battery", 70, 350), ("part", "positive_joint", 0, 25), ("part", "negative_joint", 0, 25),
        ("part", "starter_cable", 20, 120), ("part", "ground_path", 10, 50), ("part", "solenoid", 25, 120),
        ("part", "starter_motor", 90, 500), ("part", "start_control", 5, 200), ("part", "alternator", 120, 700),
        ("part", "regulator", 20, 120), ("part", "belt", 15, 60), ("part", "charge_cable", 20, 120),
        ("labour", "battery", 12, 30), ("labour", "positive_joint", 12, 24), ("labour", "negative_joint", 12, 24),
        ("labour", "starter_cable", 18, 90), ("labour", "ground_path", 18, 90), ("labour", "solenoid", 18, 90),
        ("labour", "starter_motor", 42, 180), ("labour", "start_control", 18, 90), ("labour", "alternator", 48, 150),
        ("labour", "regulator", 30, 120), ("labour", "belt", 18, 90), ("labour", "charge_cable", 18, 90),
        ("labour", "drain", 30, 180),
    ],
)  # fmt: skip
def test_prices_and_minutes_lie_in_what_is_quoted(kind: str, name: str, low: float, high: float) -> None:
    """Common practice, no source; prices as of the 2020s, minutes of hands-on work (0.2 h are 12 min)."""
    text = (shipped("priors") / "standard" / "costs.csv").read_text(encoding="utf-8")
    rows = {(row["kind"], row["name"]): row for row in csv.DictReader(text.splitlines())}
    assert low <= float(rows[kind, name]["value"]) <= high
