"""Read module voltage from a CAN log: SAE J1979 service 01, PID 42, several modules kept apart.

The text of a candump is read here; every other kind of CAN log goes through python-can, which is an optional extra.
"""

from __future__ import annotations

import io
import re
import zlib
from collections.abc import Iterable, Iterator
from typing import Any

import numpy as np

from faultnet.errors import FaultnetError, MissingExtraError, RecordingError
from faultnet.recordings.foreign import heard
from faultnet.recordings.sources import Source, name_of, open_source, read_blocks
from faultnet.recordings.trace import Array

Frame = tuple[float, int, bytes]
"""Time [s], CAN identifier, data bytes."""

PID_LENGTHS = {
    **dict.fromkeys((0x04, 0x05, 0x0B, 0x0D, 0x0E, 0x0F, 0x11, 0x2F, 0x33, 0x45, 0x46, 0x49, 0x4A, 0x4C, 0x5C), 1),
    **dict.fromkeys((0x0C, 0x10, 0x1F, 0x21, 0x31, 0x42, 0x43, 0x44, 0x4D, 0x4E, 0x5E), 2),
    **dict.fromkeys((0x00, 0x01, 0x20, 0x40), 4),
}
"""Data bytes per service 01 PID (SAE J1979, from memory), to find PID 42 among others in one response."""

_COMPACT = re.compile(rb"^\s*\((\d+\.\d+)\)\s+\S+\s+([0-9A-Fa-f]{3,8})##?([0-9A-Fa-f]*)", re.M)
_SPACED = re.compile(rb"^\s*\((\d+\.\d+)\)\s+\S+\s+([0-9A-Fa-f]{3,8})\s+\[\d+\]\s+((?:[0-9A-Fa-f]{2} ?)*)", re.M)


def decode_voltage(identifier: int, data: bytes) -> float | None:
    """Decode the control module voltage from one CAN frame.

    Parameters
    ----------
    identifier : int
        CAN identifier.
    data : bytes
        The frame's data.

    Returns
    -------
    float or None
        Voltage at the module [V], 0 to 65.535 in steps of 0.001; None if the frame is no such answer.

    Notes
    -----
    V = (256 A + B) / 1000 (SAE J1979, service 01, PID 42; formula seen in secondary sources). Answers come on
    7E8 to 7EF, or on 18DAF1xx with long identifiers (ISO 15765-4, from memory), as a single frame: length, 41, then
    each PID with its bytes. It is the voltage at the module, not at the battery.

    Examples
    --------
    >>> decode_voltage(0x7E8, bytes.fromhex("0441423138"))
    12.6
    >>> decode_voltage(0x7E8, bytes.fromhex("06410D00423138"))
    12.6
    >>> decode_voltage(0x7DF, bytes.fromhex("020142")) is None
    True
    """
    if not (0x7E8 <= identifier <= 0x7EF or identifier >> 8 == 0x18DAF1) or len(data) < 5:
        return None
    body = data[1 : 1 + data[0]]
    if data[0] > 7 or len(body) < data[0] or body[:1] != b"\x41":
        return None
    place = 1
    while place + 2 < len(body):
        if body[place] == 0x42:
            return (256 * body[place + 1] + body[place + 2]) / 1000
        length = PID_LENGTHS.get(body[place])
        if length is None:
            return None
        place += 1 + length
    return None


def candump_frames(source: Source, notes: list[str]) -> Iterator[Frame]:
    """Read the frames of a candump text log.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The log, packed or not.
    notes : list of str
        Receives the number of lines that could not be read.

    Yields
    ------
    tuple
        Time [s], identifier, data.

    Examples
    --------
    >>> list(candump_frames(b"(1.500000) can0 7E8#0441423138\\n", []))
    [(1.5, 2024, b'\\x04AB18')]
    """
    stream, rest, lost = open_source(source), b"", 0
    try:
        for block in read_blocks(stream, notes, 1024 * 1024):
            text = rest + block
            cut = text.rfind(b"\n") + 1
            rest = text[cut:] if len(text) - cut < 10_000 else b""
            yield from _frames_in(text[:cut])
            lost += _unread(text[:cut])
        yield from _frames_in(rest)
        lost += _unread(rest)
    finally:
        if stream is not source:
            stream.close()
    if lost:
        notes.append(f"{lost} line(s) that are no CAN frame left out")


