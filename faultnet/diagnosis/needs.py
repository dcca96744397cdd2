"""What must hold before a test, what brings it about, and whether a test has still something to give."""

from __future__ import annotations

from collections.abc import Collection, Iterator

from faultnet.case.types import Act, Case, Entry, Reading, Visit
from faultnet.diagnosis.acts import changes_the_car
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test

READ_TWICE = 2
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


def is_open(test: Test, case: Case, catalogue: Catalogue) -> bool:
    """Whether a test has still something to give in the last visit of a case.

    Notes
    -----
    What the driver alone can answer is asked once in a case: asked again, the answer is the same. What was seen, heard
    or felt stays so until something is mended; a number may have moved with any act that changes the car, and it may
    be measured a second time, in case the first was a slip. What could not be measured is not asked for again until
    then: whoever cannot do the best test would be asked for it for ever.
    """
    if test.instruments == ("question",) and any(_settles(e, test) for v in case.visits for e in v.entries):
        return False
    told = list(_told(test, case.visits[-1], catalogue))
    if any(reading.not_measured is not None for reading in told):
        return False
    return len(told) < (READ_TWICE if test.kind == "number" else 1)


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
        test.quantity != "table" and changes_the_car(spec.effect, act.hours, catalogue.spread)
    )


def has_tools(needed: Collection[str], tools: Collection[str]) -> bool:
    """Whether the tools at hand allow a test; "a or b" is met by either.

    Examples
    --------
    >>> has_tools(("recorder or socket adapter",), {"recorder"}), has_tools(("voltmeter",), ())
    (True, False)
    """
    return all(any(part in tools for part in tool.split(" or ")) for tool in needed)


def unmet_needs(test: Test, visit: Visit, catalogue: Catalogue, *, charged: bool = False) -> tuple[str, ...]:
    """What must hold before a test and does not yet hold by what was done or is known in this visit.

    Parameters
    ----------
    test : Test
    visit : Visit
    catalogue : Catalogue
    charged : bool
        The battery is known to be charged well enough without having been put on a charger.
    """
    effects = tuple(_effect(e, catalogue) for e in visit.entries if isinstance(e, Act))
    return tuple(
        n for n in test.needs if not (_met(n, visit, effects, catalogue) or (charged and n == "battery_charged"))
    )


def _effect(act: Act, catalogue: Catalogue) -> str:
    effect = catalogue.act(act.act).effect
    gone = act.hours is None or act.hours >= catalogue.spread("surface_charge_gone_after")
    return OVER_NIGHT if effect == "wait" and gone else effect


def _met(need: str, visit: Visit, effects: tuple[str, ...], catalogue: Catalogue) -> bool:
    for effect in reversed(effects):
        if effect in NEED_MET_BY.get(need, ()):
            return True
        if effect in NEED_UNDONE_BY.get(need, ()):
            return False
    standing = visit.conditions.hours_standing
    if need in ("surface_charge_gone", "rested"):
        return standing is not None and standing >= catalogue.spread("surface_charge_gone_after")
    if need == "engine_warm":
        return visit.conditions.engine_warm
    return False


def minutes_for(need: str, catalogue: Catalogue) -> float:
    """Hands-on minutes it takes to bring a precondition about [min]."""
    return catalogue.spread(f"minutes_for_{need}")


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
