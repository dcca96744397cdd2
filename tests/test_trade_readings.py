"""Readings that the trade reads in a way of its own, each with its rule: common practice, no source.

The cars are invented. A rule says which cause leads, or by how much a reading moves the odds of some causes.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from faultnet.case.types import Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.diagnose import diagnosis_of
from faultnet.diagnosis.evidence import offset_for, slip_of
from faultnet.inference.plain import conditioned, summed
from faultnet.instruments import Offset
from faultnet.model.build import build_network
from faultnet.model.setting import Setting
from tests.test_rules_of_thumb import (
    BATTERY,
    CAR,
    CHARGING,
    GROUND_SIDE,
    LOAD_RESPONSIVE,
    MILD,
    POSITIVE_SIDE,
    catalogue,
    chance,
    moved,
    read,
)  # fmt: skip

COLD_DIESEL = Car(Battery(900.0), "diesel", 3.1, 6)
STARTS_WELL = (read("how_it_turns_over", "normal", "ear"), read("fires_when_cranked", "fires", "ear"))
CONNECTIONS = ("positive_joint", "negative_joint", "battery:broken_link")
GOES_DARK = (read("how_it_turns_over", "rapid_clicking", "ear"), read("lamps_while_cranking", "go_out", "eye"))


def believed(*entries: Entry) -> dict[str, float]:
    """Probability that each component is at fault."""
    worked = work_through(Case(CAR, (Visit(entries, MILD),)), catalogue())
    return {name: 1.0 - float(modes[0]) for name, modes in worked.belief.marginals().items()}


@pytest.mark.parametrize("volts", [8.0, 9.0, 10.0, 10.2])
@pytest.mark.parametrize("parts", [POSITIVE_SIDE, GROUND_SIDE, ("starter_motor",)])
def test_an_ordinary_first_dip_on_a_fast_recorder_accuses_no_joint(volts: float, parts: tuple[str, ...]) -> None:
    """Sound petrol cars show some 8.0 to 10.5 V at 20 degC by a recorder of 1 ms."""
    assert moved(parts, read("crank_minimum", volts, "fast_meter"), given=STARTS_WELL) < 3.0
    assert chance(parts, (*STARTS_WELL, read("crank_minimum", volts, "fast_meter")), MILD, CAR) < 0.25


def test_the_range_shown_beside_a_reading_is_that_of_its_instrument() -> None:
    """A fast recorder shows a deeper dip than a meter of 100 ms."""
    readings = (read("crank_minimum", 10.2, "fast_meter"), read("crank_minimum", 10.2))
    fast, slow = diagnosis_of(work_through(Case(CAR, (Visit(readings, MILD),)), catalogue()), ()).seen
    assert fast.sound_range is not None
    assert slow.sound_range is not None
    assert fast.sound_range[0] == pytest.approx(8.0, abs=0.5)
    assert fast.sound_range[1] == pytest.approx(10.5, abs=0.5)
    assert slow.sound_range[0] == pytest.approx(9.6, abs=0.4)


@pytest.mark.parametrize("parts", [POSITIVE_SIDE, GROUND_SIDE, ("starter_motor",), BATTERY])
def test_a_lowest_reading_above_the_edge_raises_no_odds_on_a_car_that_starts_well(parts: tuple[str, ...]) -> None:
    """9.6 V is the edge of an ordinary meter of about 100 ms between sound and suspect; 10.4 to 11 V is typical."""
    assert moved(parts, read("crank_minimum", 10.6), given=STARTS_WELL) < 1.3


def test_volts_over_fifteen_seconds_have_their_edge_at_ten() -> None:
    """10 V in mild weather: above it nothing is said against the battery, 10.3 V included."""
    below, at, over, above, well = (moved(BATTERY, read("dead_crank_level", v)) for v in (9.4, 10.0, 10.3, 10.6, 11.0))
    assert below > at > over > above > well
    assert below > 3.0
    assert moved(BATTERY, read("dead_crank_level", 9.4), given=(read("rest_voltage", 12.6),)) > 6.0
    assert over < 1.25
    assert above < 1.0
    assert well < 0.8


def test_after_a_booster_and_a_drive_that_ends_in_silence_the_battery_or_its_joints_lead_and_charging_is_next() -> None:
    found = believed(read("after_booster", "fails_after_a_drive"))
    assert max(found, key=found.__getitem__) == "battery"
    assert moved(("battery", *CONNECTIONS), read("after_booster", "fails_after_a_drive")) > 2.0
    assert moved(CHARGING, read("after_booster", "fails_after_a_drive")) > 1.3
    assert moved(("use",), read("after_booster", "fails_after_a_drive")) < 0.8


def test_after_a_booster_and_minutes_only_little_is_said() -> None:
    for parts in (BATTERY, CHARGING, CONNECTIONS):
        assert 0.5 < moved(parts, read("after_booster", "fails_after_minutes")) < 2.0


def test_an_engine_that_dies_as_the_leads_come_off_has_no_charging_or_a_bad_connection() -> None:
    charging, joints, battery = (
        moved(parts, read("after_booster", "died_as_leads_came_off")) for parts in (CHARGING, CONNECTIONS, BATTERY)
    )
    assert charging > 2.5
    assert joints > 1.5
    assert charging > joints > battery


def test_dying_on_the_road_with_fading_lamps_is_charging_first() -> None:
    faded = (read("died_while_driving", "lamps_faded_first"),)
    assert chance(CHARGING, faded, MILD, CAR) > 1.3 * chance(BATTERY, faded, MILD, CAR)


@pytest.mark.parametrize(
    ("test", "answer"),
    [
        ("flat_how_often", "again_and_again"),
        ("flat_how_often", "never"),
        ("jump_start", "starts_flat_again"),
        ("jump_start", "no_help"),
        ("after_booster", "died_as_leads_came_off"),
        ("died_while_driving", "lamps_faded_first"),
        ("lights_at_idle", "dim_always"),
        ("lights_at_idle", "steady"),
    ],
)
@pytest.mark.parametrize("other", ["belt:lost", "charge_cable:open"])
def test_a_story_of_no_charge_does_not_tell_which_part_fails_to_give_it(test: str, answer: str, other: str) -> None:
    """Alternator, belt and the cable between: no charge reaches the battery, and the driver sees the same of each."""
    told = read(test, answer)
    assert 0.6 < moved((other,), told) / moved(("alternator:no_output",), told) < 1.7


@pytest.mark.parametrize("other", ["positive_joint:slack", "negative_joint:slack", "ground_path:breaks_contact"])
def test_what_fails_at_random_is_anything_that_comes_and_goes(other: str) -> None:
    """A loose clamp or strap lets a driver down as a switch with bad contacts does: now and then."""
    told = read("when_it_fails", "at_random")
    assert 0.6 < moved((other,), told) / moved(("start_control:intermittent",), told) < 1.7


def test_leads_that_pass_by_a_joint_pass_by_the_ground_path() -> None:
    """A booster's lead goes to the engine: what it gave and what came after is alike for either."""
    for answer in ("runs_and_restarts", "fails_after_a_drive"):
        told = read("after_booster", answer)
        assert 0.6 < moved(("ground_path:high_resistance",), told) / moved(("negative_joint:corroded",), told) < 1.7


