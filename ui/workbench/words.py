"""Numbers as a person would say them."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Literal

from faultnet.diagnosis.wording import minutes_words as minutes
from faultnet.diagnosis.wording import money_words as money
from faultnet.report.markup import escape, isolated
from faultnet.units import format_quantity

__all__ = ["minutes", "money"]
NOT_MEASURED = {
    "skipped": "Skip it",
    "cannot_reach": "Cannot reach it",
    "unstable": "Will not settle",
    "not_fitted": "Not fitted",
}
NO_ANSWER = {"skipped": "Not known, or not tried"}
FUEL_IS_OFF = "Fuel or ignition is still disabled: enable it again before the car is started."
OUTCOMES = {"cured": "Cured", "better": "Better", "no_change": "No change"}
PROOFS = {
    "replacement": "The part was replaced, and the car is cured",
    "measurement": "It was measured",
    "opinion": "It is an opinion",
}
STANDARDS = {
    "EN": "EN (Europe)",
    "SAE": "SAE or CCA (America)",
    "DIN": "DIN (older German)",
    "IEC": "IEC",
    "CA": "CA (at 0 °C, for boats and lawn tractors)",
    "not_known": "Not on the label",
}
_MARKUP = re.compile(r"[!-/:-@\[-`{-~]")
_SPLIT = re.compile(r":(?=\S)|@(?=\S)|\bwww(?=\\\.)", re.IGNORECASE)
KINDS = {"flooded": "Flooded (ordinary)", "enhanced_flooded": "Enhanced flooded (EFB)", "agm": "AGM (glass mat)"}


def change(now: float, before: float) -> str:
    """How a probability moved, with a sign one can read without colour.

    Examples
    --------
    >>> change(0.42, 0.30), change(0.42, 0.419), change(0.1, 0.3)
    ('▲ 12', '=', '▼ 20')
    """
    points = round(100 * now) - round(100 * before)
    return "=" if points == 0 else f"{'▲' if points > 0 else '▼'} {abs(points)}"


def temperature(value: float | None, unit: str) -> str:
    """A temperature in the user's unit; nothing when it is not known."""
    return "" if value is None else format_quantity(value, unit, decimals=0 if unit == "degF" else None)


def clock(at: str) -> str:
    """The local time of day of a moment in UTC, with the day when it is another one."""
    moment = datetime.fromisoformat(at).astimezone()
    today = datetime.now().astimezone().date() == moment.date()
    return moment.strftime("%H:%M" if today else "%d %b %H:%M")


UNITS_TYPED = {
    "V": ("V", "mV"),
    "A": ("A", "mA"),
    "ohm": ("ohm", "mohm"),
    "degC": ("°C", "°F"),
    "h": ("h", "min"),
    "rpm": ("rpm",),
}


def shown_units(unit: str) -> tuple[str, ...]:
    """The units one may read a quantity in, by its base unit, for keys to type them with."""
    return UNITS_TYPED.get(unit, () if unit in ("", "-") else (unit,))


def tool_words(tools: tuple[str, ...]) -> str:
    """Tools in a row, or that none is needed."""
    return ", ".join(tools) if tools else "none"


def plain(text: object, where: Literal["html", "label", "option"] = "html") -> str:
    """Somebody's words made safe for a page; all of them come through here.

    Parameters
    ----------
    text : object
    where : {"html", "label", "option"}
        In HTML; in a label of a control, where Streamlit reads markup; or in a list or table, where it reads none.

    Notes
    -----
    Links, pictograms and addresses of letters are found in a label even where every sign is escaped; a joiner, which
    is not seen, keeps their signs apart.

    Examples
    --------
    >>> plain("<b>"), plain("a_b", "label"), plain("a_b", "option")
    ('&lt;b&gt;', 'a\\\\_b', 'a_b')
    """
    if where == "html":
        return escape(text)
    words = isolated(" ".join(str(text).split()))
    if where == "option":
        return words
    return _SPLIT.sub("\\g<0>\u2060", _MARKUP.sub(r"\\\g<0>", words))
