"""What must hold before a test, what brings it about, and whether a test has still something to give."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace

from faultnet.case.types import Act, Case, Entry, Reading, Visit
from faultnet.diagnosis.able import Ability, ability
from faultnet.diagnosis.acts import changes_the_car
from faultnet.diagnosis.tools import BOOSTER, CHARGER
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test

READ_TWICE = 2
ASKED = "ask"  # group of tests that the driver answers, anew and not once more
OVER_NIGHT = "wait_over_night"  # a wait after which surface charge is gone
NEED_MET_BY = {
    "battery_charged": ("charge", "desulphate", "drive"),
    "surface_charge_gone": ("shed_surface_charge", OVER_NIGHT),
    "rested": ("wait", OVER_NIGHT),
    "fuel_disabled": ("disable_fuel",),
    "charged_overnight": ("charge", "desulphate"),
}
NEED_UNDONE_BY = {
    "surface_charge_gone": ("charge", "desulphate", "drive"),
    "rested": ("charge", "desulphate", "drive"),
    "fuel_disabled": ("enable_fuel",),
}
SHORT_WAIT, NIGHT = 1.0, 10.0  # [h]
PREPARED_BY = {
    "battery_charged": (Act("charge"),),
    "surface_charge_gone": (Act("shed_surface_charge"),),
    "charged_overnight": (Act("charge"), Act("wait", hours=NIGHT)),
    "rested": (Act("wait", hours=SHORT_WAIT),),
    "fuel_disabled": (Act("disable_fuel"),),
}
CHANGES_NOTHING_READ = ("rested", "fuel_disabled")
NEEDS_DO = {
    "battery_charged": ("charges", "sparks"),
    "charged_overnight": ("charges", "sparks"),
    "surface_charge_gone": ("loads",),
    "starter_cranks": ("cranks",),
    "engine_turns": ("cranks",),
    "engine_runs": ("cranks", "charges"),
    "engine_warm": ("cranks", "charges"),
    "fuel_disabled": ("cranks",),
    "booster": ("jumps", "cranks", "sparks"),
}  # what bringing a need about does to the car
ONCE_IN_A_VISIT = (
    "helper",
    "caps_open",
    "cells_read",
    "module_read",
    "recorder_connected",
)  # stay as they are once a test asked for them
WHILE_IT_RUNS = ("engine_runs", "engine_warm", "booster")
FROM_TEST_TO_TEST = ("modules_asleep", "battery_out_of_circuit")  # hold for a test that follows at once
DRAW, POSTS = "key_off_current", "rest_voltage"


def is_open(test: Test, case: Case, catalogue: Catalogue) -> bool:
    """Whether a test has still something to give in the last visit of a case.

    Notes
    -----
    What the driver alone can answer is asked once in a case: asked again, the answer is the same. What was seen, heard
    or felt stays so until something is mended; a number may have moved with any act that changes the car, and it may
    be measured a second time, in case the first was a slip. What could not be measured is not asked for again until
    then: whoever cannot do the best test would be asked for it for ever. What came of something is asked once that was
    told.
    """
    entries = [e for v in case.visits for e in v.entries]
    if test.instruments == ("question",) and any(_settles(e, test) for e in entries):
        return False
    if test.asked_after and not any(_says(e, name, word) for e in entries for name, word in test.asked_after):
        return False
    answered_with = catalogue.answered_with.get(test.id, ())
    if any(_says(e, other, choice) for other, choice, _ in answered_with for e in entries):
        return False
    told = list(_told(test, case.visits[-1], catalogue))
    if any(reading.not_measured is not None for reading in told):
        return False
    return len(told) < (READ_TWICE if test.kind == "number" else 1)


def without_replaced(visit: Visit, catalogue: Catalogue) -> Visit:
    """A visit in which an answer of the driver that was given anew stands once; the earlier one counts as skipped.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> said = [Reading("flat_how_often", state=state) for state in ("once", "never")]
    >>> [e.state for e in without_replaced(Visit(tuple(said)), load_catalogue()).entries]
    [None, 'never']
    """
    later: set[str] = set()
    entries: list[Entry] = []
    for entry in reversed(visit.entries):
        if isinstance(entry, Act):
            later = {t for t in later if not _reopens(entry, catalogue.test(t), catalogue)}
        elif entry.state is not None and catalogue.test(entry.test).group == ASKED:
            if entry.test in later:
                entry = replace(entry, state=None, not_measured="skipped")
            later.add(entry.test)
        entries.append(entry)
    return visit if tuple(reversed(entries)) == visit.entries else replace(visit, entries=tuple(reversed(entries)))


def without_told_twice(visit: Visit, catalogue: Catalogue) -> Visit:
    """A visit in which an answer that follows from another one does not count beside it.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> said = [Reading("jump_start", state="starts_flat_again"), Reading("after_booster", state="fails_after_minutes")]
    >>> [e.state for e in without_told_twice(Visit(tuple(said)), load_catalogue()).entries]
    [None, 'fails_after_minutes']
    """
    follows = [
        (test, state)
        for test, by in catalogue.answered_with.items()
        for other, choice, state in by
        if any(_says(e, other, choice) for e in visit.entries)
    ]
    entries = tuple(
        replace(e, state=None, not_measured="skipped")
        if isinstance(e, Reading) and any(_says(e, *told) for told in follows)
        else e
        for e in visit.entries
    )
    return visit if entries == visit.entries else replace(visit, entries=entries)


def _says(entry: Entry, name: str, word: str) -> bool:
    """Whether an entry is a test answered so, or an act with that outcome."""
    said = (entry.test, entry.state) if isinstance(entry, Reading) else (entry.act, entry.outcome)
    return said == (name, word)


def was_read(test: Test, visit: Visit, catalogue: Catalogue) -> bool:
    """Whether a test stands measured in a visit, nothing having changed the car since."""
    return any(reading.not_measured is None for reading in _told(test, visit, catalogue))


def _told(test: Test, visit: Visit, catalogue: Catalogue) -> Iterator[Reading]:
    """The entries that settle a test, last first, back to the act that opened it again."""
    for entry in reversed(visit.entries):
        if isinstance(entry, Act) and _reopens(entry, test, catalogue):
            return
        if isinstance(entry, Reading) and _settles(entry, test):
            yield entry


def _settles(entry: Entry, test: Test) -> bool:
    return isinstance(entry, Reading) and entry.test == test.id


def _reopens(act: Act, test: Test, catalogue: Catalogue) -> bool:
    spec = catalogue.act(act.act)
    return spec.kind == "repair" or (
        test.quantity != "table" and changes_the_car(spec.effect, act.hours, catalogue.number)
    )


def unmet_needs(
    test: Test, visit: Visit, catalogue: Catalogue, *, charged: bool = False, done: Done | None = None
) -> tuple[str, ...]:
    """What must hold before a test and does not yet hold by what was done or is known in this visit.

    Parameters
    ----------
    test : Test
    visit : Visit
    catalogue : Catalogue
    charged : bool
        The battery is known to be charged well enough without having been put on a charger.
    done : Done, optional
        Of the visit, where the needs of many tests are asked after.
    """
    done = done_in(visit, catalogue) if done is None else done
    needs = test.needs
    if "engine_runs" in needs and done.can.needs_booster:
        needs = (*needs, "booster")
    return tuple(
        n
        for n in needs
        if not (
            _met(n, visit, done.effects, catalogue)
            or _still_holds(n, done.can, done.asked)
            or (charged and n == "battery_charged")
        )
    )


@dataclass(frozen=True)
class Done:
    """What the entries of a visit brought about.

    Parameters
    ----------
    effects : tuple of str
        Of its acts.
    can : Ability
        What the car can do now.
    asked : tuple of frozenset of str
        What its tests asked for, each for itself.
    """

    effects: tuple[str, ...]
    can: Ability
    asked: tuple[frozenset[str], ...]


def done_in(visit: Visit, catalogue: Catalogue) -> Done:
    """What the entries of a visit brought about, for asking after the needs of many tests."""
    effects = tuple(_effect(e, catalogue) for e in visit.entries if isinstance(e, Act))
    return Done(effects, ability(visit, catalogue), _asked_for(visit, catalogue))


def _asked_for(visit: Visit, catalogue: Catalogue) -> tuple[frozenset[str], ...]:
    """What the tests done in a visit asked for, each for itself; an act in between ends what held for the next test."""
    return tuple(
        frozenset(catalogue.test(e.test).needs) if isinstance(e, Reading) else frozenset()
        for e in visit.entries
        if isinstance(e, Act) or e.not_measured is None
    )


def _still_holds(need: str, can: Ability, asked: tuple[frozenset[str], ...]) -> bool:
    """Whether what an earlier test of the visit asked for is still so."""
    if need in WHILE_IT_RUNS:
        return can.running and (need != "engine_warm" or bool(asked and need in asked[-1]))
    if need in ONCE_IN_A_VISIT:
        return any(need in needs for needs in asked)
    return need in FROM_TEST_TO_TEST and bool(asked) and need in asked[-1]


def _effect(act: Act, catalogue: Catalogue) -> str:
    effect = catalogue.act(act.act).effect
    gone = act.hours is None or act.hours >= catalogue.number("surface_charge_gone_after")
    return OVER_NIGHT if effect == "wait" and gone else effect


def _met(need: str, visit: Visit, effects: tuple[str, ...], catalogue: Catalogue) -> bool:
    for effect in reversed(effects):
        if effect in NEED_MET_BY.get(need, ()):
            return True
        if effect in NEED_UNDONE_BY.get(need, ()):
            return False
    standing = visit.conditions.hours_standing
    if need in ("surface_charge_gone", "rested"):
        return standing is not None and standing >= catalogue.number("surface_charge_gone_after")
    if need == "engine_warm":
        return visit.conditions.engine_warm
    return False


@dataclass(frozen=True)
class Reach:
    """Whether needs can be met with what the car can do and the tools at hand; those left out always can.

    Parameters
    ----------
    now : mapping of need to bool
    charged : mapping of need to bool
        The same once the battery has been charged.
    """

    now: Mapping[str, bool]
    charged: Mapping[str, bool]

    def can(self, need: str, *, charged: bool = False) -> bool:
        """Whether a need can be met, for a test that has the battery charged first if so said."""
        return (self.charged if charged else self.now).get(need, True)


def within_reach(case: Case, catalogue: Catalogue, tools: Collection[str] | None) -> Reach:
    """Whether needs can be met with what the car can do now and the tools at hand.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue
    tools : collection of str, optional
        Every tool when None.

    Notes
    -----
    A car that another battery may help to start may turn over once its own is charged, which nobody does before the
    posts were read; one that is silent at a battery that is not flat is not charged to see whether it does.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> car, dead = Car(Battery(600.0)), Visit((Reading("how_it_turns_over", state="nothing"),))
    >>> out_of_reach(("engine_runs", "helper"), within_reach(Case(car, (dead,)), load_catalogue(), None))
    ('engine_runs',)
    >>> flat = replace(dead, entries=(*dead.entries, Reading("rest_voltage", value=9.0)))
    >>> reach = within_reach(Case(car, (flat,)), load_catalogue(), None)
    >>> out_of_reach(("engine_turns",), reach), out_of_reach(("engine_turns", "battery_charged"), reach)
    (('engine_turns',), ())
    """
    visit = case.visits[-1]
    can = ability(visit, catalogue)
    worth_charging = can.booster and was_read(catalogue.test(POSTS), visit, catalogue)
    now = _met_by(can, case, catalogue, tools)
    if not worth_charging:
        return Reach(now, now)
    charged = ability(replace(visit, entries=(*visit.entries, Act("charge"))), catalogue)
    return Reach(now, _met_by(charged, case, catalogue, tools))


def _met_by(can: Ability, case: Case, catalogue: Catalogue, tools: Collection[str] | None) -> dict[str, bool]:
    """Whether needs can be met by a car that can do so much, with the tools at hand."""
    return {
        "starter_cranks": can.tries is not False,
        "engine_turns": can.turns is not False,
        "engine_runs": can.can_run,
        "engine_warm": can.can_run,
        "booster": tools is None or BOOSTER in tools,
        "battery_charged": tools is None or CHARGER in tools or can.runs == "by_itself",
        "charged_overnight": tools is None or CHARGER in tools,
        "fault_shows": can.shows is not False,
        "caps_open": case.car.battery.kind != "agm",
        "draw_measured": _draws(case, catalogue),
    }


def out_of_reach(needs: Collection[str], reach: Reach) -> tuple[str, ...]:
    """Which needs of a test cannot be met, by :func:`within_reach`."""
    charged = "battery_charged" in needs
    return tuple(need for need in needs if not reach.can(need, charged=charged))


def _draws(case: Case, catalogue: Catalogue) -> bool:
    """Whether the last reading of the key-off current is one to look for."""
    read = [e for v in case.visits for e in v.entries if isinstance(e, Reading) and e.test == DRAW]
    values = [e.value for e in read if e.value is not None]
    return bool(values) and values[-1] >= catalogue.number("draw_worth_finding")


def is_disabled(visit: Visit, catalogue: Catalogue) -> bool:
    """Whether fuel or ignition was disabled in a visit and not enabled again since.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> acts = Act("disable_fuel"), Act("enable_fuel")
    >>> [is_disabled(Visit(acts[:k]), load_catalogue()) for k in range(3)]
    [False, True, False]
    """
    return _met("fuel_disabled", visit, done_in(visit, catalogue).effects, catalogue)


def has_to_fire(test: Test) -> bool:
    """Whether the engine has to fire for a test, which it does not with fuel or ignition disabled."""
    return test.id == "fires_when_cranked" or any(need in WHILE_IT_RUNS for need in test.needs)


def minutes_for(need: str, catalogue: Catalogue) -> float:
    """Hands-on minutes it takes to bring a precondition about [min]."""
    return catalogue.number(f"minutes_for_{need}")


def preparing_acts(needs: tuple[str, ...]) -> tuple[Act, ...]:
    """Acts that bring about what a test needs, as far as an entry can say it.

    Examples
    --------
    >>> [act.act for act in preparing_acts(("fuel_disabled", "engine_warm", "battery_charged"))]
    ['disable_fuel', 'charge']
    """
    return tuple(act for need in needs for act in PREPARED_BY.get(need, ()))


def acts_that_change_what_is_read(needs: tuple[str, ...]) -> tuple[Act, ...]:
    """Acts among the preparing ones after which a test reads otherwise than it would before them.

    Examples
    --------
    >>> [act.act for act in acts_that_change_what_is_read(("battery_charged", "fuel_disabled", "surface_charge_gone"))]
    ['charge', 'shed_surface_charge']
    """
    return preparing_acts(tuple(need for need in needs if need not in CHANGES_NOTHING_READ))
