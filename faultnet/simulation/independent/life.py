"""The weeks before a visit: starts, drives and nights, until the car is brought in.

Nothing the driver tells is drawn from a table of symptoms. The car is lived with: every start is tried on the circuit
as it is that morning, every drive charges or does not, every night draws what it draws. What failed, when, and what a
booster did, is written into the log that the answers are read from.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field, replace
from math import isfinite

import numpy as np

from faultnet.simulation.independent.battery import Source
from faultnet.simulation.independent.charging import SHORT_DRIVE, driven, parked, tested
from faultnet.simulation.independent.log import CONDITIONS, Event, Log
from faultnet.simulation.independent.numbers import typical
from faultnet.simulation.independent.parts import COMES_AND_GOES, Dice
from faultnet.simulation.independent.starting import Start, quick_speed, solve_start
from faultnet.simulation.independent.vehicle import IndependentCar

# Chance that a fault that comes and goes shows at one start, and how many times as much under a condition. All of them
# estimates: contacts open with shaking and with cold, wires with damp, brushes and coils with heat.
SHOWS: dict[tuple[str, str], tuple[float, dict[str, float]]] = {
    ("battery", "broken_link"): (0.12, {"hot": 2.0, "rough": 3.0}),
    ("positive_joint", "slack"): (0.15, {"cold": 1.8, "damp": 1.4, "rough": 2.0}),
    ("negative_joint", "slack"): (0.15, {"cold": 1.8, "damp": 1.4, "rough": 2.0}),
    ("ground_path", "breaks_contact"): (0.15, {"cold": 1.4, "damp": 2.0, "rough": 2.0}),
    ("solenoid", "worn_contacts"): (0.18, {"cold": 1.6}),
    ("starter_motor", "worn_brushes"): (0.18, {"hot": 1.8, "cold": 1.3}),
    ("start_control", "intermittent"): (0.14, {"hot": 1.6, "damp": 1.8, "rough": 1.8}),
    ("alternator", "worn_brushes"): (0.35, {"hot": 1.5, "rough": 1.6}),
    ("drain", "stays_awake"): (0.3, {"damp": 1.5, "stood": 1.5}),
}
# Faults that strike from one day to the next; all others were there for weeks (common practice, no source).
SUDDEN = {
    ("battery", "shorted_cell"), ("starter_motor", "open"), ("start_control", "open"), ("engine_turning", "seized"),
    ("engine_running", "no_fire"), ("alternator", "no_output"), ("regulator", "high"), ("belt", "lost"),
    ("charge_cable", "open"), ("charge_control", "not_excited"), ("solenoid", "weak_winding"), ("unlisted", "present"),
}  # fmt: skip
COLD, HOT_ENGINE = 6.0, 35.0  # [degC] of the air, [K] engine above it: what a driver calls cold, and hot; estimate
DAYS = 30
DAYS_BEFORE_A_MISHAP = 4  # lived through before something is left on or the car is left to stand
WEATHER, DAMP_DAYS = 4.5, 0.25  # [K] of a day about the season's mean, [-] of days; estimates
NEIGHBOUR = 0.6  # [-] chance of a booster at a failed start; estimate
GIVES_UP = (0.45, 0.75, 1.0)  # [-] chance to bring it in after the first, second, third failure; estimate
LAMP_SEEN, SLOW_SEEN = 0.2, 0.08  # [-] chance a day to bring it in for a charge lamp, for slow turning; estimate
BOOSTER = (12.7, 9e-3)  # [V], [ohm] another car's battery behind ordinary leads; derived, 5 and 4 mohm
RELAY_HOLDS, RELAY_LETS_GO = 3.0, 6.0  # [V] at the clamps between which a start relay chatters: common practice
KEY_ON = 0.4  # [A h] of a short trip's key-on time with blower and radio, 8 A for 3 min; estimate
ATTEMPT = 0.5  # [A h] of a start that fails after some seconds: 180 A for 10 s; derived
LAMP_GLOWS, GLARES = 12.6, 15.4  # [V] with loads on; common practice, no source
TRIED_AT = -18.0  # [degC] where a sound car starts, the temperature of its battery's rating: SAE J537, secondary
TO_SPARE = 0.9  # [-] most of its speed there that the engine needs; estimate
SLOW_SHARE = 0.68  # [-] of its usual speed from which a driver calls it slow; estimate


@dataclass
class Diary:
    """What is being written down."""

    events: list[Event] = field(default_factory=list)
    starts: Counter[str] = field(default_factory=Counter)
    failures: int = 0
    stood: float = 0.5


def showing(dice: Dice, car: IndependentCar, holds: Collection[str]) -> frozenset[str]:
    """Which faults that come and go show at a start, given what holds (cold, hot, damp, rough, stood)."""
    found = set()
    for component, mode in sorted(COMES_AND_GOES):
        if car.modes[component] == mode:
            chance, factors = SHOWS[component, mode]
            for condition in holds:
                chance *= factors.get(condition, 1.0)
            if dice.happens(min(chance, 0.95)):
                found.add(component)
    return frozenset(found)


def usual_speed(car: IndependentCar) -> float:
    """Speed at which the car turned over when all was well, at this temperature [rev/min]."""
    well = replace(car, parts=car.calm, removed=0.1 * car.parts["battery"]["capacity"], showing=frozenset())
    return quick_speed(well.circuit())


def word_of(car: IndependentCar, start: Start, usual: float, edge: float = SLOW_SHARE) -> str:
    """What a start sounds like: an id of how_it_turns_over.

    Parameters
    ----------
    car : IndependentCar
    start : Start
    usual : float
        Speed at which it turns over when all is well [rev/min].
    edge : float
        Share of that below which it is called slow [-].
    """
    if start.word == "no_pull":
        chatters = RELAY_HOLDS < start.clamp_level < RELAY_LETS_GO and isfinite(car.now("start_control")["ohms"])
        return "rapid_clicking" if chatters else "nothing"
    if start.word == "chatters":
        return "rapid_clicking"
    if not start.turning:
        return "one_clunk"
    return "slow" if start.speed < edge * max(usual, 30.0) else "normal"


def fires(car: IndependentCar, speed: float) -> bool:
    """Whether the engine starts when it is turned at a speed [rev/min]."""
    form = car.now("unlisted")["form"]
    fast_enough = speed >= car.build.fires_at * _harder_in_the_cold(car)
    return bool(car.now("engine_running")["fires"]) and form not in (2.0, 3.0) and fast_enough and car.firing


def _harder_in_the_cold(car: IndependentCar) -> float:
    """Speed that the engine needs over what it needs at 20 degC [-]."""
    return 1.0 + typical("fires_cold_factor") * max(20.0 - car.air - car.warm, 0.0)


def as_tried(car: IndependentCar) -> IndependentCar:
    """The car as its maker let it out: with a sound battery of the rating it needs it starts in hard frost."""
    battery = {**car.calm["battery"], "rated": car.calm["battery"]["rated"] * car.build.needed / car.build.fitted}
    cold = replace(car, calm={**car.calm, "battery": battery}, air=TRIED_AT, warm=0.0)
    most = TO_SPARE * usual_speed(cold) / _harder_in_the_cold(cold)
    return replace(car, build=replace(car.build, fires_at=min(car.build.fires_at, most)))


def boosted(car: IndependentCar) -> Source:
    """The battery with another one beside it."""
    own, (volts, ohms) = car.source, BOOSTER
    both = own.ohmic * ohms / (own.ohmic + ohms)
    emf = (own.emf / own.ohmic + volts / ohms) * both
    share = ohms / (own.ohmic + ohms)  # of the current that the car's own battery still carries
    return replace(
        own, emf=emf, ohmic=both, kinetic=own.kinetic * share, pores=own.pores / max(share, 0.05),
        odd_pores=own.odd_pores / max(share, 0.05), odd=own.odd * share, five=own.five * share,
    )  # fmt: skip


def starts(car: IndependentCar, *, helped: bool = False) -> tuple[bool, float]:
    """Whether the car starts as it stands, and its speed; `helped` by a booster on the clamps."""
    circuit = car.circuit()
    if helped:
        # Leads go to the clamps and to the engine: they pass by the joints and by the body's part of the ground path.
        circuit = replace(circuit, source=boosted(car), positive=min(circuit.positive, 2e-3),
                          negative=min(circuit.negative, 1e-3), ground=min(circuit.ground, 2e-3))  # fmt: skip
    speed = quick_speed(circuit)
    return fires(car, speed), speed


def live(dice: Dice, car: IndependentCar, days: int = DAYS) -> IndependentCar:
    """Live with a car until it is brought in.

    Parameters
    ----------
    dice : Dice
    car : IndependentCar
        As it stood at the beginning, under the mean air of the season.
    days : int

    Returns
    -------
    IndependentCar
        As it is brought in, with its log and under the air of that day; the fault that let the driver down may still
        show. Where nothing happened it is brought in on the last day, with an empty log.
    """
    diary = Diary()
    use = car.parts["use"]
    if use["days"] or use["left_on"]:
        days = min(days, DAYS_BEFORE_A_MISHAP)
    onset = {c: days - 1 - int(dice.rng.integers(0, 5)) if (c, m) in SUDDEN else 0 for c, m in car.modes.items()}
    usual = usual_speed(car)
    true_parts, air = car.parts, car.air
    brought, day, damp = False, 0, False
    for day in range(days):
        there = {c: true_parts[c] if day >= onset[c] else car.calm[c] for c in true_parts}
        today = float(np.clip(air + WEATHER * dice.rng.standard_normal(), -25.0, 42.0))
        damp = dice.happens(DAMP_DAYS)
        car = replace(car, parts=there, air=today)
        brought, car = _day(dice, car, diary, day, usual, damp=damp, last=day == days - 1)
        if brought:
            break
    could = not brought or not any(e.kind in ("failed", "no_help") and e.day == day for e in diary.events)
    if could and car.hours > 3.0:
        car, _ = driven(car, 10.0)
        car = parked(car, 0.5 + 2.0 * float(dice.rng.random()))
    car = replace(car, parts=true_parts)
    stay = {c for c in car.showing if dice.happens(0.6)}  # what showed at the failure mostly still does; estimate
    again = showing(dice, car, _holds(car, 0.5, damp=damp))
    words = [e.word for e in diary.events if e.day == day and e.word]
    log = Log(tuple(diary.events), tuple(diary.starts.items()), diary.stood, use["minutes"], could, damp,
              words[-1] if words else "")  # fmt: skip
    return replace(car, showing=frozenset(stay) | again, log=log)


def _day(
    dice: Dice, car: IndependentCar, diary: Diary, day: int, usual: float, *, damp: bool, last: bool
) -> tuple[bool, IndependentCar]:
    """One day of use; whether the car is brought in at its end or before."""
    use = car.parts["use"]
    days = use["days"] if last or (day == 0 and dice.happens(0.3)) else 0.0
    trips = int(use["trips"])
    for trip in range(trips):
        night = trip == 0
        hours = 24.0 * days + 13.0 if night else 9.0 / trips + 1.0
        lamp = use["left_on"] if night and last else 0.0
        awake = showing(dice, car, {"damp"} if damp else ())
        car = replace(car, showing=awake & {"drain"})
        car = parked(car, hours, lamp)
        diary.stood = max(diary.stood, hours / 24.0)
        brought, car = _start(dice, car, diary, day, usual, hours / 24.0, damp=damp)
        if brought:
            return True, car
        if use["minutes"] < SHORT_DRIVE:
            car = replace(car, removed=car.removed + KEY_ON)
        car, died = driven(car, use["minutes"] * (0.7 + 0.6 * float(dice.rng.random())))
        if died:
            diary.events.append(Event(day, "died_faded", flat=True))
            return True, parked(car, 4.0)
        if "battery" in car.showing and dice.happens(0.3):  # shaken open on the road; estimate
            diary.events.append(Event(day, "died_at_once"))
    if car.modes["engine_running"] == "no_fire" and not car.parts["engine_running"]["fires"] and dice.happens(0.35):
        diary.events.append(Event(day, "died_at_once"))
        return True, parked(car, 4.0)
    if _charges_oddly(car) and dice.happens(LAMP_SEEN):
        diary.events.append(Event(day, "lamp"))
        return True, car
    slow = any(e.kind in ("slow", "retried") for e in diary.events)
    return bool(slow and dice.happens(SLOW_SEEN)), car


def _charges_oddly(car: IndependentCar) -> bool:
    """Whether the charge lamp glows, or lamps glare and blow, so that a driver may notice."""
    found = tested(car, "charge_loaded")
    weak = not found.works or found.posts < LAMP_GLOWS or found.stud - found.posts > 1.0
    return bool(car.now("charge_control")["lamp"] and weak) or found.posts > GLARES


def _holds(car: IndependentCar, stood: float, *, damp: bool, rough: bool = False) -> set[str]:
    found = {"cold"} if car.air < COLD and car.warm < HOT_ENGINE else set()
    found |= {"hot"} if car.warm >= HOT_ENGINE or car.air > 28.0 else set()
    found |= {"damp"} if damp else set()
    found |= {"rough"} if rough else set()
    return found | ({"stood"} if stood > 1.5 else set())


def _start(
    dice: Dice, car: IndependentCar, diary: Diary, day: int, usual: float, stood: float, *, damp: bool
) -> tuple[bool, IndependentCar]:
    """The driver turns the key, up to three times; then a neighbour, a charger or the workshop."""
    holds = _holds(car, stood, damp=damp, rough=dice.happens(0.2))
    named = frozenset(holds & set(CONDITIONS))
    diary.starts.update(["all", *named])
    waiting = [e for e in diary.events if e.kind == "jumped" and e.again]
    word = ""
    for attempt in range(3):
        car = replace(car, showing=showing(dice, car, holds) | (car.showing & {"drain", "alternator"}))
        went, speed = starts(car)
        if went:
            if attempt:
                diary.events.append(Event(day, "retried", named, word=word))
            elif speed < SLOW_SHARE * usual:
                diary.events.append(Event(day, "slow", named, word="slow"))
            return False, replace(car, removed=car.removed + 0.1)  # [A h] 180 A for 2 s
        word = word_of(car, solve_start(car.circuit()), usual)
        car = replace(car, removed=car.removed + (ATTEMPT if speed > 0.0 else 0.1))
    flat = car.rest_volts < 12.1 or starts(car, helped=True)[0]
    diary.events.append(Event(day, "failed", named, flat, word=word))
    if waiting and flat:
        place = diary.events.index(waiting[-1])
        diary.events[place] = replace(waiting[-1], again=False)
    diary.failures += 1
    helped = False
    if dice.happens(NEIGHBOUR):
        helped = starts(car, helped=True)[0]
        diary.events.append(Event(day, "jumped" if helped else "no_help", named, flat))
    if not helped or dice.happens(GIVES_UP[min(diary.failures - 1, 2)]):
        return True, car
    return False, car
