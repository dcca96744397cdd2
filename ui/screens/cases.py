"""All cases: begin, open, take in and give out."""

from __future__ import annotations

import streamlit as st
from workbench import frame, state
from workbench.widgets import begin

from faultnet.cases.file import case_to_json


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


show()