def test_an_engine_that_stops_at_once_speaks_for_its_own_side() -> None:
    """Want of spark or fuel stops it at once; want of charge lets the lamps fade first."""
    told = read("died_while_driving", "cut_out_at_once")
    assert moved(("engine_running",), told) > 3.0
    assert moved(CHARGING, told) < 1.0


def test_brisk_cranking_without_firing_is_the_engine_side() -> None:
    """Heard by the technician: 0.9."""
    heard = (read("how_it_turns_over", "normal", "ear"), read("fires_when_cranked", "cranks_no_fire", "ear"))
    assert chance(("engine_running",), heard, MILD, CAR) >= 0.9


def test_an_engine_that_does_not_turn_cannot_be_said_not_to_fire() -> None:
    """One clunk and "will not start" are said of one car: what keeps it from turning is looked for, not the engine."""
    clunk = read("how_it_turns_over", "one_clunk", "ear")
    beliefs = believed(clunk, read("fires_when_cranked", "cranks_no_fire", "ear"))
    assert beliefs["starter_motor"] == max(beliefs.values())
    assert beliefs["engine_running"] < 0.12


def test_what_a_booster_starts_has_a_sound_engine_whether_or_not_it_is_flat_too() -> None:
    """Turns over, will not start, and starts with a booster: battery, charge or connections, not the engine."""
    dead = (read("how_it_turns_over", "slow", "ear"), read("fires_when_cranked", "cranks_no_fire", "ear"))
    before, after = believed(*dead), believed(*dead, read("jump_start", "starts_and_restarts_later"))
    assert after["engine_running"] < 0.3 * before["engine_running"]
    assert after["engine_running"] < 0.1


