"""The numbers of the shipped prior set against outside sources; a rule of the trade says so."""

from __future__ import annotations

import itertools
import math
import re

import pytest

from faultnet.prior_set import AGE_BANDS, CONDITIONS, SOUND_MODES, Catalogue, Effect, load_catalogue


@pytest.fixture(scope="module")
def catalogue() -> Catalogue:
    return load_catalogue()


def effect(catalogue: Catalogue, component: str, mode: str, parameter: str) -> Effect:
    found = catalogue.effect(component, mode, parameter)
    assert found is not None
    return found


def quantile(row: Effect, normal_score: float) -> float:
    """Value of a lognormal or normal row at a standard normal score."""
    if row.shape == "lognormal":
        return row.centre * math.exp(row.spread * normal_score)
    assert row.shape == "normal"
    return row.centre + row.spread * normal_score


# --- marks ------------------------------------------------------------------------------------------------------------


def numbered_rows(catalogue: Catalogue) -> list[tuple[str, str, str]]:
    """Source, mark and place of every row that carries a number."""
    rows = [(row.source, row.mark, f"effect {key}") for key, row in catalogue.effects.items()]
    rows += [(row.source, row.mark, f"spread {key}") for key, row in catalogue.spreads.items()]
    rows += [(i.source, i.mark, f"instrument {i.id}") for i in catalogue.instruments]
    for key, groups in (*catalogue.base_rates.items(), *catalogue.on_rates.items()):
        rows += [(row.source, row.mark, f"rate {key}") for row in groups.values()]
    for name, entry in catalogue.symptoms.items():
        rows += [(source, mark, f"symptom {name}") for source, mark, _ in entry.sources.values()]
    return rows


def test_a_mark_agrees_with_its_source(catalogue: Catalogue) -> None:
    for source, mark, where in numbered_rows(catalogue):
        if mark in ("published", "secondary", "memory"):
            assert "no source" not in source, where
        if mark == "practice":
            assert "common practice, no source" in source, where
        if mark == "derived":
            assert source.startswith("derived"), where


def test_a_secondary_source_says_where_it_was_seen(catalogue: Catalogue) -> None:
    kinds = re.compile(r"page|manual|hand-out|tutorial|abstract|glossary|diagnosis lists|table|mailing list")
    secondary = [(source, where) for source, mark, where in numbered_rows(catalogue) if mark == "secondary"]
    assert secondary
    assert [where for source, where in secondary if not kinds.search(source)] == []


def test_conditions_of_on_rates_are_what_brings_the_mode_on(catalogue: Catalogue) -> None:
    for component in catalogue.components:
        for mode in component.modes:
            assert set(mode.brought_on) <= set(CONDITIONS)
            if mode.comes_and_goes:
                usual = catalogue.on_rate(component.id, mode.id)
                assert all(catalogue.on_rate(component.id, mode.id, {name}) > usual for name in mode.brought_on)


# --- base rates against outside sources -------------------------------------------------------------------------------

SHAPE = 2.5
MEAN_LIFE = {"cold": 72 / 12, "temperate": 55 / 12, "hot": 30 / 12}
AGEING = ("sulphated", "worn", "weak_cell", "shorted_cell", "broken_link", "dried_out")


def failed_share(low: float, high: float, mean_life: float, span: float) -> float:
    """Share of the batteries of an age band in service that have failed within the last `span` years."""
    scale = mean_life / math.gamma(1.0 + 1.0 / SHAPE)

    def failed_by(age: float) -> float:
        return 1.0 - math.exp(-((max(age, 0.0) / scale) ** SHAPE))

    ages = [low + (high - low) * (i + 0.5) / 200 for i in range(200)]
    failed = sum(failed_by(age) - failed_by(age - span) for age in ages)
    return failed / sum(1.0 - failed_by(age - span) for age in ages)


