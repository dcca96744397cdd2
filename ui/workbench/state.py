"""The only place that touches the session, the address of the page and the store of cases.

The store holds the truth; a session remembers which case is open, up to which event it was seen, and small choices of
the screen. Everything entered is written at once, so that a reload, a locked phone or a dead battery loses nothing.
"""

from __future__ import annotations

import os
import secrets
import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import streamlit as st

from faultnet.case.file import load_case
from faultnet.case.store import events
from faultnet.case.store.events import ConcurrentEdit, Event, StoredEvent, replay, standing
from faultnet.case.store.store import Store, open_store
from faultnet.case.types import Case, Entry
from faultnet.errors import FaultnetError, StoreError
from workbench.answers import Shop, catalogue
from workbench.settings import Settings, load_settings, save_settings, tools_at_hand

OPEN_CASE = "FAULTNET_OPEN_CASE"
BOUNCE = 1.0  # [s] in which a second tap on an answer is a bounce
BROWSER = "faultnet_browser"
WHO, WHO_FIELD = "who", "who_enters"
moment = time.monotonic  # [s]
_lock = threading.Lock()
_stores: dict[tuple[str, str], Store] = {}


@dataclass(frozen=True)
class Opened:
    """The open case as it stands.

    Parameters
    ----------
    case_id : str
    case : Case
    history : tuple of StoredEvent
    can_undo, can_redo : bool
    """

    case_id: str
    case: Case
    history: tuple[StoredEvent, ...]
    can_undo: bool
    can_redo: bool

    @property
    def saved_at(self) -> str:
        """When the last change was written, in UTC."""
        return self.history[-1].at


@dataclass(frozen=True)
class Pending:
    """Changes that were not written because somebody else was faster."""

    words: str
    events: tuple[Event, ...]
    error: ConcurrentEdit


@dataclass
class _Seen:
    """What this session knows of the open case; changed in place.

    A run of a page is broken off when the next press arrives, at whatever next touches the session, even between a
    write to the disk and the note of it: so the note is made in an object fetched beforehand.
    """

    case_id: str | None = None
    events: int = 0
    said: tuple[str | None, int, str] | None = None
    pending: Pending | None = None
    trouble: FaultnetError | None = None
    chosen_test: str | None = None
    asked_kept: bool = False
    wrote_at: float = float("-inf")


def _seen() -> _Seen:
    if "seen" not in st.session_state:
        st.session_state["seen"] = _Seen()
    found: _Seen = st.session_state["seen"]
    return found


def store() -> Store:
    """The store of cases, shared by all sessions on the same kind of device; it signs with this browser's name."""
    return _shared_store().signed_by(who())


def _shared_store() -> Store:
    from faultnet.case.store.database import default_place

    key = (default_place(), _device())
    with _lock:
        if key not in _stores:
            _stores[key] = open_store(key[0], device=key[1])
        return _stores[key]


def who() -> str:
    """Who enters in this browser, as somebody said on the page 'Settings'; empty where nobody is noted."""
    if WHO not in st.session_state:
        kept = _shared_store().draft(f"who_{browser()}")
        st.session_state[WHO] = str(kept.get("name", ""))
    return str(st.session_state[WHO])


def take_up_who() -> None:
    """Keep the name that was typed; called at the beginning of each run, as the field may be left for a link."""
    typed = st.session_state.get(WHO_FIELD)
    if typed is None:
        return
    try:
        name = events.signature(typed)
        if name != who():
            store().keep_draft(f"who_{browser()}", {"name": name} if name else {})
            st.session_state[WHO] = name
    except FaultnetError as error:
        set_trouble(error)


def close_stores() -> None:
    """Let go of every store."""
    with _lock:
        while _stores:
            _stores.popitem()[1].close()


def _device() -> str:
    agent = st.context.headers.get("User-Agent", "") or ""
    return "phone" if "Mobile" in agent else "computer"


