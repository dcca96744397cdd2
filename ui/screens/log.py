"""A recorded voltage log: read it, see what was found in it, take readings from it."""

from __future__ import annotations

from functools import lru_cache, partial
from pathlib import Path
from typing import Any

import streamlit as st
from workbench import frame, state, uploads
from workbench.answers import catalogue
from workbench.entering import number_or_none
from workbench.recorded import Options, chosen_first, event_names, read
from workbench.widgets import pictures
from workbench.words import plain

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
TIME_UNITS = ("", "s", "ms", "us", "min", "h", "day_first", "month_first", "h:m", "m:s")
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
    left, right = st.columns(2, gap="medium")
    with left:
        frame.title("A recorded voltage log")
        data = _given()
        place, posts = _place()
    if data is None:
        frame.note(
            "Text in columns (any order, unit and separator), ASAM MDF 4, or a CAN log with the module's voltage."
        )
        return
    try:
        with left:
            options = _options(data)
        trace, found = read(data, options)
        rows = readings_from(found, place, posts_at_rest=posts, catalogue=catalogue())  # type: ignore[arg-type]
    except RecordingError as error:
        frame.show_error(error)
        return
    with left:
        _repairs(trace)
    with right:
        _offer(found, rows, opened)
    _picture(trace, found)


def _place() -> tuple[str, float | None]:
    """Where the volts were taken, and the posts at rest to compare the module with."""
    place = st.segmented_control("Recorded", list(PLACES), default="posts", format_func=PLACES.__getitem__,
                                 required=True, key="log_place")  # fmt: skip
    if place != "module":
        return "posts", None
    typed = st.text_input("Posts by a meter while the module rested in this log, if read", key="log_posts",
                          placeholder="12.6 V")  # fmt: skip
    try:
        return "module", number_or_none(typed, "V", (0.0, 30.0), "Volts at the posts")
    except FaultnetError as error:
        frame.show_error(error)
        return "module", None


def _given() -> bytes | None:
    """The log: uploaded, or one of the examples."""
    upload = uploads.given("Log file", "log_file")
    if upload is not None:
        return bytes(upload.getvalue())
    folder = shipped("cases") / "recordings"
    examples = sorted(p.name for p in folder.glob("*") if p.suffix not in (".md", ".py")) if folder.is_dir() else []
    if not examples:
        return None
    chosen = st.selectbox("or an invented example", examples, index=None, key="log_example", placeholder="Choose")
    return None if chosen is None else _bytes_of(folder / chosen)


@lru_cache(maxsize=4)
def _bytes_of(path: Path) -> bytes:
    return path.read_bytes()


def _options(data: bytes) -> Options:
    """What the user settled about the file; what is left alone is read off the file."""
    with st.expander("How the file is read (only when it is unclear)"):
        try:
            columns = list(list_channels(data))
        except FaultnetError:
            columns = []
        time = _column("Time column", columns, "log_time")
        volts = _column("Voltage column", columns, "log_volts")
        channel = _column("Channel or module", columns, "log_channel")
        time_unit = st.selectbox(
            "Unit of time", TIME_UNITS, key="log_time_unit", format_func=lambda u: u or "read off the file"
        )
        volts_unit = st.selectbox("Unit of voltage", ("", "V", "mV"), key="log_volts_unit",
                                  format_func=lambda u: u or "read off the file")  # fmt: skip
        interval = number_or_none(
            st.text_input("Time between rows, if no column holds it", key="log_interval"),
            "s",
            (1e-6, 3600.0),
            "Time between rows",
        )
    given = {"time_column": time, "volts_column": volts, "channel": channel, "time_unit": time_unit or None,
             "volts_unit": volts_unit or None, "interval": interval}  # fmt: skip
    return tuple((k, v) for k, v in given.items() if v is not None)


def _column(label: str, columns: list[str], key: str) -> str | None:
    return st.selectbox(label, columns, index=None, format_func=partial(plain, where="option"), key=key,
                        placeholder="read off the file")  # fmt: skip


def _repairs(trace: Trace) -> None:
    frame.note(f"{len(trace.time)} samples over {trace.duration:.1f} s, one every {1000 * trace.interval:.3g} ms.")
    if trace.repairs:
        lines = "".join(f"<li>{plain(r)}</li>" for r in trace.repairs)
        st.html(f"<p class='fn-label'>What was inferred or repaired</p><ul class='fn-entries'>{lines}</ul>")


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


def _offer(found: tuple[Event, ...], rows: list[dict[str, Any]], opened: state.Opened | None) -> None:
    frame.title("Found in it")
    for text in not_offered(found, rows):
        frame.note(f"{text[0].upper()}{text[1:]}.")
    if not rows:
        frame.note("Nothing that would be a reading: no start, no charging, no rest.")
        return
    names = event_names(found, rows)
    listed = list(dict.fromkeys(names.values()))
    chosen = st.multiselect("Take from", listed, default=chosen_first(listed), key=f"log_events_{len(listed)}")
    offered: list[int] = []
    for place, name in names.items():
        if name in chosen:
            st.html(f"<p class='fn-label'>{plain(name)}</p>")
            for k, row in enumerate(rows):
                if (row["begin"], row["end"]) == place:
                    offered.append(k)
                    _row(k, row)
    if opened is None:
        frame.note("Open a case to take readings into it.")
    elif opened.case.outcome is None:
        st.button("Take the ticked ones as readings", key="take", type="primary", on_click=_take,
                  args=(rows, offered, len(opened.case.visits) - 1, state.drawn()))  # fmt: skip


def _row(number: int, row: dict[str, Any]) -> None:
    """One offered reading, to be ticked; where it may be one of several, with the choice."""
    tests = row["may_be"]
    label = catalogue().test(tests[0]).label if len(tests) == 1 else "Voltage with the engine running"
    ticked = st.checkbox(f"{label}: **{value_words(row['value'], row['unit'])}**", key=f"take_{number}")
    st.html(f"<p class='fn-note'>{plain(row['note'] if len(tests) == 1 else row['about'])}</p>")
    if ticked and len(tests) > 1:
        labels = {t: catalogue().test(t).label for t in tests}
        st.selectbox("It was taken as", tests, index=None, format_func=labels.__getitem__, key=f"take_as_{number}",
                     placeholder="Choose what the car was doing")  # fmt: skip


def _taken_as(number: int, row: dict[str, Any]) -> str | None:
    """The test an offered reading is to be taken as, None when it is not ticked or not settled."""
    if not state.recall(f"take_{number}"):
        return None
    tests = row["may_be"]
    return str(tests[0]) if len(tests) == 1 else state.recall(f"take_as_{number}")


def _take(rows: list[dict[str, Any]], offered: list[int], visit: int, drawn: int) -> None:
    """Store what is ticked at the press; the page may not have been drawn anew since the last tick."""
    if state.pressed_again(drawn):
        return
    count = 0
    for number in offered:
        test = _taken_as(number, rows[number])
        if test is not None and state.add_entries(
            visit, entry_of(rows[number], test), words="Stored from the recording"
        ):
            count += 1
    if not count:
        state.set_trouble(
            RecordingError("no reading was ticked", to_do="tick at least one; say what a charging voltage was")
        )
        return
    for number in offered:
        state.remember(f"take_{number}", False)


show()