@pytest.mark.parametrize("climate", list(MEAN_LIFE))
def test_battery_rates_by_age_follow_the_weibull_lives(catalogue: Catalogue, climate: str) -> None:
    """Weibull shape 2.5; mean life 30 months hot, 55 temperate (battery makers' council study 2010, from
    memory), 72 cold (trade pages); span chosen so that temperate gives the overall rate; held at 500 per 1000
    (estimate)."""
    overall = sum(catalogue.rate("battery", mode)[0] for mode in AGEING) / 1000.0
    span = overall * MEAN_LIFE["temperate"] / (1.0 - overall)
    for name, low, high in AGE_BANDS:
        expected = min(1000.0 * failed_share(low, min(high, 12.0), MEAN_LIFE[climate], span), 500.0)
        found = sum(catalogue.rate("battery", mode, low, climate)[0] for mode in AGEING)
        assert found == pytest.approx(expected, abs=0.4), (climate, name)


@pytest.mark.parametrize("climate", list(MEAN_LIFE))
def test_battery_rates_without_an_age_are_the_share_of_time_in_fault(catalogue: Catalogue, climate: str) -> None:
    """Renewal theory: share of time in fault = span/(span + mean life)."""
    overall = sum(catalogue.rate("battery", mode)[0] for mode in AGEING) / 1000.0
    span = overall * MEAN_LIFE["temperate"] / (1.0 - overall)
    found = sum(catalogue.rate("battery", mode, None, climate)[0] for mode in AGEING)
    assert found == pytest.approx(1000.0 * span / (span + MEAN_LIFE[climate]), abs=0.4)


def faults(catalogue: Catalogue, component: str) -> list[str]:
    return [mode.id for mode in catalogue.component(component).modes[1:]]


def cars(catalogue: Catalogue, *components: str) -> float:
    return sum(catalogue.rate(c, mode)[0] for c in components for mode in faults(catalogue, c))


CHARGING = ("alternator", "regulator", "rectifier", "belt", "charge_cable", "charge_control")
JOINTS = ("positive_joint", "negative_joint", "starter_cable", "ground_path")


@pytest.mark.parametrize(
    "components, low, high",
    [
        (("battery", "use", "drain"), 0.65, 0.75),
        (CHARGING, 0.08, 0.15),
        (("solenoid", "starter_motor"), 0.07, 0.13),
        (JOINTS, 0.05, 0.10),
        (("start_control",), 0.02, 0.05),
    ],
)
def test_shares_of_a_slow_or_dead_start(
    catalogue: Catalogue, components: tuple[str, ...], low: float, high: float
) -> None:
    """Blend of motoring clubs' call-out statistics (Germany 2017 to 2024, UK 2011 and 2014, US region 2015)."""
    electrical = ("battery", "use", "drain", *CHARGING, "solenoid", "starter_motor", *JOINTS, "start_control")
    assert low <= cars(catalogue, *components) / cars(catalogue, *electrical) <= high


def test_about_half_of_the_flat_or_worn_batteries_are_simply_discharged(catalogue: Catalogue) -> None:
    """Common practice, no source: a load left on, short trips, a drain."""
    discharged = cars(catalogue, "use", "drain")
    assert 0.4 <= discharged / (discharged + cars(catalogue, "battery")) <= 0.6


def test_an_older_battery_and_a_hotter_climate_are_worse(catalogue: Catalogue) -> None:
    def failed(age: float, climate: str) -> float:
        return sum(catalogue.rate("battery", mode, age, climate)[0] for mode in AGEING)

    for climate in MEAN_LIFE:
        by_age = [failed(low, climate) for _, low, _ in AGE_BANDS]
        rounding = 6 * 0.05  # six modes, each given to a tenth
        assert all(later >= earlier - rounding for earlier, later in itertools.pairwise(by_age))
        assert by_age[-1] > 2.0 * by_age[0]
    for _, low, _ in AGE_BANDS[:3]:
        assert failed(low, "cold") < failed(low, "temperate") < failed(low, "hot")


