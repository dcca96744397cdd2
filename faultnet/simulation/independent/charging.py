"""The charging side: what the alternator can give, what the regulator wants, and what volts that makes at the posts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import exp, hypot, isfinite, pi, sqrt

from faultnet.simulation.independent import battery
from faultnet.simulation.independent.numbers import at, typical
from faultnet.simulation.independent.vehicle import IndependentCar

RAISED = 2000.0  # [rev/min] as the tests want it
LOADS_AT = 13.5  # [V] at which consumers are stated
LOADS_POWER = 0.8  # [-] of volts: lamps and heaters between constant current and constant resistance; memory
RATED_SPEED = 6000.0  # [rev/min] ISO 8854, secondary
REVVED = 1800.0  # [rev/min] of the engine from which one without exciter current may start; estimate
METER_LOSES = 0.4  # [-] of the six-pulse ripple at 1 to 5 kHz that cheap meters show; estimate


@dataclass(frozen=True)
class Running:
    """The charging side in one running state.

    Parameters
    ----------
    posts, stud : float
        Volts at the battery's posts and at the alternator [V].
    current, into : float
        Of the alternator, and into the battery [A].
    slips, works : bool
        Belt squeals; alternator makes volts at all.
    ripple : float
        Alternating volts at the posts [V rms].
    """

    posts: float
    stud: float
    current: float
    into: float
    slips: bool
    works: bool
    ripple: float


def loads(car: IndependentCar, *, on: bool) -> float:
    """Current of the consumers at 13.5 V: those an engine needs, or lamps, blower and heaters too [A]."""
    build = car.build
    return build.base + (build.lamps + build.blower + build.rear + build.extra if on else 0.0)


def wanted(car: IndependentCar, degrees: float, *, loads_on: bool) -> float:
    """Volts that regulator and charge control want at the alternator [V].

    Parameters
    ----------
    car : IndependentCar
    degrees : float
        Of the regulator [degC].
    loads_on : bool
        A charge control that follows the load goes up with them.
    """
    regulator, control = car.now("regulator"), car.now("charge_control")
    slope = regulator["slope"] * (degrees - 20.0)
    if regulator["fault"]:
        return regulator["volts"] + slope
    if control["wrong"]:
        return control["wrong"]
    if car.build.car.charge_control == "load_responsive":
        low = car.build.saves and not loads_on and car.charge > typical("saves_above_charge")
        place = car.traits["command"]
        return at("commanded_low", place) if low else at("commanded_high", place) + 0.3 * slope
    return regulator["volts"] + slope


def capability(car: IndependentCar, engine: float, degrees: float) -> tuple[float, float]:
    """Largest current by speed and temperature, and by what the belt carries [A].

    Parameters
    ----------
    car : IndependentCar
    engine : float
        Speed of the engine [rev/min].
    degrees : float
        Of the alternator [degC].

    Notes
    -----
    I = I1 sqrt(1 - (n0 / n)^2): a synchronous machine on a rectifier, its reactance in proportion to speed. A belt
    carries a torque; current is torque times speed times efficiency over volts.
    """
    machine, belt, control = car.now("alternator"), car.now("belt"), car.now("charge_control")
    speed = engine * car.build.pulley * (1.0 - belt["lost"])
    excited = control["excites"] or (control["by_itself"] and engine >= REVVED)
    cut_in = machine["start_speed"]
    if speed <= cut_in or not excited:
        return 0.0, 0.0
    most = car.build.car.alternator_rating * machine["share"] * car.now("rectifier")["share"]
    most *= sqrt((1.0 - (cut_in / speed) ** 2) / (1.0 - (cut_in / RATED_SPEED) ** 2))
    most *= exp(-typical("alternator_per_kelvin") * (degrees - 25.0))
    carried = belt["torque"] * speed * pi / 30.0 * typical("machine_efficiency") / 14.0
    return most, carried


def run(car: IndependentCar, engine: float, consumers: float, degrees: float, volts: float) -> Running:
    """Solve the charging circuit.

    Parameters
    ----------
    car : IndependentCar
    engine : float
        [rev/min]
    consumers : float
        At 13.5 V [A].
    degrees : float
        Under the bonnet [degC].
    volts : float
        What the regulator wants [V].

    Returns
    -------
    Running
        Current from the alternator = consumers + current into the battery, at every solution.
    """
    taking = battery.acceptance(car.parts["battery"], car.removed, car.acid)
    link = car.now("battery")["link"] + car.now("positive_joint")["ohms"] + car.now("negative_joint")["ohms"]
    ground = min(car.now("ground_path")["ohms"], STRAYS)
    cable = car.now("charge_cable")["ohms"] + car.now("alternator")["ground"] + ground
    by_speed, by_belt = capability(car, engine, degrees)
    most = min(by_speed, by_belt)

    taking = replace(taking, gives=taking.gives + link, ohmic=taking.ohmic + link)

    def demand(at_clamps: float) -> float:
        drawn: float = consumers * (max(at_clamps, 0.0) / LOADS_AT) ** LOADS_POWER
        return drawn + taking.current(at_clamps)

    alone = _root(demand, 0.0, taking.rest + 1.0)
    if not isfinite(cable) or most <= 0.0 or alone >= volts:  # the battery carries the consumers by itself
        clamps = alone
        into, makes = taking.current(clamps), most > 0.0
        stud = min(volts + 1.0, 30.0) if makes else clamps
        return Running(clamps - into * link, stud, 0.0, into, False, makes, 0.0)
    clamps = _root(lambda v: v + max(demand(v), 0.0) * cable - volts, 0.0, volts)
    current, slips = max(demand(clamps), 0.0), False
    if current > most:
        clamps = _root(lambda v: demand(v) - most, 0.0, clamps)
        current, slips = most, by_belt < by_speed
    into = current - consumers * (clamps / LOADS_AT) ** LOADS_POWER
    squeals = slips or (0.0 < car.now("belt")["lost"] < 1.0 and car.now("belt")["glazed"] >= 1.0)
    return Running(clamps - into * link, clamps + current * cable, current, into, squeals, True,
                   _ripple(car, current, engine, taking.ohmic))  # fmt: skip


def _root(rises: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that rises with volts is nought, by halving [V]."""
    for _ in range(34):
        middle = 0.5 * (low + high)
        if rises(middle) > 0.0:
            high = middle
        else:
            low = middle
    return 0.5 * (low + high)


