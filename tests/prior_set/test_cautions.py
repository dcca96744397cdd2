"""Which test and which act calls for which caution: a table made by reading their steps, not their data.

Each row names a hazard of the steps and those whose steps bring it about. What stands in the data is held to it both
ways: none is missing, and none stands where nothing calls for it, because what is shown in vain is not read. The
sources of the hazards stand at the head of ``cautions.toml``; the assignment to steps is common practice, no source.
"""

from __future__ import annotations

import re

import pytest

from faultnet.prior_set import load_catalogue

CATALOGUE = load_catalogue()
ENTRIES = {f"test {t.id}": t for t in CATALOGUE.tests} | {f"act {a.id}": a for a in CATALOGUE.acts}

CRANKED = (
    "how_it_turns_over lamps_while_cranking fires_when_cranked warm_after_cranking starter_noise crank_minimum "
    "module_crank_minimum recorded_lowest recorded_sustained dead_crank_level dead_crank_sag crank_current "
    "inrush_current cranking_speed positive_side_drop positive_joint_drop starter_cable_drop solenoid_drop "
    "ground_side_drop negative_joint_drop ground_path_drop control_terminal_voltage wiggle_while_cranking "
    "jumper_ground control_bypass tap_starter spark_and_fuel"
)
NOT_FIRING = (
    "warm_after_cranking dead_crank_level dead_crank_sag crank_current cranking_speed positive_side_drop "
    "positive_joint_drop starter_cable_drop solenoid_drop ground_side_drop negative_joint_drop ground_path_drop "
    "wiggle_while_cranking control_bypass spark_and_fuel"
)
RUNNING = (
    "lights_at_idle alternator_noise charge_idle_voltage charge_unloaded_voltage charge_loaded_voltage "
    "charge_hot_voltage charge_ripple alternator_current charge_cable_drop charge_ground_drop"
)
HANDS_IN_THE_RUNNING_BAY = RUNNING.removeprefix("lights_at_idle ")
METER_WHILE_RUNNING = HANDS_IN_THE_RUNNING_BAY.removeprefix("alternator_noise ")
AT_THE_STARTER = (
    "positive_side_drop starter_cable_drop solenoid_drop control_terminal_voltage control_bypass tap_starter"
)
CHARGED = "charger_acceptance hold_after_charge"
CHARGING = "charge long_charge refill advise_use"

