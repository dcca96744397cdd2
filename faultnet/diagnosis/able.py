"""What the car can do now: whether the starter tries and turns the engine, whether the engine can be started."""

from __future__ import annotations

from dataclasses import dataclass, replace

from faultnet.case.types import Act, Reading, Runs, Visit
from faultnet.physics.battery import open_circuit_voltage
from faultnet.prior_set.catalogue import Catalogue

TURNING, TRYING, RUNNING = "engine_turns", "starter_cranks", "engine_runs"  # preconditions that only the car can meet
BOOSTER_MAY_HELP = ("slow", "rapid_clicking")  # what low volts do; a clunk or silence has other reasons as well
STOPS_NO_ENGINE = ("ask", "look", "charging", "codes")  # groups of tests through which a running engine runs on


@dataclass(frozen=True)
class Ability:
    """What the car can do now, None where it is not known.

    Parameters
    ----------
    tries : bool, optional
        Whether the starter draws current when the key is turned, be it for a clunk.
    turns : bool, optional
        Whether it turns the engine.
    runs : {"by_itself", "with_booster", "no"}, optional
        Whether the engine can be started.
    booster : bool, optional
        Whether another battery may help it to start.
    shows : bool, optional
        Whether the fault shows now.
    running : bool
        Whether the engine runs at this moment.
    """

    tries: bool | None = None
    turns: bool | None = None
    runs: Runs | None = None
    booster: bool | None = None
    shows: bool | None = None
    running: bool = False

    @property
    def can_run(self) -> bool:
        """Whether the engine can be brought to run, as far as is known, a booster being at hand if it takes one."""
        return self.runs != "no" and (self.runs is not None or self.turns is not False or self.booster is True)

    @property
    def needs_booster(self) -> bool:
        """Whether it takes a booster to start it."""
        return self.runs == "with_booster" or (self.runs is None and self.turns is False)


def ability(visit: Visit, catalogue: Catalogue) -> Ability:
    """What a car can do now, by what was said of it at a visit and by the entries made since it was brought in.

    Parameters
    ----------
    visit : Visit
    catalogue : Catalogue

    Notes
    -----
    What is said of the visit itself goes before what the entries let suppose, but for an act that cured the complaint.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> can = ability(Visit((Reading("how_it_turns_over", state="one_clunk"),)), load_catalogue())
    >>> can.tries, can.turns, can.can_run
    (True, False, False)
    """
    can = Ability()
    for entry in visit.entries:
        if isinstance(entry, Act):
            can = _after_act(can, entry, catalogue)
        elif entry.not_measured is None:
            can = _after_reading(can, entry, catalogue)
    cured = can.runs is not None and can.turns is True and _cured(visit)
    if not cured:
        can = _as_said(can, visit)
    return replace(can, shows=visit.shows_now if visit.shows_now is not None else can.shows)


def _as_said(can: Ability, visit: Visit) -> Ability:
    if visit.cranks is not None:
        tries = True if visit.cranks else can.tries
        can = replace(can, turns=visit.cranks, tries=tries)
        if not visit.cranks and visit.runs is None and can.runs == "by_itself":
            can = replace(can, runs=None)
    if visit.runs is not None:
        can = replace(can, runs=visit.runs, running=can.running and visit.runs != "no")
        if visit.runs == "by_itself":
            can = replace(can, turns=True, tries=True)
    return can


def _cured(visit: Visit) -> bool:
    acts = [e for e in visit.entries if isinstance(e, Act) and e.outcome is not None]
    return bool(acts) and acts[-1].outcome == "cured"


def _after_act(can: Ability, act: Act, catalogue: Catalogue) -> Ability:
    spec = catalogue.act(act.act)
    can = replace(can, running=False)
    if spec.effect == "jump_start":
        if act.outcome in ("cured", "better"):
            return replace(can, runs="with_booster", booster=True)
        return (
            replace(can, booster=False, runs=None if can.runs == "with_booster" else can.runs) if act.outcome else can
        )
    if spec.kind != "repair" and spec.effect not in ("charge", "drive"):
        return can
    if act.outcome == "cured":
        return Ability(True, True, "by_itself", None, False)
    if act.outcome == "no_change":
        return can
    unknown = spec.kind == "repair" or can.booster is not False
    return Ability(shows=can.shows) if unknown and can.turns is not True else can


def _after_reading(can: Ability, reading: Reading, catalogue: Catalogue) -> Ability:
    test = catalogue.test(reading.test)
    needs = set(test.needs)
    running = RUNNING in needs or "engine_warm" in needs or (can.running and test.group in STOPS_NO_ENGINE)
    can = replace(can, running=running)
    if reading.test == "how_it_turns_over":
        return _after_key(can, reading.state or "")
    if reading.test == "fires_when_cranked":
        runs: Runs = "by_itself" if reading.state == "fires" else "no"
        return replace(can, tries=True, turns=True, runs=runs, running=False)
    if reading.test == "jump_start" and reading.state != "not_tried":
        return replace(can, booster=reading.state != "no_help")
    if reading.test == "after_booster" or _reads_flat(reading, catalogue):
        return replace(can, booster=True if can.booster is None else can.booster)
    if running and RUNNING in needs:
        started: Runs = "with_booster" if can.turns is False else "by_itself"
        return replace(can, runs=can.runs if can.runs not in (None, "no") else started)
    if TURNING in needs:
        return replace(can, tries=True, turns=True)
    return can


def _reads_flat(reading: Reading, catalogue: Catalogue) -> bool:
    """Whether volts at rest are those of a battery that is too flat to tell why else it does not start."""
    if reading.test != "rest_voltage" or reading.value is None:
        return False
    return reading.value < float(open_circuit_voltage(catalogue.number("nearly_flat")))


def _after_key(can: Ability, heard: str) -> Ability:
    """What the sound at the key says: a solenoid that pulls draws current, one that is silent may not."""
    turns = heard in ("normal", "slow")
    helps = can.booster if can.booster is not None else heard in BOOSTER_MAY_HELP or None
    can = replace(can, tries=heard != "nothing", turns=turns, booster=helps)
    if heard == "normal":
        return replace(can, shows=False)
    return can if turns else replace(can, runs=can.runs if can.runs == "with_booster" else None, running=False)