def _ripple(car: IndependentCar, current: float, engine: float, ohmic: float) -> float:
    """Alternating volts where the meter is, at the posts or for some at the alternator [V rms].

    Notes
    -----
    The rectifier's alternating current meets the ohmic part of the battery; its plates are bridged by the double layer.
    Twelve poles: six pulses make 36 n / 60 hertz, a missing diode a sixth of that.
    """
    rectifier = car.now("rectifier")
    faulty = rectifier["ripple"] > 0.1
    hertz = (6.0 if faulty else 36.0) * engine * car.build.pulley / 60.0
    resistance, reactance = ohmic, 0.0
    if car.traits["ripple_place"] > 0.4:  # about a third put the probes to the alternator; estimate
        resistance += car.now("charge_cable")["ohms"]
        reactance = 2.0 * pi * hertz * at("lead_microhenries", car.traits["lead"]) * 1e-6
    seen = 1.0 if faulty else METER_LOSES
    return current * rectifier["ripple"] * hypot(resistance, reactance) * seen


def under_bonnet(car: IndependentCar, *, hot: bool) -> float:
    """Temperature of regulator and alternator in a test [degC]."""
    if hot:
        return at("hot_regulator", car.traits["bonnet"]) + 0.3 * (car.air - 20.0)
    return car.air + at("under_bonnet_rise", car.traits["bonnet"])


def tested(car: IndependentCar, state: str) -> Running:
    """One of the four running states of the catalogue's tests: charge_idle, _unloaded, _loaded, _hot."""
    degrees = under_bonnet(car, hot=state == "charge_hot")
    on = state == "charge_loaded"
    engine = car.build.idle if state == "charge_idle" else RAISED
    return run(car, engine, loads(car, on=on), degrees, wanted(car, degrees, loads_on=on))


STRAYS = 0.05  # [ohm] of cables, pipes and bearings beside a broken strap; estimate
CRUISE = 2200.0  # [rev/min] on the road, estimate
DIES_BELOW = 9.0  # [V] of the engine's supply while running; common practice, no source
SHORT_DRIVE = 9.0  # [min]
WARM_UP = 70.0  # [K] engine above the air when warm


def driven(car: IndependentCar, minutes: float, consumers: float | None = None) -> tuple[IndependentCar, bool]:
    """The car after a drive, and whether it died on the way because the battery ran out.

    Parameters
    ----------
    car : IndependentCar
    minutes : float
    consumers : float, optional
        Mean current of the consumers [A]; those the engine needs and a share of the others when left out.

    Notes
    -----
    Three equal steps. On a short drive most heaters run and half of the time the engine idles; on a longer one a
    quarter of each (estimates).
    """
    short = minutes < SHORT_DRIVE
    idling = 0.5 if short else 0.25
    if consumers is None:
        share = 0.9 if short else 0.25
        consumers = loads(car, on=False) + share * (loads(car, on=True) - loads(car, on=False))
    removed, step, died = car.removed, minutes / 180.0, False
    sagging = 0.0
    for part in range(3):
        degrees = under_bonnet(car, hot=part > 0 and minutes > 20.0)
        now = replace(car, removed=removed)
        volts = wanted(now, degrees, loads_on=consumers > 1.5 * loads(car, on=False))
        found = run(now, CRUISE, consumers, degrees, volts)
        idle = run(now, car.build.idle, consumers, degrees, volts)
        into = (1.0 - idling) * found.into + idling * idle.into
        removed = max(removed - (0.92 if into > 0.0 else 1.0) * into * step, 0.0)
        sagging = found.posts
        if found.posts < DIES_BELOW:
            died = True
            break
    cap = 1.3 * car.parts["battery"]["capacity"]
    gained = max(sagging - car.rest_volts, 0.0)
    surface = min(0.25 * gained, at("surface_volts", car.traits["surface"])) if not died else 0.0
    warm = WARM_UP * (1.0 - exp(-(minutes / 12.0)))
    return replace(car, removed=min(removed, cap), surface=surface, warm=max(warm, car.warm), hours=0.0), died


def parked(car: IndependentCar, hours: float, amperes: float | None = None) -> IndependentCar:
    """The car after standing; `amperes` beside what its parts draw while parked is by default none."""
    drawn = car.now("drain")["amperes"] + car.now("rectifier")["leak"] + (amperes or 0.0)
    removed, pieces = car.removed, max(1, min(6, round(hours / 4.0)))
    for _ in range(pieces):
        # What flows falls with the volts: a lamp on a dead battery draws little.
        volts = battery.rest_volts(car.parts["battery"], removed, car.acid)
        current = drawn * min(max((volts - 4.0) / 8.0, 0.0), 1.0)
        removed = battery.stood(car.parts["battery"], removed, car.acid, hours / pieces, current)
    fading = exp(-hours / at("surface_hours", car.traits["fading"]))
    return replace(
        car, removed=removed, surface=car.surface * fading, warm=car.warm * exp(-hours / 3.0), hours=car.hours + hours
    )
