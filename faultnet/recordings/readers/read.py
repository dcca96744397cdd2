"""Read any recording into one clean trace, saying everything that was done to it on the way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal

import numpy as np

from faultnet.errors import RecordingError
from faultnet.recordings.readers.can_log import candump_frames, library_frames, module_parts
from faultnet.recordings.readers.clean import Cleaner
from faultnet.recordings.readers.held import without_repeats
from faultnet.recordings.readers.mdf import mdf_channels, read_mdf
from faultnet.recordings.readers.reduction import CAPACITY, Reducer
from faultnet.recordings.readers.sources import Source, name_of, read_head
from faultnet.recordings.readers.text import read_text, text_columns
from faultnet.recordings.trace import Array, Trace, doubts

Format = Literal["csv", "mdf", "candump", "asc", "blf", "trc", "can_csv"]

FORMATS: tuple[Format, ...] = ("csv", "mdf", "candump", "asc", "blf", "trc", "can_csv")
"""Kinds of recording that can be read; "csv" is any text in columns."""


def read_recording(
    source: Source,
    *,
    time_column: str | int | None = None,
    volts_column: str | int | None = None,
    time_unit: str | None = None,
    volts_unit: str | None = None,
    decimal: str | None = None,
    separator: str | None = None,
    channel: str | None = None,
    format: str | None = None,
    interval: float | None = None,
    capacity: int = CAPACITY,
) -> Trace:
    """Read a recorded voltage log.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The log, packed with gzip or not.
    time_column, volts_column : str or int, optional
        Name of a column of a text log, or its number counted from 1.
    time_unit : str, optional
        "s", "ms", "us", "min", "h"; "day_first" or "month_first" for dates; "h:m" or "m:s" for times in two parts.
    volts_unit : {"V", "mV"}, optional
        Unit of the volts.
    decimal : {".", ","}, optional
        Decimal mark of a text log.
    separator : str, optional
        Separator of a text log; " " for any run of blanks.
    channel : str, optional
        Channel of a measurement file, or module of a CAN log ("7E8").
    format : str, optional
        One of :data:`FORMATS`; found out by content otherwise.
    interval : float, optional
        Time between rows [s] of a text log that has no time column.
    capacity : int
        Most samples kept in memory [-].

    Returns
    -------
    Trace
        Time from the first sample, volts, and in `repairs` all that was inferred, repaired or left out.

    Raises
    ------
    RecordingError
        If the file cannot be read, or a column, unit or channel is unclear; the message names the option to give.
    MissingExtraError
        If an optional reader is not installed.

    Notes
    -----
    Text is read in blocks of 8 MB, each cleaned, put in order and handed to a reducer that keeps at most `capacity`
    samples: quiet stretches are cut into buckets of which the lowest and highest sample stay, while every sample
    within 15 s of a departure from the level (less if they are many) stays. So memory does not grow with the file, and
    no dip is lost. CAN logs are read frame by frame, and measurement files by a million records at a time.

    Examples
    --------
    >>> trace = read_recording(b"time [s];voltage\\n0,0;12,6\\n0,5;10,9\\n1,0;14,1\\n")
    >>> trace.volts.tolist(), trace.repairs
    ([12.6, 10.9, 14.1], ('the volts carry no unit; V is the only one that fits their median, 12.6',))
    """
    name, notes = name_of(source), list[str]()
    _check_options(decimal, separator, interval, name)
    kind = format_of(source, format)
    parts: Iterable[tuple[Array, Array]]
    if kind == "csv":
        parts = read_text(
            source,
            notes,
            separator=separator,
            decimal=decimal,
            time_column=time_column,
            volts_column=volts_column,
            time_unit=time_unit,
            volts_unit=volts_unit,
            interval=interval,
        )
    elif kind == "mdf":
        parts = read_mdf(source, notes, channel=channel, volts_unit=volts_unit)
    else:
        return _read_can(source, kind, channel, notes, name, capacity)
    return assemble(parts, name, notes, capacity)


def list_channels(source: Source, format: str | None = None) -> tuple[str, ...]:
    """List what a user can choose from: columns, channels or modules.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The recording.
    format : str, optional
        One of :data:`FORMATS`; found out by content otherwise.

    Returns
    -------
    tuple of str
        Column names of a text log, channel labels of a measurement file, modules of a CAN log.

    Raises
    ------
    RecordingError
        If the file cannot be read.

    Examples
    --------
    >>> list_channels(b"(1.0) can0 7E8#0441423138\\n(1.1) can0 7EA#0441423130\\n")
    ('7E8', '7EA')
    """
    kind = format_of(source, format)
    if kind == "csv":
        return text_columns(source)
    if kind == "mdf":
        return tuple(channel.label for channel in mdf_channels(source))
    return tuple(dict.fromkeys(module for module, _, _ in _module_parts(source, kind, [])))


def format_of(source: Source, wanted: str | None = None) -> Format:
    """Tell what kind of recording a source is, by its content.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The recording.
    wanted : str, optional
        A kind given by the user, which wins.

    Returns
    -------
    str
        One of :data:`FORMATS`.

    Raises
    ------
    RecordingError
        If the wanted kind is unknown or the source cannot be opened.

    Examples
    --------
    >>> format_of(b"(1.0) can0 7E8#0441423138"), format_of(b"0;12.6")
    ('candump', 'csv')
    """
    if wanted is not None:
        found = [kind for kind in FORMATS if kind == wanted]
        if not found:
            raise RecordingError("unknown kind of recording", got=wanted, expected=", ".join(FORMATS))
        return found[0]
    head = read_head(source, 4096)
    starts: tuple[tuple[bytes, Format], ...] = (
        (b"MDF ", "mdf"),
        (b"UnFinMF", "mdf"),
        (b"LOGG", "blf"),
        (b";$FILEVERSION", "trc"),
        (b"timestamp,arbitration_id", "can_csv"),
    )
    for mark, kind in starts:
        if head.startswith(mark):
            return kind
    if head.startswith(b"date ") and b"\nbase " in head:
        return "asc"
    lines = [line for line in head.split(b"\n")[:5] if line.strip()]
    dumped = [line.lstrip().startswith(b"(") and (b"#" in line or b"[" in line) for line in lines]
    return "candump" if dumped and any(dumped) else "csv"


def assemble(parts: Iterable[tuple[Array, Array]], name: str, notes: list[str], capacity: int = CAPACITY) -> Trace:
    """Clean and collect samples that arrive in parts.

    Parameters
    ----------
    parts : iterable of (time, volts)
        Arrays of equal length [s], [V].
    name : str
        What messages call the recording.
    notes : list of str
        What the reader has to say; filled while `parts` are read.
    capacity : int
        Most samples to keep [-].

    Returns
    -------
    Trace
        The clean trace.

    Raises
    ------
    RecordingError
        If fewer than two usable samples remain or time does not run forward.

    Examples
    --------
    >>> assemble([(np.array([5.0, 6.0]), np.array([12.6, 12.5]))], "demo", []).time.tolist()
    [0.0, 1.0]
    """
    collector = Collector(name, capacity)
    for time, volts in parts:
        collector.add(time, volts)
    return collector.trace(name, notes)


class Collector:
    """Cleans and reduces samples that arrive in parts, so that memory stays bounded.

    Parameters
    ----------
    name : str
        What messages call the recording.
    capacity : int
        Most samples to keep [-].

    Examples
    --------
    >>> collector = Collector("demo")
    >>> collector.add(np.array([5.0, 6.0]), np.array([12.6, 12.5]))
    >>> collector.trace("demo", []).volts.tolist()
    [12.6, 12.5]
    """

    def __init__(self, name: str, capacity: int = CAPACITY) -> None:
        self._cleaner, self._reducer = Cleaner(name), Reducer(capacity)

    def add(self, time: Array, volts: Array) -> None:
        """Take some samples."""
        self._reducer.add(*self._cleaner.add(time, volts))

    def trace(self, name: str, notes: list[str]) -> Trace:
        """Give what was collected; `notes` are what the reader has to say."""
        self._reducer.add(*self._cleaner.finish())
        time, volts = self._reducer.result()
        reduced = self._reducer.notes()
        time, volts, hold = (time, volts, 1) if reduced else without_repeats(time, volts)
        rising = np.diff(time, prepend=-np.inf) > 0
        held = (
            [f"each value stands for about {hold} samples, so that only every {hold}th is a new one"]
            if hold > 1
            else []
        )
        told = [*notes, *self._cleaner.notes(), *held, *reduced, *doubts(volts)]
        if not rising.all():
            told.append(f"{rising.size - int(rising.sum())} sample(s) closer in time than can be told apart left out")
        time = time[rising]
        return Trace(time - time[0] if time.size else time, volts[rising], name, tuple(told))


def _check_options(decimal: str | None, separator: str | None, interval: float | None, name: str) -> None:
    """Refuse options that cannot be meant."""
    if decimal not in (None, ".", ","):
        raise RecordingError("unknown decimal mark", where=name, got=decimal, expected="'.' or ','")
    if separator is not None and len(separator) != 1 and separator != r"\t":
        raise RecordingError("a separator is one character", where=name, got=repr(separator))
    if interval is not None and not 0 < interval < 1e7:
        raise RecordingError("the interval must be above 0", where=name, got=str(interval), expected="seconds")


def _module_parts(source: Source, kind: Format, notes: list[str]) -> Iterator[tuple[str, Array, Array]]:
    """Read the voltages of all modules of a CAN log, some at a time."""
    frames = candump_frames(source, notes) if kind == "candump" else library_frames(source, kind, notes)
    return module_parts(frames)


def _read_can(source: Source, kind: Format, wanted: str | None, notes: list[str], name: str, capacity: int) -> Trace:
    """Read the one module of a CAN log, or the one asked for."""
    asked = (wanted or "").upper().removeprefix("0X")
    counts: dict[str, int] = {}
    collector = Collector(name, capacity)
    for module, time, volts in _module_parts(source, kind, notes):
        counts[module] = counts.get(module, 0) + int(time.size)
        if module == (asked or next(iter(counts))):
            collector.add(time, volts)
    return collector.trace(f"{name}, module {_chosen(counts, wanted, asked, notes, name)}", notes)


def _chosen(found: dict[str, int], wanted: str | None, asked: str, notes: list[str], name: str) -> str:
    """Settle the module."""
    if not found:
        raise RecordingError(
            "the CAN log holds no module voltage",
            where=name,
            got="; ".join(notes) or None,
            expected="answers of SAE J1979 service 01, PID 42",
            to_do="record while the adapter asks for PID 42",
        )
    module = asked or (next(iter(found)) if len(found) == 1 else "")
    if module in found:
        return module
    what = "no such module" if wanted else "several modules report a voltage"
    listed = ", ".join(f"{one} ({count} values)" for one, count in found.items())
    raise RecordingError(what, where=name, got=wanted, expected=f"one of: {listed}", to_do="give the option channel")
