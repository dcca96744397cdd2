"""Rules of thumb of the trade that the built model must agree with.

Each is a statement about how a reading moves the odds of some causes, on one invented car. Nothing here was used to
build the tables; a rule that is only common practice says so. "Odds" are those of at least one of the causes named.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue

CAR = Car(Battery(600.0), label="invented")
LOAD_RESPONSIVE = Car(Battery(600.0), charge_control="load_responsive", label="invented")
MILD = Conditions(air_temperature=20.0, hours_standing=12.0)
FROSTY = Conditions(air_temperature=-15.0, hours_standing=12.0)

BATTERY = ("battery",)
TURNS = ("slow", "normal")
CHARGING = ("alternator", "regulator", "rectifier", "belt", "charge_cable", "charge_control")
POSITIVE_SIDE = ("positive_joint", "starter_cable", "solenoid")
GROUND_SIDE = ("ground_path", "negative_joint")
RESISTANCE_OR_STARTER = (*POSITIVE_SIDE, *GROUND_SIDE, "starter_motor")
BAD_CELL = ("battery:weak_cell", "battery:shorted_cell")


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


def read(test: str, seen: float | str, instrument: str | None = None) -> Reading:
    if isinstance(seen, str):
        return Reading(test, state=seen, instrument=instrument)
    return Reading(test, value=seen, instrument=instrument)


@lru_cache(maxsize=256)
def chance(causes: tuple[str, ...], entries: tuple[Entry, ...], conditions: Conditions, car: Car) -> float:
    """Probability that at least one of the causes ("component" or "component:mode") holds."""
    worked = work_through(Case(car, (Visit(entries, conditions),)), catalogue())
    modes = worked.space.modes
    rows = modes[:, 0] < 0
    for cause in causes:
        component, _, mode = cause.partition(":")
        column = modes[:, worked.space.components.index(component)]
        states = [m.id for m in catalogue().component(component).modes]
        rows |= column == states.index(mode) if mode else column > 0
    return float(worked.belief.posterior[rows].sum())


def moved(
    causes: Sequence[str],
    *readings: Entry,
    given: Sequence[Entry] = (),
    conditions: Conditions = MILD,
    car: Car = CAR,
) -> float:
    """Factor by which readings move the odds of some causes [-]."""
    before = chance(tuple(causes), tuple(given), conditions, car)
    after = chance(tuple(causes), (*given, *readings), conditions, car)
    return (after / (1.0 - after)) / (before / (1.0 - before))


# at rest


@pytest.mark.parametrize("volts", [12.4, 12.5, 12.6])
def test_a_good_rest_voltage_says_little_about_the_battery(volts: float) -> None:
    """12.4 to 12.6 V tells charge, not health (common practice, no source): no more than a factor of two."""
    assert 0.5 < moved(BATTERY, read("rest_voltage", volts)) < 2.0
    for mode in ("worn", "broken_link", "undersized"):
        assert 0.5 < moved((f"battery:{mode}",), read("rest_voltage", volts)) < 2.0, mode
    # the acid of one that lost water is too strong: it reads a little high
    assert 0.4 < moved(("battery:dried_out",), read("rest_voltage", volts)) < 2.0


@pytest.mark.parametrize(
    "test, volts", [("hold_after_charge", 12.6), ("hold_after_charge", 12.7), ("rest_voltage", 12.9)]
)
def test_a_worn_or_small_battery_is_filled_overnight_like_any_other(test: str, volts: float) -> None:
    """Open-circuit volts tell charge, not strength, after a charge too (common practice, no source)."""
    for mode in ("worn", "undersized"):
        assert 0.5 < moved((f"battery:{mode}",), read(test, volts), given=(Act("charge"),)) < 2.0, mode


def test_a_sulphated_battery_does_not_get_all_its_acid_back() -> None:
    """Charged overnight and at 12.4 V half a day later: hard sulphate binds acid (common practice, no source)."""
    held = moved(("battery:sulphated",), read("hold_after_charge", 12.4), given=(Act("charge"),))
    assert held > 3.0


def test_ten_and_a_half_volts_at_rest_is_a_lost_cell() -> None:
    """One cell of 2.1 V missing: derived from rest voltage against specific gravity (secondary)."""
    assert moved(("battery:shorted_cell",), read("rest_voltage", 10.5)) > 30.0


def test_twelve_and_a_half_volts_at_rest_rules_a_lost_cell_out() -> None:
    """Derived: six cells at 2.08 V; five give 10.4 V."""
    assert moved(("battery:shorted_cell",), read("rest_voltage", 12.5)) < 0.02


def test_a_flat_battery_points_at_how_it_was_used_and_drained_before_at_itself() -> None:
    """About half of all flat batteries are simply discharged (blend of club statistics, derived)."""
    flat = read("rest_voltage", 11.9)
    assert moved(("use:left_on",), flat) > 4.0
    assert moved(("use", "drain"), flat) > moved(BATTERY, flat)


def test_surface_charge_makes_a_high_reading_worthless() -> None:
    """12.9 to 13.4 V just after charging is surface charge (common practice, no source)."""
    just_driven = Conditions(air_temperature=20.0, hours_standing=0.3)
    assert 0.7 < moved(BATTERY, read("rest_voltage", 13.0), conditions=just_driven) < 1.4


def test_cells_that_differ_are_a_bad_cell() -> None:
    """More than 0.050 between cells condemns (US Army TM 5-3740-214-14, published)."""
    assert moved(BAD_CELL, read("hydrometer_spread", 0.06)) > 15.0


def test_cells_that_agree_clear_the_cells() -> None:
    """Within 0.010 on a good battery (US Army TM 9-6140-200-14 allows 0.025, published)."""
    assert moved(BAD_CELL, read("hydrometer_spread", 0.005)) < 0.05


def test_a_green_eye_hardly_clears_the_cells() -> None:
    """It sees one cell of six: it takes away a sixth of the suspicion at most (common practice, no source)."""
    charged = (read("rest_voltage", 12.6),)
    assert 0.75 < moved(("battery:weak_cell",), read("built_in_eye", "green"), given=charged) < 1.0


def test_a_clear_eye_is_a_low_level() -> None:
    """Acid below the eye (common practice, no source)."""
    assert moved(("battery:dried_out",), read("built_in_eye", "clear")) > 5.0


def test_a_battery_that_takes_no_current_though_it_is_flat_is_sulphated() -> None:
    """Below 0.05 A/A h at any charge (common practice, no source; mechanism Pavlov 2011, from memory)."""
    flat = (read("hydrometer_level", 1.18),)
    assert moved(("battery:sulphated",), read("charger_acceptance", 1.0), given=flat) > 5.0


def test_a_battery_that_holds_its_charge_is_good_and_one_that_does_not_is_bad() -> None:
    """12.4 V and more twelve hours after a full charge (common practice, no source).

    Good as to its cells and its acid; a worn one holds its volts as well, so all that may be wrong with it is halved.
    """
    assert moved(("battery:sulphated", *BAD_CELL), read("hold_after_charge", 12.65)) < 0.25
    assert moved(BATTERY, read("hold_after_charge", 12.65)) < 0.5
    assert moved(BATTERY, read("hold_after_charge", 12.2)) > 10.0


# cranking


def test_a_low_crank_minimum_speaks_against_the_battery() -> None:
    """9.6 V as an ordinary meter shows it (common practice, no source); lower is worse."""
    at_limit, below, far_below = (moved(BATTERY, read("crank_minimum", v)) for v in (9.6, 9.3, 9.0))
    assert 1.0 < at_limit < below < far_below
    assert far_below > 2.0


def test_a_high_crank_minimum_clears_the_battery() -> None:
    """10.4 to 11.4 V typical (common practice, no source)."""
    low_end, middle = (moved(BATTERY, read("crank_minimum", v)) for v in (10.6, 10.9))
    assert middle < low_end < 0.8
    assert middle < 0.5


def test_the_same_crank_minimum_means_less_in_the_cold() -> None:
    """About 0.1 V lower for every 10 degC colder, and more (common practice, no source)."""
    warm, cold = (moved(BATTERY, read("crank_minimum", 9.3), conditions=c) for c in (MILD, FROSTY))
    assert cold < 0.5 * warm


def test_the_same_minimum_on_a_fast_meter_is_a_good_one() -> None:
    """The true dip of a healthy start is 8 to 10 V; a 0.1 s window hides up to 1.5 V of it (derived, ISO 16750-2)."""
    slow = moved(BATTERY, read("crank_minimum", 9.3, "multimeter"))
    fast = moved(BATTERY, read("crank_minimum", 9.3, "fast_meter"))
    assert fast < 1.0 < slow


def test_deep_sag_over_fifteen_seconds_is_a_weak_cell() -> None:
    """Sag over 5 to 15 s is the tell (common practice, no source)."""
    assert moved(("battery:weak_cell",), read("dead_crank_sag", 1.0)) > 8.0


def test_high_volts_slow_and_no_great_current_is_resistance_or_the_starter() -> None:
    """High electrical resistance gives low current (diagnosis lists of workshop manuals, secondary)."""
    seen = (read("recorded_sustained", 11.9), read("cranking_speed", 120.0), read("crank_current", 125.0))
    assert moved(RESISTANCE_OR_STARTER, *seen) > 10.0
    assert moved(BATTERY, *seen) < 0.3


def test_high_current_and_slow_is_the_motor_or_the_engine() -> None:
    """High mechanical resistance gives high current (diagnosis lists of workshop manuals, secondary)."""
    seen = (read("crank_current", 300.0), read("cranking_speed", 120.0))
    assert moved(("starter_motor:dragging", "engine_turning"), *seen) > 6.0
    assert moved(("starter_motor:worn_brushes",), *seen) < 1.0


def test_one_clunk_with_bright_lamps_is_not_the_battery() -> None:
    """Open motor, burnt contacts or control, lamps bright (common practice, no source)."""
    seen = (read("how_it_turns_over", "one_clunk"), read("lamps_while_cranking", "stay_bright"))
    assert moved(("solenoid", "starter_motor", "start_control"), *seen) > 4.0
    assert moved(BATTERY, *seen) < 0.6


def test_nothing_at_all_with_bright_lamps_is_the_control() -> None:
    """Switch, relay, interlock or the pulling winding (common practice, no source)."""
    seen = (read("how_it_turns_over", "nothing"), read("lamps_while_cranking", "stay_bright"))
    assert moved(("start_control", "solenoid"), *seen) > 12.0


@pytest.mark.parametrize("volts", [5.0, 8.0])
def test_few_volts_at_terminal_50_with_bright_lamps_are_the_control(volts: float) -> None:
    """It loses 1.0 V at most (US Army TM 5-2420-230-24-2); worn contacts of a switch or relay lose several."""
    silent = (read("how_it_turns_over", "nothing"), read("rest_voltage", 12.6))
    bright = (*silent, read("lamps_while_cranking", "stay_bright"), read("control_terminal_voltage", volts))
    assert moved(("start_control",), *bright) > 12.0


def test_rapid_clicking_is_a_battery_that_is_flat_and_seldom_a_broken_part() -> None:
    """Rapid clicking, lamps dim or out: flat battery (common practice, no source)."""
    clicking = (read("how_it_turns_over", "rapid_clicking"), read("lamps_while_cranking", "go_out"))
    assert moved(("use", "drain"), *clicking) > 2.0
    assert moved(("start_control", "starter_motor:open"), *clicking) < 0.5


def test_a_great_drop_on_the_positive_side_is_on_the_positive_side() -> None:
    """More than 0.5 V is too much (workshop manual, secondary); 1 V settles it, 0.15 V clears it."""
    weak, strong = (moved(POSITIVE_SIDE, read("positive_side_drop", v)) for v in (0.6, 1.0))
    assert 1.0 < weak < strong
    assert strong > 5.0
    assert moved(POSITIVE_SIDE, read("positive_side_drop", 0.15)) < 0.6


def test_half_a_volt_on_the_ground_side_is_on_the_ground_side() -> None:
    """At most 0.2 V (workshop manual and training page, secondary), 0.3 V at the loosest."""
    assert moved(GROUND_SIDE, read("ground_side_drop", 0.5)) > 8.0
    assert moved(GROUND_SIDE, read("ground_side_drop", 0.08)) < 0.6


def test_a_volt_between_alternator_and_battery_is_the_cable() -> None:
    """0.2 V typical, 0.5 V at most at full load (common practice); 0.3 V at 30 A (workshop manual, secondary)."""
    over, far = (moved(("charge_cable",), read("charge_cable_drop", v)) for v in (0.8, 1.2))
    assert over > 8.0
    assert far > 40.0
    assert moved(("charge_cable",), read("charge_cable_drop", 0.2)) < 0.4


def test_a_pass_today_clears_corrosion_but_not_a_slack_joint() -> None:
    """A fault that is off today passes every test today (derived: 0.65 of slack joints make contact at a visit)."""
    good = read("positive_joint_drop", 0.015)
    assert moved(("positive_joint:corroded",), good) < 0.1
    assert 0.5 < moved(("positive_joint:slack",), good) < 0.9


def test_a_joint_that_moves_by_hand_is_slack() -> None:
    """A clamp must not turn by hand (common practice, no source)."""
    assert moved(("positive_joint:slack",), read("positive_joint_moves", "moves")) > 5.0


def test_a_clean_joint_may_still_be_a_bad_one() -> None:
    """The film may be invisible, so a look is weak evidence (trade page, secondary)."""
    assert 0.3 < moved(("positive_joint",), read("positive_joint_look", "clean")) < 1.0


def test_it_fires_when_it_cranks_well_or_the_fault_lies_outside() -> None:
    """Cranks well and does not fire: fuel, spark or speed signal (common practice, no source)."""
    seen = (read("how_it_turns_over", "normal"), read("fires_when_cranked", "cranks_no_fire"))
    assert moved(("engine_running",), *seen) > 8.0


def test_a_better_ground_lead_that_helps_is_the_ground() -> None:
    """Jumper from engine block to negative post (common practice, no source)."""
    assert moved(GROUND_SIDE, read("jumper_ground", "turns_better")) > 5.0


def test_a_tap_that_helps_is_brushes_or_contacts() -> None:
    """Tap helps: worn brushes (common practice, no source)."""
    seen = read("tap_starter", "cranks_after_tap")
    assert moved(("starter_motor:worn_brushes", "solenoid:worn_contacts"), seen) > 3.0


def test_no_current_and_a_clunk_is_an_open_motor_or_burnt_contacts() -> None:
    """5 to 20 A, the coil alone (common practice, no source)."""
    seen = (read("crank_current", 14.0), read("how_it_turns_over", "one_clunk"))
    assert moved(("starter_motor:open", "solenoid:worn_contacts"), *seen) > 8.0


def test_an_engine_that_cannot_be_turned_by_hand_is_seized() -> None:
    """Check by hand (workshop manuals, secondary)."""
    assert moved(("engine_turning:seized",), read("turn_by_hand", "locked")) > 15.0


# under a known load


def test_the_load_test_counts_on_a_charged_battery() -> None:
    """9.6 V at half the rating for 15 s at 21 degC and more (service manuals, secondary)."""
    charged = (read("rest_voltage", 12.6),)
    assert moved(BATTERY, read("half_rating_load", 9.0), given=charged) > 5.0
    assert moved(BATTERY, read("half_rating_load", 10.6), given=charged) < 0.3


def test_the_load_test_fails_a_flat_battery_falsely() -> None:
    """Valid at three quarters charge and above only (service manuals, secondary)."""
    charged, flat = ((read("rest_voltage", v),) for v in (12.6, 12.0))
    weights = [moved(BATTERY, read("half_rating_load", 9.0), given=g) for g in (charged, flat)]
    assert weights[1] < 0.3 * weights[0]


def test_the_limit_of_the_load_test_falls_with_the_cold() -> None:
    """8.5 V at -18 degC against 9.6 V at 21 degC (service manuals, secondary)."""
    charged = (read("rest_voltage", 12.6),)
    warm, cold = (moved(BATTERY, read("half_rating_load", 9.0), given=charged, conditions=c) for c in (MILD, FROSTY))
    assert cold < 1.2 < warm


def test_a_low_conductance_speaks_against_a_charged_battery() -> None:
    """Below two thirds of the rating (derived from the load-test table: its line lies near 0.66 of the rating)."""
    charged = (read("rest_voltage", 12.6),)
    assert moved(BATTERY, read("conductance_rating", 350.0), given=charged) > 4.0
    assert moved(BATTERY, read("conductance_rating", 620.0), given=charged) < 0.5


# charging


def test_ordinary_charging_volts_clear_the_charging_side() -> None:
    """13.5 to 14.8 V warm, low load (common practice, no source)."""
    assert moved(CHARGING, read("charge_unloaded_voltage", 14.2)) < 0.7


def test_twelve_and_a_half_volts_with_the_engine_running_is_no_charging() -> None:
    """Within 0.1 to 0.2 V of engine-off volts (common practice, no source)."""
    assert moved(CHARGING, read("charge_unloaded_voltage", 12.5)) > 30.0


def test_more_than_fifteen_and_a_half_volts_is_the_regulator() -> None:
    """Over 15.0 V warm, over 15.5 V in any case (common practice, no source)."""
    assert moved(("regulator:high",), read("charge_unloaded_voltage", 15.6)) > 30.0


def test_low_charging_volts_are_normal_on_a_load_responsive_system() -> None:
    """12.2 to 12.8 V is no proof of failure there (training pages, secondary)."""
    low = read("charge_unloaded_voltage", 12.9)
    assert moved(CHARGING, low) > 10.0
    assert moved(CHARGING, low, car=LOAD_RESPONSIVE) < 3.0


def test_ripple_over_half_a_volt_is_the_rectifier_and_little_ripple_clears_it() -> None:
    """0.5 V rms common practice, no source; healthy 10 to 50 mV."""
    assert moved(("rectifier",), read("charge_ripple", 0.5)) > 20.0
    assert moved(("rectifier",), read("charge_ripple", 0.03)) < 0.05


def test_dying_on_the_road_with_fading_lamps_and_a_flat_battery_is_charging() -> None:
    """A car that dies on the road was running on its battery (common practice, no source)."""
    seen = (read("died_while_driving", "lamps_faded_first"), read("rest_voltage", 11.8))
    assert moved(CHARGING, *seen) > 5.0
    assert moved(CHARGING, seen[0]) > 2.0


def test_flat_again_after_a_jump_start_has_a_reason_that_stays() -> None:
    """Restarting later matters more than whether the jump worked (common practice, no source)."""
    stays = (*BATTERY, "alternator", "regulator", "drain")
    assert moved(stays, read("jump_start", "starts_flat_again")) > 2.0
    assert moved(("use:left_on",), read("jump_start", "starts_and_restarts_later")) > 1.7


def test_a_jump_start_that_does_not_help_is_not_the_battery() -> None:
    """Joint, starter or control (common practice, no source)."""
    assert moved((*BATTERY, "use", "drain"), read("jump_start", "no_help")) < 0.5


def test_a_jump_start_that_cures_today_says_the_battery_side_and_not_the_starter() -> None:
    """With a good battery in parallel whatever else is bad stays bad (derived)."""
    cured = Act("jump_start", outcome="cured")
    no_crank = (read("how_it_turns_over", "nothing"),)
    assert moved(("start_control:open", "starter_motor:open"), cured, given=no_crank) < 0.5
    slow = (read("how_it_turns_over", "slow"), read("crank_minimum", 8.0))
    assert moved((*BATTERY, "use", "drain"), cured, given=slow) > 1.0
    clicking = (read("how_it_turns_over", "rapid_clicking"),)
    assert moved((*BATTERY, "use", "drain"), cured, given=clicking) > 1.3


def test_an_engine_that_turns_slowly_and_does_not_fire_is_not_yet_at_fault() -> None:
    """Too slow to fire: battery and starting circuit first (common practice, no source)."""
    no_fire = read("fires_when_cranked", "cranks_no_fire")
    slow, normal = (chance(("engine_running",), (read("how_it_turns_over", w), no_fire), FROSTY, CAR) for w in TURNS)
    assert slow < 0.5 < normal


def test_a_booster_that_starts_it_clears_the_engine_side() -> None:
    """Another battery gives neither spark nor fuel (common practice, no source)."""
    no_fire = (read("fires_when_cranked", "cranks_no_fire"),)
    assert moved(("engine_running",), read("jump_start", "starts_flat_again"), given=no_fire) < 0.6
    assert moved(("engine_running",), read("jump_start", "no_help"), given=no_fire) > 1.2


def test_a_charge_lamp_that_never_lights_is_the_exciter() -> None:
    """Lamp circuit open: no excitation (common practice, no source)."""
    assert moved(("charge_control:not_excited",), read("charge_lamp", "never_lights")) > 8.0


def test_one_that_charges_only_once_it_was_revved_is_not_excited() -> None:
    """No lamp, the battery's own volts at idle, the regulated voltage at brisk speed (common practice, no source)."""
    idle, brisk = read("charge_idle_voltage", 12.2), read("charge_unloaded_voltage", 14.0)
    assert moved(("charge_control:not_excited",), brisk, given=(idle,)) > 1.0
    no_lamp = read("charge_lamp", "never_lights")
    assert chance(("charge_control:not_excited",), (no_lamp, idle, brisk), MILD, CAR) > 0.7