def browser() -> str:
    """What tells this browser from others: from its cookie, else drawn now and to be left with it."""
    found = st.session_state.get("browser") or st.context.cookies.get(BROWSER)
    if not found or len(found) != 16 or not found.isalnum():
        found = secrets.token_hex(8)
        st.session_state["leave_browser"] = True
    st.session_state["browser"] = found
    return str(found)


def case_id() -> str | None:
    """The case this session has open: from the address of the page, else from the session, else the one to start on."""
    named = case_named() or _case_to_start_on()
    if named:
        st.session_state["case_id"] = named
        if st.query_params.get("case") != named:
            st.query_params["case"] = named
    return named


def case_named() -> str | None:
    """The case that the address of the page or the session names; also on a page that shows none."""
    found = st.query_params.get("case") or st.session_state.get("case_id")
    return None if found is None else str(found)


def opened() -> Opened | None:
    """The open case; None when none is.

    Raises
    ------
    StoreError
        If the case named in the address is not in the store.
    """
    named = case_id()
    if named is None:
        return None
    try:
        history = store().history(named)
    except StoreError:
        forget_case()
        raise
    done, undone = standing(history)
    seen = _seen()
    seen.case_id, seen.events = named, len(history)
    return Opened(named, replay(history), history, len(done) > 1, bool(undone))


def open_case(named: str) -> None:
    """Open a case of the store."""
    st.session_state["case_id"] = named
    st.query_params["case"] = named
    st.session_state["seen"] = _Seen()


def forget_case() -> None:
    """Open none."""
    st.session_state.pop("case_id", None)
    st.query_params.clear()


def create_case(case: Case) -> str:
    """Keep a new case and open it."""
    named = store().create_case(case)
    open_case(named)
    return named


@lru_cache(maxsize=8)
def _case_from_file(path: str, changed: float, place: str) -> str:
    """The stored case that began as a file: the one from an earlier start when there is one, else a new one."""
    case = load_case(path)
    first = events.create_case(case)
    for line in store().list_cases(limit=200):
        if line.name == case.name and store().history(line.case_id)[0].payload == first.payload:
            return line.case_id
    return store().create_case(case)


def _case_to_start_on() -> str | None:
    """The case file that was named when the program was started."""
    from faultnet.case.store.database import default_place

    path = os.environ.get(OPEN_CASE)
    if not path or st.session_state.get("started"):
        return None
    st.session_state["started"] = True
    return _case_from_file(path, Path(path).stat().st_mtime if Path(path).exists() else 0.0, default_place())


def drawn() -> int:
    """How much of the case's history the picture on the screen shows, to be handed to what a press on it does."""
    return _seen().events


def pressed_again(shown: int) -> bool:
    """Whether a press came from a picture that an earlier press has already outdated: the second of two quick taps.

    Parameters
    ----------
    shown : int
        What `drawn` gave when the pressed button was put on the page.
    """
    return shown != drawn()


def bounced() -> bool:
    """Whether a tap comes within a second of the last entry: a finger that bounces answers nothing more."""
    return moment() - _seen().wrote_at < BOUNCE


def append(event: Event, words: str) -> bool:
    """Write a change of the open case, on top of what this session has seen.

    Parameters
    ----------
    event : Event
    words : str
        What it is, for telling the user.

    Returns
    -------
    bool
        Whether it is on the disk. If not, the next picture says why, and the change is kept to be tried again.
    """
    return append_all((event,), words)


def append_all(changes: Sequence[Event], words: str) -> bool:
    """Write changes one upon the other, as :func:`append`; from the first that fails on, all are kept to be tried."""
    return all(_written(words, tuple(changes[done:]), partial(_added, event)) for done, event in enumerate(changes))


def _added(event: Event, kept: Store, named: str, seen: int) -> int:
    return kept.append(named, event, seen)


def delete_case() -> bool:
    """Mark the open case as deleted, and open none."""
    done = _written("Deleted", (), Store.delete)
    if done:
        forget_case()
    return done


def undo() -> bool:
    """Take the last change back."""
    return _written("Taken back", (), Store.undo)


