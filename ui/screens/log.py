"""A recorded voltage log: read it, see what was found in it, take readings from it."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import streamlit as st
from workbench import frame, kept_file, state, uploads
from workbench.answers import catalogue
from workbench.entering import number_or_none
from workbench.recorded import Options, chosen_first, digest_of, event_names, noted, read, unfit
from workbench.widgets import pictures
from workbench.widgets.fields import Fields
from workbench.words import plain

from faultnet.case.types import Case
from faultnet.diagnosis.wording import value_words
from faultnet.errors import FaultnetError, RecordingError
from faultnet.recordings import (
    Event,
    Start,
    Trace,
    draw_trace,
    entry_of,
    list_channels,
    not_offered,
    readings_from,
)
from faultnet.shipped import shipped

PLACES = {"posts": "At the posts", "module": "Through the module"}
AS_READ = "read off the file"
TIME_UNITS: dict[str, str | None] = dict.fromkeys(("s", "ms", "us", "min", "h")) | {
    "day_first": "dates, day first",
    "month_first": "dates, month first",
    "h:m": "hours:minutes",
    "m:s": "minutes:seconds",
}
# The options of the reader that a person may settle, with what the page calls them and the words to choose from.
SETTLED: dict[str, tuple[str, dict[str, str | None]]] = {
    "time_unit": ("Unit of time", TIME_UNITS),
    "volts_unit": ("Unit of voltage", dict.fromkeys(("V", "mV"))),
    "decimal": ("Decimal mark", {",": "comma", ".": "point"}),
    "separator": ("Columns separated by", {";": "semicolon", ",": "comma", "\t": "tab", " ": "space"}),
}
COLUMNS = {"time_column": "Time column", "volts_column": "Voltage column", "channel": "Channel or module"}
INTERVAL = "Time between rows, if no column holds it"
LABELS = {**COLUMNS, **{name: label for name, (label, _) in SETTLED.items()}, "interval": INTERVAL}
MARKS = {"start": "Starts", "charging": "Charging", "drop_out": "Drop-outs"}
WHOLE, PART = "All of it", "A part"
MOST_STARTS = 12
SIZES = (((1120, 380), "fn-wide"), ((366, 300), "fn-narrow"))


def show() -> None:
    """Draw the page."""
    opened = state.opened()
    if opened is not None:
        frame.head(opened)
    frame.notices()
    fields = Fields(f"log_{state.browser()}")
    state.remember(f"tried_{fields.draft.place}", 1)  # nothing is pressed here: what is wrong is said at once
    left, right = st.columns(2, gap="medium")
    with left:
        frame.title("A recorded voltage log")
        data = _given()
        place, posts = _place(fields)
    if data is None:
        frame.note(
            "Text in columns (any order, unit and separator), ASAM MDF 4, or a CAN log with the module's voltage."
        )
        return
    settled = _settled(fields)
    trace, found, error = _tried(data, settled)
    with left:
        _options(data, fields, error, bool(settled))
        fields.done()
        if trace is not None:
            _repairs(trace)
    if trace is None:
        return
    try:
        rows = readings_from(found, place, posts_at_rest=posts, catalogue=catalogue())  # type: ignore[arg-type]
    except RecordingError as problem:
        frame.show_error(problem)
        return
    with right:
        _offer(found, rows, opened, place, digest_of(data))
    _picture(trace, found)


def _tried(data: bytes, options: Options) -> tuple[Trace | None, tuple[Event, ...], RecordingError | None]:
    """Read the file, or give what stands in the way."""
    try:
        return *read(data, options), None
    except RecordingError as error:
        return None, (), error


def _place(fields: Fields) -> tuple[str, float | None]:
    """Where the volts were taken, and the posts at rest to compare the module with."""
    place = fields.one_of("log_place", "Recorded", PLACES, "posts")
    if place != "module":
        return "posts", None
    asked = "Volts at the posts by a meter while the module rested in this log, if read"
    return "module", fields.figure("log_posts", asked, "", "V", (0.0, 30.0))


def _given() -> bytes | None:
    """The log: uploaded now or before, or one of the examples."""
    upload = uploads.given("Log file", "log_file")
    if upload is not None and state.recall("log_kept") != upload.file_id:
        kept_file.keep(state.browser(), upload.name, bytes(upload.getvalue()))
        state.remember("log_kept", upload.file_id)
    kept = kept_file.kept(state.browser())
    if kept is not None:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(f"<p class='fn-note'>Here until another is given: <b>{plain(kept.name)}</b></p>")
            st.button("Take it away", key="drop_log", on_click=_dropped)
        return kept.data
    folder = shipped("cases") / "recordings"
    examples = sorted(p.name for p in folder.glob("*") if p.suffix not in (".md", ".py")) if folder.is_dir() else []
    if not examples:
        return None
    chosen = st.selectbox("or an invented example", examples, index=None, key="log_example", placeholder="Choose",
                          persist_state="session")  # fmt: skip
    return None if chosen is None else _bytes_of(folder / chosen)


def _dropped() -> None:
    kept_file.drop(state.browser())
    for key in ("log_file", "log_example"):
        st.session_state.pop(key, None)


@lru_cache(maxsize=4)
def _bytes_of(path: Path) -> bytes:
    return path.read_bytes()


def _settled(fields: Fields) -> Options:
    """What the user settled about the file, before the fields are drawn; what is left alone is read off the file."""
    kept = fields.draft.kept()
    given = {name: st.session_state.get(f"log_{name}", kept.get(f"log_{name}")) for name in LABELS}
    try:
        given["interval"] = number_or_none(given["interval"] or "", "s", (1e-6, 3600.0), INTERVAL)
    except FaultnetError:
        given["interval"] = None  # its field says so
    return tuple((name, value) for name, value in given.items() if value not in (None, ""))


def _options(data: bytes, fields: Fields, error: RecordingError | None, settled: bool) -> None:
    """The fields that settle how the file is read, open where one of them is needed, which then says so, or was."""
    needed = next((name for name in LABELS if error is not None and f"option {name}" in (error.to_do or "")), None)
    with st.expander("How the file is read (only when it is unclear)", expanded=error is not None or settled):
        try:
            columns = {name: plain(name, "option") for name in list_channels(data)}
        except FaultnetError:
            columns = {}
        for name, label in COLUMNS.items():
            fields.choice(f"log_{name}", label, columns, None, placeholder=AS_READ)
            _say(fields, name, needed, error)
        for name, (label, words) in SETTLED.items():
            fields.choice(f"log_{name}", label, {k: v or k for k, v in words.items()}, None, placeholder=AS_READ)
            _say(fields, name, needed, error)
        fields.figure("log_interval", INTERVAL, "", "s", (1e-6, 3600.0))
        _say(fields, "interval", needed, error)
    if error is not None and needed is None:
        asked = "option" in (error.to_do or "")
        to_do = "settle it in the fields above, or export the file as CSV" if asked else error.to_do
        frame.show_error(RecordingError(error.what, got=error.got, expected=error.expected, to_do=to_do))


def _say(fields: Fields, name: str, needed: str | None, error: RecordingError | None) -> None:
    """Say at the field that settles it what is unclear, in the words of the page."""
    if name == needed and error is not None:
        to_do = f"settle it here, in '{LABELS[name]}'"
        fields.amiss(f"log_{name}", RecordingError(error.what, got=error.got, expected=error.expected, to_do=to_do))


def _repairs(trace: Trace) -> None:
    frame.note(f"{len(trace.time)} samples over {trace.duration:.1f} s, one every {1000 * trace.interval:.3g} ms.")
    if trace.repairs:
        lines = "".join(f"<li>{plain(r)}</li>" for r in trace.repairs)
        frame.told(f"<p class='fn-label'>What was inferred or repaired</p><ul class='fn-entries'>{lines}</ul>")


def _picture(trace: Trace, found: tuple[Event, ...]) -> None:
    begin, end = _span(trace, [e for e in found if isinstance(e, Start)])
    kinds = sorted({e.kind for e in found if e.kind in MARKS}, key=list(MARKS).index)
    marked = st.pills("Marks", kinds, selection_mode="multi", default=kinds, format_func=MARKS.__getitem__,
                      key=f"log_marks_{'_'.join(kinds)}") if kinds else []  # fmt: skip
    shown = tuple(e for e in found if e.kind not in MARKS or e.kind in marked)
    try:
        drawn = [_image(trace, shown, size, kind, {"begin": begin, "end": end}) for size, kind in SIZES]
    except RecordingError as error:
        frame.show_error(error)
        return
    st.html(f"<div class='fn-picture'>{''.join(drawn)}</div>")


def _span(trace: Trace, starts: list[Start]) -> tuple[float, float]:
    """The part to show: all, around one start, or between two times."""
    whole = (float(trace.time[0]), float(trace.time[-1]))
    names = [WHOLE, *(f"Start {k} at {e.begin:.1f} s" for k, e in enumerate(starts[:MOST_STARTS], start=1)), PART]
    shown = st.segmented_control("Show", names, default=WHOLE, required=True, key="log_part")
    if shown == PART:
        begin, end = st.slider("From, to [s]", *whole, value=whole, key=f"log_span_{whole[1]:.3f}")
        return begin, end
    if shown in names[1:-1]:
        start = starts[names.index(shown) - 1]
        return max(start.begin - 1.5, whole[0]), min(start.end + 3.0, whole[1])
    return whole


def _image(trace: Trace, found: tuple[Event, ...], size: tuple[int, int], kind: str, part: dict[str, float]) -> str:
    ink = "#eef1ee" if pictures.paper() == "dark" else "#16201e"
    svg = draw_trace(trace, found, width=size[0], height=size[1], **part)
    return pictures.image(svg.replace("<svg", f"<svg color='{ink}'", 1), "The voltage over time, with marks", kind)


def _offer(
    found: tuple[Event, ...], rows: list[dict[str, Any]], opened: state.Opened | None, place: str, digest: str
) -> None:
    frame.title("Found in it")
    for text in not_offered(found, rows, place):
        frame.note(f"{text[0].upper()}{text[1:]}.")
    if not rows:
        frame.note("Nothing that would be a reading: no start, no charging, no rest.")
        return
    names = event_names(found, rows)
    listed = list(dict.fromkeys(names.values()))
    chosen = st.multiselect("Take from", listed, default=chosen_first(listed), key=f"log_events_{len(listed)}")
    for span, name in names.items():
        ticked = any(
            state.recall(_tick(row, k, digest)) for k, row in enumerate(rows) if (row["begin"], row["end"]) == span
        )
        if name in chosen or ticked:  # what is ticked stays in sight
            st.html(f"<p class='fn-label'>{plain(name)}</p>")
            for k, row in enumerate(rows):
                if (row["begin"], row["end"]) == span:
                    _row(row, _tick(row, k, digest))
    if opened is None:
        frame.note("Open a case to take readings into it.")
    elif opened.case.outcome is None:
        st.button("Take the ticked ones as readings", key="take", type="primary", on_click=_take,
                  args=(rows, names, opened.case, digest, state.drawn()))  # fmt: skip


def _tick(row: dict[str, Any], number: int, digest: str) -> str:
    """Key of the tick of an offered reading: one of another file or place is another."""
    return f"take_{digest}_{row['place']}_{number}"


def _row(row: dict[str, Any], tick: str) -> None:
    """One offered reading, to be ticked; where it may be one of several, with the choice."""
    tests = row["may_be"]
    label = catalogue().test(tests[0]).label if len(tests) == 1 else "Voltage with the engine running"
    ticked = st.checkbox(f"{label}: **{value_words(row['value'], row['unit'])}**", key=tick)
    frame.told(f"<p class='fn-note'>{plain(row['note'] if len(tests) == 1 else row['about'])}</p>")
    if ticked and len(tests) > 1:
        labels = {t: catalogue().test(t).label for t in tests}
        st.selectbox("It was taken as", tests, index=None, format_func=labels.__getitem__, key=f"as_{tick}",
                     placeholder="Choose what the car was doing")  # fmt: skip


def _take(
    rows: list[dict[str, Any]], names: dict[tuple[float, float], str], case: Case, digest: str, drawn: int
) -> None:
    """Store what is ticked at the press, or say by name what is not stored and why.

    The page may not have been drawn anew since the last tick.
    """
    if state.pressed_again(drawn):
        return
    entries, refused = [], []
    for number, row in enumerate(rows):
        tick = _tick(row, number, digest)
        if not state.recall(tick):
            continue
        test = row["may_be"][0] if len(row["may_be"]) == 1 else state.recall(f"as_{tick}")
        name = names[row["begin"], row["end"]]
        why = unfit(case, row, test, digest, catalogue())
        if why is not None:
            refused.append(f"{name}, {value_words(row['value'], row['unit'])}: {why}")
            continue
        entries.append(replace(entry_of(row, test), note=noted(row, test, digest)))
    words = f"Stored from the recording: {len(entries)} reading{'' if len(entries) == 1 else 's'}"
    if entries and not state.add_entries(len(case.visits) - 1, *entries, words=words):
        return
    for number, row in enumerate(rows):
        if any(entry.note == noted(row, entry.test, digest) for entry in entries):
            state.remember(_tick(row, number, digest), False)
    if refused:
        state.set_trouble(
            RecordingError("not stored: " + "; ".join(refused), to_do="settle that, or take the tick off")
        )
    elif not entries:
        state.set_trouble(
            RecordingError("no reading was ticked", to_do="tick at least one; say what a charging voltage was")
        )


show()
