"""Each number reading on the range of a sound example of this car, as a laboratory prints its values."""

from __future__ import annotations

from dataclasses import dataclass

from faultnet.case.types import Case, Reading
from faultnet.diagnosis.result import Diagnosis, Seen
from faultnet.instruments import reading_spread
from faultnet.prior_set.catalogue import Catalogue

ROOM = 0.35
DEVIATIONS_SHOWN = 2.0


@dataclass(frozen=True)
class Strip:
    """A reading beside its sound range.

    Parameters
    ----------
    label, unit : str
    value, error : float
        The reading and one standard deviation of it, in `unit`.
    low, high : float
        Range of a sound car, in `unit`.

    Examples
    --------
    >>> Strip("Rest voltage", "V", 12.1, 0.03, 12.4, 12.7).verdict
    'below sound'
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
        """Ends of the strip: everything shown, with some room at both sides [unit of the reading]."""
        reach = DEVIATIONS_SHOWN * self.error
        low, high = min(self.low, self.value - reach), max(self.high, self.value + reach)
        room = ROOM * (self.high - self.low) + 0.05 * (high - low)
        return low - room, high + room

    def place(self, value: float) -> float:
        """Where a value lies along the strip [-], 0 at its left end and 1 at its right."""
        left, right = self.scale()
        return (value - left) / (right - left)


def strips_of(case: Case, diagnosis: Diagnosis, catalogue: Catalogue) -> tuple[Strip, ...]:
    """The number readings of a case that have a sound range, in order of entry.

    Parameters
    ----------
    case : Case
    diagnosis : Diagnosis
        Of this case.
    catalogue : Catalogue
    """
    found = (_strip(case, seen, catalogue) for seen in diagnosis.seen)
    return tuple(strip for strip in found if strip is not None)


def _strip(case: Case, seen: Seen, catalogue: Catalogue) -> Strip | None:
    entry = case.visits[seen.visit].entries[seen.entry]
    if not isinstance(entry, Reading) or seen.value is None or seen.sound_range is None:
        return None
    test = catalogue.test(entry.test)
    instrument = catalogue.instrument(entry.instrument or test.instruments[0])
    error = reading_spread(instrument, seen.value, roughly=entry.roughly)
    return Strip(test.label, seen.unit, seen.value, error, *seen.sound_range)


def draw_strip(strip: Strip, *, width: int = 260, height: int = 18) -> str:
    """One strip as SVG: the sound range shaded, the reading as a bar with its error.

    Parameters
    ----------
    strip : Strip
    width, height : int
        [px].

    Examples
    --------
    >>> draw_strip(Strip("Rest voltage", "V", 12.1, 0.03, 12.4, 12.7)).startswith("<svg")
    True
    """

    def x(value: float) -> float:
        return round(width * strip.place(value), 1)

    reach = DEVIATIONS_SHOWN * strip.error
    left, right = x(strip.low), x(strip.high)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'role="img" aria-label="{strip.verdict}">'
        f'<rect width="{width}" height="{height}" fill="#e4e8e5"/>'
        f'<rect x="{left}" width="{right - left:.1f}" height="{height}" fill="#bcd9c3"/>'
        f'<path d="M{left} 0V{height}M{right} 0V{height}" stroke="#2f7f86" stroke-width="1.5"/>'
        f'<path d="M{x(strip.value - reach)} {height / 2}H{x(strip.value + reach)}" stroke="#16201e"/>'
        f'<rect x="{x(strip.value) - 2:.1f}" y="2" width="4" height="{height - 4}" fill="#16201e"/></svg>'
    )
