"""The car, the conditions of today's visit, the tools at hand, and the unit of temperature."""

from __future__ import annotations

import streamlit as st
from workbench import frame, state
from workbench.answers import catalogue
from workbench.entering import number_or_none
from workbench.settings import all_tools, changed, tools_at_hand
from workbench.widgets import forms

from faultnet.case.store import events
from faultnet.errors import FaultnetError

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
        _prices()
        _units()


def _car(opened: state.Opened) -> None:
    frame.title("The car")
    with st.form("car", border=False):
        problem: FaultnetError | None = None
        car = None
        complaint = st.text_input("Complaint", opened.case.complaint, key=f"car_complaint_{opened.case_id}")
        try:
            car = forms.car_fields(f"car_{opened.case_id}", opened.case.car)
        except FaultnetError as error:
            problem = error
        pressed = st.form_submit_button("Keep", type="primary", key="keep_car", width="stretch")
    if pressed:
        if problem is not None or car is None:
            frame.show_error(problem or forms.incomplete())
        elif (car, complaint.strip()) != (opened.case.car, opened.case.complaint):
            state.append(events.change_car(car, complaint=complaint.strip()), "The car was changed")
            st.rerun()


def _conditions(opened: state.Opened) -> None:
    number = len(opened.case.visits) - 1
    visit = opened.case.visits[number]
    frame.title(f"Conditions of visit {number + 1}" + (f", {visit.date}" if visit.date else ""))
    unit = state.settings().temperature
    with st.form("conditions", border=False):
        problem: FaultnetError | None = None
        conditions = visit.conditions
        try:
            conditions = forms.condition_fields(f"now_{opened.case_id}_{number}_{unit}", visit.conditions, unit)
        except FaultnetError as error:
            problem = error
        pressed = st.form_submit_button("Keep", type="primary", key="keep_conditions", width="stretch")
    if pressed:
        if problem is not None:
            frame.show_error(problem)
        elif conditions != visit.conditions:
            state.append(events.change_conditions(number, conditions), "The conditions were changed")
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


def _prices() -> None:
    frame.title("Prices")
    frame.note("The shipped prices are invented. Give your own rate for an hour of work, and the name of your money.")
    now = state.settings()
    with st.container(horizontal=True):
        shown = "" if now.hourly_rate is None else f"{now.hourly_rate:g}"
        st.text_input("Rate for an hour", shown, key="hourly_rate", on_change=_priced, placeholder="shipped")
        st.text_input("Money", now.currency, key="currency", on_change=_priced, placeholder="such as EUR")


def _priced() -> None:
    try:
        rate = number_or_none(state.recall("hourly_rate") or "", "-", (0.0, 10000.0), "Rate for an hour")
    except FaultnetError as error:
        state.set_trouble(error)
        return
    state.set_trouble(None)
    currency = (state.recall("currency") or "").strip()[:12]
    state.keep_settings(changed(state.settings(), hourly_rate=rate, currency=currency))


def _units() -> None:
    frame.title("Temperatures in")
    now = state.settings().temperature
    st.segmented_control("Temperatures in", list(UNITS), default=now, format_func=UNITS.__getitem__, required=True,
                         key="temperature_unit", on_change=_unit_changed, label_visibility="collapsed")  # fmt: skip


def _unit_changed() -> None:
    state.keep_settings(changed(state.settings(), temperature=state.recall("temperature_unit")))


show()
