"""Bring samples into order and say what that took: nothing is left out, moved or spread without a count.

Samples arrive in blocks. A :class:`Cleaner` holds back the last few of each block, so that a sample that comes a
little late still finds its place, and keeps the counts.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from faultnet.errors import RecordingError
from faultnet.recordings.trace import Array

LATE = 64
"""Samples a late one may be behind and still be put back in order; a longer way back is a restarted clock."""

LONGEST_STAND = 1_000_000
"""Samples with one time stamp that are still spread: 10 s of the fastest sampling (derived)."""

POSSIBLE = (-40.0, 110.0)
"""Volts outside this are no voltage of a 12 V system, load dump included: ISO 16750-2 load dump, 101 V at most
(from memory), with margin (estimate)."""


@dataclass
class Cleaner:
    """Cleans blocks of samples and counts what it did.

    Parameters
    ----------
    name : str
        What messages call the recording.

    Examples
    --------
    >>> cleaner = Cleaner("demo")
    >>> first = cleaner.add(np.array([0.0, 1.0, 2.0, 2.0]), np.array([12.6, np.nan, 12.5, 12.5]))
    >>> rest = cleaner.finish()
    >>> np.concatenate([first[0], rest[0]]).tolist(), cleaner.notes()
    ([0.0, 2.0], ['1 sample without a usable number left out', '1 repeated sample left out'])
    """

    name: str
    lost: int = 0
    impossible: int = 0
    repeated: int = 0
    late: int = 0
    restarts: int = 0
    spread: int = 0
    shift: float = 0.0
    origin: float | None = None
    step: float = 0.0
    held: tuple[Array, Array] = field(default_factory=lambda: (np.empty(0), np.empty(0)))

    def add(self, time: Array, volts: Array) -> tuple[Array, Array]:
        """Take a block; give the samples that are now certain of their place."""
        time, volts = self._usable(time, volts)
        if time.size == 0:
            return np.empty(0), np.empty(0)
        if self.origin is None:
            self.origin = float(time[0])
        time = time - self.origin + self.shift
        time, volts = np.concatenate([self.held[0], time]), np.concatenate([self.held[1], volts])
        time, volts = self._in_order(self._restarted(time), volts)
        keep = _hold_from(time)
        self.held = (time[keep:], volts[keep:])
        if self.held[0].size > LONGEST_STAND + LATE:
            raise self._standing(self.held[0].size)
        return self._apart(time[:keep], volts[:keep], float(time[keep]))

    def finish(self) -> tuple[Array, Array]:
        """Give the samples that were still held back."""
        time, volts = self.held
        self.held = (np.empty(0), np.empty(0))
        return self._apart(time, volts, None) if time.size else (time, volts)

    def notes(self) -> list[str]:
        """Say in sentences what was done, with counts."""
        told = (
            (self.lost, "without a usable number left out"),
            (self.impossible, f"outside {POSSIBLE[0]:g} to {POSSIBLE[1]:g} V left out"),
            (self.late, "out of order put back in place"),
            (self.spread, "with the time stamp of another spread evenly up to the next stamp"),
        )
        said = [f"{counted(count, 'sample')} {what}" for count, what in told if count]
        if self.repeated:
            said.insert(1 if self.lost else 0, f"{counted(self.repeated, 'repeated sample')} left out")
        if self.restarts:
            said.append(f"the clock went back {counted(self.restarts, 'time')}; what follows was added on")
        return said

    def _usable(self, time: Array, volts: Array) -> tuple[Array, Array]:
        """Leave out what is not finite and what cannot be a voltage."""
        finite = np.isfinite(time) & np.isfinite(volts) & (np.abs(time) < 1e15)
        time, volts = time[finite], volts[finite]
        possible = (volts >= POSSIBLE[0]) & (volts <= POSSIBLE[1])
        self.lost += int(finite.size - finite.sum())
        self.impossible += int(possible.size - possible.sum())
        return time[possible], volts[possible]

    def _restarted(self, time: Array) -> Array:
        """Join on what follows a clock that went back for good."""
        back = np.flatnonzero(np.diff(time) < 0) + 1
        if back.size > max(100, time.size // 20):
            raise RecordingError(
                "the time does not run forward",
                where=self.name,
                got=f"{back.size} steps back in {time.size} samples",
                to_do="give the option time_column; the chosen column is hardly a time",
            )
        forward = np.diff(time)
        step = float(np.median(forward[forward > 0])) if (forward > 0).any() else self.step
        self.step = step or self.step
        moved = np.zeros(time.size)
        for i in back[_stay_back(time, back)]:
            moved[i] = time[i - 1] - time[i] + step
        self.restarts += int(np.count_nonzero(moved))
        self.shift += float(moved.sum())
        return time + np.cumsum(moved) if moved.any() else time

    def _in_order(self, time: Array, volts: Array) -> tuple[Array, Array]:
        """Put late samples back in place."""
        late = time < np.maximum.accumulate(time)
        if not late.any():
            return time, volts
        self.late += int(late.sum())
        order = np.argsort(time, kind="stable")
        return time[order], volts[order]

    def _apart(self, time: Array, volts: Array, following: float | None) -> tuple[Array, Array]:
        """Leave out repeated samples and spread those that share a time stamp."""
        if not (np.diff(time) == 0).any():
            return time, volts
        first = np.flatnonzero(np.diff(time, prepend=-np.inf) > 0)
        length = np.diff(first, append=time.size)
        if np.median(length) < 2:
            same = (np.diff(time, prepend=-np.inf) == 0) & (np.diff(volts, prepend=np.inf) == 0)
            self.repeated += int(same.sum())
            time, volts = time[~same], volts[~same]
            first = np.flatnonzero(np.diff(time, prepend=-np.inf) > 0)
            length = np.diff(first, append=time.size)
        if first.size == 1 and time.size > 1 and following is None and not self.step:
            raise self._standing(time.size)
        self.spread += int(time.size - first.size)
        return _spread(time, first, length, following, self.step), volts

    def _standing(self, samples: int) -> RecordingError:
        """Say that the time does not move."""
        return RecordingError(
            "the time stands still",
            where=self.name,
            got=f"{samples} samples with the same time stamp",
            to_do="give the option time_column, or interval if the rows are equally spaced",
        )


def counted(number: int, what: str) -> str:
    """Write a count with its noun.

    Parameters
    ----------
    number : int
        How many [-].
    what : str
        The noun, in the singular.

    Returns
    -------
    str
        Such as "1 row" or "2 rows".

    Examples
    --------
    >>> counted(1, "row"), counted(2, "row")
    ('1 row', '2 rows')
    """
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


def _stay_back(time: Array, back: np.ndarray) -> np.ndarray:
    """Say which steps back are a restarted clock: the samples after it stay behind for longer than late ones do."""
    stay = np.zeros(back.size, dtype=bool)
    for k, i in enumerate(back):
        after = time[i : i + LATE]
        stay[k] = bool(after.max() < time[i - 1]) and after.size >= min(LATE, 5)
    return stay


def _hold_from(time: Array) -> int:
    """Give the place from which on samples are held back: the last few, and never half of a run of equal stamps."""
    start = max(time.size - LATE, 0)
    return int(np.searchsorted(time, time[start], side="left"))


def _spread(time: Array, first: np.ndarray, length: np.ndarray, following: float | None, step: float) -> Array:
    """Spread samples that share a stamp evenly up to the next one, over one usual step at most."""
    stamps = time[first]
    usual = float(np.median(np.diff(stamps))) if stamps.size > 1 else (step or 1.0)
    last = stamps[-1] + usual if following is None else following
    span = np.minimum(np.diff(stamps, append=last), usual)
    place = np.arange(time.size) - np.repeat(first, length)
    spread: Array = time + place / np.repeat(length, length) * np.repeat(span, length)
    return spread
