"""Work done on the car: charging, cleaning, tightening, replacing, with how the complaint stood afterwards."""

from __future__ import annotations

import streamlit as st

from faultnet.case.types import Act, Case
from faultnet.diagnosis.wording import entry_words
from faultnet.errors import FaultnetError
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import ActSpec
from workbench import entering, state
from workbench.words import OUTCOMES, minutes, plain

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
    chosen = st.selectbox("What was done", list(labels), index=None, format_func=labels.__getitem__, key="act",
                          placeholder="Choose the work")  # fmt: skip
    if chosen is None:
        return
    spec = catalogue.act(chosen)
    st.html(how(spec, catalogue))
    _details(spec, catalogue, suggested)
    st.button("Store this work", key="store_act", type="primary", on_click=_store,
              args=(case, catalogue, state.drawn()))  # fmt: skip


def how(spec: ActSpec, catalogue: Catalogue) -> str:
    """HTML of how the work is done, cautions first."""
    care = "".join(f"<li>{plain(catalogue.cautions[c])}</li>" for c in spec.cautions)
    steps = "".join(f"<li>{plain(s)}</li>" for s in spec.steps)
    block = f"<div class='fn-care'><p class='fn-label'>Take care</p><ul>{care}</ul></div>" if care else ""
    return (
        f"{block}<p class='fn-label'>How ({minutes(spec.minutes)} of work)</p><ol class='fn-steps'>{steps}</ol>"
        f"<p>{plain(spec.explanation)}</p>"
    )


def _details(spec: ActSpec, catalogue: Catalogue, suggested: tuple[str, str] | None) -> None:
    if len(spec.components) > 1:
        names = {c: catalogue.component(c).label for c in spec.components}
        part = suggested[1] if suggested and suggested[0] == spec.id and suggested[1] in names else None
        index = None if part is None else list(names).index(part)
        st.selectbox("On which part", list(names), index=index, format_func=names.__getitem__,
                     key=f"component_{spec.id}", placeholder="Choose the part")  # fmt: skip
    if spec.effect in HOURS_FOR:
        st.text_input("For how long (hours, or 30 min)", key="act_hours", autocomplete="off")
    st.segmented_control(
        "The complaint afterwards", list(OUTCOMES), format_func=OUTCOMES.__getitem__, key="act_outcome"
    )
    st.text_input("Note", key="act_note", autocomplete="off")


def _store(case: Case, catalogue: Catalogue, drawn: int) -> None:
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
        state.set_trouble(error)
        return
    if state.add_entries(len(case.visits) - 1, entry, words=f"Stored: {entry_words(catalogue, entry)}"):
        for key in ("act", "act_outcome"):
            state.remember(key, None)
        for key in ("act_hours", "act_note"):
            state.remember(key, "")


def _act(spec: ActSpec) -> Act:
    component = state.recall(f"component_{spec.id}") if len(spec.components) > 1 else None
    if component is None and len(spec.components) == 1:
        component = spec.components[0]
    hours = None
    if spec.effect in HOURS_FOR:
        seconds = entering.number_or_none(state.recall("act_hours") or "", "h", (0.0, 720.0 * 3600.0), "How long")
        hours = None if seconds is None else seconds / 3600.0
    return Act(spec.id, component=component, outcome=state.recall("act_outcome"), hours=hours,
               note=(state.recall("act_note") or "").strip())  # fmt: skip
