"""Choices: what the driver tells from the weeks before, and what is heard, seen, felt and smelt at the car.

Each answer comes from the log, from a start or from the condition of a part, through an observer who errs in his own
way. Figures are estimates unless marked; the reason stands beside each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from faultnet.prior_set.types import Test
from faultnet.simulation.independent import battery
from faultnet.simulation.independent.charging import driven, tested
from faultnet.simulation.independent.life import (
    SLOW_SHARE,
    fires,
    starts,
    usual_speed,
    word_of,
)
from faultnet.simulation.independent.log import CONDITIONS
from faultnet.simulation.independent.numbers import typical
from faultnet.simulation.independent.readings import CannotBeMeasured, can_run
from faultnet.simulation.independent.starting import Start, solve_start
from faultnet.simulation.independent.vehicle import IndependentCar

Rng = np.random.Generator
# What a driver remembers of a year besides the last weeks, as starts: estimates.
REMEMBERED = {"cold": 6.0, "hot": 5.0, "damp": 5.0, "stood": 2.0, "all": 20.0}
WORDS_SLIP = {
    "nothing": "one_clunk",
    "one_clunk": "nothing",
    "rapid_clicking": "one_clunk",
    "slow": "normal",
    "normal": "slow",
}  # what each is taken for in a closed car with the radio on


def choice(car: IndependentCar, test: Test, instrument: str, rng: Rng) -> str:
    """Answer a test that has choices.

    Raises
    ------
    CannotBeMeasured
        If this car, as it is, gives no answer.
    """
    first = test.id == "how_it_turns_over" and instrument == "question" and car.log.word
    answer = car.log.word if first else ANSWERS[test.id](car, rng)
    slip = typical("slip_told") if instrument == "question" else typical("slip_seen")
    if rng.random() >= slip:
        return answer
    if test.id == "how_it_turns_over":
        return WORDS_SLIP[answer]
    choices = [c for c, _ in test.choices]
    place = choices.index(answer)
    near = [choices[i] for i in (place - 1, place + 1) if 0 <= i < len(choices)]
    return str(rng.choice(near))  # a slip is to what stands next on the list


def try_start(car: IndependentCar, rng: Rng, **changed: float | bool) -> Start:
    """A start from one of four places where the crank may stand."""
    return solve_start(car.circuit(angle=float(rng.integers(4)) * 0.4, **changed))


def heard(car: IndependentCar, rng: Rng) -> str:
    """How it turns over now, to somebody who knows the car."""
    if car.now("unlisted")["form"] == 1.0:
        return "one_clunk" if rng.random() < 0.6 else "nothing"  # a whirr that drivers hardly have a word for
    return _word(car, try_start(car, rng), rng)


def _word(car: IndependentCar, start: Start, rng: Rng) -> str:
    return word_of(car, start, usual_speed(car), SLOW_SHARE + 0.06 * float(rng.standard_normal()))


def _turns(car: IndependentCar, rng: Rng) -> Start:
    start = try_start(car, rng)
    if not start.turning:
        raise CannotBeMeasured("skipped")
    return start


def _lamps(car: IndependentCar, rng: Rng) -> str:
    """Light goes as the 3.4th power of the volts (lamp makers' rule, memory); an eye adapts to half of it."""
    start = try_start(car, rng, extra=15.0)
    volts = start.clamp_level if start.word != "chatters" else float(start.clamps[:200].mean())
    bright = (max(volts, 0.1) / 12.6) ** 3.4 * float(np.exp(0.2 * rng.standard_normal()))
    return "stay_bright" if bright > 0.5 else "dim" if bright > 0.06 else "go_out"


def _fires(car: IndependentCar, rng: Rng) -> str:
    start = _turns(car, rng)
    if fires(replace(car, firing=True), start.speed):
        return "fires"
    if _word(car, start, rng) == "slow" and rng.random() < 0.7:
        raise CannotBeMeasured("skipped")  # too slow to say
    return "cranks_no_fire"


def _when(car: IndependentCar, rng: Rng) -> str:
    """The condition under which a start failed most often for how often it held; a driver goes by few events."""
    log, total = car.log, dict(car.log.starts)
    failed = list(log.of("failed", "retried", "slow"))
    if not failed:
        return "at_random" if log.events else "does_not_fail"
    if not log.could_start and len({e.day for e in failed}) <= 1 and total.get("all", 0) and rng.random() < 0.7:
        return "every_time"  # it went dead and stayed dead
    lifts = {c: _lift(c, total, sum(c in e.holds for e in failed), len(failed)) for c in CONDITIONS}
    best = max(lifts, key=lambda c: lifts[c])
    named = {"stood": "after_standing"}.get(best, best)
    return named if lifts[best] * float(np.exp(0.3 * rng.standard_normal())) > 1.5 else "at_random"


def _lift(condition: str, total: dict[str, int], failed: int, every: int) -> float:
    """How much more often it failed under a condition than that condition held [-]."""
    held = (total.get(condition, 0) + REMEMBERED[condition]) / (total.get("all", 0) + REMEMBERED["all"])
    return (failed + 0.5 * held) / (every + 0.5) / held


def _died(car: IndependentCar, rng: Rng) -> str:
    if any(car.log.of("died_faded")):
        return "lamps_faded_first" if rng.random() < 0.8 else "cut_out_at_once"  # not everybody watches the lamps
    return "cut_out_at_once" if any(car.log.of("died_at_once")) else "no"


def _jump(car: IndependentCar, rng: Rng) -> str:
    told = list(car.log.of("jumped", "no_help"))
    if not told:
        return "not_tried"
    last = told[-1]
    if last.kind == "no_help":
        return "no_help"
    return "starts_and_restarts_later" if last.again else "starts_flat_again"


def _after_booster(car: IndependentCar, rng: Rng) -> str:
    """The run that the booster gave: a few minutes or half an hour and more, then stopped and tried again."""
    if not any(car.log.of("jumped")):
        raise CannotBeMeasured("skipped")  # nobody has tried
    if not starts(car, helped=True)[0]:
        raise CannotBeMeasured("cannot_reach")
    minutes = float(rng.choice([4.0, 30.0, 60.0]))
    after, died = driven(car, minutes)
    if died:
        return "died_as_leads_came_off"
    if starts(after)[0]:
        return "runs_and_restarts"
    return "fails_after_minutes" if minutes < 10.0 else "fails_after_a_drive"


def _lights(car: IndependentCar, rng: Rng) -> str:
    _needs_run(car)
    idle, revs = (tested(car, state).posts + 0.12 * float(rng.standard_normal()) for state in
                  ("charge_idle", "charge_loaded"))  # fmt: skip
    if revs > 15.2:
        return "brighten_too_much"
    if revs < 12.5:
        return "dim_always"
    return "sag_and_recover_with_revs" if idle < 12.7 and revs - idle > 0.6 else "steady"


def _charge_lamp(car: IndependentCar, rng: Rng) -> str:
    control, machine = car.now("charge_control"), car.now("alternator")
    if not control["lamp"]:
        return "never_lights"
    if machine["field_open"] and rng.random() < 0.3:
        return "never_lights"  # where the lamp feeds the field; a regulator that lights it itself shows it
    found = tested(car, "charge_loaded")
    if not found.works or found.current < 1.0:
        return "stays_on"
    lost = found.stud - found.posts
    rectifier = car.now("rectifier")["ripple"] > 0.1
    glow = 0.45 if rectifier or machine["field_open"] else 0.35 if lost > 0.8 or found.slips else 0.02
    return "glows" if rng.random() < glow else "normal"


# Share of cars on which such work was done in the last weeks: hands leave loose joints and new drains behind.
WORK = {
    ("positive_joint", "slack"): (1, 0.35), ("negative_joint", "slack"): (1, 0.35),
    ("ground_path", "breaks_contact"): (2, 0.2), ("ground_path", "high_resistance"): (2, 0.1),
    ("drain", "moderate"): (3, 0.3), ("drain", "heavy"): (3, 0.25), ("drain", "stays_awake"): (3, 0.25),
    ("start_control", "intermittent"): (2, 0.15), ("battery", "undersized"): (1, 0.3),
    ("charge_control", "wrong_command"): (1, 0.35), ("charge_control", "not_excited"): (2, 0.2),
}  # fmt: skip
WORK_WORDS = ("none", "battery_or_cables", "engine_or_starter", "accessory_fitted")
WORK_ANYHOW = (0.82, 0.07, 0.07, 0.04)


def _work(car: IndependentCar, rng: Rng) -> str:
    for cause in car.faults:
        word, share = WORK.get(cause, (0, 0.0))
        if rng.random() < share:
            return WORK_WORDS[word]
    return str(rng.choice(WORK_WORDS, p=WORK_ANYHOW))


def _left_on(car: IndependentCar, rng: Rng) -> str:
    """Who left a lamp on mostly knows by the morning; some did not see it, some will not say so."""
    shares = (0.12, 0.25, 0.63) if car.modes["use"] == "left_on" else (0.85, 0.13, 0.02)
    return str(rng.choice(("no", "not_sure", "yes"), p=shares))


def _journeys(car: IndependentCar, rng: Rng) -> str:
    minutes = car.log.minutes * float(np.exp(0.25 * rng.standard_normal()))
    return "mostly_short" if minutes < 9.0 else "mixed" if minutes < 28.0 else "mostly_long"


def _standing(car: IndependentCar, rng: Rng) -> str:
    days = car.log.stood * float(np.exp(0.2 * rng.standard_normal()))
    return "hours_or_a_night" if days < 1.6 else "some_days" if days < 9.0 else "weeks"


def _replaced(car: IndependentCar, rng: Rng) -> str:
    """A battery is the first thing that is bought; where that was not the cause the trouble stayed."""
    others = any(c not in ("battery", "use") for c, _ in car.faults)
    age = car.build.car.battery.age or 5.0
    if age < 1.0:
        return "lately_no_change" if others and rng.random() < 0.6 else "lately_cured_at_first"
    return "lately_no_change" if others and car.log.flat_times > 1 and rng.random() < 0.3 else "not_lately"


def _how_often(car: IndependentCar, rng: Rng) -> str:
    times = car.log.flat_times
    if times == 1 and rng.random() < 0.15 and car.wear > 0.5:
        return "again_and_again"  # it was so last winter too
    return "never" if times == 0 else "once" if times == 1 else "again_and_again"


def _joint_look(component: str) -> Callable[[IndependentCar, Rng], str]:
    """Powder grows with corrosion but a third of the films cannot be seen (trade: the film may be invisible)."""

    def look(car: IndependentCar, rng: Rng) -> str:
        powder = car.parts[component]["powder"] + 0.35 * float(rng.standard_normal())
        if car.modes[component] == "corroded" and rng.random() < 0.33:
            powder = 0.35 * float(rng.standard_normal())
        return "heavy_powder" if powder > 1.6 else "some_powder" if powder > 0.65 else "clean"

    return look


def _joint_moves(component: str) -> Callable[[IndependentCar, Rng], str]:
    """Some turn a clamp too gently to feel it, and a strong hand moves the soft lead under a tight one now and then."""

    def feel(car: IndependentCar, rng: Rng) -> str:
        slack = car.modes[component] == "slack"
        return "moves" if rng.random() < (0.85 if slack else 0.025) else "firm"

    return feel


def _case(car: IndependentCar, rng: Rng) -> str:
    shares = np.array([0.94, 0.04, 0.01, 0.01])
    if car.modes["regulator"] == "high":
        shares = np.array([0.4, 0.42, 0.13, 0.05])  # gas carries acid out, heat swells
    elif car.modes["battery"] in ("dried_out", "shorted_cell"):
        shares = np.array([0.6, 0.2, 0.17, 0.03])
    return str(rng.choice(("dry_and_flat", "wet_top", "swollen", "cracked"), p=shares))


def _acid_level(car: IndependentCar, rng: Rng) -> str:
    if car.build.sealed:
        raise CannotBeMeasured("cannot_reach")
    if car.modes["battery"] == "dried_out":
        shares = (0.08, 0.2, 0.72)
    elif car.modes["regulator"] == "high":
        shares = (0.5, 0.15, 0.35)
    else:
        shares = (0.7, 0.25, 0.05) if car.modes["battery"] in ("weak_cell", "shorted_cell") else (0.92, 0.05, 0.03)
    return str(rng.choice(("at_the_mark", "low_in_some", "low_in_all"), p=shares))


def _belt(car: IndependentCar, rng: Rng) -> str:
    if car.parts["belt"]["lost"] >= 1.0:
        return "missing"
    return "glazed_or_slack" if car.parts["belt"]["glazed"] + 0.3 * float(rng.standard_normal()) > 0.95 else "good"


def _eye(car: IndependentCar, rng: Rng) -> str:
    """It floats at a specific gravity of about 1.225 and sits in one of six cells, the same at every look."""
    if not car.build.eye:
        raise CannotBeMeasured("not_fitted")
    if car.modes["battery"] == "dried_out" and car.traits["eye"] > -0.3:
        return "clear"
    condition = car.parts["battery"]
    in_odd = car.traits["eye"] > 0.97  # one in six
    if in_odd and condition["shorted"]:
        return "dark"
    seen = battery.gravity(condition, car.removed, odd=in_odd) + 0.006 * float(rng.standard_normal())
    return "green" if seen > 1.225 else "dark"


def _smell(car: IndependentCar, rng: Rng) -> str:
    runs = can_run(car)
    volts = tested(car, "charge_unloaded").posts if runs else 0.0
    if volts > 15.1 and rng.random() < 0.5:
        return "rotten_eggs"
    if car.modes["battery"] == "shorted_cell" and rng.random() < 0.25:
        return "rotten_eggs"
    if runs and tested(car, "charge_loaded").slips and rng.random() < 0.35:
        return "burnt_rubber"
    start = try_start(car, rng)
    hot = start.word == "stands" or car.parts["starter_motor"]["drag"] > 0.3 or car.parts["starter_motor"]["shorted"]
    return "burnt_electrical" if hot and rng.random() < 0.35 else "none"


def _warm(car: IndependentCar, rng: Rng) -> str:
    """Some 30 W for ten seconds into a lug can be felt; the hottest is named (estimate from the mass of a clamp)."""
    start = try_start(car, rng)
    if start.word in ("no_pull", "open"):
        raise CannotBeMeasured("skipped")
    circuit = car.circuit()
    square = float(np.mean(start.current[300:] ** 2))
    watts = {
        "positive_joint": circuit.positive, "negative_joint": circuit.negative, "starter_cable": 0.5 * circuit.cable,
        "ground_strap": 0.5 * circuit.ground, "solenoid": 0.6 * circuit.contact,
    }  # fmt: skip
    hottest = max(watts, key=lambda name: watts[name])
    felt = square * watts[hottest] * float(np.exp(0.4 * rng.standard_normal()))
    return hottest if felt > 30.0 else "all_cool"


def _label(car: IndependentCar, rng: Rng) -> str:
    return "smaller" if car.build.fitted < 0.88 * car.build.needed else "as_required"


def _strap(car: IndependentCar, rng: Rng) -> str:
    """What lies under a lug stays hidden; an old car's strap looks bad and is not."""
    mode = car.modes["ground_path"]
    if mode == "high_resistance":
        shares = (0.42, 0.53, 0.05)
    elif mode == "breaks_contact":
        shares = (0.3, 0.22, 0.48)
    else:
        bad = 0.05 + 0.05 * max(car.wear, 0.0)
        shares = (0.99 - bad, bad, 0.01)
    return str(rng.choice(("good", "corroded_or_frayed", "loose_or_missing"), p=shares))


def _alternator_noise(car: IndependentCar, rng: Rng) -> str:
    _needs_run(car)
    found = tested(car, "charge_loaded")
    if found.slips and rng.random() < 0.75:
        return "squeal"
    whine = 0.45 if car.now("rectifier")["ripple"] > 0.1 else 0.04 + 0.04 * max(car.wear, 0.0)  # bearings of old ones
    return "whine_or_growl" if rng.random() < whine else "quiet"


def _starter_noise(car: IndependentCar, rng: Rng) -> str:
    start = try_start(car, rng)
    if start.word == "no_pull":
        raise CannotBeMeasured("skipped")
    if car.now("unlisted")["form"] == 1.0:
        return "whirrs"
    if not start.turning:
        return "clunk_only"
    if car.now("starter_motor")["drag"] > 0.2 and rng.random() < 0.5:
        return "grinds"
    return "labours" if _word(car, start, rng) == "slow" else "normal"


def _fuse(car: IndependentCar, rng: Rng) -> str:
    drain, leak = car.now("drain"), car.now("rectifier")["leak"]
    if drain["amperes"] + leak < 0.07:
        return "nothing_to_find"
    if leak > drain["amperes"]:
        return "falls_with_alternator_lead"
    return "falls_with_a_fuse" if drain["fuse"] else "stays_high"


def _wiggle(car: IndependentCar, rng: Rng) -> str:
    """A rod finds a loose contact in somewhat more than half of the tries; other contacts give by chance."""
    places = {"positive_joint": "at_positive_post", "negative_joint": "at_negative_post",
              "ground_path": "at_ground_strap", "start_control": "at_control_wiring"}  # fmt: skip
    loose = {"slack": 0.65, "breaks_contact": 0.6, "intermittent": 0.35, "corroded": 0.2, "high_resistance": 0.15}
    for component, word in places.items():
        if rng.random() < loose.get(car.modes[component], 0.01):
            return word
    return "no_change"


def _better(car: IndependentCar, rng: Rng, **changed: float | bool) -> bool:
    before, after = (try_start(car, rng, **what) for what in ({}, changed))
    return bool(after.turning and (not before.turning or after.speed > 1.12 * before.speed))


def _jumper(car: IndependentCar, rng: Rng) -> str:
    lead = 1.5e-3  # [ohm] of a jump lead and its two clamps; derived, 2 m of 25 mm2
    circuit = car.circuit()
    path = circuit.negative + circuit.ground
    both = path * lead / (path + lead)
    return "turns_better" if _better(car, rng, negative=0.0, ground=both) else "no_change"


def _bypass(car: IndependentCar, rng: Rng) -> str:
    before = try_start(car, rng)
    after = try_start(car, rng, control=0.02)  # [ohm] a fused lead
    return "cranks_now" if after.turning and not before.turning else "same_as_before"


def _tap(car: IndependentCar, rng: Rng) -> str:
    wakes = {("starter_motor", "worn_brushes"): 0.6, ("solenoid", "worn_contacts"): 0.35}
    for (component, mode), chance in wakes.items():
        stuck = component in car.showing and car.modes[component] == mode
        well = replace(car, showing=car.showing - {component})
        if stuck and rng.random() < chance and try_start(well, rng).turning:
            return "cranks_after_tap"
    return "no_change"


def _by_hand(car: IndependentCar, rng: Rng) -> str:
    """The arm feels the engine only; a starter on a dead spot does not hold it."""
    effort = car.parts["engine_turning"]["factor"] * float(np.exp(0.12 * rng.standard_normal()))
    return "locked" if effort > 10.0 else "heavy" if effort > 1.55 else "free"


def _spark(car: IndependentCar, rng: Rng) -> str:
    _turns(car, rng)
    words = ("no_fuel", "no_spark", "no_speed_signal")
    if not car.parts["engine_running"]["fires"]:
        return words[int(car.parts["engine_running"]["missing"])]
    return "no_fuel" if car.parts["unlisted"]["form"] == 2.0 else "all_present"


def _excitation(car: IndependentCar, rng: Rng) -> str:
    if not car.now("charge_control")["excites"]:
        return "no_voltage"
    return "voltage_no_current" if car.now("alternator")["field_open"] else "voltage_and_current"


def _codes(car: IndependentCar, rng: Rng) -> str:
    """Modules store what they saw for long enough; old ones store little."""
    found = tested(car, "charge_unloaded")
    if found.posts > 15.3 and rng.random() < 0.6:
        return "supply_high"
    if not found.works and rng.random() < 0.45:
        return "charging_control"
    if car.modes["start_control"] != "sound" and rng.random() < 0.35:
        return "start_control"
    low = car.log.flat_times > 0 or any(car.log.of("died_faded"))
    return "supply_low" if rng.random() < (0.5 if low else 0.06) else "none"


def _needs_run(car: IndependentCar) -> None:
    if not can_run(car):
        raise CannotBeMeasured("skipped")


ANSWERS: dict[str, Callable[[IndependentCar, Rng], str]] = {
    "how_it_turns_over": heard,
    "lamps_while_cranking": _lamps,
    "fires_when_cranked": _fires,
    "when_it_fails": _when,
    "died_while_driving": _died,
    "jump_start": _jump,
    "after_booster": _after_booster,
    "lights_at_idle": _lights,
    "charge_lamp": _charge_lamp,
    "recent_work": _work,
    "left_something_on": _left_on,
    "journeys": _journeys,
    "standing_habit": _standing,
    "battery_replaced_lately": _replaced,
    "flat_how_often": _how_often,
    "positive_joint_look": _joint_look("positive_joint"),
    "positive_joint_moves": _joint_moves("positive_joint"),
    "negative_joint_look": _joint_look("negative_joint"),
    "negative_joint_moves": _joint_moves("negative_joint"),
    "case_condition": _case,
    "acid_level": _acid_level,
    "belt_look": _belt,
    "built_in_eye": _eye,
    "smell": _smell,
    "warm_after_cranking": _warm,
    "battery_label": _label,
    "ground_strap_look": _strap,
    "alternator_noise": _alternator_noise,
    "starter_noise": _starter_noise,
    "fuse_pull": _fuse,
    "wiggle_while_cranking": _wiggle,
    "jumper_ground": _jumper,
    "control_bypass": _bypass,
    "tap_starter": _tap,
    "turn_by_hand": _by_hand,
    "spark_and_fuel": _spark,
    "excitation": _excitation,
    "supply_codes": _codes,
}
