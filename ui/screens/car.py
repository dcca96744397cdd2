"""The car, the conditions of today's visit, the tools at hand, and the unit of temperature."""

from __future__ import annotations

import streamlit as st
from workbench import frame, state
from workbench.answers import catalogue
from workbench.settings import all_tools, changed, tools_at_hand
from workbench.widgets import forms
from workbench.widgets.fields import Fields

from faultnet.case.store import events

UNITS = {"degC": "°C", "degF": "°F"}


def show() -> None:
    """Draw the page."""
    opened = state.opened()
    if opened is not None:
        frame.head(opened)
    frame.notices()
    left, right = st.columns(2, gap="medium")
    with left:
        if opened is not None:
            _car(opened)
    with right:
        if opened is not None:
            _conditions(opened)
        _tools()
        _units()


def _car(opened: state.Opened) -> None:
    frame.title("The car")
    fields = Fields(f"car_{opened.case_id}")
    complaint = fields.text(f"car_complaint_{opened.case_id}", "Complaint", opened.case.complaint)
    car = forms.car_fields(fields, f"car_{opened.case_id}", opened.case.car)
    if _pressed(fields, "keep_car") and car is not None:
        if (car, complaint) != (opened.case.car, opened.case.complaint):
            state.append(events.change_car(car, complaint=complaint), "The car was changed")
        fields.drop()
        st.rerun()


def _pressed(fields: Fields, key: str) -> bool:
    """The button below fields, and beside it that they hold what is not kept yet."""
    with st.container(horizontal=True, vertical_alignment="center"):
        pressed = st.button("Keep", type="primary", key=key, on_click=fields.press)
        if fields.draft.kept():
            st.html("<p class='fn-note'>Changed and not kept yet.</p>")
            st.button("Leave it as it was", key=f"leave_{key}", on_click=fields.drop)
    fields.done()
    return pressed


def _conditions(opened: state.Opened) -> None:
    number = len(opened.case.visits) - 1
    visit = opened.case.visits[number]
    frame.title(f"Conditions of visit {number + 1}" + (f", {visit.date}" if visit.date else ""))
    unit = state.settings().temperature
    fields = Fields(f"now_{opened.case_id}_{number}_{unit}")
    conditions = forms.condition_fields(fields, fields.draft.place, visit.conditions, unit)
    if _pressed(fields, "keep_conditions") and conditions is not None:
        if conditions != visit.conditions:
            state.append(events.change_conditions(number, conditions), "The conditions were changed")
        fields.drop()
        st.rerun()


def _tools() -> None:
    frame.title("Tools at hand")
    frame.note("Ticked once; only tests that these allow are proposed.")
    known = all_tools(catalogue())
    have = tools_at_hand(state.settings(), catalogue())
    with st.container(key="tools"):
        for tool in known:
            st.checkbox(tool.capitalize(), tool in have, key=f"tool_{tool}", on_change=_ticked, args=(known,))


def _ticked(known: tuple[str, ...]) -> None:
    chosen = tuple(t for t in known if state.recall(f"tool_{t}"))
    state.keep_settings(changed(state.settings(), tools=chosen))


def _units() -> None:
    frame.title("Temperatures in")
    now = state.settings().temperature
    st.segmented_control("Temperatures in", list(UNITS), default=now, format_func=UNITS.__getitem__, required=True,
                         key="temperature_unit", on_change=_unit_changed, label_visibility="collapsed")  # fmt: skip


def _unit_changed() -> None:
    state.keep_settings(changed(state.settings(), temperature=state.recall("temperature_unit")))


show()
