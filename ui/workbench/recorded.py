"""Readings offered by a recording, sorted by the event they come from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from faultnet.case.types import Case, Reading
from faultnet.prior_set.catalogue import Catalogue
from faultnet.recordings import Charging, Decline, Event, Rest, Start

WORDS = {Charging: "Charging", Rest: "Rest", Decline: "Standing"}
MOST_CHOSEN = 6


def event_names(events: Iterable[Event], rows: Iterable[Mapping[str, Any]]) -> dict[tuple[float, float], str]:
    """Names of the events that offer a reading, by beginning and end; starts carry the number they have in the picture.

    Parameters
    ----------
    events : iterable of Event
        From :func:`faultnet.recordings.find_events`.
    rows : iterable of mapping
        From :func:`faultnet.recordings.readings_from`.
    """
    offered = {(row["begin"], row["end"]) for row in rows}
    names: dict[tuple[float, float], str] = {}
    starts = 0
    for event in events:
        starts += isinstance(event, Start)
        if (event.begin, event.end) in offered:
            word = f"Start {starts}" if isinstance(event, Start) else WORDS.get(type(event), event.kind)
            names[event.begin, event.end] = f"{word} at {event.begin:.1f} s"
    return names


def chosen_first(names: Sequence[str]) -> list[str]:
    """Events shown before anybody chose: all of a few, else the first start, else the first ones."""
    if len(names) <= MOST_CHOSEN:
        return list(names)
    return [name for name in names if name.startswith("Start 1 ")] or list(names[:MOST_CHOSEN])


def digest_of(data: bytes) -> str:
    """A few letters that tell a recording from others, to be noted with what is taken from it."""
    return hashlib.sha256(data).hexdigest()[:8]


def noted(row: Mapping[str, Any], test: str, digest: str) -> str:
    """The note of a reading taken from a recording: which one, from when in it, and what it says of itself."""
    about = row["note"] if test == row["test"] else row["about"]
    return f"{_from(digest)} at {row['begin']:.1f} s: {about}"


def _from(digest: str) -> str:
    return f"from recording {digest}"


def unfit(case: Case, row: Mapping[str, Any], test: str | None, digest: str, catalogue: Catalogue) -> str | None:
    """Why an offered reading is not to be stored, None where it may be.

    Notes
    -----
    One start seen at the posts and through the module is one start: taken twice, it would count twice.
    """
    if test is None:
        return "say what it was taken as"
    opening = f"{_from(digest)} at {row['begin']:.1f} s:"
    before = [e for v in case.visits for e in v.entries if isinstance(e, Reading) and e.note.startswith(opening)]
    if any(e.test == test for e in before):
        return "it is in the case already"
    places = {catalogue.instrument(e.instrument).place for e in before if e.instrument}
    if before and catalogue.instrument(row["instrument"]).place not in places:
        return "this event is in the case already, taken at another place; it counts once"
    return None
