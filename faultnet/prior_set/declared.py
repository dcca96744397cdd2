"""Which named numbers and which physical parameters the program reads, each with its unit.

This is the form of `spreads.csv` and `effects.csv`: a row that is not declared here is read by nothing and refused, and
what is declared must have its row. The values, their sources and their marks stand in the prior set alone. A test holds
that the code reads what is declared and nothing else.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Sequence

from faultnet.errors import PriorsError
from faultnet.prior_set.tables import Row

NUMBERS: dict[str, str] = {
    "roughly_factor": "-",
    "deep_discharge_loss": "V",
    "rest_voltage_spread": "V",
    "agm_rest_voltage_spread": "V",
    "surface_charge_median": "V",
    "surface_charge_ln_spread": "-",
    "surface_charge_left_after_lamps": "V",
    "temperature_spread_given": "degC",
    "temperature_spread_inferred": "degC",
    "temperature_spread_unknown": "degC",
    "temperature_assumed": "degC",
    "engine_warm_oil_temperature": "degC",
    "resistance_split_spread": "-",
    "nominal_current_spread": "-",
    "speed_to_fire_petrol": "rpm",
    "speed_to_fire_diesel": "rpm",
    "speed_to_fire_ln_spread": "-",
    "speed_to_fire_per_kelvin": "1/K",
    "fires_despite_fault": "-",
    "fires_when_sound": "-",
    "nominal_speed_mean": "rpm",
    "nominal_speed_spread": "-",
    "motor_resistance_spread": "-",
    "brush_drop_mean": "V",
    "brush_drop_spread": "V",
    "starter_cable_length_mean": "m",
    "starter_cable_length_spread": "-",
    "starter_cable_area_petrol": "mm2",
    "starter_cable_area_diesel": "mm2",
    "starter_cable_area_spread": "-",
    "compression_ripple_ln_spread": "-",
    "dip_time_spread": "-",
    "dead_crank_time": "s",
    "coil_current_hold": "A",
    "coil_current_pull": "A",
    "coil_current_spread": "-",
    "module_offset_mean": "V",
    "module_offset_spread": "V",
    "module_freeze": "-",
    "socket_offset_mean": "V",
    "socket_offset_spread": "V",
    "lamp_current": "A",
    "lamp_dim_voltage": "V",
    "lamp_out_voltage": "V",
    "lamp_dim_width": "V",
    "lamp_out_width": "V",
    "slow_share": "-",
    "slow_share_width": "-",
    "stands_speed": "rpm",
    "stands_speed_width": "rpm",
    "clicking_voltage": "V",
    "clicking_voltage_spread": "V",
    "charger_hours": "h",
    "drive_supply_current": "A",
    "set_point_nominal": "V",
    "regulator_temperature_rise": "degC",
    "regulator_temperature_hot": "degC",
    "load_responsive_spread": "V",
    "load_responsive_mean": "V",
    "load_responsive_loaded_mean": "V",
    "load_responsive_loaded_spread": "V",
    "idle_speed": "rpm",
    "idle_speed_spread": "rpm",
    "raised_speed": "rpm",
    "pulley_ratio_mean": "-",
    "pulley_ratio_spread": "-",
    "load_base": "A",
    "load_base_ln_spread": "-",
    "load_on": "A",
    "load_on_alternator": "A",
    "load_on_ln_spread": "-",
    "ripple_ln_spread": "-",
    "acceptance_rest_spread": "-",
    "hold_hours": "h",
    "overnight_hours": "h",
    "awake_draw": "A",
    "awake_draw_ln_spread": "-",
    "awake_draw_between_readings": "A",
    "half_rating_current_spread": "-",
    "half_rating_time": "s",
    "conductance_spread": "-",
    "gravity_level_spread": "-",
    "eye_green_charge": "-",
    "eye_green_charge_spread": "-",
    "eye_cells": "-",
    "brought_in_when_sound": "-",
    "base_rate_off_by": "-",
    "published_rate_off_by": "-",
    "symptom_off_by": "-",
    "sure_from": "-",
    "probable_from": "-",
    "nothing_wrong_from": "-",
    "explained_from": "-",
    "slip_from": "-",
    "clash_from": "decibans",
    "overturning_chance": "-",
    "overturning_belief": "-",
    "close_runner_up": "-",
    "tells_little": "bit",
    "telling_share": "-",
    "settling_chance": "-",
    "check_up_when_sound": "-",
    "check_up_when_at_fault": "-",
    "frozen_below": "degC",
    "nearly_flat": "-",
    "nearly_flat_chance": "-",
    "draw_worth_finding": "A",
    "unlisted_mixture": "-",
    "wrong_by_replacement": "-",
    "wrong_by_measurement": "-",
    "wrong_by_opinion": "-",
    "value_stays_between_visits": "-",
    "charge_alike_within": "-",
    "sulphation_short_trips_factor": "-",
    "sulphation_long_standing_factor": "-",
    "sulphation_charging_fault_factor": "-",
    "sulphation_drain_factor": "-",
    "dried_out_overcharge_factor": "-",
    "repair_works_replace": "-",
    "repair_works_clean": "-",
    "repair_works_recharge_sulphated": "-",
    "charge_after_good_supply": "-",
    "charge_after_good_supply_sd": "-",
    "charge_after_weak_supply": "-",
    "charge_after_weak_supply_sd": "-",
    "charge_after_none_supply": "-",
    "charge_after_none_supply_sd": "-",
    "charge_after_over_supply": "-",
    "charge_after_over_supply_sd": "-",
    "days_between_visits": "d",
    "days_between_visits_ln_spread": "-",
    "drive_hours": "h",
    "drive_hours_ln_spread": "-",
    "trip_hours": "h",
    "charger_hours_ln_spread": "-",
    "long_charge_hours": "h",
    "long_charge_hours_ln_spread": "-",
    "overnight_hours_ln_spread": "-",
    "drive_supply_ln_spread": "-",
    "weak_supply_share": "-",
    "spent_in_use": "A",
    "spent_in_use_weak_supply": "A",
    "weak_winding_does_not_pull": "-",
    "start_volts_spread": "V",
    "start_drop_unlike": "-",
    "start_drop_factor": "-",
    "inrush_seen_share": "-",
    "peak_share": "-",
    "peak_share_spread": "-",
    "charge_volts_spread": "V",
    "outcome_none_left_mended_cured": "-",
    "outcome_none_left_mended_better": "-",
    "outcome_left_mended_cured": "-",
    "outcome_left_mended_better": "-",
    "outcome_none_left_nothing_mended_cured": "-",
    "outcome_none_left_nothing_mended_better": "-",
    "outcome_left_nothing_mended_cured": "-",
    "outcome_left_nothing_mended_better": "-",
    "roughly_floor": "-",
    "electrolyte_lag": "h",
    "engine_bay_temperature": "degC",
    "engine_bay_share": "-",
    "engine_bay_rise": "K",
    "brought_on_by_heat_above": "degC",
    "brought_on_by_cold_below": "degC",
    "brought_on_by_standing_beyond": "h",
    "supply_none_below_output": "-",
    "supply_weak_below_output": "-",
    "supply_none_below_volts": "V",
    "supply_weak_below_volts": "V",
    "supply_over_above_volts": "V",
    "charge_lost_without_acceptance": "-",
    "charge_short_of_full": "-",
    "charger_time_constants": "-",
    "past_empty": "-",
    "bad_cell_loss_at_once": "-",
    "bad_cell_time": "s",
    "deep_discharge_loss_spread": "-",
    "flat_with_load": "-",
    "flat_with_load_lowest": "V",
    "flat_with_load_highest": "V",
    "resistance_rise_past_empty": "-",
    "overnight_readings_spread": "V",
    "wait_counts_from": "h",
    "surface_charge_gone_after": "h",
    "eye_green_share": "-",
    "eye_clear_dried_out": "-",
    "eye_clear_otherwise": "-",
    "coil_current_volts": "V",
    "usual_rest_voltage": "V",
    "held_back_otherwise": "-",
    "motor_turns_above": "A",
    "inrush_spread": "-",
    "cranking_speed_spread": "-",
    "crank_current_spread": "-",
    "ordinary_loop_resistance": "ohm",
    "highest_peak": "-",
    "silent_one_clunk": "-",
    "silent_rapid_clicking": "-",
    "clamp_load_spread": "-",
    "clamp_rest_spread": "-",
    "clamp_ripple_share": "-",
    "control_voltage_spread": "V",
    "drop_spread": "V",
    "contacts_almost_open_above": "ohm",
    "contacts_almost_open_below": "A",
    "largest_plate_factor": "-",
    "conductance_exponent": "-",
    "crank_sag_spread": "V",
    "dead_crank_steady": "s",
    "charger_volts": "V",
    "acceptance_to_charge_spread": "-",
    "taken_least": "A",
    "helping_resistance_factor": "-",
    "open_charge_cable_drop_least": "V",
    "open_charge_cable_drop_most": "V",
    "alternator_current_spread": "A",
    "charge_cable_drop_spread": "V",
    "charge_ground_drop_spread": "V",
    "into_battery_median": "A",
    "into_battery_ln_spread": "-",
    "ripple_full_from": "A",
    "ripple_least": "V",
    "regulator_temperature_hot_spread": "degC",
    "new_battery_charge_least": "-",
    "new_battery_charge_most": "-",
    "charged_enough": "-",
    "surely_charged": "-",
    "cranking_cured_normal": "-",
    "cranking_cured_slow": "-",
    "cranking_cured_one_clunk": "-",
    "cranking_cured_rapid_clicking": "-",
    "cranking_cured_nothing": "-",
    "cranking_better_normal": "-",
    "cranking_better_slow": "-",
    "cranking_better_one_clunk": "-",
    "cranking_better_rapid_clicking": "-",
    "cranking_better_nothing": "-",
    "cranking_no_change_normal": "-",
    "cranking_no_change_slow": "-",
    "cranking_no_change_one_clunk": "-",
    "cranking_no_change_rapid_clicking": "-",
    "cranking_no_change_nothing": "-",
    "surface_strange": "-",
    "away_while_cranking_mean": "V",
    "away_while_cranking_spread": "V",
    "slip_reads_nought": "-",
    "slip_reads_battery": "-",
    "slip_reads_decade": "-",
    "slip_reads_anything": "-",
    "slip_battery_spread": "V",
    "unlike_far": "-",
    "unlike_far_times": "-",
    "unlike_rest_volts": "V",
    "unlike_gravity": "-",
    "unlike_gravity_spread_ln": "-",
    "unlike_key_off_ln": "-",
    "unlike_draw_at_once_ln": "-",
    "unlike_overnight": "V",
    "unlike_module_offset": "V",
    "unlike_crank_volts": "V",
    "unlike_crank_current_ln": "-",
    "unlike_crank_speed_ln": "-",
    "unlike_drop_odds": "-",
    "unlike_sag": "V",
    "unlike_source_ohms_ln": "-",
    "unlike_conductance_ln": "-",
    "unlike_charge_volts": "V",
    "unlike_alternator_current_ln": "-",
    "unlike_acceptance_ln": "-",
    "unlike_ripple_ln": "-",
}
PARAMETERS: dict[tuple[str, str], str] = {
    ("battery", "resistance_factor"): "-",
    ("battery", "acceptance_factor"): "-",
    ("battery", "capacity_factor"): "-",
    ("battery", "rest_loss"): "V",
    ("battery", "load_loss"): "V",
    ("battery", "gravity_spread"): "-",
    ("battery", "self_discharge_factor"): "-",
    ("battery", "link_resistance"): "ohm",
    ("positive_joint", "resistance"): "ohm",
    ("negative_joint", "resistance"): "ohm",
    ("starter_cable", "excess"): "ohm",
    ("ground_path", "resistance"): "ohm",
    ("solenoid", "contact_resistance"): "ohm",
    ("solenoid", "pull_in_voltage"): "V",
    ("starter_motor", "brush_resistance"): "ohm",
    ("starter_motor", "friction_factor"): "-",
    ("start_control", "control_resistance"): "ohm",
    ("engine_turning", "drag_factor"): "-",
    ("alternator", "output_factor"): "-",
    ("alternator", "ripple_factor"): "-",
    ("regulator", "set_point_shift"): "V",
    ("rectifier", "output_factor"): "-",
    ("rectifier", "ripple"): "V rms",
    ("rectifier", "leakage"): "A",
    ("belt", "output_factor"): "-",
    ("charge_cable", "resistance"): "ohm",
    ("charge_control", "output_factor"): "-",
    ("charge_control", "excited_from"): "rev/min",
    ("charge_control", "set_point_shift"): "V",
    ("drain", "current"): "A",
    ("use", "days_standing"): "d",
    ("use", "left_on_charge"): "-",
    ("use", "usual_charge"): "-",
    ("use", "hours_driven_per_day"): "h",
}
MINUTES_FOR = "minutes_for_"  # with the id of each precondition of `cautions.toml`


def check_numbers(rows: Sequence[Row], preconditions: Iterable[str]) -> None:
    """Refuse rows of `spreads.csv` that nothing reads, and numbers without a row.

    Parameters
    ----------
    rows : sequence of Row
    preconditions : iterable of str
        Each has its hands-on minutes, `minutes_for_` and its id.

    Raises
    ------
    PriorsError
        At the first row that nothing reads, or that is in another unit; else at the first number without a row.
    """
    wanted = NUMBERS | {MINUTES_FOR + name: "min" for name in preconditions}
    found = {row.text("name"): row for row in rows}
    for name, row in found.items():
        _check_read(name, row, wanted)
        if row.text("unit") != wanted[name]:
            raise row.wrong("unit", row.text("unit"), f"{wanted[name]}, in which '{name}' is read")
    for name in (n for n in wanted if n not in found):
        raise _missing("spreads.csv", name, f"a row '{name}' with its value in {wanted[name]}")


def check_parameters(rows: Sequence[Row], components: Collection[str]) -> None:
    """Refuse rows of `effects.csv` with a parameter that no equation reads, and parameters without a row.

    Raises
    ------
    PriorsError
        As for :func:`check_numbers`.
    """
    wanted = {f"{c}, {p}": unit for (c, p), unit in PARAMETERS.items()}
    found: dict[str, Row] = {}
    for row in rows:
        if row.text("component") in components:
            name = f"{row.text('component')}, {row.text('parameter')}"
            _check_read(name, row, wanted)
            found[name] = row
            if row.text("unit") != wanted[name]:
                raise row.wrong("unit", row.text("unit"), f"{wanted[name]}, in which it is read")
    for name in (n for n in wanted if n not in found):
        raise _missing("effects.csv", name, f"a row for each mode, in {wanted[name]}")


def _check_read(name: str, row: Row, wanted: Collection[str]) -> None:
    if name not in wanted:
        close = difflib.get_close_matches(name, wanted, n=3, cutoff=0.5)
        raise PriorsError(
            "a row that nothing reads", where=row.where, got=name,
            expected=", ".join(close) if close else f"one of the {len(wanted)} names that are read",
            to_do="take the row out, or correct its name",
        )  # fmt: skip


def _missing(file: str, name: str, expected: str) -> PriorsError:
    return PriorsError(
        "a number is missing", where=file, got=f"no row for '{name}'", expected=expected,
        to_do="copy it from the shipped set 'standard', or name a parent in prior_set.toml",
    )  # fmt: skip