def test_a_belt_that_squeals_slips() -> None:
    """Squeal after the start or in the wet (common practice, no source)."""
    assert moved(("belt",), read("alternator_noise", "squeal")) > 4.0


# parked


def test_a_tenth_of_an_ampere_and_more_asleep_is_a_drain() -> None:
    """100 mA is not acceptable (shop list, secondary); 50 mA is."""
    assert moved(("drain",), read("key_off_current", 0.4)) > 8.0
    assert moved(("drain",), read("key_off_current", 0.025)) < 0.4


def test_an_ordinary_key_off_current_does_not_clear_what_stays_awake_sometimes() -> None:
    """A module that does not go to sleep every time sleeps while it is watched (common practice, no source)."""
    good = read("key_off_current", 0.025)
    assert 0.4 < moved(("drain:stays_awake",), good) < 0.95
    assert moved(("drain:moderate", "drain:heavy"), good) < 0.1


def test_a_leak_that_ends_with_the_alternators_lead_is_a_diode() -> None:
    """More than 60 mA through the rectifier is a leak (training page, secondary)."""
    seen = (read("key_off_current", 0.5), read("fuse_pull", "falls_with_alternator_lead"))
    assert moved(("rectifier:leaking_diode",), *seen) > 50.0


def test_weeks_of_standing_are_reason_enough() -> None:
    """30 mA takes 60 A h to half in 42 days (derived)."""
    assert moved(("use:long_standing",), read("standing_habit", "weeks")) > 4.0


