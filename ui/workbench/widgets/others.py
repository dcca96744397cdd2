"""The other tests: ranked, and all of them by search."""

from __future__ import annotations

import streamlit as st

from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.wording import worth_words
from faultnet.prior_set.catalogue import Catalogue
from workbench import state
from workbench.words import plain

SHOWN = 6


def show(diagnosis: Diagnosis, catalogue: Catalogue, now: str | None) -> None:
    """Put the ranked list on the page; a press puts that test on the card."""
    currency = state.settings().currency
    ranked = [t for t in diagnosis.next_tests if t.test != now][:SHOWN]
    with st.container(key="others"):
        for test in ranked:
            prepared = f" · first: {test.prepare[0]}" if test.prepare else ""
            words = f"**{test.label}**  \n{plain(worth_words(test, currency), 'label')}{prepared}"
            st.button(words, key=f"other_{test.test}", width="stretch", on_click=_choose, args=(test.test,))
    labels = {t.id: t.label for t in catalogue.tests}
    st.selectbox(
        "Any other test", list(labels), index=None, format_func=labels.__getitem__, key="search",
        placeholder="Type a word, such as hydrometer", on_change=_searched,
    )  # fmt: skip
    # Not seen: the page's own script writes into it which test of a pressed part of the circuit was wanted.
    st.text_input("Test of a part", key="part_test", on_change=_of_a_part, args=(frozenset(labels),))


def _choose(test: str) -> None:
    state.set_trouble(None)
    state.choose_test(test)


def _searched() -> None:
    found = state.recall("search")
    if found is not None:
        _choose(found)
        state.remember("search", None)


def _of_a_part(known: frozenset[str]) -> None:
    """Put a test on the card that was pressed beside a part; the number behind it tells one press from the next."""
    test = (state.recall("part_test") or "").partition(" ")[0]
    if test in known:
        _choose(test)
