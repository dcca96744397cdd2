"""Sheets to print: the job sheet, and the sheet to take to the car."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

import streamlit as st
from workbench import frame, state
from workbench.answers import answer, belief, catalogue, places, plan, robust, until

from faultnet.case.types import Case
from faultnet.errors import StoreError
from faultnet.report import blank_sheet, job_sheet, plan_sheet, sheet_pdf
from faultnet.report.beliefs import course_with_legend
from faultnet.report.circuit_picture import suspicion
from faultnet.report.pdf import Paper, can_make_pdf

SHEETS = {"job": "Job sheet", "blank": "Sheet for the car, with empty boxes", "plan": "Pocket plan"}
PAPERS: tuple[Paper, ...] = ("A4", "Letter")


def show() -> None:
    """Draw the page."""
    opened = frame.begin()
    if opened is None:
        return
    chosen = st.radio("Sheet", list(SHEETS), format_func=SHEETS.__getitem__, key="sheet", label_visibility="collapsed")
    sheet = _sheet(opened, str(chosen))
    with st.container(horizontal=True):
        st.download_button("Keep it as a file", sheet, file_name=f"{chosen}_{opened.case_id}.html", mime="text/html",
                           on_click="ignore")  # fmt: skip
        if can_make_pdf():
            for size in PAPERS:
                st.download_button(f"PDF, {size}", partial(sheet_pdf, sheet, paper=size), key=f"pdf_{size}",
                                   file_name=f"{chosen}_{opened.case_id}.pdf", mime="application/pdf",
                                   on_click="ignore")  # fmt: skip
    frame.note("Press Print in the sheet below. It fits A4 and Letter.")
    if not can_make_pdf():
        frame.note("PDF: your device's print dialogue makes one, or install the extra: pip install 'faultnet[pdf]'.")
    st.iframe(sheet, height=900, alt=SHEETS[str(chosen)])


def _sheet(opened: state.Opened, kind: str) -> str:
    found = answer(opened.case, state.shop())
    diagnosis = found.diagnosis
    if kind == "blank":
        return blank_sheet(opened.case, diagnosis, catalogue(), case_id=opened.case_id)
    if kind == "plan":
        tree = plan(opened.case, state.shop())
        return plan_sheet(opened.case, tree, catalogue(), case_id=opened.case_id, suspects=suspicion(diagnosis))
    count = len(places(opened.case))
    course = course_with_legend([belief(until(opened.case, k)) for k in range(count + 1)], catalogue())
    unit = state.settings().temperature
    return job_sheet(opened.case, diagnosis, catalogue(), case_id=opened.case_id, temperature_unit=unit, course=course,
                     decision=found.decision, photos=_photos(opened.case),
                     robust=robust(opened.case, state.shop(), whole=True))  # fmt: skip


def _photos(case: Case) -> dict[str, bytes]:
    """The photos of a case that are in the store, by id."""
    found = {}
    for photo in (p for visit in case.visits for owner in (visit, *visit.entries) for p in owner.photos):
        with suppress(StoreError):
            found[photo.id] = state.store().photo(photo.id)
    return found


show()