@pytest.mark.parametrize("air, car", [(-15.0, COLD_DIESEL), (20.0, CAR), (-15.0, CAR)])
def test_the_normal_speed_is_that_of_this_engine_in_this_weather(air: float, car: Car) -> None:
    """A large diesel in frost turns at what would be slow for a warm petrol engine, and nobody calls it that."""
    network = build_network(Setting(car, Conditions(air), catalogue()))
    sound = dict.fromkeys(network.components, 0)
    shares = summed(conditioned(network, sound, ["crank_behaviour"]), ("crank_behaviour",))
    assert shares[network.nodes["crank_behaviour"].states.index("normal")] > 0.7


def test_a_low_steady_level_on_a_charged_battery_and_good_cables_is_the_battery() -> None:
    """9.1 V that do not fall further: what does not sag is not thereby sound."""
    parts = (read("positive_side_drop", 0.17), read("ground_side_drop", 0.07), read("rest_voltage", 12.6))
    beliefs = believed(*parts, read("dead_crank_level", 9.1), read("dead_crank_sag", 0.04))
    assert beliefs["battery"] == max(beliefs.values())
    assert beliefs["battery"] > 0.6


@pytest.mark.parametrize("joint", ["positive_joint", "negative_joint"])
def test_a_clamp_that_turns_by_hand_leads_on_a_car_that_clicks_and_goes_dark(joint: str) -> None:
    found = believed(*GOES_DARK, read(f"{joint}_moves", "moves", "hand"))
    assert max(found, key=found.__getitem__) == joint


def test_a_control_that_follows_the_load_is_cleared_by_volts_that_rise_with_it() -> None:
    """12.7 V that rises to 14.4 V with loads on: control and regulator work; the diodes are not seen by it."""
    rises = (read("charge_unloaded_voltage", 12.7), read("charge_loaded_voltage", 14.4))
    for part in ("regulator", "charge_control"):
        assert moved((part,), *rises, car=LOAD_RESPONSIVE) < 0.2
    assert moved(("rectifier",), *rises, car=LOAD_RESPONSIVE) > 0.5
    assert moved(("regulator",), read("charge_idle_voltage", 12.7), car=LOAD_RESPONSIVE) < 1.5


@pytest.mark.parametrize(("rating", "amperes"), [(70.0, 38.0), (90.0, 48.0), (150.0, 80.0)])
def test_what_an_alternator_gives_hangs_on_its_size_and_the_cars_equipment(rating: float, amperes: float) -> None:
    """Somewhat over half of its rating, all loads on, is ordinary: a sound one must not read as slipping."""
    car = replace(CAR, alternator_rating=rating)
    assert moved(("belt",), read("alternator_current", amperes), car=car) < 1.3
    assert moved(("belt",), read("alternator_current", 0.25 * rating), car=car) > 2.0


@pytest.mark.parametrize(
    ("amperes", "mode"),
    [(0.15, "moderate"), (0.3, "moderate"), (0.45, "moderate"), (1.5, "heavy"), (2.6, "heavy"), (4.0, "heavy")],
)
def test_key_off_currents_have_their_names(amperes: float, mode: str) -> None:
    """0.1 to 0.5 A is moderate; over 1 A after the wait a lamp or a network that is awake, or else the rectifier."""
    worked = work_through(Case(CAR, (Visit((read("key_off_current", amperes),), MILD),)), catalogue())
    modes = [m.id for m in catalogue().component("drain").modes]
    shares = dict(zip(modes, worked.belief.marginals()["drain"], strict=True))
    assert max(modes[1:], key=shares.__getitem__) == mode
    assert 1.0 - shares["sound"] + float(worked.belief.marginals()["rectifier"][1:].sum()) > 0.5


DRAWS = ("drain", "rectifier")


@pytest.mark.parametrize("amperes", [0.8, 1.5, 2.6, 4.0])
def test_a_draw_before_the_modules_sleep_says_little(amperes: float) -> None:
    """Sound cars draw some 0.5 to 5 A until then: up to there no more than a factor of two either way, as for any
    reading of which the trade says that it tells little (common practice, no source)."""
    at_once = read("draw_at_once", amperes)
    assert 0.5 < moved(DRAWS, at_once) < 2.0
    assert chance(DRAWS, (at_once,), MILD, CAR) < 0.25


