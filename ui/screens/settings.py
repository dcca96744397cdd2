"""Who enters, and the money of this workshop: currency, rate for an hour, prices of parts."""

from __future__ import annotations

import streamlit as st
from workbench import frame, prices, state
from workbench.answers import catalogue
from workbench.settings import settings_file
from workbench.widgets.fields import Fields
from workbench.words import plain

from faultnet.case.store.events import LONGEST_NAME
from faultnet.decision import load_costs
from faultnet.prior_set.sets import IN_USE


def show() -> None:
    """Draw the page."""
    opened = state.opened()
    if opened is not None:
        frame.head(opened)
    frame.notices()
    frame.title("Who enters here")
    frame.note("Noted beside every entry made in this browser, with the time. Empty: nobody is noted.")
    with st.columns(2, gap="medium")[0]:
        st.text_input("Name", value=state.who(), max_chars=LONGEST_NAME, key=state.WHO_FIELD)
    frame.title("Money and prices")
    frame.note(
        "Without a currency no money is shown, but minutes. The shipped prices are invented: give your own, where you "
        "know them. An empty field keeps the shipped one."
    )
    _prices()
    st.html(f"<p class='fn-note'>Kept in {plain(settings_file())}, which the command line reads as well.</p>")


def _prices() -> None:
    """The fields; there is no button: what is right was kept at the beginning of this run, what is wrong is said."""
    now = state.settings()
    fields = Fields(prices.place())
    state.remember(f"tried_{fields.draft.place}", 1)
    with st.columns(2, gap="medium")[0]:
        fields.text(prices.CURRENCY, "Currency, code or sign (such as EUR)", now.currency)
        fields.figure(prices.RATE, "Rate for an hour", _shown(now.hourly_rate), "-", prices.MOST)
    shipped, ours = load_costs(IN_USE).part, dict(now.parts)
    labels = {c.id: c.label for c in catalogue().components if shipped.get(c.id)}
    halves = (list(labels)[::2], list(labels)[1::2])
    frame.title("Prices of parts")
    for column, names in zip(st.columns(2, gap="medium"), halves, strict=True):
        with column:
            for name in names:
                words = f"{labels[name]} (shipped: {shipped[name]:g})"
                fields.figure(f"{prices.PART}{name}", words, _shown(ours.get(name)), "-", prices.MOST)
    fields.done()


def _shown(price: float | None) -> str:
    return "" if price is None else f"{price:g}"


show()
