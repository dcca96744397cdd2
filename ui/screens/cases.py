"""All cases: begin, open, take in and give out."""

from __future__ import annotations

import streamlit as st
from workbench import frame, state
from workbench.widgets import begin
from workbench.words import plain

from faultnet.case.file import case_to_json


def show() -> None:
    """Draw the page."""
    frame.notices()
    begin.show()
    frame.title("Take a case file in")
    begin.upload()
    opened = state.opened()
    if opened is not None:
        frame.title("Give the open case out")
        st.download_button("Case file (JSON)", case_to_json(opened.case), file_name=f"{opened.case_id}.json",
                           mime="application/json", on_click="ignore")  # fmt: skip
        frame.title("Delete the open case")
        frame.note("It is listed no more, but kept whole: it can be brought back below.")
        st.button("Delete this case", key="delete_case", on_click=state.delete_case)
    frame.title("Learn from closed cases")
    with st.container(key="to_history"):
        st.page_link("screens/history.py", label="History: tune the numbers on closed cases")
    _deleted()


def _deleted() -> None:
    found = state.store().list_cases(deleted=True, limit=20)
    if not found:
        return
    frame.title("Deleted cases")
    for line in found:
        name = line.name or line.car or line.case_id
        if st.button(f"Bring back {plain(name, 'label')}", key=f"back_{line.case_id}"):
            state.store().bring_back(line.case_id)
            st.rerun()


show()
