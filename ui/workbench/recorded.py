"""Readings offered by a recording, sorted by the event they come from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

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
