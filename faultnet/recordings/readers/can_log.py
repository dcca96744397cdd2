"""Read module voltage from a CAN log: SAE J1979 service 01, PID 42, several modules kept apart.

The text of a candump is read here; every other kind of CAN log goes through python-can, which is an optional extra.
"""

from __future__ import annotations

import io
import re
import zlib
from array import array
from collections.abc import Iterable, Iterator
from typing import Any, BinaryIO

import numpy as np

from faultnet.errors import FaultnetError, MissingExtraError, RecordingError
from faultnet.limits import CONTENT, LOG
from faultnet.recordings.readers.foreign import heard
from faultnet.recordings.readers.sources import PORTION, PlainStream, Source, name_of, open_source, read_blocks
from faultnet.recordings.trace import Array

LARGEST_OBJECT = 16 * 1024 * 1024
"""Most bytes of an object of a BLF log, containers among them; python-can writes 128 kB (estimate)."""

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
        for block in read_blocks(stream, notes, 1024 * 1024, LOG):
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
    count, opener = 0, _opener(kind)
    complete = kind != "blf" or _complete(source, name_of(source))
    with heard("can") as said, PlainStream(source, notes, CONTENT if kind == "blf" else LOG) as plain:
        try:
            for message in _reader(opener, plain, kind, name_of(source)):
                count += 1
                yield float(message.timestamp), int(message.arbitration_id), bytes(message.data)
        except FaultnetError:
            raise
        except Exception:  # a damaged log makes python-can raise anything, from ValueError to zlib.error
            notes.append(f"the CAN log is damaged after {count} frames; the rest was not read")
        else:
            if not complete:
                notes.append(f"the CAN log ends early, in the middle of an object, after {count} frames")
    if said:
        notes.append(f"{len(said)} entries of the CAN log could not be read; first: {said[0]}")


def _opener(kind: str) -> Any:
    """Give the python-can reader for a kind of log, which takes one frame at a time."""
    try:
        import can
    except ImportError as error:
        raise MissingExtraError("CAN logs of this kind need python-can", extra="can") from error
    return {"asc": can.ASCReader, "blf": can.BLFReader, "trc": can.TRCReader, "can_csv": can.CSVReader}[kind]


def _reader(opener: Any, plain: PlainStream, kind: str, name: str) -> Iterable[Any]:
    """Open a log; only BLF is not text."""
    whole = io.BufferedReader(plain, PORTION)
    try:
        return opener(whole if kind == "blf" else io.TextIOWrapper(whole, "utf-8", "replace"))  # type: ignore[no-any-return]
    except Exception as error:  # see library_frames
        raise _unreadable(name) from error


def _unreadable(name: str) -> RecordingError:
    """Say that a CAN log cannot be read."""
    return RecordingError("the CAN log cannot be read", where=name, got="damaged or cut-off content")


def _complete(source: Source, name: str) -> bool:
    """Refuse a BLF log that python-can would not come to an end with; say whether its last object is whole."""
    try:
        with PlainStream(source, []) as plain:
            return _check_objects(io.BufferedReader(plain, PORTION))
    except (ValueError, zlib.error) as error:
        raise _unreadable(name) from error


def _check_objects(stream: BinaryIO) -> bool:
    """Refuse a BLF log in which an object has no length: python-can would read it for ever. Say whether it is whole.

    Each object begins with "LOBJ", two lengths of headers, its own length and its type, 16 bytes in all; type 10 is
    a container of further objects, packed or not. An object may go on in the next container.
    """
    head, rest = stream.read(8), b""
    stream.read(int.from_bytes(head[4:8], "little") - 8)
    while (start := stream.read(16))[:4] == b"LOBJ" and len(start) == 16:
        length = _length_of(start)
        body = stream.read(length - 16)
        if len(body) < length - 16:
            return False
        stream.read(length % 4)
        if int.from_bytes(start[12:16], "little") == 10:
            packed = body[16:]
            method = int.from_bytes(body[:2], "little")
            rest += zlib.decompressobj().decompress(packed, LARGEST_OBJECT) if method == 2 else packed
            rest = _walked(rest)
    return not start


def _length_of(head: bytes) -> int:
    """Length of an object by its head; refuses what no log holds."""
    length = int.from_bytes(head[8:12], "little")
    if not 16 <= length <= LARGEST_OBJECT:
        raise ValueError("an object without a length")
    return length


def _walked(content: bytes) -> bytes:
    """Walk over the objects in unpacked content; give what is left of one that goes on in the next container."""
    place = 0
    while (start := content.find(b"LOBJ", place, place + 8)) >= 0 and start + 16 <= len(content):
        length = _length_of(content[start : start + 16])
        if start + length > len(content):
            return content[start:]
        place = start + length
    return content[place:][:16]


def module_parts(frames: Iterable[Frame], size: int = 100_000) -> Iterator[tuple[str, Array, Array]]:
    """Sort the answers in a stream of frames by the module that gave them, some at a time.

    Parameters
    ----------
    frames : iterable of tuple
        Time [s], identifier, data.
    size : int
        Answers of a module that are gathered at most [-].

    Yields
    ------
    module : str
        Its identifier, such as "7E8".
    time, volts : array, shape (n,)
        Some of its answers [s], [V], in the order of the log.

    Examples
    --------
    >>> answers = [(0.1 * k, 0x7E8, bytes.fromhex("0441423138")) for k in range(3)]
    >>> [(module, volts.tolist()) for module, time, volts in module_parts(answers, 2)]
    [('7E8', [12.6, 12.6]), ('7E8', [12.6])]
    """
    held: dict[str, tuple[array[float], array[float]]] = {}
    for stamp, identifier, data in frames:
        volts = decode_voltage(identifier, data)
        if volts is None:
            continue
        module = f"{identifier:X}"
        times, values = held.setdefault(module, (array("d"), array("d")))
        times.append(stamp)
        values.append(volts)
        if len(times) >= size:
            yield module, np.array(times), np.array(values)
            del held[module]
    for module, (times, values) in held.items():
        yield module, np.array(times), np.array(values)
