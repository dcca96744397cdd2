"""A fixed flow chart of common practice, as a competent technician without a model would follow it.

Ask and look; rest voltage, charge when low; load test; cranking, with the drops of both sides; charging; key-off
current. A charge lamp that stays on brings the charging side forward. It stops at the first clear finding and mends
that; it repeats no test whose answer still stands, also not at a later visit; it replaces no part that was not tested
or left over when all beside it had been. When the driver says it is cured, what was not yet tested of the charging side
is still tested after a battery, and the car is given back. What comes and goes is looked for by moving the harness, and
on a second visit by the tests of what the driver heard. All limits are rules of thumb of the trade: common
practice, no source, but for the load test, whose limit falls with temperature (several service manuals, secondary).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.diagnosis.tools import has_tools
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step

ASKED = ("left_something_on", "charge_lamp", "flat_how_often")
LOOKED = ("positive_joint_look", "positive_joint_moves", "negative_joint_look", "negative_joint_moves",
          "case_condition", "belt_look")  # fmt: skip
CHARGED_VOLTS = 12.4  # [V] at rest
LOAD_DEGREES = (-18.0, -12.0, -7.0, -1.0, 4.0, 10.0, 16.0, 21.0)  # [degC]
LOAD_VOLTS = (8.5, 8.7, 8.9, 9.1, 9.3, 9.4, 9.5, 9.6)  # [V] after 15 s of half the rating
CRANK_VOLTS = 9.6  # [V]
POSITIVE_DROP, GROUND_DROP, JOINT_DROP, CABLE_DROP, CONTACT_DROP = 0.5, 0.3, 0.2, 0.2, 0.3  # [V] while cranking
CONTROL_VOLTS = 8.0  # [V]
CHARGE_LOW, CHARGE_HIGH, LOADED_LOW = 13.3, 15.0, 13.0  # [V]
CHARGE_CABLE_DROP, RIPPLE = 0.5, 0.5  # [V], [V] alternating
OUTPUT_SHARE = 0.7  # [-] of the rated current that a good alternator gives with loads on
MUCH_CURRENT = {"petrol": 250.0, "diesel": 450.0}  # [A] while cranking
KEY_OFF = 0.05  # [A]
LAMP_ON = ("stays_on", "glows")


@dataclass(frozen=True)
class Sheet:
    """What has been seen and done, as the chart needs it.

    Parameters
    ----------
    case : Case
    shop : Shop
    """

    case: Case
    shop: Shop

    @property
    def visit(self) -> Visit:
        """The visit the car is in."""
        return self.case.visits[-1]

    @property
    def mended(self) -> set[str | None]:
        """Components that something was done to, in any visit."""
        return {e.component for v in self.case.visits for e in v.entries if isinstance(e, Act)}

    def did(self, act: str) -> bool:
        """Whether an act was done in this visit."""
        return any(isinstance(e, Act) and e.act == act for e in self.visit.entries)

    def readings(self, test: str) -> list[Reading]:
        """What a test gave since something was last mended, in this visit or before, the last one last."""
        found: list[Reading] = []
        for visit in self.case.visits:
            for entry in visit.entries:
                if isinstance(entry, Act) and entry.component is not None:
                    found = [] if test not in ASKED else found
                elif isinstance(entry, Reading) and entry.test == test:
                    found.append(entry)
        return found

    def heard(self, *behaviours: str) -> bool:
        """Whether it was heard to turn over so at some visit."""
        told = (e for v in self.case.visits for e in v.entries if isinstance(e, Reading))
        return any(e.test == "how_it_turns_over" and e.state in behaviours for e in told)

    def value(self, test: str) -> float | None:
        """Last number of a test."""
        found = self.readings(test)
        return found[-1].value if found else None

    def state(self, test: str) -> str | None:
        """Last answer of a test."""
        found = self.readings(test)
        return found[-1].state if found else None

    def missing(self, *tests: str) -> Step | None:
        """The first of some tests whose answer does not stand and that the tools at hand allow."""
        for test in tests:
            if not self.readings(test) and self.allowed(test):
                return Look(test, charged=True)
        return None

    def allowed(self, test: str) -> bool:
        """Whether the tools at hand allow a test."""
        return self.shop.tools is None or has_tools(self.shop.catalogue.test(test).tools, self.shop.tools)

    def above(self, test: str, limit: float) -> bool:
        """Whether a test was done and read more than a limit."""
        value = self.value(test)
        return value is not None and value > limit

    def below(self, test: str, limit: float) -> bool:
        """Whether a test was done and read less than a limit."""
        value = self.value(test)
        return value is not None and value < limit

    def mend(self, component: str, act: str) -> Step | None:
        """Mend a component, unless that was tried before."""
        return None if component in self.mended else Mend(component, act)


Stage = Callable[[Sheet], Iterator[Step | None]]


def flow_chart(case: Case, shop: Shop, rng: np.random.Generator) -> Step:
    """The next step of the chart."""
    sheet = Sheet(case, shop)
    repairs = [e for e in sheet.visit.entries if isinstance(e, Act) and e.component is not None]
    stages = _stages(sheet)
    if repairs and repairs[-1].outcome == "cured":
        stages = (_charging, _key_off) if repairs[-1].component == "battery" else ()
    for stage in stages:
        for step in stage(sheet):
            if step is not None:
                return step
    return GiveBack()


def _stages(sheet: Sheet) -> tuple[Stage, ...]:
    """The stages in their order; a charge lamp that stays on speaks of the charging side."""
    if sheet.state("charge_lamp") in LAMP_ON and not sheet.heard("nothing", "one_clunk", "rapid_clicking"):
        return (_ask, _look, _charging, *(s for s in _STAGES if s not in (_ask, _look, _charging)))
    return _STAGES


def _ask(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing(*ASKED)


def _look(sheet: Sheet) -> Iterator[Step | None]:
    """One look after the other, each clear finding mended before the next."""
    for test in LOOKED:
        yield sheet.missing(test)
        yield _seen(sheet, test)


def _seen(sheet: Sheet, test: str) -> Step | None:
    """What a look shows clearly enough to be mended at once."""
    found = sheet.state(test)
    if test.endswith("_moves") and found == "moves":
        return sheet.mend(test.removesuffix("_moves"), "tighten_joint")
    if test.endswith("_joint_look") and found == "heavy_powder":
        return sheet.mend(test.removesuffix("_look"), "clean_joint")
    if test == "case_condition" and found in ("swollen", "cracked", "frozen"):
        return sheet.mend("battery", "replace")
    return sheet.mend("belt", "adjust_belt") if test == "belt_look" and found == "missing" else None


def _runs(sheet: Sheet) -> Iterator[Step | None]:
    """It turns over well: does it fire?"""
    if sheet.state("how_it_turns_over") in ("normal", "slow"):
        yield sheet.missing("fires_when_cranked")
    if sheet.state("fires_when_cranked") == "cranks_no_fire":
        yield sheet.missing("spark_and_fuel")
        yield sheet.mend("engine_running", "repair_engine")


def _battery(sheet: Sheet) -> Iterator[Step | None]:
    if "battery" in sheet.mended:
        return
    yield sheet.missing("rest_voltage")
    if sheet.below("rest_voltage", CHARGED_VOLTS):
        if not sheet.did("charge"):
            yield Prepare("charge")
        if len(sheet.readings("rest_voltage")) < 2:
            yield Look("rest_voltage", charged=True)
        yield sheet.mend("battery", "replace")
    yield sheet.missing("half_rating_load")
    if sheet.below("half_rating_load", _load_limit(sheet)):
        yield sheet.mend("battery", "replace")


def _load_limit(sheet: Sheet) -> float:
    """Least volts of a good battery after 15 s of half its rating at the air's temperature [V]."""
    air = sheet.visit.conditions.air_temperature
    return float(np.interp(15.0 if air is None else air, LOAD_DEGREES, LOAD_VOLTS))