def _frames_in(text: bytes) -> Iterator[Frame]:
    """Cut frames out of whole lines."""
    form = _COMPACT if b"#" in text else _SPACED
    for stamp, identifier, data in form.findall(text):
        digits = data.replace(b" ", b"")
        yield float(stamp), int(identifier, 16), bytes.fromhex(digits[: len(digits) // 2 * 2].decode())


def _unread(text: bytes) -> int:
    """Count the lines that hold no frame."""
    form = _COMPACT if b"#" in text else _SPACED
    lines = sum(1 for line in text.split(b"\n") if line.strip())
    return lines - sum(1 for _ in form.finditer(text))


def library_frames(source: Source, kind: str, notes: list[str]) -> Iterator[Frame]:
    """Read the frames of a CAN log through python-can.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The log, packed or not.
    kind : {"asc", "blf", "trc", "can_csv"}
        The kind of log.
    notes : list of str
        Receives where reading stopped if the log is damaged; what came before is kept.

    Yields
    ------
    tuple
        Time [s], identifier, data.

    Raises
    ------
    MissingExtraError
        If python-can is not installed.

    Examples
    --------
    >>> text = b"timestamp,arbitration_id,extended,remote,error,dlc,data\\n1.5,0x7e8,0,0,0,5,BEFCMTg=\\n"
    >>> list(library_frames(text, "can_csv", []))
    [(1.5, 2024, b'\\x04AB18')]
    """
    content = _content(source, notes)
    frames: list[Frame] = []
    with heard("can") as said:
        try:
            for message in _reader(content, kind, name_of(source)):
                frames.append((float(message.timestamp), int(message.arbitration_id), bytes(message.data)))
        except FaultnetError:
            raise
        except Exception as error:  # a damaged log makes python-can raise anything, from ValueError to zlib.error
            what = f"the CAN log is damaged after {len(frames)} frames ({type(error).__name__})"
            notes.append(f"{what}; the rest was not read")
    if said:
        notes.append(f"{len(said)} entries of the CAN log could not be read; first: {said[0]}")
    yield from frames


def _content(source: Source, notes: list[str]) -> bytes:
    """Read a whole source."""
    stream = open_source(source)
    try:
        return b"".join(read_blocks(stream, notes))
    finally:
        if stream is not source:
            stream.close()


def _reader(content: bytes, kind: str, name: str) -> Iterable[Any]:
    """Open the python-can reader for a kind of log."""
    try:
        import can
    except ImportError as error:
        raise MissingExtraError("CAN logs of this kind need python-can", extra="can") from error
    readers: dict[str, Any] = {"asc": can.ASCReader, "trc": can.TRCReader, "can_csv": can.CSVReader}
    try:
        if kind == "blf":
            _check_objects(content)
            return can.BLFReader(io.BytesIO(content))
        return readers[kind](io.StringIO(content.decode("utf-8", "replace")))  # type: ignore[no-any-return]
    except Exception as error:  # see library_frames
        raise RecordingError("the CAN log cannot be read", where=name, got=type(error).__name__) from error


def _check_objects(content: bytes) -> None:
    """Refuse a BLF log in which an object has no length: python-can would read it for ever.

    Each object begins with "LOBJ", two lengths of headers, its own length and its type, 16 bytes in all; type 10 is
    a container of further objects, packed or not.
    """
    inner: list[bytes] = []
    for start, end, kind in _objects(content, int.from_bytes(content[4:8], "little")):
        if kind == 10:
            packed = content[start + 32 : end]
            method = int.from_bytes(content[start + 16 : start + 18], "little")
            inner.append(zlib.decompressobj().decompress(packed, 100_000_000) if method == 2 else packed)
    for _ in _objects(b"".join(inner), 0):
        pass


def _objects(content: bytes, place: int) -> Iterator[tuple[int, int, int]]:
    """Walk over the objects of a BLF log: start, end and type of each."""
    while (start := content.find(b"LOBJ", place, place + 8)) >= 0 and start + 16 <= len(content):
        length = int.from_bytes(content[start + 8 : start + 12], "little")
        if length < 16:
            raise ValueError("an object without a length")
        yield start, start + length, int.from_bytes(content[start + 12 : start + 16], "little")
        place = start + length


def module_voltages(frames: Iterable[Frame]) -> dict[str, tuple[Array, Array]]:
    """Sort the answers in a stream of frames by the module that gave them.

    Parameters
    ----------
    frames : iterable of tuple
        Time [s], identifier, data.

    Returns
    -------
    dict
        For each module, by its identifier such as "7E8": time [s] and volts [V].

    Examples
    --------
    >>> found = module_voltages([(0.0, 0x7E8, bytes.fromhex("0441423138")), (0.1, 0x7DF, b"")])
    >>> {name: volts.tolist() for name, (time, volts) in found.items()}
    {'7E8': [12.6]}
    """
    found: dict[str, tuple[list[float], list[float]]] = {}
    for stamp, identifier, data in frames:
        volts = decode_voltage(identifier, data)
        if volts is not None:
            time_list, volts_list = found.setdefault(f"{identifier:X}", ([], []))
            time_list.append(stamp)
            volts_list.append(volts)
    return {name: (np.array(time), np.array(volts)) for name, (time, volts) in found.items()}
