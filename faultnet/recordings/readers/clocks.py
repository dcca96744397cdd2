"""Seconds from times of day and dates, in whatever order a logger writes them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from faultnet.errors import RecordingError
from faultnet.recordings.trace import Array

DAY = 86_400.0
"""Seconds in a day [s]."""

_CLOCK = r"(\d{1,3}):(\d{2})(?::(\d{2}))?(?:[.,](\d+))?\s*([AaPp][Mm])?\s*(Z|[+-]\d{2}:?\d{2})?$"
_DATE = r"^(\d{1,4})[-/.](\d{1,2})[-/.](\d{1,4})[T ,]+"


@dataclass
class Clock:
    """Turns written times into seconds since the first of them, block after block.

    Parameters
    ----------
    kind : str
        "clock" (10:30:05.2), "h:m", "m:s", "iso" (2026-11-25 10:30:05), "day_first" (25.11.2026 10:30:05),
        "month_first" or "slashed" (11/25/2026, order found out).
    name : str
        What messages call the recording.

    Examples
    --------
    >>> Clock("clock", "demo").seconds(["23:59:59.5", "0:00:00.5"]).tolist()
    [86399.5, 86400.5]
    """

    kind: str
    name: str
    last: float = float("nan")
    days: float = 0.0
    order: str = ""

    def seconds(self, stamps: list[str]) -> Array:
        """Give the seconds of a block of stamps; NaN where one cannot be read.

        Raises
        ------
        RecordingError
            If the order of day and month, or of minutes and seconds, cannot be told and matters.
        """
        import pandas as pd

        text = pd.Series(stamps, dtype=object).astype(str).str.strip()
        if self.kind in ("clock", "h:m", "m:s"):
            return self._unwrapped(self._of_day(text))
        parts = text.str.extract(_DATE)
        first, middle, last = (_whole(parts[i]) for i in range(3))
        return self._of_date(first, middle, last) * DAY + self._of_day(text.str.replace(_DATE, "", regex=True))

    def _of_day(self, text: Any) -> Array:
        """Give the seconds since midnight of times of day."""
        parts = text.str.extract(_CLOCK)
        hours, minutes, seconds = (_whole(parts[i]) for i in range(3))
        if np.isnan(seconds).any() and not np.isnan(hours).all():
            hours, minutes, seconds = self._two_parts(hours, minutes, seconds, parts[3])
        fraction = np.asarray(("0." + parts[3].fillna("0")).astype(np.float64), dtype=np.float64)
        half = parts[4].str.lower()
        hours = np.where(half.notna(), hours % 12 + np.where(half == "pm", 12, 0), hours)
        return hours * 3600 + minutes * 60 + seconds + fraction - _zone(parts[5])

    def _two_parts(self, hours: Array, minutes: Array, seconds: Array, fraction: Any) -> tuple[Array, Array, Array]:
        """Read times written in two parts, which may be hours and minutes or minutes and seconds."""
        two = np.isnan(seconds)
        if self.kind == "m:s" or bool(fraction[two].notna().any()):
            return np.where(two, 0.0, hours), np.where(two, hours, minutes), np.where(two, minutes, seconds)
        if self.kind == "h:m" or not two.all():
            return hours, minutes, np.nan_to_num(seconds)
        raise RecordingError(
            "the time is written in two parts",
            where=self.name,
            expected="hours and minutes, or minutes and seconds",
            to_do="give the option time_unit 'h:m' or 'm:s'",
        )

    def _unwrapped(self, seconds: Array) -> Array:
        """Go on counting over midnight."""
        good = np.flatnonzero(np.isfinite(seconds))
        if good.size == 0:
            return seconds
        steps = np.diff(seconds[good], prepend=self.last if np.isfinite(self.last) else seconds[good[0]])
        self.last = float(seconds[good[-1]])
        days = self.days + np.cumsum(steps < -DAY / 2) - np.cumsum(steps > DAY / 2)
        self.days = float(days[-1])
        seconds[good] += days * DAY
        return seconds

    def _of_date(self, first: Array, middle: Array, last: Array) -> Array:
        """Give days since 1970 for dates in three parts."""
        if self.kind == "iso":
            return _days(first, middle, last)
        order = self._order_of(first, middle)
        day, month = (first, middle) if order == "day_first" else (middle, first)
        return _days(np.where(last < 100, last + 2000, last), month, day)

    def _order_of(self, first: Array, middle: Array) -> str:
        """Find out whether day or month comes first; where every row has the same date it does not matter."""
        if self.kind in ("day_first", "month_first"):
            return self.kind
        found = "day_first" if np.nanmax(first, initial=0) > 12 else ""
        found = found or ("month_first" if np.nanmax(middle, initial=0) > 12 else self.order)
        same = np.unique(first[np.isfinite(first)]).size < 2 and np.unique(middle[np.isfinite(middle)]).size < 2
        if (not found and not same) or (self.order and found != self.order):
            raise RecordingError(
                "the order of day and month cannot be told",
                where=self.name,
                to_do="give the option time_unit 'day_first' or 'month_first'",
            )
        self.order = self.order or found or "day_first"
        return self.order


def _whole(column: Any) -> Array:
    """Turn a column of digits into numbers, NaN where there are none."""
    return np.asarray(column.astype(np.float64), dtype=np.float64)


def _zone(column: Any) -> Array:
    """Give the seconds by which a written time zone is ahead."""
    parts = column.str.extract(r"([+-])(\d{2}):?(\d{2})")
    ahead = np.nan_to_num(_whole(parts[1])) * 3600 + np.nan_to_num(_whole(parts[2])) * 60
    return np.where(parts[0] == "-", -ahead, ahead)


def _days(year: Array, month: Array, day: Array) -> Array:
    """Count days since 1970-01-01, NaN for what is no date."""
    good = (month >= 1) & (month <= 12) & (day >= 1) & (day <= 31) & (year >= 1970) & (year < 2200)
    months = np.where(good, (year - 1970) * 12 + month - 1, 0).astype(np.int64).astype("datetime64[M]")
    days = months.astype("datetime64[D]").astype(np.int64) + np.where(good, day, 1) - 1
    return np.where(good, days, np.nan)