def test_a_new_battery_that_changed_nothing_clears_the_battery() -> None:
    """The commonest wrong part (secondary education pages: up to half of returned batteries are good)."""
    assert moved(BATTERY, read("battery_replaced_lately", "lately_no_change")) < 0.8


def test_a_low_supply_code_is_an_effect_and_moves_the_alternator_little() -> None:
    """Low-voltage codes are effects (common practice, no source)."""
    assert 1.0 < moved(("alternator",), read("supply_codes", "supply_low")) < 3.0


def test_faults_that_come_when_hot_are_in_the_starter_and_after_standing_in_the_drain() -> None:
    """Open when hot: worn brushes; flat after days: drain or standing (common practice, no source)."""
    assert moved(("starter_motor",), read("when_it_fails", "hot")) > 1.8
    assert moved(("drain", "use:long_standing"), read("when_it_fails", "after_standing")) > 1.8


def test_a_battery_past_its_mean_life_is_suspected_before_a_young_one() -> None:
    """Weibull life of shape 2.5 and mean 55 months in temperate climate (derived)."""
    young, old = (Car(Battery(600.0, age=age), label="invented") for age in (1.0, 7.0))
    assert chance(BATTERY, (), MILD, old) > 1.5 * chance(BATTERY, (), MILD, young)
