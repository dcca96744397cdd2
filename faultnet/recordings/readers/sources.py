"""From a path, bytes or an open file to blocks of plain bytes: gzip is undone, breaks are said, memory is bounded."""

from __future__ import annotations

import io
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO

from faultnet.errors import RecordingError

Source = str | Path | bytes | BinaryIO

BLOCK = 8 * 1024 * 1024
"""Bytes read at a time."""

PORTION = 64 * 1024
"""Bytes handed at a time to libraries that read by themselves."""

PIECE = 1024
"""Packed bytes unpacked at a time: what a break in the stream may cost at most."""

LARGEST = 4 * 1024**3
"""Most bytes taken from one recording after unpacking: twice the largest log this is meant for."""

_GZIP = b"\x1f\x8b"


def name_of(source: Source) -> str:
    """Give the name by which messages call a source.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        What is being read.

    Returns
    -------
    str
        File name without folders, or "recording".

    Examples
    --------
    >>> name_of("logs/monday.csv"), name_of(b"0;12.6")
    ('monday.csv', 'recording')
    """
    if isinstance(source, (str, Path)):
        return Path(source).name or "recording"
    name = getattr(source, "name", None)
    return Path(name).name if isinstance(name, str) and name else "recording"


def open_source(source: Source) -> BinaryIO:
    """Open a source for reading from its beginning.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        A path, the content itself, or an open file that can be wound back.

    Returns
    -------
    binary file
        Positioned at the first byte.

    Raises
    ------
    RecordingError
        If there is no such file, or it cannot be read.

    Examples
    --------
    >>> open_source(b"0;12.6").read()
    b'0;12.6'
    """
    if isinstance(source, bytes):
        return io.BytesIO(source)
    if isinstance(source, (str, Path)):
        try:
            return open(source, "rb")
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or "not a usable file name"
            raise RecordingError("the recording cannot be opened", where=name_of(source), got=reason) from error
    source.seek(0)
    return source


def read_blocks(stream: BinaryIO, notes: list[str], size: int = BLOCK) -> Iterator[bytes]:
    """Read a stream block by block, unpacking gzip on the way.

    Parameters
    ----------
    stream : binary file
        Opened by :func:`open_source`.
    notes : list of str
        Receives a sentence when a packed stream turns out broken; what was unpacked before the break is kept.
    size : int
        Bytes per block [-].

    Yields
    ------
    bytes
        Between 1 and `size` bytes of plain content.

    Raises
    ------
    RecordingError
        If more than :data:`LARGEST` bytes come out.

    Examples
    --------
    >>> import gzip
    >>> list(read_blocks(io.BytesIO(gzip.compress(b"12.6")), []))
    [b'12.6']
    """
    head = stream.read(2)
    stream.seek(0)
    plain = _unpacked(stream, notes, size) if head == _GZIP else iter(lambda: stream.read(size), b"")
    total = 0
    for block in plain:
        total += len(block)
        if total > LARGEST:
            raise RecordingError("the recording is too large", expected=f"at most {LARGEST} bytes unpacked")
        yield block


class PlainStream(io.RawIOBase):
    """A source as a file of plain bytes that other libraries can read from front to back, block by block.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The recording, packed with gzip or not.
    notes : list of str
        As for :func:`read_blocks`.

    Examples
    --------
    >>> import gzip
    >>> PlainStream(gzip.compress(b"12.6 V"), []).read(4)
    b'12.6'
    """

    def __init__(self, source: Source, notes: list[str]) -> None:
        super().__init__()
        self._stream, self._owned = open_source(source), not hasattr(source, "read")
        self._blocks, self._rest = read_blocks(self._stream, notes, PORTION), b""

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer as far as the present block goes."""
        self._rest = self._rest or next(self._blocks, b"")
        count = min(len(buffer), len(self._rest))
        buffer[:count], self._rest = self._rest[:count], self._rest[count:]
        return count

    def close(self) -> None:
        """Close the source if it was opened here."""
        if self._owned and not self.closed:
            self._stream.close()
        super().close()


def _unpacked(stream: BinaryIO, notes: list[str], size: int) -> Iterator[bytes]:
    """Gather unpacked pieces into blocks of a size."""
    held: list[bytes] = []
    for piece in _pieces(stream, notes, size):
        held.append(piece)
        if sum(map(len, held)) >= size:
            whole = b"".join(held)
            yield from (whole[i : i + size] for i in range(0, len(whole) // size * size, size))
            held = [whole[len(whole) // size * size :]]
    rest = b"".join(held)
    if rest:
        yield rest


def _pieces(stream: BinaryIO, notes: list[str], size: int) -> Iterator[bytes]:
    """Unpack one or several gzip members in small pieces, keeping what came before a break."""
    engine, packed, count = zlib.decompressobj(wbits=31), b"", 0
    while packed := packed or stream.read(PIECE):
        try:
            piece = engine.decompress(packed, size)
        except zlib.error:
            notes.append(f"the gzip stream is damaged after {count} unpacked bytes; the rest could not be read")
            return
        count += len(piece)
        yield piece
        packed = engine.unconsumed_tail
        if engine.eof:
            packed, engine = engine.unused_data or stream.read(PIECE), zlib.decompressobj(wbits=31)
            if not packed.strip(b"\x00"):
                return
    last = engine.flush()
    yield last
    if not engine.eof:
        notes.append(f"the gzip stream ends early, after {count + len(last)} unpacked bytes")


def read_head(source: Source, size: int = 256 * 1024) -> bytes:
    """Read the first unpacked bytes of a source, to see what it is.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The recording.
    size : int
        How many bytes at most [-].

    Returns
    -------
    bytes
        The beginning of the plain content; empty for an empty source.

    Examples
    --------
    >>> read_head(b"time;volts", 4)
    b'time'
    """
    stream = open_source(source)
    try:
        parts: list[bytes] = []
        for block in read_blocks(stream, [], size):
            parts.append(block)
            if sum(map(len, parts)) >= size:
                break
        return b"".join(parts)[:size]
    finally:
        if stream is not source:
            stream.close()
