"""Closed cases tune the prior set: choose a history, look at what would change, keep it or take it back."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import streamlit as st
from workbench import drafts, frame, state, uploads
from workbench.answers import forget
from workbench.tuning import Running
from workbench.widgets.fields import Fields
from workbench.words import plain

from faultnet.errors import FaultnetError
from faultnet.learning.progress import Cancelled
from faultnet.learning.result import GROUPINGS, Options, Tuned
from faultnet.learning.tables.history import HistoryFileError, load_history
from faultnet.learning.versions.versions import accept, take_back, usable_name, versions
from faultnet.prior_set import load_catalogue
from faultnet.report.tuning import tuning_page
from faultnet.shipped import shipped

OPTIONS, NAME = "history_{}", "history_name_{}"
HALF_LIVES = ("never", "1 year", "2 years", "5 years")


@dataclass(frozen=True)
class Looked:
    """A tuning that was worked out and waits for a decision; the history's cases are not held meanwhile."""

    tuned: Tuned
    history: str
    sha256: str
    left_out: int
    from_set: str
    page: str


def show() -> None:
    """Draw the page."""
    st.html("<header class='fn-head'><h1>What closed cases say about the numbers</h1></header>")
    _said()
    frame.title("Prior sets")
    _sets()
    frame.title("Tune on a history")
    if state.recall("history_trouble") is not None:
        frame.show_error(state.recall("history_trouble"))
        state.remember("history_trouble", None)
    if state.recall("running_tuning") is not None:
        _progress()
        return
    _choose()
    looked = state.recall("looked")
    if looked is not None:
        _decide(looked)


def _said() -> None:
    said = state.recall("history_said")
    if said:
        st.html(f"<p class='fn-said' role='status'>{plain(said)}</p>")
        state.remember("history_said", None)


def _sets() -> None:
    found = versions()
    rows = [{"set": v.label, "state": v.state, "date": v.date, "what it is": v.title} for v in found]
    st.dataframe(rows, hide_index=True, width="stretch")
    accepted = any(v.state == "in use" and v.label != "standard" for v in found)
    if accepted and st.button("Take the last one back", key="take_back"):
        name, version = take_back()
        _changed(f"{name}@{version} was taken back. Nothing was deleted.")


def _choose() -> None:
    frame.note("Closed cases as CSV or Parquet, one row a reading. Without a file: the invented history.")
    given = uploads.given("History", "history_file", ["csv", "gz", "parquet"])
    fields = Fields(OPTIONS.format(state.browser()))
    from_set = fields.choice("from_set", "Begin with", _as_said(v.label for v in versions()), versions()[0].label)
    groups = fields.several("groups", "Groups of cars by", _as_said(GROUPINGS), GROUPINGS)
    strength = fields.scale("strength", "Weight of the old counts", (0.1, 0.3, 1.0, 3.0, 10.0), 1.0)
    half_life = fields.choice("half_life", "A case counts half after", _as_said(HALF_LIVES), HALF_LIVES[0])
    folds = fields.choice("folds", "Parts for scores on cases not learnt from", _as_said((5, 2, 0)), 5)
    physical = fields.tick("physical", "Tune physical numbers marked as estimates too: a minute or two more")
    compact = fields.tick("compact", "Keep only what is likely of each case, 2 kB at most: for very large histories")
    people = fields.tick("by_person", "Show slips by who read, where the history tells")
    good = fields.tick("keep_good", "Leave out cases with rows that cannot be used")
    if not st.button("Work it out", type="primary", key="tune"):
        return
    years = None if half_life == "never" else float(str(half_life).split()[0])
    options = Options(
        strength, years, groups=tuple(groups), folds=folds, by_person=people, compact=compact, physical=physical
    )
    source = given.getvalue() if given is not None else shipped("cases") / "history" / "hot_region.csv.gz"
    known = load_catalogue(str(from_set))
    try:
        history = load_history(source, known, keep_good=good)
    except HistoryFileError as error:
        frame.show_error(error)
        st.dataframe([_row(row) for row in error.bad], hide_index=True, width="stretch")
        return
    state.remember("running_tuning", Running(history, known, str(from_set), options).begin())
    st.rerun()


@st.fragment(run_every=1.0)
def _progress() -> None:
    """How far it has come, with a button to stop it; the whole page is drawn anew once it has ended."""
    running = state.recall("running_tuning")
    if running is None:
        return
    if running.over:
        _ended(running)
        st.rerun()
    now = running.progress
    st.progress(min(now.share, 1.0), text=f"{now.doing.capitalize()}. {left_words(now.left)}")
    if st.button("Stop it", key="stop_tuning", width="stretch"):
        running.cancel()
        frame.note("It stops at its next step. Nothing will be changed.")


def _ended(running: Running) -> None:
    state.remember("running_tuning", None)
    if running.tuned is not None:
        page = tuning_page(running.tuned, running.catalogue, running.history.name)
        history = running.history
        looked = Looked(running.tuned, history.name, history.sha256, len(history.bad), running.from_set, page)
        state.remember("looked", looked)
    elif isinstance(running.error, Cancelled):
        state.remember("history_said", "Stopped. Nothing was changed.")
    else:
        state.remember("history_trouble", running.error)


def left_words(seconds: float) -> str:
    """Time left, as roughly as it is known.

    Examples
    --------
    >>> left_words(float("inf")), left_words(8.0), left_words(50.0), left_words(130.0)
    ('', 'Some seconds left.', 'About 50 s left.', 'About 2 min left.')
    """
    if not seconds < 1e6:
        return ""
    if seconds < 10.0:
        return "Some seconds left."
    return f"About {round(seconds, -1):.0f} s left." if seconds < 90.0 else f"About {seconds / 60.0:.0f} min left."


def _as_said(options: Iterable[Any]) -> dict[Any, str]:
    """Options that are shown as they are."""
    return {option: str(option) for option in options}


def _row(bad: object) -> dict[str, object]:
    """A row that cannot be used, for a table."""
    return {name: plain(told, "option") if isinstance(told, str) else told for name, told in vars(bad).items()}


def _decide(looked: Looked) -> None:
    if looked.left_out:
        frame.note(f"{looked.left_out} rows could not be used; their cases were left out.")
    st.iframe(looked.page, height=700, alt="What tuning would change")
    st.download_button("Keep the report as a file", looked.page, file_name="tuning.html", mime="text/html",
                       on_click="ignore")  # fmt: skip
    fields = Fields(NAME.format(state.browser()))
    name = fields.text("set_name", "Name of the new set", "my_shop")
    try:
        usable = usable_name(name)
    except FaultnetError as error:
        fields.amiss("set_name", error)
    fields.done()
    keep, drop = st.columns(2)
    pressed = keep.button("Accept: use it from now on", key="accept", type="primary", width="stretch",
                          on_click=fields.press)  # fmt: skip
    if pressed and not fields.wrong:
        version = accept(looked.tuned, looked.from_set, usable, looked.history, looked.sha256)
        _changed(f"{usable}@{version} is in use from now on.")
    if drop.button("Drop it", key="drop", width="stretch"):
        _changed("Dropped. Nothing was changed.")


def _changed(words: str) -> None:
    forget()
    for place in (OPTIONS, NAME):
        drafts.drop(place.format(state.browser()))
        state.remember(f"tried_{place.format(state.browser())}", 0)
    state.remember("looked", None)
    state.remember("history_said", words)
    st.rerun()


show()
