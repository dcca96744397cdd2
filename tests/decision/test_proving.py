"""Checks that the trade names for a part: their worth by hand, then what is advised where a part would be bought."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.advice import Weighed, weigh
from faultnet.decision.costs import Costs, checks_of
from faultnet.decision.proving import Unproven, read_since_repair, unproven
from faultnet.decision.repair import Repairs
from faultnet.decision.value import DecisionState, many_steps, one_step, two_steps
from faultnet.diagnosis import work_through
from faultnet.diagnosis.needs import preparing_acts, unmet_needs
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs()
TRUST = 400.0
LOADS = {"half_rating_load", "conductance_rating", "two_load_resistance", "dead_crank_level"}
LOAD = frozenset({"load"})


def at(belief: tuple[float, float], checks: Unproven | None, chances: dict[str, np.ndarray]) -> DecisionState:
    """One of two parts for 100 is at fault; trust is lost by either in vain."""
    repairs = Repairs(
        ("a", "b"), np.full(2, 100.0), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0,
        in_vain=np.full(2, TRUST),
    )  # fmt: skip
    return DecisionState(np.array(belief), chances, dict.fromkeys(chances, 0.0), repairs, {}, checks)


BLIND = np.full((2, 2), 0.5)


def test_a_check_that_tells_nothing_is_worth_the_trust_no_longer_at_stake() -> None:
    """9 to 1: a in vain costs as much trust once more where it was not checked, with chance 0.1: the check keeps 40."""
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    worth = one_step(at((0.9, 0.1), checks, {"load": BLIND, "other": BLIND}))
    assert worth["load"].saving == pytest.approx(0.1 * TRUST)
    assert worth["other"].saving == pytest.approx(0.0)


def test_its_worth_falls_with_the_doubt_and_is_nothing_for_a_part_that_is_surely_at_fault() -> None:
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    savings = [one_step(at((p, 1.0 - p), checks, {"load": BLIND}))["load"].saving for p in (0.9, 0.95, 0.99, 1.0)]
    assert savings == pytest.approx([0.1 * TRUST, 0.05 * TRUST, 0.01 * TRUST, 0.0])


def test_each_of_several_checks_takes_its_share() -> None:
    checks = Unproven({"a": (LOAD, frozenset({"look"}))}, {"a": 2}, 2.0)
    state = at((0.9, 0.1), checks, {"load": BLIND, "look": BLIND})
    assert one_step(state)["load"].saving == pytest.approx(0.1 * TRUST / 2)
    assert two_steps(state, one_step(state))["load"].saving == pytest.approx(0.1 * TRUST / 2)
    _, after = state.after("load", [0], {"look": BLIND})
    assert after.checks is not None
    assert after.checks.open_checks == {"a": (frozenset({"look"}),)}
    assert after.trust_kept == {"look": pytest.approx(0.1 * TRUST / 2)}


def test_which_part_comes_first_does_not_hang_on_what_is_unproven() -> None:
    """Else what nobody checked would be repaired after what is cheap and unlikely, and the car be given up sooner."""
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    plain, named = at((0.6, 0.4), None, {"load": BLIND}), at((0.6, 0.4), checks, {"load": BLIND})
    assert named.first_repair() == plain.first_repair() == ("a", pytest.approx(0.6))
    assert named.cost_now() == plain.cost_now()


def test_without_named_checks_nothing_changes() -> None:
    plain, named = at((0.8, 0.2), None, {"load": np.eye(2)}), at((0.8, 0.2), Unproven({}, {}, 2.0), {"load": np.eye(2)})
    assert one_step(plain)["load"] == one_step(named)["load"]


def test_a_check_stands_until_its_part_is_repaired() -> None:
    """A battery that was load-tested counts as checked; the new one in its place does not."""
    tested = (Reading("half_rating_load", value=9.1), Reading("belt_look", not_measured="skipped"))
    visits = (Visit(tested), Visit((Act("clean_joint", "positive_joint", "better"),)))
    case = Case(Car(Battery(600.0)), visits)
    doable = ("half_rating_load", "conductance_rating", "belt_look")
    assert "battery" not in unproven(case, COSTS, doable).open_checks
    assert unproven(case, COSTS, doable).open_checks["alternator"] == (frozenset({"belt_look"}),)
    renewed = replace(case, visits=(*visits, Visit((Act("replace", "battery", "better"),))))
    assert unproven(renewed, COSTS, doable).open_checks["battery"] == (frozenset(doable[:2]),)
    assert read_since_repair(renewed, "alternator") == {"half_rating_load"}


def test_a_check_that_cannot_be_done_is_not_asked_for() -> None:
    """A starter that draws no current has no drops to read; the command at it can be read."""
    left = unproven(Case(Car(Battery(600.0))), COSTS, ("control_terminal_voltage",))
    assert left.open_checks["starter_motor"] == (frozenset({"control_terminal_voltage"}),)
    share = left.share_of("starter_motor", "control_terminal_voltage")
    assert share == pytest.approx((COSTS.unproven - 1.0) / 3.0)


def test_a_check_before_the_car_is_given_back_keeps_the_call_back_no_longer_at_stake() -> None:
    """Sound 9 to 1, then a for 100: with chance 0.1 the car comes back for 320, and that costs as much trust again."""
    repairs = Repairs(
        ("a", "give_back"), np.array([100.0, 1.0]), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 320.0
    )
    checks = Unproven({"give_back": (LOAD, frozenset({"look"}))}, {"give_back": 2}, 2.0)
    chances = {"load": BLIND, "other": BLIND}
    state = DecisionState(np.array([0.1, 0.9]), chances, dict.fromkeys(chances, 0.0), repairs, {}, checks)
    worth = one_step(state)
    assert worth["load"].saving == pytest.approx(0.1 * 320.0 / 2)
    assert worth["other"].saving == pytest.approx(0.0)


def test_a_car_that_would_be_handed_on_as_it_is_is_given_back_with_its_fault() -> None:
    """Four dear parts alike and one car in 25 sound: starting over at once, so that 0.96 times 320 is at stake."""
    repairs = Repairs(
        ("a", "b", "c", "d", "give_back"), np.array([1000.0] * 4 + [1.0]), np.array([]), np.full(5, -1),
        np.eye(5, dtype=bool), 320.0, start_over=320.0,
    )  # fmt: skip
    checks = Unproven({"give_back": (LOAD, frozenset({"look"}))}, {"give_back": 2}, 2.0)
    chances = {test: np.full((5, 2), 0.5) for test in ("load", "other")}
    belief = np.array([0.24, 0.24, 0.24, 0.24, 0.04])
    state = DecisionState(belief, chances, dict.fromkeys(chances, 0.0), repairs, {}, checks)
    assert state.starts_over()
    assert state.trust_kept == {"load": pytest.approx(0.96 * 320.0 / 2)}
    for worth in (one_step(state), many_steps(state, one_step(state))):
        assert worth["load"].saving == pytest.approx(0.96 * 320.0 / 2)
        assert worth["other"].saving == pytest.approx(0.0)


def test_a_car_that_came_back_is_looked_at_by_all_three_checks() -> None:
    """Battery under a load, charging voltage, draw with the key off (common practice, no source)."""
    doable = ("charge_idle_voltage", "key_off_current", "half_rating_load")
    read = Reading("half_rating_load", value=10.4)
    back = (Visit((read, Act("drive", None, "no_change"))), Visit())
    left = unproven(Case(CAR, back), COSTS, doable).open_checks["give_back"]
    assert left == (frozenset({"charge_idle_voltage"}), frozenset({"key_off_current"}))
    fine = replace(back[0], entries=(read, Act("drive", None, "cured")))
    assert "give_back" not in unproven(Case(CAR, (fine, Visit())), COSTS, doable).open_checks


def test_what_is_checked_before_a_car_is_given_back_depends_on_what_is_told() -> None:
    """Flat again and again: a charging voltage and the draw; flat once: the battery under a load, a charging voltage.

    Common practice, no source; nobody asks so of a car that was never flat.
    """
    doable = ("charge_idle_voltage", "key_off_current", "rest_voltage")
    told = Reading("flat_how_often", state="again_and_again")
    volts, draw = (frozenset({test}) for test in doable[:2])
    entries = (told, Reading("charge_idle_voltage", value=14.2), Act("replace", "battery", "better"))
    left = [unproven(Case(CAR, (Visit(entries[:n]),)), COSTS, doable).open_checks.get("give_back") for n in range(4)]
    assert left == [None, (volts, draw), (draw,), (draw,)]
    skipped = replace(entries[1], value=None, not_measured="skipped")
    assert unproven(Case(CAR, (Visit((told, skipped)),)), COSTS, doable).open_checks["give_back"] == (volts, draw)
    once, never = (replace(told, state=state) for state in ("once", "never"))
    loaded = frozenset({"half_rating_load"})
    of_once = unproven(Case(CAR, (Visit((once,)),)), COSTS, (*doable, "half_rating_load"))
    assert of_once.open_checks["give_back"] == (loaded, volts)
    assert "give_back" not in unproven(Case(CAR, (Visit((never,)),)), COSTS, doable).open_checks


def test_an_answer_that_is_not_there_is_refused(tmp_path) -> None:
    (tmp_path / "prior_set.toml").write_text('name = "ours"\nversion = "1"\nparent = "standard"\n')
    row = 'before_return,flat_how_often=always,key_off_current,-,"common practice, no source",practice,\n'
    (tmp_path / "costs.csv").write_text("kind,name,value,unit,source,mark,note\n" + row)
    with pytest.raises(PriorsError, match=r"costs\.csv, line 2.*flat_how_often=always"):
        load_costs(folder=tmp_path)


def test_whatever_costs_trust_in_vain_has_checks_named_for_it() -> None:
    """Else a part without would be bought before its neighbour for want of a check alone."""
    assert {part for part, trust in COSTS.in_vain.items() if trust > 0.0} == set(COSTS.named)
    assert set().union(*COSTS.named["battery"]) >= {"half_rating_load", "conductance_rating"}
    assert set().union(*(set().union(*checks) for checks in COSTS.named.values())) <= {t.id for t in CATALOGUE.tests}
    assert checks_of("a or b; c") == (frozenset({"a", "b"}), frozenset({"c"}))


def test_a_check_by_a_test_that_is_not_there_is_refused(tmp_path) -> None:
    (tmp_path / "prior_set.toml").write_text('name = "ours"\nversion = "1"\nparent = "standard"\n')
    row = 'named,battery,half_rating_load or load_tset,-,"common practice, no source",practice,\n'
    (tmp_path / "costs.csv").write_text("kind,name,value,unit,source,mark,note\n" + row)
    with pytest.raises(PriorsError, match=r"costs\.csv, line 2.*load_tset"):
        load_costs(folder=tmp_path)


CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
MILD = Conditions(air_temperature=12.0, hours_standing=10.0)
SLOW = Reading("how_it_turns_over", state="slow")
LAMP = (Reading("how_it_turns_over", state="normal"), Reading("charge_lamp", state="stays_on"))
CLUNK = (
    Reading("how_it_turns_over", state="one_clunk"), Reading("lamps_while_cranking", state="stay_bright"),
    Reading("rest_voltage", value=12.65), Reading("starter_noise", state="clunk_only"),
    Reading("tap_starter", state="cranks_after_tap"),
)  # fmt: skip


def weighed(*entries: Entry, tools: frozenset[str] | None = None, costs: Costs = COSTS) -> Weighed:
    case = Case(CAR, (Visit(entries, MILD),))
    return weigh(work_through(case, CATALOGUE), costs, tools=tools)


@pytest.mark.parametrize(
    ("entries", "part", "first"),
    [
        # low while cranking, and nobody knows whether it is flat: loaded, or the current that pulls it down, before it
        # is bought
        (
            (SLOW, Reading("built_in_eye", state="green"), Reading("crank_minimum", value=9.3)),
            "battery",
            {*LOADS, "crank_current"},
        ),
        # 12.2 V running, lamp on: the belt is looked at before an alternator is ordered
        ((*LAMP, Reading("charge_idle_voltage", value=12.2)), "alternator", {"belt_look"}),
        # one clunk, posts full: drops of the feed, which find a bad contact or cable, before a starter
        (CLUNK, "starter_motor", {"positive_side_drop", "solenoid_drop", "control_terminal_voltage"}),
        # too many volts: read once more, or what spoils the reading, before a regulator
        (
            (LAMP[0], Reading("charge_unloaded_voltage", value=15.8)),
            "regulator",
            {"charge_idle_voltage", "charge_unloaded_voltage", "rest_voltage", "charge_ground_drop", "built_in_eye"},
        ),
    ],
)
def test_a_doubtful_part_is_not_bought_before_its_check(entries, part: str, first: set[str]) -> None:
    """Common practice, no source."""
    found = weighed(*entries)
    assert not found.decision.stop, f"{part} would be bought at once"
    assert found.tests[0].test in first


def test_the_trust_that_a_battery_bought_on_suspicion_would_cost_speaks_for_its_check() -> None:
    """With a voltmeter and a charger: charged, and cranked with the fuel off, which tells less than it costs."""
    seen = (
        SLOW, Reading("left_something_on", state="no"), Reading("charge_idle_voltage", value=14.2),
        Reading("standing_habit", state="hours_or_a_night"), Reading("flat_how_often", state="again_and_again"),
        Reading("built_in_eye", state="dark"), Reading("dead_crank_sag", value=0.6),
    )  # fmt: skip
    savings = {}
    for costs in (COSTS, replace(COSTS, unproven=1.0)):
        found = weighed(*seen, tools=USUAL_TOOLS, costs=costs)
        assert found.decision.repair == "battery"
        savings[costs.unproven] = {t.test: t.saving for t in found.tests}["dead_crank_level"]
    in_vain = 1.0 - float(found.worked.belief.marginals()["battery"][1:].sum())
    assert 0.05 < in_vain < 0.15
    assert savings[2.0] - savings[1.0] == pytest.approx(in_vain * COSTS.in_vain["battery"], rel=0.1)


def test_a_battery_that_is_surely_bad_is_bought_although_nobody_loaded_it() -> None:
    """10.45 V at rest and one cell far below the others: a load test tells nothing more, and is not asked for."""
    found = weighed(SLOW, Reading("rest_voltage", value=10.45), Reading("hydrometer_spread", value=0.12))
    assert "battery" in unproven(found.worked.case, COSTS, [t.test for t in found.tests]).open_checks
    assert found.decision.stop
    assert found.decision.repair == "battery"


SOUND_CAR = {"rest_voltage": 12.65, "crank_minimum": 10.4, "charge_idle_voltage": 14.3, "built_in_eye": "green"}


def test_a_check_up_looks_at_the_battery_at_rest_under_a_load_and_while_it_charges() -> None:
    """What a check of the electrics is at least (common practice, no source), before a sound car is given back."""
    entries: list[Entry] = [Reading("when_it_fails", state="does_not_fail")]
    for _ in range(8):
        found = weighed(*entries, tools=USUAL_TOOLS)
        if found.decision.stop:
            break
        test = CATALOGUE.test(found.tests[0].test)
        entries += preparing_acts(unmet_needs(test, found.worked.case.visits[-1], CATALOGUE))
        known = SOUND_CAR.get(test.id)
        entries.append(
            Reading(test.id, not_measured="skipped") if known is None
            else Reading(test.id, state=known) if isinstance(known, str) else Reading(test.id, value=known)
        )  # fmt: skip
    read = {entry.test for entry in entries if isinstance(entry, Reading) and entry.not_measured is None}
    assert read >= {"rest_voltage", "crank_minimum", "charge_idle_voltage"}
    assert found.decision.stop
    assert found.decision.repair is None


FLAT = (Reading("how_it_turns_over", state="nothing"), Reading("rest_voltage", value=7.6))
SUMMER, FROST = Conditions(air_temperature=34.0), Conditions(air_temperature=-8.0)
SMALL = Car(Battery(430.0, "EN", "enhanced_flooded", age=2.5), "petrol", 0.9, 2, 110.0, climate="hot")


def flat_car(*entries: Entry) -> Weighed:
    visit = Visit((*FLAT, *entries), SUMMER)
    return weigh(work_through(Case(SMALL, (visit,)), CATALOGUE), COSTS, tools=USUAL_TOOLS)


def test_no_battery_is_condemned_before_it_was_charged_and_loaded() -> None:
    """As likely as not the whole cure, it waits for its check, which is named; once it failed there, it leads.

    Common practice, no source. The car that was left to stand in the heat is invented.
    """
    flat = flat_car().decision
    assert (flat.repair, flat.stop, flat.founded, flat.leads) == ("battery", False, False, False)
    assert COSTS.founded(flat.chance_of_cure)
    assert flat.because.endswith(
        "Battery: replace the part waits for its check: Cranking voltage with fuel or ignition disabled (19 min)."
    )
    loaded = Act("charge"), Act("disable_fuel"), Reading("dead_crank_level", value=8.6)
    failed = flat_car(*loaded).decision
    assert (failed.repair, failed.founded, failed.leads) == ("battery", True, True)
    assert "waits" not in failed.because


def test_a_battery_that_is_surely_at_fault_waits_for_nothing() -> None:
    """Five good cells and a dead one at rest, by the hydrometer: the load would tell nothing more (common practice)."""
    seen = Reading("rest_voltage", value=10.45), Reading("hydrometer_spread", value=0.12)
    weighed = weigh(work_through(Case(Car(Battery(600.0, age=4.0)), (Visit(seen),)), CATALOGUE), COSTS)
    assert weighed.state.checks is not None
    assert "battery" in weighed.state.checks.open_checks
    assert (weighed.decision.repair, weighed.decision.leads) == ("battery", True)


@pytest.mark.parametrize("conditions", [SUMMER, FROST], ids=["summer", "frost"])
def test_nothing_leads_while_ice_has_to_be_looked_for(conditions: Conditions) -> None:
    """A nearly flat battery in the frost is looked at before anything is done; in summer it is charged at once."""
    car = Car(Battery(600.0, "EN", age=1.5), "petrol", 1.6, 4, 90.0)
    seen = Reading("how_it_turns_over", state="rapid_clicking"), Reading("rest_voltage", value=10.9)
    weighed = weigh(work_through(Case(car, (Visit(seen, conditions),)), CATALOGUE), COSTS, tools=USUAL_TOOLS)
    assert (weighed.decision.repair, COSTS.founded(weighed.decision.chance_of_cure)) == ("use", True)
    assert bool(weighed.found.urgent) is (conditions is FROST)
    assert weighed.decision.leads is (conditions is SUMMER)
