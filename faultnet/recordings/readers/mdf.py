"""Read one voltage channel of an ASAM MDF file through asammdf, an optional extra imported only here."""

from __future__ import annotations

import contextlib
import io
import tempfile
import traceback
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from faultnet.errors import MissingExtraError, RecordingError
from faultnet.recordings.readers.cells import VOLT_UNITS
from faultnet.recordings.readers.columns import words_in
from faultnet.recordings.readers.foreign import heard
from faultnet.recordings.readers.mdf_links import refuse_endless
from faultnet.recordings.readers.sources import Source, name_of, open_source, read_blocks, read_head
from faultnet.recordings.trace import Array

RECORDS = 1_000_000
"""Samples read at a time [-], and fewer where their records are long."""

AT_A_TIME = 64 * 1024 * 1024
"""Bytes of records read at a time."""

LARGEST_RECORD = 1024 * 1024
"""Most bytes of one record, all channels of a group: asammdf makes room for whole records by what the file claims, and
a damaged file may claim gigabytes (estimate: a hundred thousand channels)."""

IN_MEMORY = 64 * 1024 * 1024
"""Largest measurement file held in memory; a larger one is unpacked into a temporary file [bytes]."""

_VOLT_WORDS = {"volt", "volts", "voltage", "battery", "batt", "bat", "vbat", "ubat", "u", "v", "spannung", "tension"}


@dataclass(frozen=True)
class MdfChannel:
    """One channel of a measurement file.

    Parameters
    ----------
    name : str
        As the file calls it.
    unit : str
        As the file writes it.
    group, index : int
        Where it is in the file.

    Examples
    --------
    >>> MdfChannel("U_bat", "V", 0, 1).label
    'U_bat [V] (group 0)'
    """

    name: str
    unit: str
    group: int
    index: int

    @property
    def label(self) -> str:
        """How messages call it."""
        return f"{self.name} [{self.unit}] (group {self.group})"


def read_mdf(
    source: Source, notes: list[str], *, channel: str | None = None, volts_unit: str | None = None
) -> Iterator[tuple[Array, Array]]:
    """Read one voltage channel.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The measurement file, packed with gzip or not.
    notes : list of str
        Receives what was inferred.
    channel : str, optional
        Channel name, or "name (group n)" where a name occurs twice.
    volts_unit : {"V", "mV"}, optional
        For a channel without a unit.

    Yields
    ------
    time, volts : array, shape (n,)
        Seconds and volts.

    Raises
    ------
    MissingExtraError
        If asammdf is not installed.
    RecordingError
        If the file is damaged, or the channel or its unit is unclear.

    Examples
    --------
    >>> next(read_mdf(b"MDF     4.10    ", []))
    Traceback (most recent call last):
    ...
    faultnet.errors.RecordingError: the measurement file cannot be read; where: recording; ...
    """
    name = name_of(source)
    with _opened(source, notes, name) as mdf:
        chosen = _choose(_channels(mdf), channel, name)
        scale = _scale(chosen, volts_unit, name)
        yield from _samples(mdf, chosen, scale, name)


def mdf_channels(source: Source) -> tuple[MdfChannel, ...]:
    """List the channels of a measurement file.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The measurement file.

    Returns
    -------
    tuple of MdfChannel
        All channels but the time of each group.

    Raises
    ------
    MissingExtraError
        If asammdf is not installed.
    RecordingError
        If the file cannot be read.

    Examples
    --------
    >>> mdf_channels(b"MDF     4.10    ")
    Traceback (most recent call last):
    ...
    faultnet.errors.RecordingError: the measurement file cannot be read; where: recording; ...
    """
    with _opened(source, [], name_of(source)) as mdf:
        return _channels(mdf)


@contextlib.contextmanager
def _opened(source: Source, notes: list[str], name: str) -> Iterator[Any]:
    """Open a measurement file; whatever asammdf stumbles over is a damaged file."""
    try:
        from asammdf import MDF
    except ImportError as error:
        raise MissingExtraError("measurement files need asammdf", extra="mdf") from error
    with tempfile.TemporaryDirectory(prefix="faultnet-") as folder:
        content = _readable(source, notes, Path(folder) / "unpacked.mf4")
        try:
            with open(content, "rb") if isinstance(content, Path) else contextlib.nullcontext(content) as stream:
                refuse_endless(stream)
            with heard("asammdf"), contextlib.redirect_stdout(io.StringIO()):
                mdf = MDF(content)
        except RecordingError:
            raise
        except Exception as error:  # a damaged file makes asammdf raise anything, from KeyError to struct.error
            _close_half_open(error)
            raise _damaged(name, read_head(source, 16)) from error
        try:
            yield mdf
        finally:
            mdf.close()


