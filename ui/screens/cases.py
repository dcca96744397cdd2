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
    _said()
    frame.title("Take a case file in")
    begin.upload()
    opened = state.opened()
    if opened is not None:
        frame.title("Give the open case out")
        st.download_button("Case file (JSON)", case_to_json(opened.case), file_name=f"{opened.case_id}.json",
                           mime="application/json", on_click="ignore")  # fmt: skip
        frame.title("Delete the open case")
        name = opened.case.name or opened.case.car.label or f"Case {opened.case_id}"
        frame.note(f"'{name}' is then listed no more, but kept whole: it can be brought back below.")
        st.button(f"Delete '{plain(name, 'label')}'", key="delete_case", on_click=_delete, args=(name,))
    frame.title("Learn from closed cases")
    with st.container(key="to_history"):
        st.page_link("screens/history.py", label="History: tune the numbers on closed cases")
    _deleted()


def _delete(name: str) -> None:
    if state.delete_case():
        state.remember("deleted_name", name)


def _said() -> None:
    """That a case was deleted, with the list of the others in view."""
    name = state.recall("deleted_name")
    if name is not None:
        state.remember("deleted_name", None)
        words = f"Deleted: {name}. It can be brought back at the end of this page."
        st.html(f"<p class='fn-said' role='status'>{plain(words)}</p>")
        frame.scroll_to("kept-cases", len(state.store().list_cases(deleted=True)))


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
