"""Numbers as a person would say them."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Literal

from faultnet.report.markup import escape, isolated
from faultnet.units import format_quantity

NOT_MEASURED = {
    "skipped": "Skip it",
    "cannot_reach": "Cannot reach it",
    "unstable": "Will not settle",
    "not_fitted": "Not fitted",
}
OUTCOMES = {"cured": "Cured", "better": "Better", "no_change": "No change"}
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


def minutes(value: float) -> str:
    """Hands-on time.

    Examples
    --------
    >>> minutes(1.0), minutes(95.0)
    ('1 min', '1 h 35 min')
    """
    whole = round(value)
    if whole < 60:
        return f"{max(whole, 1)} min"
    return f"{whole // 60} h" + (f" {whole % 60} min" if whole % 60 else "")


def money(value: float, currency: str) -> str:
    """An amount in whole units of money.

    Examples
    --------
    >>> money(260.1, "EUR"), money(12.0, "")
    ('260 EUR', '12')
    """
    return f"{value:.0f} {currency}".strip()


def temperature(value: float | None, unit: str) -> str:
    """A temperature in the user's unit; nothing when it is not known."""
    return "" if value is None else format_quantity(value, unit, decimals=0 if unit == "degF" else None)


def clock(at: str) -> str:
    """The local time of day of a moment in UTC, with the day when it is another one."""
    moment = datetime.fromisoformat(at).astimezone()
    today = datetime.now().astimezone().date() == moment.date()
    return moment.strftime("%H:%M" if today else "%d %b %H:%M")


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
