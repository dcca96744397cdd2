"""The front end: routes to the pages, draws the frame around them, and shows what went wrong in plain words."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
if str(HERE) not in sys.path:
    sys.path.insert(0, str(HERE))

import streamlit as st  # noqa: E402 - the folder must be known first
from workbench import answers, drafts, frame, memory, prices, state, uploads  # noqa: E402

from faultnet.errors import FaultnetError  # noqa: E402

st.set_page_config(page_title="faultnet", layout="wide", initial_sidebar_state="collapsed")
PAGES = {
    "test": st.Page("screens/at_the_car.py", title="Test", default=True),
    "why": st.Page("screens/why.py", title="Why"),
    "entries": st.Page("screens/entries.py", title="Entries"),
    "car": st.Page("screens/car.py", title="Car"),
    "log": st.Page("screens/log.py", title="Log"),
    "paper": st.Page("screens/paper.py", title="Paper"),
    "cases": st.Page("screens/cases.py", title="Cases"),
    "history": st.Page("screens/history.py", title="History"),
    "practise": st.Page("screens/practise.py", title="Practise"),
    "settings": st.Page("screens/settings.py", title="Settings"),
}
page = st.navigation(list(PAGES.values()), position="hidden")
frame.dress()
try:
    drafts.keep_typed()
    prices.take_up()
    state.take_up_who()
    answers.keep_up()
    state.on_page(page.title)
    page.run()
    drafts.leave_browser()
except FaultnetError as error:
    frame.show_error(error)
frame.links(PAGES, page)
uploads.let_go()
memory.tidy()