CALLED_FOR: dict[str, tuple[str, str]] = {
    # caution: (tests, acts)
    "frozen": (f"{CHARGED} half_rating_load", f"{CHARGING} jump_start"),
    "hydrogen": (
        f"{CHARGED} positive_joint_moves negative_joint_moves case_condition acid_level built_in_eye smell "
        "hydrometer_level hydrometer_spread draw_at_once key_off_current conductance_rating fuse_pull "
        "wiggle_while_cranking jumper_ground control_bypass half_rating_load",
        f"{CHARGING} jump_start jumper_ground_on bypass_control tighten_joint clean_joint repair_cable replace "
        "adjust_regulator remove_drain",
    ),
    "fuel": ("smell spark_and_fuel", "repair_engine"),
    "exhaust_gas": (f"{RUNNING} charge_lamp", "adjust_regulator"),
    "lifting": (
        f"{AT_THE_STARTER} warm_after_cranking ground_strap_look turn_by_hand",
        "bypass_control repair_cable replace adjust_regulator",
    ),
    "jump_lead_order": ("", "jump_start"),
    "neutral_brake": (
        f"{CRANKED} {RUNNING} charge_lamp turn_by_hand",
        "disable_fuel jump_start jumper_ground_on bypass_control adjust_regulator repair_circuit",
    ),
    "rotating_parts": (
        f"{CRANKED} {RUNNING} belt_look smell ground_strap_look module_offset_at_rest turn_by_hand excitation",
        "disable_fuel jump_start jumper_ground_on bypass_control replace adjust_belt adjust_regulator repair_circuit "
        "repair_engine",
    ),
    "fuel_disabled": (NOT_FIRING, "disable_fuel enable_fuel repair_engine"),
    "airbags": ("", "replace repair_circuit look_further"),
    "acid": (
        "positive_joint_look negative_joint_look positive_joint_moves negative_joint_moves case_condition acid_level "
        "hydrometer_level hydrometer_spread",
        "long_charge tighten_joint clean_joint refill replace",
    ),
    "eyes": (
        f"{CHARGED} case_condition acid_level built_in_eye smell hydrometer_level hydrometer_spread "
        "wiggle_while_cranking jumper_ground control_bypass half_rating_load",
        f"{CHARGING} jump_start jumper_ground_on bypass_control tighten_joint clean_joint",
    ),
    "turning_by_hand": ("turn_by_hand", "adjust_belt repair_engine"),
    "stalling": ("charge_hot_voltage", "drive"),
    "shorts": (
        "fuse_pull positive_side_drop starter_cable_drop solenoid_drop control_terminal_voltage control_bypass "
        "charge_ripple charge_cable_drop excitation",
        "bypass_control repair_circuit remove_drain",
    ),
    "metal_tools": (
        "positive_joint_look negative_joint_look positive_joint_moves negative_joint_moves warm_after_cranking "
        "rest_voltage overnight_fall draw_at_once key_off_current two_load_resistance conductance_rating "
        "module_offset_at_rest fuse_pull crank_minimum recorded_lowest recorded_sustained dead_crank_level "
        "dead_crank_sag positive_side_drop positive_joint_drop starter_cable_drop solenoid_drop ground_side_drop "
        "negative_joint_drop ground_path_drop wiggle_while_cranking jumper_ground control_bypass half_rating_load "
        "hold_after_charge charge_idle_voltage "
        "charge_unloaded_voltage charge_loaded_voltage charge_hot_voltage charge_ripple charge_cable_drop "
        "charge_ground_drop",
        "long_charge jump_start jumper_ground_on tighten_joint clean_joint repair_cable replace adjust_regulator "
        "remove_drain",
    ),
    "thin_leads": ("jumper_ground", "jump_start jumper_ground_on"),
    "load_sparks": ("half_rating_load", ""),
    "charger_off": (CHARGED, CHARGING),
    "overcharge": (CHARGED, CHARGING),
    "hot_parts": (
        f"{HANDS_IN_THE_RUNNING_BAY} {AT_THE_STARTER} belt_look smell warm_after_cranking ground_strap_look "
        "ground_side_drop ground_path_drop wiggle_while_cranking turn_by_hand excitation",
        "bypass_control repair_cable replace adjust_belt adjust_regulator repair_circuit repair_engine",
    ),
    "heavy_battery": ("", "replace"),
    "running_battery": (
        f"{METER_WHILE_RUNNING} positive_joint_moves negative_joint_moves",
        "tighten_joint clean_joint",
    ),
    "terminal_order": (
        "fuse_pull hold_after_charge",
        "long_charge tighten_joint clean_joint repair_cable replace adjust_regulator",
    ),
    "series_meter": ("draw_at_once key_off_current fuse_pull", "remove_drain"),
    "unplugging": ("", "reset repair_circuit remove_drain look_further"),
    "long_cranking": (CRANKED, "bypass_control repair_circuit"),
    "memory_loss": (
        "draw_at_once key_off_current fuse_pull hold_after_charge",
        "long_charge clean_joint repair_cable replace adjust_regulator reset remove_drain",
    ),
}
# Words of steps that call for a caution, whoever adds the test or act: (pattern, caution).
WORDS = (
    (r"\bcrank (?:for|and)\b|while a helper (?:cranks|holds)|turn the key to start|start the engine", "neutral_brake"),
    (r"\bcrank (?:for|and)\b|while a helper (?:cranks|holds)|turn the key to start", "long_cranking"),
    (r"rev/min|engine at idle|raise the revs|engine running", "exhaust_gas"),
    (r"\bcharge (?:fully|slowly|until|the battery)|charger to the posts|the charger, then", "frozen"),
    (r"\bcharge (?:fully|slowly|until|the battery)|charger to the posts|the charger, then|\bcells\.", "hydrogen"),
    (r"lead posts|bare metal of the engine", "metal_tools"),
    (r"pull (?:one )?fuses?|disconnect the battery|disconnect from the car", "memory_loss"),
    (r"disconnect the battery|take the clamps off", "terminal_order"),
    (r"one jump lead|a heavy lead", "thin_leads"),
    (r"hour of driving|drive for", "stalling"),
    (r"terminal 50|stud of the s", "shorts"),
    (r"fuel pressure", "fuel"),
)
EXCUSED = {("act disable_fuel", "long_cranking")}  # a second of it


