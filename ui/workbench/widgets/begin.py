"""Beginning: a new case, one of the demo cases, or one that was kept."""

from __future__ import annotations

from datetime import date
from functools import lru_cache
from pathlib import Path

import streamlit as st

from faultnet.case.file import load_case
from faultnet.case.store.summary import CaseSummary
from faultnet.case.types import Case, Conditions, Reading, Visit
from faultnet.report.beliefs import cause_words
from faultnet.shipped import shipped
from workbench import ahead, entering, frame, state, uploads
from workbench.answers import catalogue
from workbench.widgets import forms, verdict
from workbench.widgets.fields import Fields
from workbench.words import clock, plain

RECENT = 12
ASKED_FIRST = ("when_it_fails", "flat_how_often")


def show() -> None:
    """Draw everything one can begin with."""
    st.html(
        "<header class='fn-head'><h1>A car that will not start, or whose lights sag</h1></header>"
        "<p>Enter what was seen and measured, one thing after the other. You are shown how likely each cause is, why, "
        "and which test to do next.</p>"
        "<p class='fn-jumps'><a href='#kept-cases' target='_self'>Kept cases</a>"
        "<a href='#demo-cases' target='_self'>Demo cases</a></p>"
    )
    left, right = st.columns(2, gap="medium")
    with left:
        _new()
    with right:
        _kept()
        _demos()
    frame.told(verdict.general_cautions(catalogue()))


def _new() -> None:
    frame.title("New case")
    fields = Fields(f"new_{state.browser()}")
    _taken_up(fields)
    told = _told_by_the_driver(fields)
    complaint = fields.text("new_complaint", "Complaint, in the driver's words")
    st.html("<p class='fn-note'>Kept for people to read; what is worked with are the answers above.</p>")
    car = forms.car_fields(fields, "new", None)
    frame.title("Today")
    conditions = forms.condition_fields(fields, "new_today", Conditions(), state.settings().temperature)
    pressed = st.button("Begin", type="primary", key="begin", width="stretch", on_click=fields.press)
    fields.done()
    if car is None or conditions is None:
        return
    visit = Visit(told, conditions=conditions, date=date.today().isoformat())
    if pressed:
        fields.drop()
        ahead.begun(state.browser())
        state.create_case(Case(car, (visit,), complaint, car.label))
        st.switch_page("screens/at_the_car.py", query_params={"case": str(state.case_id())})
    elif fields.draft.kept():
        ahead.filled(state.browser(), Case(car, (visit,)), state.shop())


def _taken_up(fields: Fields) -> None:
    """Say that something typed before stands in the fields, and offer to begin with empty ones."""
    with st.container(horizontal=True, vertical_alignment="center", key="taken_up"):
        if fields.draft.kept():
            st.html("<p class='fn-note'>Not begun yet; what you typed is kept.</p>")
            st.button("Empty the form", key="empty_new", on_click=fields.drop)


def _told_by_the_driver(fields: Fields) -> tuple[Reading, ...]:
    """Put the complaint and the questions to the driver on the page, and give what was answered as entries.

    A complaint in words tells the model nothing; without these it would not know how the car fails. Where a question
    that asks the same as the complaint is answered as well, its answer stands.
    """
    complaints = {c.id: c for c in catalogue().complaints}
    words = {name: c.label[:1].upper() + c.label[1:] for name, c in complaints.items()}
    chosen = fields.choice(
        "new_complains_of", "What is the complaint?", words, None, placeholder="Choose", filter_mode=None
    )
    complained = [] if chosen is None else [(catalogue().test(complaints[chosen].test), complaints[chosen].choice)]
    asked = [t for t in catalogue().tests if t.group == "ask" and t.kind == "choice"]
    first = [t for t in asked if t.id in ASKED_FIRST]
    answers = [(t, forms.asked(fields, t, "new")) for t in first]
    with st.expander("More from the driver, as far as known"):
        answers += [(t, forms.asked(fields, t, "new")) for t in asked if t not in first]
    answered = [(t, choice) for t, choice in answers if choice is not None]
    complained = [(t, choice) for t, choice in complained if t.id not in {asked.id for asked, _ in answered}]
    return tuple(state.signed(entering.chosen_reading(t, choice)) for t, choice in (*complained, *answered))


def _kept() -> None:
    frame.title("Kept cases", "kept-cases")
    wanted = st.text_input(
        "Search", key="case_search", placeholder="a word, a car, a cause", label_visibility="collapsed"
    )
    found = state.store().list_cases(wanted, limit=RECENT)
    if not found:
        frame.note("None yet." if not wanted else "None has all these words.")
    with st.container(key="others"):
        for line in found:
            if st.button(_line(line), key=f"open_{line.case_id}", width="stretch"):
                _go(line.case_id)


def _line(line: CaseSummary) -> str:
    name = line.name or line.car or f"Case {line.case_id}"
    known = {c.id for c in catalogue().components}
    ended = ", ".join(cause_words((c, m), catalogue()) for c, m in line.causes if c in known)
    state_words = f"closed: {ended or 'nothing at fault'}" if line.closed else "open"
    return f"**{plain(name, 'label')}**  \n{clock(line.changed_at)} · {plain(state_words, 'label')}"


@lru_cache(maxsize=4)
def demo_cases(folder: str) -> tuple[tuple[str, Case], ...]:
    """The demo cases of a folder by file name, those that can be read."""
    return tuple((p.stem, load_case(p)) for p in sorted(Path(folder).glob("*.json")))


def _demos() -> None:
    cases = demo_cases(str(shipped("cases")))
    if not cases:
        return
    frame.title("Demo cases, all invented", "demo-cases")
    with st.container(key="others_demo"):
        for stem, case in cases:
            name = plain(case.name or stem.replace("_", " "), "label")
            complaint = plain(case.complaint or "no complaint", "label")
            if st.button(f"**{name}**  \n{complaint}", key=f"demo_{stem}", width="stretch"):
                _go(state.create_case(case))


def _go(case_id: str) -> None:
    state.open_case(case_id)
    st.switch_page("screens/at_the_car.py", query_params={"case": case_id})


def upload() -> None:
    """Take a case file in."""
    given = uploads.given("Case file (JSON or YAML)", "case_file", ["json", "yaml", "yml"])
    if given is None or state.recall("taken_in") == given.file_id:
        return
    case = load_case(given.getvalue(), given.name)
    state.remember("taken_in", given.file_id)
    st.html(f"<p>{plain(case.name or 'Case')} was read.</p>")
    _go(state.create_case(case))
