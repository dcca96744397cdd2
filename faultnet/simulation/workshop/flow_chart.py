"""A fixed flow chart of common practice, as a competent technician without a model would follow it.

Ask and look; rest voltage, charge when low; load test; cranking, with the drops of both sides; charging; key-off
current. The first thing out of its limits is mended; when the driver says it is cured, what was not yet tested of the
charging side is still tested after a battery, and the car is given back. What comes and goes is looked for by moving
the harness, and on a second visit goes by what the driver hears. All limits are rules of thumb of the trade: common
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
BY_COMPLAINT = {
    "nothing": (("start_control", "repair_circuit"), ("solenoid", "replace"), ("starter_motor", "replace")),
    "one_clunk": (("solenoid", "replace"), ("starter_motor", "replace")),
    "rapid_clicking": (("negative_joint", "clean_joint"), ("positive_joint", "clean_joint"), ("battery", "replace")),
    "slow": (("starter_motor", "replace"), ("battery", "replace")),
}


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
        """What a test gave in this visit, the last one last."""
        return [e for e in self.visit.entries if isinstance(e, Reading) and e.test == test]

    def value(self, test: str) -> float | None:
        """Last number of a test in this visit."""
        found = self.readings(test)
        return found[-1].value if found else None

    def state(self, test: str) -> str | None:
        """Last answer of a test in this visit."""
        found = self.readings(test)
        return found[-1].state if found else None

    def missing(self, *tests: str) -> Step | None:
        """The first of some tests that was not done in this visit and that the tools at hand allow."""
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
    cured, last = _last_repair(sheet)
    stages = _STAGES if not cured else (_charging, _key_off) if last == "battery" else ()
    for stage in stages:
        for step in stage(sheet):
            if step is not None:
                return step
    return GiveBack()


def _last_repair(sheet: Sheet) -> tuple[bool, str | None]:
    repairs = [e for e in sheet.visit.entries if isinstance(e, Act) and e.component is not None]
    return (bool(repairs) and repairs[-1].outcome == "cured", repairs[-1].component if repairs else None)


def _ask(sheet: Sheet) -> Iterator[Step | None]:
    if len(sheet.case.visits) == 1:
        yield sheet.missing(*ASKED)


def _look(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing(*LOOKED)
    for joint in ("positive_joint", "negative_joint"):
        if sheet.state(f"{joint}_moves") == "moves":
            yield sheet.mend(joint, "tighten_joint")
        if sheet.state(f"{joint}_look") == "heavy_powder":
            yield sheet.mend(joint, "clean_joint")
    if sheet.state("case_condition") in ("swollen", "cracked"):
        yield sheet.mend("battery", "replace")
    if sheet.state("belt_look") == "missing":
        yield sheet.mend("belt", "adjust_belt")


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
    yield sheet.missing("positive_side_drop", "ground_side_drop")
    if sheet.above("positive_side_drop", POSITIVE_DROP):
        yield sheet.missing("positive_joint_drop", "starter_cable_drop", "solenoid_drop")
        if sheet.above("positive_joint_drop", JOINT_DROP):
            yield sheet.mend("positive_joint", "clean_joint")
        if sheet.above("starter_cable_drop", CABLE_DROP):
            yield sheet.mend("starter_cable", "repair_cable")
        if sheet.above("solenoid_drop", CONTACT_DROP):
            yield sheet.mend("solenoid", "replace")
    if sheet.above("ground_side_drop", GROUND_DROP):
        yield sheet.missing("negative_joint_drop", "ground_path_drop")
        if sheet.above("negative_joint_drop", JOINT_DROP):
            yield sheet.mend("negative_joint", "clean_joint")
        if sheet.above("ground_path_drop", CABLE_DROP):
            yield sheet.mend("ground_path", "repair_cable")


def _does_not_turn(sheet: Sheet, behaviour: str) -> Iterator[Step | None]:
    yield sheet.missing("control_terminal_voltage")
    if sheet.below("control_terminal_voltage", CONTROL_VOLTS) and behaviour == "nothing":
        yield sheet.mend("start_control", "repair_circuit")
    if behaviour == "nothing":
        yield sheet.mend("solenoid", "replace")
    else:
        yield from _drops(sheet)
    yield sheet.missing("turn_by_hand")
    if sheet.state("turn_by_hand") in ("heavy", "locked"):
        yield sheet.mend("engine_turning", "repair_engine")
    yield sheet.mend("starter_motor", "replace")


def _charging(sheet: Sheet) -> Iterator[Step | None]:
    yield sheet.missing("charge_unloaded_voltage")
    if sheet.above("charge_unloaded_voltage", CHARGE_HIGH):
        yield sheet.mend("regulator", "adjust_regulator")
    yield sheet.missing("charge_loaded_voltage", "charge_ripple")
    if sheet.below("charge_unloaded_voltage", CHARGE_LOW) or sheet.below("charge_loaded_voltage", LOADED_LOW):
        yield sheet.missing("charge_cable_drop", "belt_look", "excitation")
        if sheet.above("charge_cable_drop", CHARGE_CABLE_DROP):
            yield sheet.mend("charge_cable", "repair_cable")
        if sheet.state("belt_look") in ("missing", "glazed_or_slack"):
            yield sheet.mend("belt", "adjust_belt")
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
    """It came back and nothing is to be found: go by what was heard when it failed."""
    if len(sheet.case.visits) < 2:
        return
    for visit in sheet.case.visits:
        for entry in visit.entries:
            if isinstance(entry, Reading) and entry.test == "how_it_turns_over":
                for component, act in BY_COMPLAINT.get(entry.state or "", ()):
                    yield sheet.mend(component, act)


_STAGES: tuple[Stage, ...] = (
    *(_ask, _look, _runs, _battery, _cranking, _charging, _key_off),
    *(_flat_only, _comes_and_goes, _by_complaint),
)