# --- effects against outside sources ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "component, mode, parameter, score, low, high, source",
    [
        ("positive_joint", "sound", "resistance", 2.0, 0.0, 0.0005, "0.1 V at 200 A for each connection (manual)"),
        ("negative_joint", "sound", "resistance", 2.0, 0.0, 0.0005, "0.1 V at 200 A for each connection (manual)"),
        ("positive_joint", "corroded", "resistance", 0.0, 0.001, 0.010, "1 to 10 mohm (common practice, no source)"),
        ("positive_joint", "slack", "resistance", 0.0, 0.010, 0.100, "10 to 100 mohm (derived from page example)"),
        ("ground_path", "sound", "resistance", 2.0, 0.0, 0.001, "0.2 V at 200 A, ground side (training page)"),
        ("solenoid", "sound", "contact_resistance", 2.0, 0.0, 0.0015, "0.3 V at 200 A (school page crediting SAE)"),
        ("battery", "sound", "resistance_factor", 1.645, 1.0, 1.30, "1.0 to 1.3 in life (common practice, no source)"),
        ("battery", "sulphated", "resistance_factor", 0.0, 1.3, 3.0, "1.3 to 3 (common practice, no source)"),
        ("battery", "worn", "resistance_factor", 0.0, 1.3, 2.5, "1.3 to 2.5 (common practice, no source)"),
        ("battery", "shorted_cell", "rest_loss", 0.0, 2.0, 2.15, "one cell (derived from the rest-voltage table)"),
        ("battery", "weak_cell", "rest_loss", 1.645, 0.0, 0.30, "0 to 0.3 V (common practice, no source)"),
        ("battery", "sound", "gravity_spread", 2.0, 0.0, 0.025, "TM 9-6140-200-14: 0.025 unserviceable"),
        ("battery", "weak_cell", "gravity_spread", 0.0, 0.050, 0.150, "TM 5-3740-214-14: 0.050 condemns"),
        ("drain", "sound", "current", 0.0, 0.010, 0.050, "10 to 50 mA asleep (college hand-out)"),
        ("drain", "sound", "current", 2.0, 0.010, 0.075, "75 mA acceptable, 100 mA not (shop list)"),
        ("drain", "stays_awake", "current", 0.0, 0.3, 0.85, "0.3 to 0.85 A awake (college hand-out)"),
        ("rectifier", "sound", "ripple", 2.0, 0.010, 0.090, "below 90 mV rms with loads (trade page)"),
        ("rectifier", "open_diode", "ripple", 0.0, 0.3, 0.5, "0.3 to 0.5 V and more (trade pages)"),
        ("rectifier", "sound", "leakage", 1.0, 0.0, 0.002, "1 to 2 mA (training page)"),
        ("rectifier", "leaking_diode", "leakage", -2.0, 0.060, 1.0, "over 60 mA is a leak (training page)"),
        ("rectifier", "open_diode", "output_factor", 0.0, 0.75, 0.90, "10 to 25 % (common practice, no source)"),
        ("rectifier", "leaking_diode", "output_factor", 0.0, 0.40, 0.70, "30 to 60 % (common practice, no source)"),
        ("regulator", "sound", "set_point_shift", 2.0, 0.3, 0.5, "band of 1.0 V between units (workshop manual)"),
        ("regulator", "high", "set_point_shift", 0.0, 1.8, 3.8, "16 to 18 V against 14.2 (common practice)"),
        ("alternator", "sound", "output_factor", -3.0, 0.70, 1.0, "at least 70 % of nominal (workshop manual)"),
        ("charge_cable", "sound", "resistance", 2.0, 0.001, 0.010, "0.3 V at 30 A (workshop manual)"),
        ("starter_motor", "dragging", "friction_factor", 0.0, 1.3, 2.0, "1.3 to 2 times the current (manual lists)"),
        ("engine_turning", "heavy", "drag_factor", 0.0, 1.3, 2.0, "1.3 to 2 times the current (manual lists)"),
    ],
)
def test_effects_agree_with_outside_figures(
    catalogue: Catalogue, component: str, mode: str, parameter: str, score: float, low: float, high: float, source: str
) -> None:
    """The value at so many standard deviations from the middle lies in the range that the source gives."""
    assert low <= quantile(effect(catalogue, component, mode, parameter), score) <= high, source


def test_weak_cell_loses_one_to_four_volts_under_load(catalogue: Catalogue) -> None:
    """Common practice, no source: it falls to nothing or reverses; one that begins to fail loses little as yet.

    So it is met from the edge of what a sound battery loses outwards, without a hole between the two.
    """
    weak, sound = (effect(catalogue, "battery", mode, "load_loss") for mode in ("weak_cell", "sound"))
    assert (weak.shape, weak.spread) == ("uniform", 4.0)
    assert weak.centre == sound.spread


