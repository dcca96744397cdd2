"""What stands around every page: looks, the head line, notices, and the links at the foot."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import streamlit as st

from faultnet.case.store.events import StoredEvent
from faultnet.errors import ClashError, FaultnetError
from faultnet.report.glossary import explained
from workbench import state
from workbench.answers import catalogue
from workbench.scripts import PAGE
from workbench.words import clock, plain

HERE = Path(__file__).resolve().parent


def dress() -> None:
    """Put the looks on."""
    st.html(HERE / "look.css")
    with st.container(key="mend_script"):
        st.html(f"<script>{PAGE}</script>", unsafe_allow_javascript=True)


def head(opened: state.Opened) -> None:
    """Which case this is, and when it was saved."""
    case = opened.case
    name = case.name or case.car.label or f"Case {opened.case_id}"
    marks = "".join(
        f"<span class='fn-tag'>{word}</span>"
        for word, on in (("invented", case.invented), ("closed", case.outcome is not None))
        if on
    )
    complaint = f"<span class='fn-complaint'>{plain(case.complaint)}</span>" if case.complaint else ""
    st.html(
        f"<header class='fn-head'><h1>{plain(name)}{marks}</h1>"
        f"<span class='fn-saved'>saved {plain(clock(opened.saved_at))}</span>{complaint}</header>"
    )


def begin() -> state.Opened | None:
    """Draw the top of a page about the open case; say so and give None where no case is open."""
    opened = state.opened()
    if opened is None:
        note("Open a case first.")
        return None
    head(opened)
    notices()
    return opened


def title(text: str, name: str = "") -> None:
    """The heading of a part of a page, with a name that links may jump to."""
    st.html(title_html(text, name))


def title_html(text: str, name: str = "") -> str:
    """HTML of such a heading."""
    named = f" id='{name}'" if name else ""
    return f"<h2 class='fn-title'{named}>{plain(text)}</h2>"


def told(html: str) -> None:
    """Put HTML on the page in which each technical word can be pressed for what it means."""
    st.html(explained(html, catalogue().words))


def note(text: str) -> None:
    """A quiet sentence."""
    told(f"<p class='fn-note'>{plain(text)}</p>")


def notices() -> None:
    """What went wrong last, a change that waits for a decision, and what was done last."""
    waiting = state.pending()
    if waiting is not None:
        show_waiting(waiting)
    trouble = state.trouble()
    if trouble is not None:
        show_error(trouble)
    said = state.said()
    if said:
        st.html(f"<p class='fn-said' role='status'>{plain(said)}</p>")


def show_waiting(waiting: state.Pending) -> None:
    """Tell the second writer what the first one did, and keep what was entered."""
    came = "; ".join(event_words(e) for e in waiting.error.between)
    st.html(
        "<div class='fn-wrong' role='alert'><b>Somebody else changed this case meanwhile.</b>"
        f"<p>{plain(came)}</p><p>Yours is not stored yet: <b>{plain(waiting.words)}</b></p></div>"
    )
    with st.container(horizontal=True):
        st.button("Store mine as well", key="store_pending", on_click=state.store_pending, type="primary")
        st.button("Drop mine", key="drop_pending", on_click=state.drop_pending)


def event_words(event: StoredEvent) -> str:
    """One stored event in words."""
    from faultnet.case.store.effects import EntryAdded
    from faultnet.diagnosis.wording import entry_words

    by = f" ({', '.join(filter(None, (event.who, event.device, clock(event.at))))})"
    if event.kind in ("entry_added", "entry_changed"):
        entry = EntryAdded.model_validate({"visit": 0, "entry": event.payload["entry"]}).entry.build()
        return entry_words(catalogue(), entry) + by
    plain_kinds = {"entry_removed": "an entry was removed", "undone": "a change was taken back",
                   "redone": "a change was brought back", "visit_added": "a visit was added",
                   "car_changed": "the car was changed", "conditions_changed": "the conditions were changed",
                   "visit_changed": "photos of a visit, or what the car can do, were changed",
                   "closed": "the case was closed", "reopened": "the case was opened again",
                   "case_created": "the case was begun",
                   "deleted": "the case was deleted", "brought_back": "the case was brought back"}  # fmt: skip
    return plain_kinds[event.kind] + by


def show_error(error: FaultnetError, name: str = "") -> None:
    """An error in plain words: what, found, expected, what to do; `name` where the page may have to be moved to it."""
    lines = []
    if isinstance(error, ClashError):
        lines.append("<ul>" + "".join(f"<li>{plain(e)}</li>" for e in error.entries) + "</ul>")
    elif error.got:
        lines.append(
            f"<p>You gave {plain(error.got)}." + (f" Wanted: {plain(error.expected)}." if error.expected else "")
        )
    elif error.expected:
        lines.append(f"<p>Wanted: {plain(error.expected)}.</p>")
    if error.to_do:
        lines.append(f"<p><b>{plain(_capital(error.to_do))}</b></p>")
    named = f" id='{plain(name)}'" if name else ""
    st.html(f"<div class='fn-wrong' role='alert'{named}><b>{plain(_capital(error.what))}.</b>{''.join(lines)}</div>")


def scroll_to(name: str, count: object) -> None:
    """Move the page to a heading; `count` tells one time from the next."""
    with st.container(key="scroll_script"):
        st.html(f"<span class='fn-to' data-to='{plain(name)}' data-count='{plain(count)}'></span>")


def bring_into_view(form: str, key: str, count: int) -> None:
    """Move the page until a field stands in its middle, well above the bar of links, and put the cursor into it.

    Parameters
    ----------
    form : str
        What tells the form from others of the page.
    key : str
        Of the field; empty where none is to be shown.
    count : int
        Tells one time from the next.
    """
    with st.container(key=f"view_script_{form}"):
        st.html(f"<span class='fn-show' data-show='{plain(key)}' data-count='{count}'></span>")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def links(pages: Mapping[str, object], here: object) -> None:
    """The row of links at the foot of the screen."""
    named = state.case_named()
    with st.container(key="links", horizontal=True):
        for page in pages.values():
            with st.container(key=f"link{'_here' if page is here else ''}_{page.title}"):  # type: ignore[attr-defined]
                st.page_link(page, label=page.title, query_params={"case": named} if named else None)  # type: ignore[attr-defined]