def _cranking(sheet: Sheet) -> Iterator[Step | None]:
    """The battery is good: volts while cranking, then the drops of both sides, the control side, the engine."""
    behaviour = sheet.state("how_it_turns_over")
    if behaviour in ("nothing", "one_clunk", "rapid_clicking"):
        yield from _does_not_turn(sheet, behaviour)
        return
    yield sheet.missing("crank_minimum")
    if behaviour == "slow" or sheet.below("crank_minimum", min(CRANK_VOLTS, _load_limit(sheet))):
        yield from _drops(sheet)
        yield sheet.missing("crank_current")
        much = sheet.above("crank_current", MUCH_CURRENT[sheet.case.car.fuel])
        if much:
            yield sheet.missing("turn_by_hand")
        if sheet.state("turn_by_hand") in ("heavy", "locked"):
            yield sheet.mend("engine_turning", "repair_engine")
        if much or behaviour == "slow":
            yield sheet.mend("starter_motor", "replace")


def _drops(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing("positive_side_drop")
    if sheet.above("positive_side_drop", POSITIVE_DROP):
        yield from _piece(sheet, "positive_joint_drop", JOINT_DROP, "positive_joint", "clean_joint")
        yield from _piece(sheet, "starter_cable_drop", CABLE_DROP, "starter_cable", "repair_cable")
        yield from _piece(sheet, "solenoid_drop", CONTACT_DROP, "solenoid", "replace")
    yield sheet.missing("ground_side_drop")
    if sheet.above("ground_side_drop", GROUND_DROP):
        yield from _piece(sheet, "negative_joint_drop", JOINT_DROP, "negative_joint", "clean_joint")
        yield from _piece(sheet, "ground_path_drop", CABLE_DROP, "ground_path", "repair_cable")


def _piece(sheet: Sheet, test: str, limit: float, component: str, act: str) -> Iterator[Step | None]:
    """One piece of a side, mended as soon as it loses too much."""
    yield sheet.missing(test)
    if sheet.above(test, limit):
        yield sheet.mend(component, act)


def _does_not_turn(sheet: Sheet, behaviour: str) -> Iterator[Step | None]:
    yield sheet.missing("control_terminal_voltage")
    if sheet.below("control_terminal_voltage", CONTROL_VOLTS) and behaviour == "nothing":
        yield sheet.mend("start_control", "repair_circuit")
    if behaviour == "nothing":
        if sheet.value("control_terminal_voltage") is not None:
            yield sheet.mend("solenoid", "replace")
        return
    yield from _drops(sheet)
    yield sheet.missing("turn_by_hand")
    if sheet.state("turn_by_hand") in ("heavy", "locked"):
        yield sheet.mend("engine_turning", "repair_engine")
    if sheet.state("turn_by_hand") == "free":
        yield sheet.mend("starter_motor", "replace")


def _charging(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing("charge_unloaded_voltage")
    if sheet.above("charge_unloaded_voltage", CHARGE_HIGH):
        yield sheet.mend("regulator", "adjust_regulator")
    yield sheet.missing("charge_loaded_voltage", "charge_ripple")
    if sheet.below("charge_unloaded_voltage", CHARGE_LOW) or sheet.below("charge_loaded_voltage", LOADED_LOW):
        yield sheet.missing("belt_look")
        if sheet.state("belt_look") in ("missing", "glazed_or_slack"):
            yield sheet.mend("belt", "adjust_belt")
        yield from _piece(sheet, "charge_cable_drop", CHARGE_CABLE_DROP, "charge_cable", "repair_cable")
        yield sheet.missing("excitation")
        if sheet.state("excitation") not in (None, "voltage_and_current"):
            yield sheet.mend("charge_control", "repair_circuit")
        if sheet.above("charge_ripple", RIPPLE):
            yield sheet.mend("rectifier", "replace")
        yield sheet.missing("alternator_current")
        if sheet.above("alternator_current", OUTPUT_SHARE * sheet.case.car.alternator_rating):
            yield sheet.mend("regulator", "adjust_regulator")
        yield sheet.mend("alternator", "replace")
    if sheet.above("charge_ripple", RIPPLE):
        yield sheet.mend("rectifier", "replace")


def _key_off(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing("key_off_current")
    if sheet.above("key_off_current", KEY_OFF):
        yield sheet.missing("fuse_pull")
        if sheet.state("fuse_pull") == "falls_with_alternator_lead":
            yield sheet.mend("rectifier", "replace")
        yield sheet.mend("drain", "remove_drain")


def _flat_only(sheet: Sheet) -> Iterator[Step | None]:
    """The battery was low and everything else is well: how the car is used."""
    if sheet.did("charge"):
        yield sheet.mend("use", "advise_use")


def _comes_and_goes(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing("wiggle_while_cranking")
    where = sheet.state("wiggle_while_cranking")
    if where in ("at_positive_post", "at_negative_post"):
        yield sheet.mend("positive_joint" if where == "at_positive_post" else "negative_joint", "tighten_joint")
    if where == "at_ground_strap":
        yield sheet.mend("ground_path", "repair_cable")
    if where == "at_control_wiring":
        yield sheet.mend("start_control", "repair_circuit")


def _by_complaint(sheet: Sheet) -> Iterator[Step | None]:
    """It came back and nothing is to be found: the tests of what was heard when it failed, and the joints cleaned."""
    if len(sheet.case.visits) < 2:
        return
    if sheet.heard("nothing", "one_clunk"):
        yield sheet.missing("control_terminal_voltage")
        if sheet.below("control_terminal_voltage", CONTROL_VOLTS):
            yield sheet.mend("start_control", "repair_circuit")
        yield from _piece(sheet, "solenoid_drop", CONTACT_DROP, "solenoid", "replace")
        yield sheet.missing("tap_starter")
        if sheet.state("tap_starter") == "cranks_after_tap":
            yield sheet.mend("starter_motor", "replace")
    if sheet.heard("rapid_clicking", "one_clunk", "slow"):
        yield sheet.mend("negative_joint", "clean_joint")
        yield sheet.mend("positive_joint", "clean_joint")


_STAGES: tuple[Stage, ...] = (
    *(_ask, _look, _runs, _battery, _cranking, _charging, _key_off),
    *(_flat_only, _comes_and_goes, _by_complaint),
)