def test_sulphation_lowers_and_water_loss_raises_the_rest_voltage(catalogue: Catalogue) -> None:
    """Abstract on ageing effects, battery-power conference 2022: opposite signs."""
    assert effect(catalogue, "battery", "sulphated", "rest_loss").centre > 0.0
    assert effect(catalogue, "battery", "dried_out", "rest_loss").centre < 0.0


@pytest.mark.parametrize(
    "name, limit, volts, source",
    [
        ("multimeter", 0.083, 12.6, "0.5 % + 2 digits of 0.01 V at 12.6 V"),
        ("multimeter", 0.068, 9.6, "0.5 % + 2 digits of 0.01 V at 9.6 V"),
        ("better_multimeter", 0.015, 12.6, "0.1 % + 2 digits of 0.001 V at 12.6 V"),
        ("multimeter_millivolts", 0.003, 0.2, "2 V range at 0.2 V"),
    ],
)
def test_meter_limits(catalogue: Catalogue, name: str, limit: float, volts: float, source: str) -> None:
    """Derived from the accuracy format of general tutorials on meters."""
    meter = catalogue.instrument(name)
    assert meter.percent / 100.0 * volts + meter.floor == pytest.approx(limit, abs=6e-4), source


# --- symptom tables ---------------------------------------------------------------------------------------------------


def test_causes_of_a_worst_table_only_make_it_worse(catalogue: Catalogue) -> None:
    """A noisy maximum needs each cause's row to lie at or above the leak: cumulative shares no higher."""
    for entry in catalogue.symptoms.values():
        if entry.combine == "worst":
            leak = cumulative(entry.otherwise)
            for row in entry.rows.values():
                assert all(x <= y + 1e-12 for x, y in zip(cumulative(row), leak, strict=True)), entry.test


def cumulative(counts: tuple[float, ...]) -> list[float]:
    return [sum(counts[: i + 1]) / sum(counts) for i in range(len(counts))]


def test_no_answer_is_impossible(catalogue: Catalogue) -> None:
    for entry in catalogue.symptoms.values():
        assert all(min(row) > 0.0 for row in (entry.otherwise, *entry.rows.values()))


def test_rows_name_fault_modes_only(catalogue: Catalogue) -> None:
    assert not {mode for entry in catalogue.symptoms.values() for _, mode in entry.rows} & SOUND_MODES


@pytest.mark.parametrize(
    "test, answer, cause, others",
    [
        ("jump_start", "starts_and_restarts_later", "use:left_on", ("battery:sulphated", "alternator:no_output")),
        ("jump_start", "starts_flat_again", "alternator:no_output", ("use:left_on", "use:long_standing")),
        ("jump_start", "no_help", "otherwise", ("battery:sulphated", "use:left_on")),
        ("died_while_driving", "lamps_faded_first", "alternator:no_output", ("otherwise", "regulator:high")),
        ("when_it_fails", "after_standing", "drain:moderate", ("otherwise", "start_control:intermittent")),
        ("charge_lamp", "never_lights", "charge_control:not_excited", ("otherwise", "belt:lost")),
        ("acid_level", "low_in_all", "battery:dried_out", ("otherwise", "battery:shorted_cell")),
        ("smell", "rotten_eggs", "regulator:high", ("otherwise", "belt:slips")),
        ("fuse_pull", "falls_with_alternator_lead", "rectifier:leaking_diode", ("otherwise", "drain:heavy")),
        ("supply_codes", "supply_low", "battery:shorted_cell", ("otherwise", "start_control:open")),
    ],
)
def test_answers_point_where_the_trade_says(
    catalogue: Catalogue, test: str, answer: str, cause: str, others: tuple[str, ...]
) -> None:
    """Common practice, no source: the answer is at least twice as likely under the cause as under the others."""
    entry = catalogue.symptoms[test]
    place = [name for name, _ in catalogue.test(test).choices].index(answer)
    rows = {"otherwise": entry.otherwise} | {f"{c}:{m}": row for (c, m), row in entry.rows.items()}
    share = {name: row[place] / sum(row) for name, row in rows.items()}
    assert all(share[cause] >= 2.0 * share[other] for other in others)
