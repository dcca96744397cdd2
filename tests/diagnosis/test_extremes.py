"""A more extreme reading never speaks against a fault that gives such readings.

Every number is swept against every fault mode that shifts it, from the edge of what sound cars show to the 99 % point
of the mode's own readings: the odds of the mode against sound never fall by more than 0.1 nat, whatever else might
explain the reading. They count up to a factor of twenty, more than which no single reading of an instrument that is
misread once in a hundred times should settle; and not where a slip puts a reading: nought, the battery's volts, a power
of ten. What falls further has a reason in the car itself, listed with the most that it may fall.
"""

from __future__ import annotations

from functools import lru_cache

from faultnet.model.build import build_network
from faultnet.model.setting import Setting
from tests.extremes import Sweep, sweeps
from tests.test_rules_of_thumb import CAR, MILD, catalogue

POINTS = 24
LEAST = 0.1  # [nat]
OPEN_OR_NOT = "a link between cells that is open passes nothing, and one that is whole is a sound one"
TURNS_OR_NOT = "a motor turns on some 90 A and more, or the contacts are open and the windings' 12 to 85 A flow alone"
SO_MUCH_AND_NO_MORE = "1.3 to 2 times the current, or two thirds of the plates: what goes beyond is something worse"
TURNS_SO_SLOWLY = "a weak battery or a hard turn slows the starter so far; what is slower still has another reason"
FLAT_AND_NO_FLATTER = "acid is not weaker than that of an empty battery, and a drain that ends at times leaves some"
CELLS_ALIKE = "all cells of a worn battery age alike; where they differ widely, one cell is bad"
ANOTHER_RANGE = "from 200 A on the clamp meter shows whole amperes, and a slip is as likely at each figure it can show"
PULLS_OR_NOT = "at 7 to 8 V the solenoid may just pull, and what it draws then takes volts from a sound circuit, too"
EXCITED_OR_NOT = "an alternator that excites itself gives its current, and one that does not gives none"
FROZEN = "the module that reads it may freeze, or show the volts at rest"
NOTHING_CHARGES = ("alternator:no_output", "belt:lost", "charge_cable:open")
MAY_FALL: dict[tuple[str, float, str], tuple[str, ...]] = {
    ("half_rating_load", 2.1, OPEN_OR_NOT): ("battery:broken_link",),
    ("two_load_resistance", 0.9, OPEN_OR_NOT): ("battery:broken_link",),
    ("conductance_rating", 0.9, OPEN_OR_NOT): ("battery:broken_link",),
    ("crank_current", 1.0, TURNS_OR_NOT): (
        *NOTHING_CHARGES, "drain:heavy", "negative_joint:corroded", "negative_joint:slack", "positive_joint:corroded",
        "positive_joint:slack", "ground_path:breaks_contact", "use:left_on", "use:long_standing",
    ),
    ("crank_current", 0.9, SO_MUCH_AND_NO_MORE): ("starter_motor:dragging", "engine_turning:heavy"),
    ("positive_side_drop", 0.15, SO_MUCH_AND_NO_MORE): ("starter_motor:dragging",),
    ("control_terminal_voltage", 0.2, PULLS_OR_NOT): ("start_control:intermittent",),
    ("inrush_current", 0.3, ANOTHER_RANGE): ("start_control:open",),
    ("alternator_current", 0.15, EXCITED_OR_NOT): ("charge_control:not_excited",),
    ("cranking_speed", 0.6, TURNS_SO_SLOWLY): (
        "battery:shorted_cell", "battery:sulphated", "engine_turning:heavy", "starter_motor:dragging",
    ),
    ("hydrometer_level", 0.9, FLAT_AND_NO_FLATTER): (
        "battery:shorted_cell", "battery:sulphated", "belt:slips", "drain:stays_awake", "rectifier:leaking_diode",
    ),
    ("hydrometer_spread", 1.2, CELLS_ALIKE): ("battery:dried_out", "battery:sulphated", "battery:worn"),
    ("module_crank_minimum", 0.35, FROZEN): (
        "alternator:worn_brushes", "charge_control:wrong_command", "engine_turning:heavy", "starter_motor:dragging",
    ),
}  # fmt: skip
LISTED = {(test, mode): most for (test, most, _), modes in MAY_FALL.items() for mode in modes}


@lru_cache(maxsize=1)
def found() -> tuple[Sweep, ...]:
    return tuple(sweeps(build_network(Setting(CAR, MILD, catalogue())), catalogue(), POINTS))


def name(sweep: Sweep) -> tuple[str, str]:
    return sweep.test, ":".join(sweep.mode)


def test_odds_never_fall_as_a_reading_becomes_more_extreme() -> None:
    wrong = {name(s): round(s.fall(), 2) for s in found() if s.fall() > LISTED.get(name(s), LEAST)}
    assert wrong == {}


def test_what_is_listed_does_fall() -> None:
    falls = {name(s) for s in found() if s.fall() > LEAST}
    assert sorted(set(LISTED) - falls) == []


def test_every_number_and_every_fault_that_shows_in_a_number_is_swept() -> None:
    """Slack joints and the like show in drops; only what is seen, heard or felt is left out."""
    numbers = {t.id for t in catalogue().tests if t.kind == "number"}
    assert numbers - {s.test for s in found()} == {"module_offset_at_rest"}
    modes = {(c.id, m.id) for c in catalogue().components for m in c.modes[1:]}
    assert sorted(c for c, _ in modes - {s.mode for s in found()}) == ["engine_running", "unlisted"]
