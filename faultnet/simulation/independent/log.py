"""What a car did in the weeks before it was brought in, as its driver lived through it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

CONDITIONS = ("cold", "hot", "damp", "stood")


@dataclass(frozen=True)
class Event:
    """Something the driver noticed.

    Parameters
    ----------
    day : int
    kind : {"failed", "retried", "slow", "jumped", "no_help", "died_faded", "died_at_once", "lamp"}
        It did not start; it started at another try; it turned slowly and started; a booster started it; a booster did
        not; it died on the road after the lamps faded, or at once; the charge lamp glowed, or lamps glared and blew.
    holds : frozenset of str
        Which of cold, hot, damp, stood held.
    flat : bool
        Whether the battery was too flat to start it.
    again : bool
        After a booster: whether it started by itself at the next start.
    word : str
        How it turned over, an id of how_it_turns_over.
    """

    day: int
    kind: str
    holds: frozenset[str] = frozenset()
    flat: bool = False
    again: bool = True
    word: str = ""


@dataclass(frozen=True)
class Log:
    """The weeks before a visit.

    Parameters
    ----------
    events : tuple of Event
    starts : tuple of (condition, count)
        Starts tried in all, and under each condition.
    stood : float
        Longest standing in the last weeks [days].
    minutes : float
        Mean length of a drive [min].
    could_start : bool
        Whether it came in under its own power.
    damp : bool
        Whether it was damp on the last day.
    word : str
        How it turned over when it let the driver down on the day it was brought in; empty when it did not.
    """

    events: tuple[Event, ...] = ()
    starts: tuple[tuple[str, int], ...] = ()
    stood: float = 0.5
    minutes: float = 20.0
    could_start: bool = True
    damp: bool = False
    word: str = ""

    def of(self, *kinds: str) -> Iterator[Event]:
        """Events of some kinds."""
        return (event for event in self.events if event.kind in kinds)

    @property
    def flat_times(self) -> int:
        """Days on which it was too flat to start."""
        return len({event.day for event in self.events if event.flat})
