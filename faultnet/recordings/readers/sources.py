"""From a path, bytes or an open file to blocks of plain bytes: gzip is undone, breaks are said, limits are held to."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from faultnet.errors import RecordingError
from faultnet.limits import CONTENT, LimitedStream, Limits, limited_blocks

Source = str | Path | bytes | BinaryIO

BLOCK = 8 * 1024 * 1024
"""Bytes read at a time."""

PORTION = 64 * 1024
"""Bytes handed at a time to libraries that read by themselves."""


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


def read_blocks(stream: BinaryIO, notes: list[str], size: int = BLOCK, limits: Limits = CONTENT) -> Iterator[bytes]:
    """Read a stream block by block, unpacking gzip on the way.

    Parameters
    ----------
    stream : binary file
        Opened by :func:`open_source`.
    notes : list of str
        Receives a sentence when a packed stream turns out broken; what was unpacked before the break is kept.
    size : int
        Bytes per block [-].
    limits : Limits
        Where to stop.

    Yields
    ------
    bytes
        Between 1 and `size` bytes of plain content.

    Raises
    ------
    RecordingError
        If more comes out than `limits` allow.

    Examples
    --------
    >>> import gzip
    >>> list(read_blocks(io.BytesIO(gzip.compress(b"12.6")), []))
    [b'12.6']
    """
    return limited_blocks(stream, limits, RecordingError, "the recording", size, notes.append)


class PlainStream(LimitedStream):
    """A source as a file of plain bytes that other libraries can read from front to back, block by block.

    Parameters
    ----------
    source : str, Path, bytes or binary file
        The recording, packed with gzip or not.
    notes : list of str
        As for :func:`read_blocks`.
    limits : Limits
        Where to stop.

    Examples
    --------
    >>> import gzip
    >>> PlainStream(gzip.compress(b"12.6 V"), []).read(4)
    b'12.6'
    """

    def __init__(self, source: Source, notes: list[str], limits: Limits = CONTENT) -> None:
        self._stream, self._owned = open_source(source), not hasattr(source, "read")
        super().__init__(read_blocks(self._stream, notes, PORTION, limits))

    def close(self) -> None:
        """Close the source if it was opened here."""
        if self._owned and not self.closed:
            self._stream.close()
        super().close()


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
