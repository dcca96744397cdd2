"""Entries: everything entered, visit by visit, to correct or take out; new visits; the end of the case."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import streamlit as st
from workbench import entering, frame, state
from workbench.answers import Place, answer, catalogue, places
from workbench.widgets import forms, photos, verdict
from workbench.widgets.fields import Fields, keys
from workbench.words import PROOFS, plain, shown_units

from faultnet.case.store import events
from faultnet.case.types import CaseOutcome, Conditions, Reading, Visit
from faultnet.diagnosis.wording import entry_words
from faultnet.errors import FaultnetError
from faultnet.report.words import conditions_words

ASKED_TODAY = "how_it_turns_over"
NOT_SAID = "not_said"


def show() -> None:
    """Draw the page."""
    opened = frame.begin()
    if opened is None:
        return
    with st.container(horizontal=True):
        st.button("Undo", key="undo", on_click=state.undo, disabled=not opened.can_undo)
        st.button("Redo", key="redo", on_click=state.redo, disabled=not opened.can_redo)
    left, right = st.columns(2, gap="medium")
    with left:
        for number, visit in enumerate(opened.case.visits):
            _visit(number, visit)
            photos.show(number, visit, catalogue())
    with right:
        photos.add(opened.case, opened.case_id, catalogue())
        if opened.case.outcome is None:
            _correct(opened)
            _new_visit(opened)
            _close(opened)
        else:
            _closed(opened.case.outcome)
        frame.title("Everything that happened")
        st.html(
            "<ol class='fn-entries'>"
            + "".join(f"<li>{plain(frame.event_words(e))}</li>" for e in opened.history)
            + "</ol>"
        )


def _visit(number: int, visit: Visit) -> None:
    frame.title(f"Visit {number + 1}" + (f", {visit.date}" if visit.date else ""))
    frame.note(
        conditions_words(visit.conditions, state.settings().temperature) + (f" · {visit.note}" if visit.note else "")
    )
    lines = "".join(
        f"<li>{plain(entry_words(catalogue(), e))}{plain(_typed(e))}{plain(' · ' + e.note if e.note else '')}"
        f"{plain(' · ' + e.by if e.by else '')}</li>"
        for e in visit.entries
    )
    frame.told(f"<ol class='fn-entries'>{lines}</ol>" if lines else "<p>Nothing entered yet.</p>")


def _typed(entry: object) -> str:
    return f" (typed {entry.entered})" if isinstance(entry, Reading) and entry.entered else ""


def _correct(opened: state.Opened) -> None:
    done = places(opened.case)
    if not done:
        return
    frame.title("Correct or take out")
    words = {k: f"{p.visit + 1}.{p.position + 1}  {entry_words(catalogue(), p.entry)}" for k, p in enumerate(done)}
    chosen = st.selectbox("Entry", list(words), index=None, format_func=words.__getitem__, key="to_correct",
                          placeholder="Choose the entry")  # fmt: skip
    if chosen is None:
        return
    place = done[chosen]
    if isinstance(place.entry, Reading):
        test, fields = catalogue().test(place.entry.test), Fields(f"correct_{opened.case_id}_{chosen}")
        if test.kind == "choice":
            labels = dict(test.choices)
            begin = fields.draft.begins("corrected_choice", None, labels)
            st.radio("Answer", list(labels), format_func=labels.__getitem__,
                     index=None if begin is None else list(labels).index(begin),
                     key="corrected_choice")  # fmt: skip
        else:
            fields.text("corrected", f"Right reading ({test.unit})")
            st.html(keys("corrected", shown_units(test.unit), sign=True, limits=True))
        st.button("Correct it", key="correct", type="primary", on_click=_corrected,
                  args=(done, state.drawn(), fields))  # fmt: skip
    st.button("Take it out", key="remove", on_click=_removed, args=(done, state.drawn()))


def _to_correct(done: tuple[Place, ...], drawn: int) -> Place | None:
    """The entry as it is chosen at the press; the page may not have been drawn anew since the choice."""
    chosen = state.recall("to_correct")
    return None if chosen is None or state.pressed_again(drawn) else done[chosen]


def _corrected(done: tuple[Place, ...], drawn: int, fields: Fields) -> None:
    place = _to_correct(done, drawn)
    if place is None or not isinstance(place.entry, Reading):
        return
    old = place.entry
    test = catalogue().test(old.test)
    try:
        if test.kind == "choice":
            choice = state.recall("corrected_choice")
            if choice is None:
                return
            new = replace(old, state=choice, value=None, not_measured=None, bound=None, entered="", unit="")
        else:
            typed = entering.typed_reading(
                test, state.recall("corrected") or "", instrument=old.instrument, roughly=old.roughly
            )
            new = replace(typed, note=old.note, at=old.at, by=old.by, photos=old.photos)
    except FaultnetError as error:
        state.set_trouble(error)
        return
    if state.append(
        events.change_entry(place.visit, place.position, new), f"Corrected: {entry_words(catalogue(), new)}"
    ):
        state.remember("to_correct", None)
        fields.drop()


def _removed(done: tuple[Place, ...], drawn: int) -> None:
    place = _to_correct(done, drawn)
    if place is None:
        return
    words = f"Taken out: {entry_words(catalogue(), place.entry)}"
    if state.append(events.remove_entry(place.visit, place.position), words):
        state.remember("to_correct", None)


def _new_visit(opened: state.Opened) -> None:
    frame.title("New visit")
    frame.note("When the car is seen again on another day or in another condition.")
    fields, test = Fields(f"visit_{opened.case_id}"), catalogue().test(ASKED_TODAY)
    shown = forms.asked(fields, test, "visit")
    conditions = forms.condition_fields(fields, "visit", Conditions(), state.settings().temperature)
    note = fields.text("visit_note", "Note")
    pressed = st.button("Begin the visit", key="begin_visit", on_click=fields.press)
    fields.done()
    if pressed and conditions is not None:
        told = () if shown is None else (state.signed(entering.chosen_reading(test, shown)),)
        visit = Visit(told, conditions=conditions, date=date.today().isoformat(), note=note)
        fields.drop()
        state.append(events.add_visit(visit), "A new visit was begun")
        st.switch_page("screens/at_the_car.py", query_params={"case": str(state.case_id())})


def _close(opened: state.Opened) -> None:
    frame.title("Close the case")
    causes = {f"{c.component}:{c.mode}": c.label for c in _ordered(opened)}
    fields = Fields(f"close_{opened.case_id}")
    fields.several(
        "confirmed", "What was at fault, as proven (nothing chosen: nothing was)", causes, placeholder="Choose"
    )
    proof = fields.text("confirmed_by", "How it was proven (such as: new battery, two weeks without trouble)")
    sort = {NOT_SAID: "Not said: taken for certain", **PROOFS}
    fields.choice("proof_sort", "What sort of proof that is, for tuning on closed cases", sort, NOT_SAID)
    if fields.tried and not proof:
        fields.amiss("confirmed_by", FaultnetError("a case is closed with its proof",
                                                   to_do="say in 'How it was proven' how you know"))  # fmt: skip
    st.button("Close the case", key="close", on_click=_closing, args=(fields,))
    fields.done()


def _ordered(opened: state.Opened) -> tuple:
    try:
        return answer(opened.case, state.shop()).diagnosis.causes
    except FaultnetError:
        return ()


def _closing(fields: Fields) -> None:
    proof = (state.recall("confirmed_by") or "").strip()
    fields.press()
    if proof:
        causes = tuple(tuple(c.split(":")) for c in state.recall("confirmed") or ())
        sort = state.recall("proof_sort")
        outcome = CaseOutcome(causes, proof, proof=sort if sort in PROOFS else None)  # type: ignore[arg-type]
        if state.append(events.close_case(outcome), "The case was closed"):
            fields.drop()


def _closed(outcome: CaseOutcome) -> None:
    frame.title("The end of the case")
    frame.told(verdict.closed(outcome, catalogue()))
    st.button("Open it again", key="reopen", on_click=_reopened)


def _reopened() -> None:
    state.append(events.reopen_case(), "The case was opened again")


show()
