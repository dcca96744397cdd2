"""Each number reading on the range a sound example of this car reads today, as a laboratory prints its values."""

from __future__ import annotations

from dataclasses import dataclass

from faultnet.car import Case, Reading
from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.result import Seen
from faultnet.diagnosis.wording import range_words, value_words
from faultnet.instruments import reading_spread
from workbench.words import plain

ROOM = 0.35


@dataclass(frozen=True)
class Strip:
    """A reading beside its sound range.

    Parameters
    ----------
    label, unit : str
    value, error : float
        The reading and one standard deviation of it, in `unit`.
    low, high : float
        Sound range, in `unit`.
    """

    label: str
    unit: str
    value: float
    error: float
    low: float
    high: float

    @property
    def verdict(self) -> str:
        """Where the reading lies, in words."""
        if self.value < self.low:
            return "below sound"
        return "above sound" if self.value > self.high else "within sound"

    def scale(self) -> tuple[float, float]:
        """Ends of the strip: everything shown, with some room at both sides."""
        low, high = min(self.low, self.value - self.error), max(self.high, self.value + self.error)
        room = ROOM * (self.high - self.low) + 0.05 * (high - low)
        return low - room, high + room


def strips_of(case: Case, diagnosis: Diagnosis, catalogue: Catalogue) -> list[Strip]:
    """The number readings of a case that have a sound range, in order of entry."""
    return [strip for seen in diagnosis.seen if (strip := _strip(case, seen, catalogue)) is not None]


def _strip(case: Case, seen: Seen, catalogue: Catalogue) -> Strip | None:
    entry = case.visits[seen.visit].entries[seen.entry]
    if not isinstance(entry, Reading) or seen.value is None or seen.sound_range is None:
        return None
    test = catalogue.test(entry.test)
    instrument = catalogue.instrument(entry.instrument or test.instruments[0])
    error = reading_spread(instrument, seen.value, roughly=entry.roughly)
    return Strip(test.label, seen.unit, seen.value, error, *seen.sound_range)


def drawn(strip: Strip) -> str:
    """HTML of one strip."""
    left, right = strip.scale()

    def at(value: float) -> str:
        return f"{100 * (value - left) / (right - left):.1f}%"

    width = 100 * (strip.high - strip.low) / (right - left)
    reach = 100 * 4 * strip.error / (right - left)
    value = value_words(strip.value, strip.unit)
    sound = range_words(strip.low, strip.high, strip.unit)
    return (
        f"<div class='fn-strip'><div class='row'><span>{plain(strip.label)}</span>"
        f"<span class='state'>{plain(value)}, {strip.verdict}</span></div>"
        f"<div class='scale' aria-hidden='true'><span class='sound' style='left:{at(strip.low)};width:{width:.1f}%'>"
        f"</span><span class='error' style='left:{at(strip.value - 2 * strip.error)};width:{reach:.1f}%'></span>"
        f"<span class='seen' style='left:{at(strip.value)}'></span></div>"
        f"<div class='ends'><span>sound car today: {plain(sound)}</span></div></div>"
    )
