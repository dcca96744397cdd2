"""What the car can do now, one tap each: whether the engine turns, whether it starts, whether the fault shows."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import streamlit as st

from faultnet.case.store import events
from faultnet.case.types import Case
from faultnet.diagnosis.able import ability
from faultnet.prior_set.catalogue import Catalogue
from workbench import frame, state

UNSAID = "unsaid"
TURNS = {"yes": "Turns", "no": "Does not turn", UNSAID: "Not known"}
STARTS = {"by_itself": "Starts", "with_booster": "With a booster", "no": "Does not start", UNSAID: "Not known"}
SHOWS = {"yes": "Fault shows", "no": "Does not show", UNSAID: "Not known"}
YES_OR_NO = {"yes": True, "no": False, UNSAID: None}


def show(case: Case, catalogue: Catalogue) -> None:
    """Put the three choices of the last visit on the page, as said before or as the entries let suppose."""
    number = len(case.visits) - 1
    visit = case.visits[number]
    can = ability(visit, catalogue)
    frame.title("The car now", "car-now")
    frame.note("Tests that it cannot serve are not proposed. Tap what has changed; the rest follows from the entries.")
    with st.container(key="able"):
        _choice("cranks", "The engine", TURNS, _yes_or_no(can.turns), number)
        _choice("runs", "The start", STARTS, can.runs or UNSAID, number)
        _choice("shows_now", "The fault", SHOWS, _yes_or_no(can.shows), number)


def _yes_or_no(known: bool | None) -> str:
    return UNSAID if known is None else "yes" if known else "no"


def _choice(field: str, label: str, words: dict[str, str], now: str, visit: int) -> None:
    """One row of choices; its key holds what it shows, so that an entry which changes that draws it anew."""
    key = f"able_{field}_{visit}_{now}_{state.drawn()}"
    st.segmented_control(label, list(words), default=now, format_func=words.__getitem__, required=True, key=key,
                         on_change=_said, args=(field, key, visit))  # fmt: skip


def _said(field: str, key: str, number: int) -> None:
    opened, tapped = state.opened(), state.recall(key)
    if opened is None or tapped is None or state.bounced():
        return
    visit = opened.case.visits[number]
    changed = replace(visit, **{field: said(field, tapped)})
    if changed != visit:
        state.append(events.change_ability(number, changed), f"The car now: {_words(field)[tapped]}")


def _words(field: str) -> dict[str, str]:
    return {"cranks": TURNS, "runs": STARTS, "shows_now": SHOWS}[field]


def said(field: str, tapped: str) -> Any:
    """What a visit holds for a choice that was tapped.

    Examples
    --------
    >>> said("cranks", "no"), said("runs", "with_booster"), said("runs", "unsaid")
    (False, 'with_booster', None)
    """
    if field == "runs":
        return None if tapped == UNSAID else tapped
    return YES_OR_NO[tapped]