def _readable(source: Source, notes: list[str], spare: Path) -> io.BytesIO | Path:
    """Give what asammdf reads piece by piece: bytes in memory if they are few, else a file on the disk."""
    kept: BinaryIO = io.BytesIO()
    stream = open_source(source)
    try:
        for block in read_blocks(stream, notes):
            if isinstance(kept, io.BytesIO) and kept.tell() + len(block) > IN_MEMORY:
                start, kept = kept.getvalue(), open(spare, "wb")  # noqa: SIM115 - closed below
                kept.write(start)
            kept.write(block)
    finally:
        if stream is not source:
            stream.close()
        if not isinstance(kept, io.BytesIO):
            kept.close()
    return kept if isinstance(kept, io.BytesIO) else spare


def _close_half_open(error: Exception) -> None:
    """Close what asammdf left half open, which would complain when it is collected."""
    for frame, _ in traceback.walk_tb(error.__traceback__):
        half_open: Any = frame.f_locals.get("self")
        if hasattr(half_open, "_closed"):
            with contextlib.suppress(Exception):
                half_open.close()


def _damaged(name: str, head: bytes = b"") -> RecordingError:
    """Say that a measurement file is damaged, and the version that its first bytes claim."""
    version = "".join(char for char in head[8:16].decode("ascii", "ignore") if char.isdigit() or char == ".")
    return RecordingError(
        "the measurement file cannot be read",
        where=name,
        got=f"version {version}, damaged, cut off or of a kind not known here" if version else "damaged content",
        expected="ASAM MDF 4",
        to_do="export it again, or as CSV",
    )


def _channels(mdf: Any) -> tuple[MdfChannel, ...]:
    """List the channels that are not the time of their group."""
    return tuple(
        MdfChannel(str(channel.name), str(channel.unit or ""), g, c)
        for g, group in enumerate(mdf.groups)
        for c, channel in enumerate(group.channels)
        if c != mdf.masters_db.get(g)
    )


def _choose(channels: tuple[MdfChannel, ...], wanted: str | None, name: str) -> MdfChannel:
    """Settle the channel by option, else by unit or name."""
    if wanted is not None:
        found = [one for one in channels if wanted in (one.name, one.label, f"{one.name} (group {one.group})")]
    else:
        found = [one for one in channels if one.unit.strip().lower() in VOLT_UNITS]
        found = found or [one for one in channels if words_in(one.name) & _VOLT_WORDS]
    if len(found) == 1:
        return found[0]
    listed = ", ".join(one.label for one in (found or channels)[:20]) or "no channel at all"
    what = "several channels may be volts" if len(found) > 1 else "no such voltage channel"
    raise RecordingError(what, where=name, got=wanted, expected=f"one of: {listed}", to_do="give the option channel")


def _scale(channel: MdfChannel, unit: str | None, name: str) -> float:
    """Give the volts per unit of a channel."""
    asked = (unit or channel.unit).strip().lower()
    if asked in VOLT_UNITS:
        return VOLT_UNITS[asked]
    raise RecordingError(
        "the unit of the volts is not known",
        where=f"{name}, {channel.label}",
        got=asked or None,
        expected="V or mV",
        to_do="give the option volts_unit",
    )


def _samples(mdf: Any, channel: MdfChannel, scale: float, name: str) -> Iterator[tuple[Array, Array]]:
    """Read a channel piece by piece."""
    group, offset = mdf.groups[channel.group].channel_group, 0
    record = group.samples_byte_nr + group.invalidation_bytes_nr
    if record > LARGEST_RECORD:
        raise _damaged(name)
    some = max(1, min(RECORDS, AT_A_TIME // max(record, 1)))
    while True:
        try:
            with heard("asammdf"), contextlib.redirect_stdout(io.StringIO()):
                signal = mdf.get(group=channel.group, index=channel.index, record_offset=offset, record_count=some)
            time = np.asarray(signal.timestamps, dtype=np.float64)
            volts = np.asarray(signal.samples, dtype=np.float64) * scale
        except Exception as error:  # see _opened
            raise _damaged(name) from error
        if time.size == 0 or time.size != volts.size:
            return
        yield time, volts
        offset += time.size
        if time.size < some:
            return
