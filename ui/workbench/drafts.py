"""What is typed and not yet entered, kept in the store as it is typed: another page or a reload loses none of it.

A field is told its key; it then begins with what was typed into it last, here or in another tab, else with what the
case has. A draft of a case belongs to the case, one of a case that is still to be begun to this browser.
"""

from __future__ import annotations

import threading
from collections.abc import Collection, Iterable
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import streamlit as st

from faultnet.errors import FaultnetError
from workbench import state

EMPTIED, WATCHED = "fields_emptied", "fields_watched"
GONE = object()
_writing = threading.Lock()


@dataclass
class _Watched:
    """A field on the page: where its draft lies, what it begins with, and what was last kept of it."""

    place: str
    start: Any
    kept: Any


def keep_typed() -> None:
    """Keep what was typed since the last run of a page; called at the beginning of each, whatever page it is of.

    Not left to the callbacks of the fields: where the next key or press arrives while one of them runs, the server's
    library breaks it off and does not call it again. A run that was broken off goes on beside the next one until it
    touches the session; so the session is asked under the lock, and a late run writes nothing old over something new.
    """
    watched: dict[str, _Watched] = st.session_state.setdefault(WATCHED, {})
    for key, field in list(watched.items()):
        with _writing:
            value = st.session_state.get(key, GONE)
            if watched.get(key) is not field:
                continue
            if value is GONE:
                del watched[key]
            elif value != field.kept and _keep(field, key, value):
                field.kept = value


def watches(place: str) -> bool:
    """Whether fields of a place stood on the page that this session showed last."""
    watched: dict[str, _Watched] = st.session_state.get(WATCHED, {})
    return any(field.place == place for field in watched.values())


def leave_browser() -> None:
    """Leave a new browser its cookie; it says nothing but which drafts are whose."""
    with st.container(key="browser_script"):
        if st.session_state.get("leave_browser"):
            st.html(f"<span class='fn-browser' data-name='{state.BROWSER}' data-value='{state.browser()}'></span>")


class Draft:
    """The fields of one place of the screen.

    Parameters
    ----------
    place : str
        What tells it from all others, such as ``car_`` and the id of the case.
    """

    def __init__(self, place: str) -> None:
        self.place = place
        self.keys: list[str] = []
        self._kept: dict[str, Any] | None = None

    def begins(self, key: str, start: Any, options: Collection[Any] | None = None) -> Any:
        """What a field begins with: what was typed into it, else `start`; None where it has just been emptied.

        Parameters
        ----------
        key : str
        start : object
        options : collection, optional
            What it may hold; anything else that was kept is forgotten.

        Notes
        -----
        It is handed to the widget as what it begins with, in every run, and not put into the session: a run of a page
        may be broken off, and what it put there would then never reach the browser.
        """
        self.keys.append(key)
        emptied: dict[str, None] = st.session_state.get(EMPTIED, {})
        if key in emptied:
            del emptied[key]
            st.session_state[key] = start
            begin = None
        else:
            kept = self.kept().get(key, start)
            fits = options is None or all(one in options for one in (kept if isinstance(kept, list) else [kept]))
            begin = kept if fits else start
        watched: dict[str, _Watched] = st.session_state.setdefault(WATCHED, {})
        known = watched.get(key)
        if known is None or known.place != self.place:
            watched[key] = _Watched(self.place, start, start if begin is None else begin)
        else:
            known.start = start
        return begin

    def kept(self) -> dict[str, Any]:
        """What was typed here and not entered."""
        if self._kept is None:
            with suppress(FaultnetError):
                self._kept = state.store().draft(self.place)
        return self._kept or {}

    def drop(self) -> None:
        """Let it go: it was entered, or given up."""
        drop(self.place, self.keys)


def _keep(field: _Watched, key: str, value: Any) -> bool:
    """Keep a field as it is now; what stands as it began is no draft."""
    try:
        now = state.store().draft(field.place)
        left = {name: kept for name, kept in now.items() if name != key}
        if value is not None and value != field.start:
            left[key] = list(value) if isinstance(value, tuple) else value
        if left != now:
            state.store().keep_draft(field.place, left)
    except FaultnetError as error:
        state.set_trouble(error)
        return False
    return True


def drop(place: str, keys: Iterable[str] = ()) -> None:
    """Let a draft go; its fields begin anew in the next run."""
    st.session_state.setdefault(EMPTIED, {}).update(dict.fromkeys(keys))
    watched: dict[str, _Watched] = st.session_state.setdefault(WATCHED, {})
    try:
        with _writing:
            for key in keys:
                watched.pop(key, None)
            if state.store().draft(place):
                state.store().keep_draft(place, {})
    except FaultnetError as error:
        state.set_trouble(error)
