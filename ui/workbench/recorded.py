"""A recording as a page shows it: read once, and the readings it offers sorted by the event they come from."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from faultnet.recordings import Charging, Decline, Event, Rest, Start, Trace, find_events, read_recording

WORDS = {Charging: "Charging", Rest: "Rest", Decline: "Standing"}
MOST_CHOSEN = 6
MOST_KEPT, MOST_SAMPLES = 4, 4_000_000
Options = tuple[tuple[str, Any], ...]
Read = tuple[Trace, tuple[Event, ...]]
_lock = threading.Lock()
_kept: OrderedDict[tuple[bytes, Options], Read] = OrderedDict()


def read(data: bytes, options: Options) -> Read:
    """A recording and what is found in it; the last few are kept, but none of the files they came from.

    Parameters
    ----------
    data : bytes
        The file.
    options : tuple of (name, value)
        For :func:`faultnet.recordings.read_recording`.

    Raises
    ------
    RecordingError
        If the file cannot be read so.
    """
    key = (hashlib.sha256(data).digest(), options)
    with _lock:
        found = _kept.get(key)
    if found is None:
        trace = read_recording(data, **dict(options))
        found = trace, tuple(find_events(trace))
    with _lock:
        _kept[key] = found
        _kept.move_to_end(key)
        while len(_kept) > 1 and (len(_kept) > MOST_KEPT or _samples() > MOST_SAMPLES):
            _kept.popitem(last=False)
    return found


def forget() -> None:
    """Let every kept recording go."""
    with _lock:
        _kept.clear()


def _samples() -> int:
    return sum(len(trace.time) for trace, _ in _kept.values())


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
