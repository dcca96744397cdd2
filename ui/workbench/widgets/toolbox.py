"""The tools that are counted on, in a line, and one tap to count on a whole shop's or on what most people have."""

from __future__ import annotations

from collections.abc import Collection

import streamlit as st

from faultnet.diagnosis.tools import USUAL_TOOLS, tools_words
from faultnet.prior_set.catalogue import Catalogue
from workbench import frame, state
from workbench.settings import all_tools, changed, tools_at_hand

VOLTMETER = "voltmeter"


def show(catalogue: Catalogue) -> None:
    """Say which tools are counted on, and offer the other lot; each tool by itself is ticked on the page Car."""
    known, have = all_tools(catalogue), tools_at_hand(state.settings(), catalogue)
    frame.note(counted_on(have, known))
    if set(have) != set(known):
        _offer("A whole shop's tools", "tools_all", known)
    if set(have) != USUAL_TOOLS & set(known):
        _offer("What most people have", "tools_usual", sorted(USUAL_TOOLS & set(known)))
    if set(have) != {VOLTMETER}:
        _offer("A voltmeter alone", "tools_voltmeter", (VOLTMETER,))


def counted_on(have: Collection[str], known: Collection[str]) -> str:
    """The tools at hand in a line.

    Examples
    --------
    >>> counted_on({"voltmeter", "torch"}, ("torch", "voltmeter", "recorder"))
    'Counted on: eyes, hands, torch, voltmeter. Each by itself: page Car.'
    """
    words = "a whole shop's tools" if set(have) >= set(known) else tools_words(have)
    return f"Counted on: {words}. Each by itself: page Car."


def _offer(label: str, key: str, tools: Collection[str]) -> None:
    st.button(label, key=key, on_click=_count_on, args=(tuple(tools),))


def _count_on(tools: tuple[str, ...]) -> None:
    state.keep_settings(changed(state.settings(), tools=tools))
