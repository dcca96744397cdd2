"""A reading that no car is likely to give with the others: asked about, and one tap keeps it or puts it right."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from faultnet.case.store import events
from faultnet.case.types import Case, Reading
from faultnet.diagnosis.slips import kept_note
from faultnet.diagnosis.wording import entry_words
from faultnet.prior_set.catalogue import Catalogue
from workbench import frame, state
from workbench.words import plain

TYPED_AGAIN = "typed_again"
WHY = (
    "No car is likely to read so with the other entries. {} Best measure again: probes on the posts themselves, the "
    "right range, a fresh meter battery."
)
NEWEST, OLDER = "Not counted until you say so or go on.", "It counts for what it may be worth."
Place = tuple[int, int]


def show(case: Case, asked: tuple[Place, ...], catalogue: Catalogue) -> None:
    """Put a question on the page for each reading that is asked about, with the ways to answer it."""
    newest = len(case.visits) - 1, len(case.visits[-1].entries) - 1
    for place in asked:
        entry = case.visits[place[0]].entries[place[1]]
        assert isinstance(entry, Reading)
        words = entry_words(catalogue, entry)
        why = WHY.format(NEWEST if place == newest else OLDER)
        frame.told(f"<div class='fn-wrong' role='alert'><b>Is this right? {plain(words)}</b><p>{why}</p></div>")
        given = place, entry, words, state.drawn()
        with st.container(horizontal=True):
            if _was_read_again(case, place, entry.test):
                st.button("Take it out", key=f"out_{place[0]}_{place[1]}", type="primary", on_click=_out, args=given)
            else:
                st.button("Correct it", key=f"mend_{place[0]}_{place[1]}", type="primary", on_click=_mend, args=given)
            st.button("It is right", key=f"keep_{place[0]}_{place[1]}", on_click=_keep, args=given)


def _was_read_again(case: Case, place: Place, test: str) -> bool:
    later = case.visits[place[0]].entries[place[1] + 1 :]
    return any(isinstance(e, Reading) and e.test == test and e.value is not None for e in later)


def _keep(place: Place, entry: Reading, words: str, drawn: int) -> None:
    if not state.pressed_again(drawn):
        kept = replace(entry, note=kept_note(entry.note))
        state.append(events.change_entry(*place, kept), f"Kept as right: {words}")


def _out(place: Place, entry: Reading, words: str, drawn: int) -> bool:
    return not state.pressed_again(drawn) and state.append(events.remove_entry(*place), f"Taken out: {words}")


def _mend(place: Place, entry: Reading, words: str, drawn: int) -> None:
    """Take it out, and put its test on the card with what was typed in the field."""
    if _out(place, entry, words, drawn):
        state.choose_test(entry.test)
        typed = entry.entered or f"{entry.value:g} {entry.unit}".strip()
        state.remember(TYPED_AGAIN, (entry.test, typed, f"{state.case_id()} {state.drawn()}"))


def typed_again(test: str) -> str:
    """Attributes from which the page's own script puts the text to be corrected into the field, once."""
    found = state.recall(TYPED_AGAIN)
    if found is None or found[0] != test:
        return ""
    return f"data-begin='{plain(found[1])}' data-begun='{plain(found[2])}'"
