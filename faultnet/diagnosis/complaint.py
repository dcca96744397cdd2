"""Whether anything is amiss when something is mended: only then does it say something that it was cured.

A car that turns over, fires and charges as it should before a repair does so after it, whatever was mended: a battery
that was merely flat and was charged, a fault that comes and goes. What is then said of the repair is hope, and it is
not counted. Nor is what is said of advice on how the car is used, or of a draw that was stopped: what was flat from it
starts no better for that, and whether it stays charged shows when it was used and has stood.
"""

from __future__ import annotations

from dataclasses import replace

from faultnet.case.types import Act, Entry, Visit
from faultnet.diagnosis.acts import MENDS
from faultnet.prior_set.catalogue import Catalogue

TURNS = "how_it_turns_over"
WELL = {TURNS: "normal", "fires_when_cranked": "fires", "charge_lamp": "normal", "lights_at_idle": "steady"}
"""Answers of a car that does all that it should, by test."""
SHOWS_LATER = ("advise_use", "remove_drain")  # effects of what leaves a flat battery as flat as it was


def only_what_was_seen(visit: Visit, catalogue: Catalogue) -> Visit:
    """A visit in which outcomes of repairs stand only where something was amiss that could be cured.

    Parameters
    ----------
    visit : Visit
    catalogue : Catalogue

    Notes
    -----
    What is amiss is what was said last of how it turns over and fires, of the charge warning light and of the lamps
    at idle, and how it cranked after a charge. Where nothing was said of how it turns over, something is taken to be.

    Examples
    --------
    >>> from faultnet.case.types import Reading
    >>> from faultnet.prior_set import load_catalogue
    >>> replaced = Act("replace", "battery", "cured")
    >>> for heard in ("slow", "normal"):
    ...     seen = only_what_was_seen(Visit((Reading("how_it_turns_over", state=heard), replaced)), load_catalogue())
    ...     print(seen.entries[-1].outcome)
    cured
    None
    """
    well: dict[str, bool] = {}
    entries: list[Entry] = []
    for entry in visit.entries:
        if not isinstance(entry, Act):
            if entry.test in WELL and entry.state is not None:
                well[entry.test] = entry.state == WELL[entry.test]
        elif entry.outcome is not None:
            effect = catalogue.act(entry.act).effect
            speaks = effect not in SHOWS_LATER and _amiss(well, visit.shows_now)
            if effect == "charge":
                well[TURNS] = entry.outcome == "cured"
            elif effect in MENDS:
                if entry.outcome == "cured":
                    well = dict.fromkeys((*well, TURNS), True)
                if not speaks:
                    entry = replace(entry, outcome=None)
        entries.append(entry)
    return visit if tuple(entries) == visit.entries else replace(visit, entries=tuple(entries))


def _amiss(well: dict[str, bool], said: bool | None) -> bool:
    """Whether something is amiss, by what is known to be well or not, and by what was said of the visit."""
    if said is not None:
        return said
    return not all(well.values()) or TURNS not in well
