"""The order of work that an experienced auto electrician would defend in front of an apprentice.

Each situation says what is known of a car and which tools are at hand, which tests may come first, which must not be
among the first three, which must not be proposed at all, and why. The reasons are those of the trade: common practice,
no source, unless a source is named. All cars and readings are invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.advice import Weighed, weigh
from faultnet.diagnosis import work_through
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs()
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
AGM = replace(CAR, battery=Battery(680.0, "EN", "agm", age=4.0))
MILD, FROST = (
    Conditions(air_temperature=12.0, hours_standing=10.0),
    Conditions(air_temperature=-10.0, hours_standing=12),
)
HOT_SMALL = Car(Battery(430.0, "EN", "enhanced_flooded", age=2.5), "petrol", 0.9, 2, 110.0, climate="hot")
SUMMER = Conditions(air_temperature=34.0)
BROUGHT_IN = Visit()
VOLTMETER = frozenset({"voltmeter"})
SHOP = None  # every tool

OF_GROUP = {g: {t.id for t in CATALOGUE.tests if t.group == g} for g in ("ask", "look", "rest", "cranking", "charging")}
ASK, LOOK = OF_GROUP["ask"], OF_GROUP["look"]
FREE = {t.id for t in CATALOGUE.tests if t.group in ("ask", "look") and not t.tools and t.minutes <= 2}
MINUTE = FREE | {"rest_voltage"}  # eyes, hands, ears and a voltmeter on the posts
RUNNING = {t.id for t in CATALOGUE.tests if {"engine_runs", "engine_warm"} & set(t.needs)}
TURNING = {t.id for t in CATALOGUE.tests if "engine_turns" in t.needs}
AT_START = {t.id for t in CATALOGUE.tests if "cranks" in t.does}
LOADING = {"half_rating_load", "two_load_resistance", "conductance_rating"}
TELLS_LITTLE = "draw_at_once"  # until its modules sleep a sound car draws some amperes
DEAR = LOADING | {"turn_by_hand", TELLS_LITTLE, "fuse_pull", "key_off_current", "hold_after_charge", "overnight_fall"}
DROPS = {t.id for t in CATALOGUE.tests if t.id.endswith("_drop") and t.group == "cranking"}
SIDES = {"positive_side_drop", "ground_side_drop", "positive_joint_drop", "negative_joint_drop"}


def said(test: str, state: str) -> Reading:
    return Reading(test, state=state)


def read(test: str, value: float) -> Reading:
    return Reading(test, value=value)


CLICKS, CLUNK = said("how_it_turns_over", "rapid_clicking"), said("how_it_turns_over", "one_clunk")
DEAD, SLOW = said("how_it_turns_over", "nothing"), said("how_it_turns_over", "slow")
TURNS, FIRES = said("how_it_turns_over", "normal"), said("fires_when_cranked", "fires")
NO_FIRE, AGAIN = said("fires_when_cranked", "cranks_no_fire"), said("flat_how_often", "again_and_again")
CHECK_UP = said("when_it_fails", "does_not_fail")
FLAT = (DEAD, read("rest_voltage", 7.6))


@dataclass(frozen=True)
class Situation:
    """What is known of a car, and what may be proposed for it."""

    name: str
    why: str
    entries: tuple[Entry, ...] = ()
    first: set[str] = field(default_factory=set)  # one of these comes first; empty where nothing is said of it
    later: set[str] = field(default_factory=set)  # not among the first three
    never: set[str] = field(default_factory=set)  # not proposed at all
    among: set[str] = field(default_factory=set)  # proposed somewhere
    tools: frozenset[str] | None = USUAL_TOOLS
    car: Car = CAR
    conditions: Conditions = MILD
    visit: Visit = BROUGHT_IN  # what it can do now

    @property
    def case(self) -> Case:
        return Case(self.car, (replace(self.visit, entries=self.entries, conditions=self.conditions),))


SITUATIONS = (
    Situation(
        "clicks, only a voltmeter",
        "clicking is low volts under load: ask, look at the clamps, read the posts. Nothing "
        "that needs a running engine can be read on a car that cannot be started",
        (CLICKS,),
        MINUTE | {"crank_minimum"},
        DEAR,
        RUNNING | TURNING,
        tools=VOLTMETER,
    ),
    Situation(
        "clicks, a whole shop",
        "a carbon pile on a flat battery says that it is flat, after 24 minutes; eyes, hands and "
        "the voltmeter say so in one",
        (CLICKS,),
        MINUTE | {"crank_minimum", "built_in_eye"},
        DEAR,
        TURNING,
        tools=SHOP,
    ),
    Situation(
        "clicks, charger and jump leads",
        "questions, looks and the posts first; a booster comes before readings of the charging side",
        (CLICKS,),
        MINUTE | {"crank_minimum"},
        DEAR | RUNNING,
        TURNING,
    ),
    Situation(
        "one clunk",
        "the solenoid pulls and the motor stands: lamps, clamps and the posts part battery, joints and "
        "starter; it does not turn, so nothing that needs it to turn can be asked",
        (CLUNK,),
        MINUTE | {"crank_minimum", *SIDES},
        DEAR,
        RUNNING | TURNING,
    ),
    Situation(
        "nothing at all at the key",
        "lamps and the posts tell at once whether there is a supply; a current or a drop "
        "cannot be read where no current flows, and there is nothing to hear of a silent starter",
        (DEAD,),
        MINUTE | {"control_terminal_voltage"},
        DEAR,
        RUNNING | TURNING | DROPS | {"crank_current", "starter_noise"},
    ),
    Situation(
        "nothing at all, the posts are flat",
        "what is flat is charged before anything is held against it, and then it may well turn over: cranked with the "
        "fuel off it is loaded by a voltmeter alone. What reads it while it cranks now cannot be done",
        (DEAD, read("rest_voltage", 7.6)),
        MINUTE | {"charge_idle_voltage"},
        {"hold_after_charge", "half_rating_load"},
        TURNING - {"dead_crank_level"} | DROPS,
        {"dead_crank_level"},
        car=HOT_SMALL,
        conditions=SUMMER,
    ),
    Situation(
        "nothing at all, the posts are flat, no charger",
        "without a charger it stays flat, and a starter that does not turn cannot load the battery",
        (DEAD, read("rest_voltage", 7.6)),
        never=TURNING | DROPS,
        tools=frozenset({"voltmeter", "torch", "jump leads"}),
        car=HOT_SMALL,
        conditions=SUMMER,
    ),
    Situation(
        "nothing at all, the posts are full",
        "supply is there, so the command: terminal 50, the clamps and the look of the ground; not the battery",
        (DEAD, read("rest_voltage", 12.65)),
        FREE | {"control_terminal_voltage"},
        LOADING,
        RUNNING | TURNING | DROPS,
    ),
    Situation(
        "cranks well and does not fire",
        "the starting side has shown that it works; nothing can be read of a charging side that does not run",
        (TURNS, NO_FIRE),
        set(),
        DEAR - {"turn_by_hand"} | DROPS,
        RUNNING,
    ),
    Situation(
        "cranks well and does not fire, a whole shop",
        "spark, fuel and the speed signal are the next thing, or the posts in a "
        "minute; before any test that loads the battery",
        (TURNS, NO_FIRE),
        {"spark_and_fuel", "supply_codes"} | MINUTE,
        LOADING | DROPS,
        RUNNING,
        tools=SHOP,
    ),
    Situation(
        "nothing is known",
        "it begins with what the driver says and what the key does; a load test is no beginning",
        (),
        MINUTE,
        DEAR,
        tools=SHOP,
    ),
    Situation(
        "turns slowly",
        "volts at the posts, at rest and while it turns, part battery from resistance; the charging side "
        "waits until it starts well",
        (SLOW,),
        MINUTE | {"crank_minimum"},
        DEAR | {"charge_ripple", "charge_cable_drop"},
    ),
    Situation(
        "turns slowly, the posts stay high",
        "high volts and slow turning: little current flows, so a drop of one side, "
        "or the joints by eye and hand; not the battery",
        (SLOW, read("rest_voltage", 12.6), read("crank_minimum", 10.8)),
        FREE | SIDES,
        LOADING | RUNNING,
    ),
    Situation(
        "turns slowly, the posts fall low",
        "the battery gives way under a load: how old, how charged, is the case sound; "
        "a drop of a cable cannot pull the posts down",
        (SLOW, read("rest_voltage", 12.2), read("crank_minimum", 7.5)),
        set(),
        DROPS | {"turn_by_hand", "fuse_pull"},
    ),
    Situation(
        "flat again and again",
        "first how it is used and whether it is charged; fuses are pulled once a draw was measured, not before",
        (TURNS, FIRES, AGAIN),
        MINUTE | {"charge_idle_voltage", "charge_loaded_voltage"},
        {"half_rating_load"},
        {"fuse_pull"},
    ),
    Situation(
        "a draw was measured",
        "now fuses are pulled: it names the circuit",
        (
            TURNS,
            FIRES,
            AGAIN,
            read("rest_voltage", 12.5),
            read("charge_loaded_voltage", 14.2),
            read("key_off_current", 0.65),
        ),
        among={"fuse_pull"},
        tools=SHOP,
    ),
    Situation(
        "a draw was read at once",
        "the modules were awake: it is read again latched and asleep, and no fuse is pulled before",
        (TURNS, FIRES, AGAIN, read("rest_voltage", 12.5), read("charge_loaded_voltage", 14.2), read(TELLS_LITTLE, 2.6)),
        later={TELLS_LITTLE},
        never={"fuse_pull"},
        among={"key_off_current"},
        tools=SHOP,
    ),
    Situation(
        "no draw was measured",
        "there is no fuse to find where nothing draws",
        (TURNS, FIRES, AGAIN, read("key_off_current", 0.02)),
        never={"fuse_pull"},
        tools=SHOP,
    ),
    Situation(
        "the charge warning light stays on",
        "belt, exciter and volts while running; the starter's drops are no part of that",
        (TURNS, FIRES, said("charge_lamp", "stays_on")),
        MINUTE | {"belt_look", *OF_GROUP["charging"]},
        DROPS | LOADING,
    ),
    Situation(
        "lamps sag at idle",
        "the same by another sign: belt and charging volts, with the engine running already",
        (TURNS, FIRES, said("lights_at_idle", "sag_and_recover_with_revs")),
        MINUTE | {"belt_look", "charge_idle_voltage", "charge_unloaded_voltage", "charge_loaded_voltage"},
        DROPS | LOADING,
    ),
    Situation(
        "charging volts are low",
        "output or set point: belt, cable and exciter before an alternator is condemned",
        (TURNS, FIRES, read("charge_idle_voltage", 12.4)),
        FREE | {"belt_look", *OF_GROUP["charging"]},
        DROPS | LOADING,
    ),
    Situation(
        "a check-up",
        "no complaint: questions, looks and a few volts; nothing that takes long",
        (CHECK_UP,),
        FREE | {"rest_voltage", "crank_minimum", "charge_loaded_voltage"},
        {"turn_by_hand", "fuse_pull", "hold_after_charge", "spark_and_fuel"},
        tools=SHOP,
    ),
    Situation(
        "the engine is locked",
        "a starter on a locked engine burns; nothing is cranked",
        (CLUNK, said("turn_by_hand", "locked")),
        never=AT_START | RUNNING | TURNING | DROPS,
        tools=SHOP,
    ),
    Situation(
        "the battery is frozen",
        "a frozen battery is thawed and looked at: charging or cranking it can burst it "
        "(US Army OD1002, as for the caution)",
        (CLICKS, said("case_condition", "frozen")),
        never=AT_START
        | RUNNING
        | TURNING
        | {"half_rating_load", "two_load_resistance", "charger_acceptance", "hold_after_charge"},
        tools=SHOP,
        conditions=FROST,
    ),
    Situation(
        "the battery is swollen",
        "a swollen case has been gassing: no charger, no booster, no load",
        (CLICKS, said("case_condition", "swollen")),
        never=AT_START | RUNNING | {"half_rating_load", "charger_acceptance", "hold_after_charge"},
        tools=SHOP,
    ),
    Situation(
        "the battery is cracked",
        "as swollen; acid runs out as well",
        (SLOW, said("case_condition", "cracked")),
        never=AT_START | RUNNING | {"half_rating_load", "charger_acceptance", "hold_after_charge"},
        tools=SHOP,
    ),
    Situation(
        "a smell of fuel",
        "no spark near fuel: nothing is switched, cranked or connected until it has aired",
        (TURNS, NO_FIRE, said("smell", "fuel")),
        never=AT_START | RUNNING | LOADING | {"charger_acceptance"},
        tools=SHOP,
    ),
    Situation(
        "a smell of rotten eggs",
        "the battery is gassing: let air in, no spark, off the charger",
        (SLOW, said("smell", "rotten_eggs")),
        never=AT_START | RUNNING | LOADING | {"charger_acceptance"},
        tools=SHOP,
    ),
    Situation(
        "nearly flat in the frost",
        "flat acid freezes at some -10 degC (facts of the trade: 1.10 kg/l at -7 degC): look "
        "for ice before anything is connected or cranked",
        (CLICKS, read("rest_voltage", 11.3)),
        {"case_condition"},
        never=AT_START | RUNNING | {"charger_acceptance"},
        conditions=FROST,
    ),
    Situation(
        "nearly flat in the frost, looked at",
        "there is no ice: one goes on as with any flat battery",
        (CLICKS, read("rest_voltage", 11.3), said("case_condition", "dry_and_flat")),
        among={"lamps_while_cranking"},
        conditions=FROST,
    ),
    Situation(
        "clicks, no booster at hand",
        "without a second battery it cannot be started: nothing with the engine running",
        (CLICKS,),
        never=RUNNING,
        tools=frozenset({"voltmeter", "torch", "battery charger"}),
    ),
    Situation(
        "nobody told of a booster",
        "whether it was started with another battery is asked before what came of it",
        (SLOW, read("rest_voltage", 11.9)),
        never={"after_booster"},
        among={"jump_start"},
    ),
    Situation(
        "started with a booster, and flat again",
        "how long it ran tells a flat battery from one that is not charged: this driver knows",
        (SLOW, read("rest_voltage", 11.9), said("jump_start", "starts_flat_again")),
        among={"after_booster"},
    ),
    Situation(
        "started with a booster",
        "it runs now: volts while charging can be read, before it is switched off",
        (CLICKS, read("rest_voltage", 11.6)),
        among={"charge_idle_voltage", "charge_loaded_voltage"},
        visit=Visit(runs="with_booster"),
    ),
    Situation(
        "a booster did not help",
        "what does not start with a good battery will not run for a reading",
        (CLICKS, Act("jump_start", outcome="no_change")),
        never=RUNNING,
    ),
    Situation(
        "it does not crank now",
        "what is said of the car now counts, whatever it did in the morning",
        (SLOW,),
        never=TURNING | RUNNING,
        visit=Visit(cranks=False, runs="no"),
    ),
    Situation(
        "it fails now and then, and not now",
        "a tap or a bridge shows nothing while the fault is away; what can be seen and moved is looked at",
        (said("when_it_fails", "at_random"),),
        MINUTE,
        DEAR,
        {"tap_starter", "control_bypass", "jumper_ground"},
        tools=SHOP,
        visit=Visit(cranks=True, runs="by_itself", shows_now=False),
    ),
    Situation(
        "a sealed battery",
        "a battery with glass mat is never opened",
        (SLOW,),
        never={"hydrometer_level", "hydrometer_spread", "acid_level"},
        tools=SHOP,
        car=AGM,
    ),
    Situation(
        "flat, a carbon pile but no charger",
        "a load test asks for a charged battery, and there is nothing to charge it with",
        (CLICKS, read("rest_voltage", 11.5)),
        never={"half_rating_load", "hold_after_charge"},
        tools=frozenset({"voltmeter", "carbon-pile load"}),
    ),
    Situation(
        "flat, and nothing else known",
        "was something left on, how is it driven: the questions of a flat battery cost a "
        "minute each, and volts so low on a car that turns well are read twice",
        (TURNS, AGAIN, read("rest_voltage", 11.6)),
        MINUTE | {"charge_idle_voltage"},
        {"half_rating_load", "turn_by_hand"},
    ),
    Situation(
        "bare hands",
        "what needs a tool is not proposed to somebody who has none",
        (SLOW,),
        FREE,
        never={t.id for t in CATALOGUE.tests if t.tools},
        tools=frozenset(),
    ),
    Situation(
        "much is lost on the positive side",
        "which piece of that side: its joint, its cable, the contacts, each in three minutes with the fuel still cut",
        (SLOW, read("rest_voltage", 12.6), Act("disable_fuel"), read("positive_side_drop", 2.1)),
        {
            "positive_joint_drop",
            "starter_cable_drop",
            "solenoid_drop",
            "positive_joint_look",
            "positive_joint_moves",
            "warm_after_cranking",
        },
        DEAR | RUNNING,
    ),
)


@dataclass(frozen=True)
class Found:
    """What is known of a car, and the repair that is named first; empty where nothing is to be repaired yet."""

    name: str
    why: str
    entries: tuple[Entry, ...]
    repair: str = ""
    car: Car = CAR
    conditions: Conditions = MILD
    tools: frozenset[str] | None = USUAL_TOOLS

    def weighed(self) -> Weighed:
        case = Case(self.car, (Visit(self.entries, self.conditions),))
        return weigh(work_through(case, CATALOGUE), COSTS, tools=self.tools)


LOOSE = said("negative_joint_moves", "moves")
FOUND = (
    Found("clicks", "it may be anything yet", (CLICKS,)),
    Found("silent and flat", "it is charged and loaded before it is condemned", FLAT, car=HOT_SMALL, conditions=SUMMER),
    Found(
        "silent and flat, charged and loaded",
        "it fell under the load of the starter",
        (*FLAT, Act("charge"), Act("disable_fuel"), read("dead_crank_level", 8.6)),
        "battery",
        HOT_SMALL,
        SUMMER,
    ),
    Found("flat in the frost", "a look for ice comes first", (CLICKS, read("rest_voltage", 10.4)), conditions=FROST),
    Found(
        "much is lost at a clamp",
        "0.8 V over the clamp: it is cleaned there and then, whatever the battery is like",
        (SLOW, Act("disable_fuel"), read("positive_joint_drop", 0.8)),
        "positive_joint",
    ),
    Found("a clamp moves by hand", "it is tightened, and then it is seen", (CLICKS, LOOSE), "negative_joint"),
    Found(
        "a clamp moves by hand, the posts are full",
        "there is nothing to read before it is tightened",
        (CLICKS, read("rest_voltage", 12.7), LOOSE),
        "negative_joint",
    ),
    Found(
        "a clamp moves by hand, it never failed",
        "one that moves a little is common; what it drops is read first",
        (CHECK_UP, LOOSE),
    ),
    Found(
        "the command does not come",
        "nothing at terminal 50 with the key turned and full posts: the control circuit",
        (DEAD, read("rest_voltage", 12.6), read("control_terminal_voltage", 0.1)),
        "start_control",
    ),
    Found(
        "the alternator's cable",
        "1.2 V over it: the cable is renewed, not the alternator",
        (TURNS, FIRES, read("charge_loaded_voltage", 12.9), read("charge_cable_drop", 1.2)),
        "charge_cable",
    ),
    Found(
        "a dead cell",
        "five good cells at rest and one by the hydrometer",
        (read("rest_voltage", 10.45), read("hydrometer_spread", 0.12)),
        "battery",
        tools=SHOP,
    ),
    Found("charging volts are low", "belt, cable and exciter circuit before an alternator", (
        TURNS, FIRES, said("charge_lamp", "stays_on"), read("charge_idle_voltage", 12.3))),
)  # fmt: skip


@pytest.mark.parametrize("found", FOUND, ids=lambda f: f.name.replace(" ", "_").replace(",", ""))
def test_an_electrician_would_repair_this_first(found: Found) -> None:
    """Common practice, no source; the cars and their readings are invented."""
    decision = found.weighed().decision
    assert (decision.repair if decision.leads else "") == found.repair, found.why


def test_a_clamp_that_loses_much_is_named_by_its_need_and_the_rest_is_tested_beside_it() -> None:
    found = next(f for f in FOUND if f.name == "much is lost at a clamp")
    decision = found.weighed().decision
    assert decision.by_need
    assert decision.chance_of_cure < COSTS.well_founded < COSTS.surely_needed <= decision.chance_needed
    assert not decision.stop
    assert decision.because.startswith("For what else may be wrong: ")


def weighed(situation: Situation) -> Weighed:
    return weigh(work_through(situation.case, CATALOGUE), COSTS, tools=situation.tools)


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda s: s.name.replace(" ", "_").replace(",", ""))
def test_an_electrician_would_work_in_this_order(situation: Situation) -> None:
    tests = weighed(situation).tests
    order, bits = [t.test for t in tests], {t.test: t.bits for t in tests}
    assert not situation.first or order[0] in situation.first, situation.why
    assert not situation.later.intersection(order[:3]), situation.why
    assert not situation.never.intersection(order), situation.why
    assert situation.among <= set(order), situation.why
    if TELLS_LITTLE in order:
        assert bits["key_off_current"] > bits[TELLS_LITTLE], "what is read asleep tells far more"
    if TELLS_LITTLE in order[:20]:  # behind these stands what tells next to nothing
        assert order.index("key_off_current") < order.index(TELLS_LITTLE)


def test_every_situation_says_something_of_tests_that_exist() -> None:
    known = {t.id for t in CATALOGUE.tests}
    for s in SITUATIONS:
        assert s.first | s.later | s.never | s.among, s.name
        assert s.first | s.later | s.never | s.among <= known, s.name
    assert len({s.name for s in SITUATIONS}) == len(SITUATIONS) >= 25