def test_the_same_draw_once_asleep_is_something_that_draws() -> None:
    """2.6 A after the wait: a lamp, a network that is awake, or the rectifier (common practice, no source)."""
    asleep = read("key_off_current", 2.6)
    assert chance(DRAWS, (asleep,), MILD, CAR) > 0.85
    assert chance(DRAWS, (read("draw_at_once", 2.6), asleep), MILD, CAR) > 0.85


def test_what_counts_is_the_draw_once_asleep() -> None:
    """2.6 A at once and 0.02 A latched and asleep: the modules were awake, and nothing draws."""
    entries = (read("draw_at_once", 2.6), read("key_off_current", 0.02))
    assert moved(DRAWS, *entries) < 0.5
    assert moved(DRAWS, read("draw_at_once", 2.6), given=(entries[1],)) < 1.5
    assert chance(DRAWS, entries, MILD, CAR) < 0.05
    seen = diagnosis_of(work_through(Case(CAR, (Visit(entries, MILD),)), catalogue()), ()).seen
    assert all(s.surprise < 10.0 for s in seen), "both are ordinary"


def test_a_great_draw_at_once_is_a_lamp_or_a_glow_plug() -> None:
    """No modules draw 12 A (common practice, no source); read twice it is no slip either."""
    assert moved(("drain:heavy",), read("draw_at_once", 12.0)) > 5.0
    assert moved(("drain:heavy",), read("draw_at_once", 12.0), read("draw_at_once", 11.8)) > 8.0
    assert moved(("drain:moderate", "rectifier"), read("draw_at_once", 12.0)) < 1.5


def test_two_draws_at_once_may_differ_as_the_modules_go_to_sleep() -> None:
    """4 A with a door open, 0.8 A latched: no slip, no riddle, and nothing that draws (college hand-out, secondary)."""
    falling = (read("draw_at_once", 4.0), read("draw_at_once", 0.8))
    assert 0.5 < moved(DRAWS, *falling) < 2.0
    assert moved(("unlisted",), *falling) < 4.0


@pytest.mark.parametrize("volts", [3.5, 5.0, 7.5, 8.5, 10.0, 11.5])
def test_a_deeply_flat_car_is_flat_and_not_a_riddle(volts: float) -> None:
    """3 to 8 V with the load still on, 8 to 11.8 V once it has rested."""
    found = believed(read("rest_voltage", volts))
    assert max(found, key=found.__getitem__) in ("use", "battery", "drain")
    assert found["unlisted"] < 0.25  # of 3.5 V too, where it takes a load that is still on


def test_six_amperes_asleep_are_a_great_draw_and_not_a_slip() -> None:
    """A lamp, a network that is awake, or the rectifier, after the wait (common practice, no source)."""
    for amperes in (2.6, 4.0, 6.0, 8.0):
        seen = (read("key_off_current", amperes),)
        assert chance(("drain", "rectifier"), seen, MILD, CAR) > 0.75
    assert chance(("drain:heavy",), (read("key_off_current", 6.0),), MILD, CAR) > 0.6


@pytest.mark.parametrize(("test", "value"), [("key_off_current", 0.3), ("positive_joint_drop", 0.19)])
def test_a_slip_reads_like_a_slip(test: str, value: float) -> None:
    """Nought, the battery's volts, or a power of ten; not anything up to full scale alike (common practice)."""
    model = work_through(Case(CAR, (Visit((read(test, value),), MILD),)), catalogue()).models[0]

    def by_slip(reading: float) -> float:
        return slip_of(model.compiled.network, catalogue(), Reading(test, value=reading))

    assert by_slip(0.0) > 100.0 * by_slip(value)
    assert by_slip(value) > 100.0 * by_slip(20.0 * value)
    if catalogue().test(test).unit == "V":
        assert by_slip(12.4) > 5.0 * by_slip(9.0)


def test_what_a_module_reads_while_cranking_means_its_offset_and_some_of_the_grounds_drop() -> None:
    """What was found at rest shifts it, less a little more, and no surer than both are (common practice, no source)."""
    test, adapter = catalogue().test("module_crank_minimum"), catalogue().instrument("socket_adapter_5hz")
    compared = Offset(-0.3, 0.05)
    found = offset_for(catalogue(), test, adapter, compared)
    assert -0.2 < found.mean - compared.mean < 0.0
    assert found.spread > compared.spread
    assert found.spread < offset_for(catalogue(), test, adapter).spread