def called_for(kind: str) -> dict[str, set[str]]:
    """Cautions by the id of a test or an act, from the table."""
    column = ("test", "act").index(kind)
    found: dict[str, set[str]] = {name: set() for name in ENTRIES if name.startswith(kind)}
    for caution, lists in CALLED_FOR.items():
        for name in lists[column].split():
            found[f"{kind} {name}"].add(caution)
    return found


@pytest.mark.parametrize("kind", ["test", "act"])
def test_each_shows_what_its_steps_call_for_and_nothing_else(kind: str) -> None:
    wanted = called_for(kind)
    wrong = {
        n: set(ENTRIES[n].cautions) ^ cautions for n, cautions in wanted.items() if set(ENTRIES[n].cautions) != cautions
    }
    assert wrong == {}


def test_the_table_knows_every_caution() -> None:
    assert set(CALLED_FOR) | set(CATALOGUE.general_cautions) == set(CATALOGUE.cautions)
    assert list(CALLED_FOR) == [c for c in CATALOGUE.cautions if c not in CATALOGUE.general_cautions], "the worst first"


def test_the_worst_stands_first_in_each() -> None:
    order = list(CATALOGUE.cautions)
    for name, entry in ENTRIES.items():
        places = [order.index(c) for c in entry.cautions]
        assert places == sorted(set(places)), name


def test_the_general_ones_stand_nowhere_else() -> None:
    assert [n for n, entry in ENTRIES.items() if set(entry.cautions) & set(CATALOGUE.general_cautions)] == []


@pytest.mark.parametrize("pattern, caution", WORDS)
def test_words_of_steps_call_for_cautions(pattern: str, caution: str) -> None:
    found = {n for n, entry in ENTRIES.items() if re.search(pattern, " ".join(entry.steps), re.IGNORECASE)}
    assert found, "no step says so any more"
    missing = {n for n in found if caution not in ENTRIES[n].cautions and (n, caution) not in EXCUSED}
    assert missing == set()


def test_what_is_done_to_the_car_calls_for_cautions() -> None:
    """By the data of what may not be done after a finding: who cranks holds the car, who charges minds gas."""
    for name, entry in ENTRIES.items():
        if "charges" in entry.does and name != "act drive":
            assert {"frozen", "hydrogen", "charger_off"} <= set(entry.cautions), name
        if "jumps" in entry.does:
            assert {"frozen", "hydrogen", "jump_lead_order"} <= set(entry.cautions), name
        if "cranks" in entry.does and name != "act drive":
            assert "neutral_brake" in entry.cautions, name


def test_a_part_that_is_replaced_has_the_cautions_of_that_part() -> None:
    """A battery is changed from above and is heavy; a starter mostly from below, where it is hot."""
    replace = CATALOGUE.act("replace")
    battery, starter = (set(replace.cautions_for(part)) for part in ("battery", "starter_motor"))
    assert {"acid", "heavy_battery", "terminal_order", "hydrogen"} <= battery
    assert not battery & {"lifting", "airbags", "hot_parts"}
    assert {"lifting", "hot_parts", "terminal_order"} <= starter
    assert not starter & {"acid", "heavy_battery"}
    assert set(replace.cautions_for(None)) == set(replace.cautions)
    for act in CATALOGUE.acts:
        told = {c for part in act.components for c in act.cautions_for(part)}
        assert not act.components or told == set(act.cautions), act.id
