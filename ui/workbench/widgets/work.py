"""Work done on the car: charging, cleaning, tightening, replacing, with how the complaint stood afterwards."""

from __future__ import annotations

import streamlit as st

from faultnet.case.types import Act, Case
from faultnet.diagnosis.wording import entry_words
from faultnet.errors import FaultnetError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import ActSpec
from workbench import entering, frame, state
from workbench.widgets import cautions, timers
from workbench.widgets.fields import Fields, keys
from workbench.words import OUTCOMES, minutes, plain

LONGEST = (0.0, 720.0 * 3600.0)  # [s]
HOURS_FOR = ("charge", "desulphate", "wait", "drive")


def show(case: Case, catalogue: Catalogue, suggested: tuple[str, str] | None = None) -> None:
    """Put the controls on the page.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue
    suggested : (act, component), optional
        The repair of the leading cause, to stand first.
    """
    acts = sorted(catalogue.acts, key=lambda a: suggested is None or a.id != suggested[0])
    labels = {a.id: a.label for a in acts}
    fields = Fields(f"work_{state.case_id()}")
    chosen = fields.choice("act", "What was done", labels, None, placeholder="Choose the work")
    if chosen is None:
        return
    spec = catalogue.act(chosen)
    frame.told(how(spec, catalogue))
    if spec.timers:
        st.html(timers.block(spec.timers, f"{state.case_id()}:{spec.id}"))
    _details(fields, spec, catalogue, suggested)
    st.button("Store this work", key="store_act", type="primary", on_click=_store,
              args=(case, catalogue, state.drawn(), fields))  # fmt: skip
    fields.done()


def how(spec: ActSpec, catalogue: Catalogue, part: str | None = None) -> str:
    """HTML of how the work is done, cautions first; only those of one part where it is known which."""
    care = cautions.block(spec.cautions_for(part), catalogue)
    steps = "".join(f"<li>{plain(s)}</li>" for s in spec.steps)
    return (
        f"{care}<p class='fn-label'>How ({minutes(spec.minutes)} of work)</p><ol class='fn-steps'>{steps}</ol>"
        f"<p>{plain(spec.explanation)}</p>"
    )


def _details(fields: Fields, spec: ActSpec, catalogue: Catalogue, suggested: tuple[str, str] | None) -> None:
    if len(spec.components) > 1:
        names = {c: catalogue.component(c).label for c in spec.components}
        part = suggested[1] if suggested and suggested[0] == spec.id and suggested[1] in names else None
        needed = "say which part it was done to"
        fields.choice(
            f"component_{spec.id}", "On which part", names, part, needed=needed, placeholder="Choose the part"
        )
    if spec.effect in HOURS_FOR:
        fields.figure("act_hours", "For how long (hours, or 30 min)", "", "h", LONGEST)
        st.html(f"<div class='fn-thumb'>{keys('act_hours', ('h', 'min'))}</div>")
    fields.one_of("act_outcome", "The complaint afterwards", OUTCOMES, None, required=False)
    fields.text("act_note", "Note")


def _store(case: Case, catalogue: Catalogue, drawn: int, fields: Fields) -> None:
    """Store the work as it is chosen at the press; the page may not have been drawn anew since the choice."""
    chosen = state.recall("act")
    if chosen is None or state.pressed_again(drawn):
        return
    spec = catalogue.act(chosen)
    try:
        entry = _act(spec)
        from faultnet.diagnosis.acts import check_act

        check_act(catalogue, entry, spec.label)
    except FaultnetError as error:
        fields.press()
        if len(spec.components) > 1 and state.recall(f"component_{spec.id}") is None:
            return  # the field says so itself
        state.set_trouble(error)
        return
    if state.add_entries(len(case.visits) - 1, entry, words=f"Stored: {entry_words(catalogue, entry)}"):
        fields.drop()


def _act(spec: ActSpec) -> Act:
    component = state.recall(f"component_{spec.id}") if len(spec.components) > 1 else None
    if component is None and len(spec.components) == 1:
        component = spec.components[0]
    hours = None
    if spec.effect in HOURS_FOR:
        seconds = entering.number_or_none(state.recall("act_hours") or "", "h", LONGEST, "How long")
        hours = None if seconds is None else seconds / 3600.0
    return Act(spec.id, component=component, outcome=state.recall("act_outcome"), hours=hours,
               note=(state.recall("act_note") or "").strip())  # fmt: skip