def redo() -> bool:
    """Bring back what was taken back last."""
    return _written("Brought back", (), Store.redo)


def _written(words: str, left: tuple[Event, ...], write: Callable[[Store, str, int], int]) -> bool:
    """Write the first of the changes that are left; where others were faster, all of them wait."""
    seen, kept = _seen(), store()
    seen.trouble = None
    try:
        assert seen.case_id is not None
        seen.events = write(kept, seen.case_id, seen.events)
    except ConcurrentEdit as error:
        if not left:
            seen.trouble = error
        else:
            seen.pending = Pending(words, left, error)
        return False
    except FaultnetError as error:
        seen.trouble = error
        return False
    seen.said = (seen.case_id, seen.events, words)
    seen.pending = None
    if left and left[0].kind == "entry_added":
        seen.wrote_at = moment()
        _choose(seen, None)
    return True


def pending() -> Pending | None:
    """A change that waits for a decision."""
    return _seen().pending


def store_pending() -> None:
    """Write the waiting change after all."""
    waiting = pending()
    if waiting is not None:
        _seen().pending = None
        append_all(waiting.events, waiting.words)


def drop_pending() -> None:
    """Give the waiting change up."""
    _seen().pending = None


def signed(entry: Entry) -> Entry:
    """The entry with the time it is entered, and by whom where a name was given."""
    return entry if entry.at else replace(entry, at=datetime.now(UTC).isoformat(timespec="seconds"), by=who())


def add_entries(visit: int, *entries: Entry, words: str) -> bool:
    """Write one entry after the other; afterwards the best test is proposed again."""
    return append_all([events.add_entry(visit, signed(entry)) for entry in entries], words)


def chosen_test() -> str | None:
    """The test the user put on the card, until something is entered, also in another tab; None for the best one."""
    seen = _seen()
    if not seen.asked_kept and seen.case_id is not None:
        seen.asked_kept = True
        kept = store().draft(_card(seen)).get("test")
        seen.chosen_test = kept if kept in {t.id for t in catalogue().tests} else None
    return seen.chosen_test


def choose_test(test: str | None) -> None:
    """Put a test on the card; None for the best one."""
    _choose(_seen(), test)


def _choose(seen: _Seen, test: str | None) -> None:
    if seen.chosen_test == test:
        return
    seen.chosen_test = test
    try:
        store().keep_draft(_card(seen), {"test": test} if test else {})
    except FaultnetError as error:
        seen.trouble = error


def _card(seen: _Seen) -> str:
    return f"card_{browser()}_{seen.case_id}"


def trouble() -> FaultnetError | None:
    """What went wrong with the last thing done, until the next one."""
    return _seen().trouble


def set_trouble(error: FaultnetError | None) -> None:
    """Remember what went wrong, for the next picture."""
    _seen().trouble = error


def said() -> str | None:
    """What this session did last, in words, until something else happens to the case."""
    seen = _seen()
    return seen.said[2] if seen.said and seen.said[:2] == (seen.case_id, seen.events) else None


def on_page(title: str) -> None:
    """Note which page is shown; what went wrong on another one is over."""
    if st.session_state.get("page") != title:
        st.session_state["page"] = title
        _seen().trouble = None


def recall(key: str, default: Any = None) -> Any:
    """A small choice of the screen."""
    return st.session_state.get(key, default)


def remember(key: str, value: Any) -> None:
    """Keep a small choice of the screen."""
    st.session_state[key] = value


def settings() -> Settings:
    """The choices of this workshop, read once for each session."""
    if "settings" not in st.session_state:
        st.session_state["settings"] = load_settings()
    found: Settings = st.session_state["settings"]
    return found


def shop() -> Shop:
    """What advice depends on besides the case."""
    now = settings()
    return Shop(tools_at_hand(now, catalogue()), now.hourly_rate, now.currency, now.parts)


def keep_settings(new: Settings) -> None:
    """Change the choices of this workshop."""
    st.session_state["settings"] = new
    try:
        save_settings(new)
    except FaultnetError as error:
        set_trouble(error)
