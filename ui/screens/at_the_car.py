"""The main page: likely causes, the test to do now, and below them why, what else, and work done."""

from __future__ import annotations

from functools import partial

import streamlit as st
from streamlit.delta_generator import DeltaGenerator
from workbench import frame, state
from workbench.answers import (
    answer,
    belief,
    catalogue,
    costs,
    counted,
    places,
    present,
    range_with,
    ranges,
    robust,
    tests_of_parts,
    until,
)
from workbench.thinking import Belief
from workbench.widgets import (
    able,
    balance,
    begin,
    card,
    causes,
    circuit,
    doubts,
    others,
    pictures,
    toolbox,
    verdict,
    why,
    work,
)
from workbench.words import plain

from faultnet.case.types import Case
from faultnet.decision import Advice
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.diagnose import KEPT_AS_RIGHT
from faultnet.errors import ClashError
from faultnet.report.strips import strips_of


def show() -> None:
    """Draw the page of the open case, or offer to open one."""
    opened = state.opened()
    if opened is None:
        begin.show()
        return
    frame.head(opened)
    try:
        now, was = present(opened.case), belief(opened.case)
    except ClashError as error:
        _clash(error, opened)
        return
    with st.container(key="page"):  # the style sheet sets these four side by side where there is room
        beliefs = st.container(key="beliefs")
        with beliefs:
            bars = st.empty()
            with bars:
                _bars(opened.case, now, was)
            _last_done(opened)
        advice = whole = answer(opened.case, state.shop())
        case = counted(opened.case, state.shop())
        if whole.diagnosis.asked:
            advice = answer(case, state.shop())
            with bars:
                _bars(case, present(case), belief(case))
        found = card.proposal(advice.diagnosis, catalogue(), state.chosen_test(), ranges(opened.case))
        with beliefs:
            _warnings(advice, whole.diagnosis, opened.case)
        parts = {"now": partial(_now, opened.case, found, advice),
                 "story": partial(_story, case, advice)}  # fmt: skip
        slot = None
        for name in ("story", "now") if advice.decision.stop else ("now", "story"):
            with st.container(key=name):
                slot = parts[name]() or slot
        with st.container(key="rest"):
            _rest(opened.case, advice, found)
        if slot is not None and opened.case.outcome is None:
            _holds(case, slot)  # last, as nothing else waits for it
    frame.told(verdict.general_cautions(catalogue()))


def _now(case: Case, found: card.Proposal | None, advice: Advice) -> None:
    if case.outcome is not None:
        frame.told(verdict.closed(case.outcome, catalogue()))
        frame.note("This case is closed. Open it again on the page 'Entries' to go on.")
    elif found is None:
        frame.note("No test is left with the tools at hand. Tick more tools on the page 'Car', or begin a new visit.")
    else:
        instrument = card.instrument_chosen(found.test, catalogue())
        sound = range_with(case, found.test.id, instrument)
        about = tests_of_parts(case, state.shop())
        drawn = circuit.picture(found.test.id, instrument, advice.diagnosis, about, catalogue())
        card.show(found, case, catalogue(), sound, drawn, stop=advice.decision.stop)
        if found.chosen:
            st.button("Show the proposed test instead", key="proposed", on_click=state.choose_test, args=(None,))


def _bars(case: Case, now: Belief, was: Belief) -> None:
    frame.told(causes.bars(now, _before(case), catalogue()) + causes.mended(was, now, catalogue()))


def _warnings(advice: Advice, whole: Diagnosis, case: Case) -> None:
    """What must be seen at once: a change that waits, readings that fit nothing, that enough was tested."""
    waiting = state.pending()
    if waiting is not None:
        frame.show_waiting(waiting)
    doubts.show(case, whole.asked, catalogue())
    for clash in whole.clashes[len(whole.asked) :]:
        if KEPT_AS_RIGHT in clash:
            frame.note(clash)
        else:
            frame.told(f"<div class='fn-wrong' role='alert'><b>Measure again.</b> {plain(clash)}</div>")
    stop = verdict.headline(advice.decision, case)
    if stop and case.outcome is None:
        frame.told(stop)


def _before(case: Case) -> dict[tuple[str, str], float] | None:
    """Beliefs one entry earlier."""
    count = len(places(case))
    try:
        return present(until(case, count - 1)) if count else None
    except ClashError:
        return None


def _last_done(opened: state.Opened) -> None:
    """What was done last, and taking it back."""
    with st.container(horizontal=True, vertical_alignment="center", key="last_done"):
        said = state.said()
        count = len(places(opened.case))
        words = said or (f"{count} entr{'y' if count == 1 else 'ies'} so far" if count else "Before any entry")
        st.html(f"<p class='fn-said' role='status'>{plain(words)}</p>")
        st.button("Undo", key="undo", on_click=state.undo, disabled=not opened.can_undo)
        if opened.can_redo:
            st.button("Redo", key="redo", on_click=state.redo)


def _story(case: Case, advice: Advice) -> DeltaGenerator:
    """Where it stands and why; gives the place below the verdict, to be filled once all else is drawn."""
    diagnosis = advice.diagnosis
    is_open = case.outcome is None
    verdict_words = verdict.told(advice) if is_open else f"<p>{plain(diagnosis.summary)}</p>"
    frame.told(frame.title_html("Where it stands", verdict.STANDS) + verdict_words)
    slot = st.empty()
    parts = [verdict.to_do(advice.decision, case, catalogue())] if is_open else []
    told = [c for c in diagnosis.causes if why.is_told(diagnosis, c)]
    if told and diagnosis.entries:
        parts += [frame.title_html("Why"), *(why.reasons(diagnosis, c, most=4) for c in told)]
    found = strips_of(case, diagnosis, catalogue())
    if found:
        parts += [frame.title_html("Readings beside a sound car"), *(pictures.strip(s) for s in found)]
    parts += [frame.title_html("Today so far"), balance.of_today(case, catalogue(), costs(state.shop()))]
    frame.told("".join(parts))  # one element, as the browser's work grows with their number
    return slot


def _holds(case: Case, slot: DeltaGenerator) -> None:
    """Whether the verdict holds when base rates are off, in the place that was kept for it."""
    said = verdict.holds(robust(case, state.shop(), whole=False), catalogue())
    if said:
        with slot:
            frame.told(said)


def _rest(case: Case, advice: Advice, found: card.Proposal | None) -> None:
    if case.outcome is not None:
        return
    able.show(case, catalogue())
    frame.title("Other tests", "other-tests")
    toolbox.show(catalogue())
    others.show(advice.diagnosis, catalogue(), found.test.id if found else None)
    frame.title("Work done on the car")
    work.show(case, catalogue(), verdict.repair_of(advice.decision))


def _clash(error: ClashError, opened: state.Opened) -> None:
    frame.show_error(error)
    _last_done(opened)
    frame.note("Remove or correct one of them on the page 'Entries', or press Undo.")


show()
