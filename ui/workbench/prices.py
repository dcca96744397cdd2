"""Money and prices as typed: kept in the settings as soon as they can be understood, whatever page comes next."""

from __future__ import annotations

from typing import Any

from faultnet.decision.shop import LONGEST_CURRENCY
from faultnet.errors import FaultnetError
from workbench import drafts, entering, state
from workbench.settings import changed

CURRENCY, RATE, PART = "currency", "hourly_rate", "part_"
MOST = (0.0, 1e6)


def place() -> str:
    """The draft of the fields; of this browser, as the settings are no part of any case."""
    return f"prices_{state.browser()}"


def take_up() -> None:
    """Keep what was typed and understood; called at the beginning of each run, as the field may be left for a link.

    What cannot be understood stays a draft, with all that was typed beside it, and is said on the page.
    """
    typed = state.store().draft(place()) if drafts.watches(place()) else {}
    if not typed:
        return
    now = state.settings()
    try:
        rate = _number(typed[RATE]) if RATE in typed else now.hourly_rate
        parts = dict(now.parts) | {key.removeprefix(PART): _number(typed[key]) for key in typed if key.startswith(PART)}
    except FaultnetError:
        return
    currency = str(typed.get(CURRENCY, now.currency)).strip()[:LONGEST_CURRENCY]
    kept = tuple(sorted((name, price) for name, price in parts.items() if price is not None))
    state.keep_settings(changed(now, hourly_rate=rate, currency=currency, parts=kept))
    drafts.drop(place())


def _number(typed: Any) -> float | None:
    return entering.number_or_none(str(typed), "-", MOST, "Price")
