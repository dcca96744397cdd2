"""How much may come in from outside, and the one reader that holds to it.

A packed file of a megabyte can hold gigabytes, and a line need not end. So whatever is read from a file, an upload or
standard input goes through :func:`limited_blocks`: gzip is undone, bytes and line ends are counted while they come,
and reading stops at the limit, which the message names. All limits stand here; each is an estimate, no source.
"""

from __future__ import annotations

import io
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

from faultnet.errors import FaultnetError

MEGABYTE = 1_000_000

PIECE = 1024
"""Packed bytes unpacked at a time: what a break in the stream may cost at most."""

MOST_PACKED = 200
"""How many times smaller a packed file may be than what it holds: logs pack 5 to 60 times, zeros 1,000."""

FREE = 4 * MEGABYTE
"""Bytes up to which nobody asks how well they were packed."""

LONGEST_TEXT = 100_000
"""Characters in a note or another text of a case: CSV readers, Python's among them, take cells up to 131,072."""

MOST_ENTRIES = 5_000
"""Visits and entries of a case together: a case of 30 visits with 100 entries each has 3,030."""

LOOKED_AT_FIRST = 1_000
"""Visits and entries of a case that are looked at before the rest, so that a long bad file is answered at once."""

HELD = 256 * MEGABYTE
"""Bytes of standard input, which has to be held in memory."""

_GZIP = b"\x1f\x8b"

Refuse = Callable[..., FaultnetError]


@dataclass(frozen=True)
class Limits:
    """How much of one kind of file is read.

    Parameters
    ----------
    size : int
        Bytes after unpacking.
    line : int
        Bytes of a line; 0 where the content has no lines.
    rows : int
        Lines; 0 where the content has none.
    """

    size: int
    line: int = 0
    rows: int = 0


CASE = Limits(20 * MEGABYTE)
YAML_CASE = Limits(100_000)
LOG = Limits(4000 * MEGABYTE, line=MEGABYTE, rows=200_000_000)
CONTENT = Limits(4000 * MEGABYTE)
HISTORY = Limits(4000 * MEGABYTE, line=2 * MEGABYTE, rows=20_000_000)
LIST = Limits(20 * MEGABYTE, line=100_000)
MOST_ROWS_OF_CASE = MOST_ENTRIES
MOST_BAD_ROWS = 10_000


def limited_blocks(
    stream: BinaryIO,
    limits: Limits,
    refuse: Refuse,
    where: str,
    size: int,
    broken: Callable[[str], None] | None = None,
) -> Iterator[bytes]:
    """Read a stream block by block, unpacking gzip on the way, and stop at a limit.

    Parameters
    ----------
    stream : binary file
        At its beginning.
    limits : Limits
    refuse : callable
        Makes the error, as :class:`~faultnet.errors.FaultnetError` is made.
    where : str
        What to call the source in a message.
    size : int
        Bytes of a block.
    broken : callable, optional
        Told in a sentence when a packed stream turns out damaged; what came before the break is then kept. When left
        out, a damaged stream is an error.

    Yields
    ------
    bytes
        Between 1 and `size` bytes of plain content.

    Raises
    ------
    FaultnetError
        That of `refuse`, when more comes than `limits` allow.

    Examples
    --------
    >>> list(limited_blocks(io.BytesIO(b"12.6"), LOG, FaultnetError, "a log", 3))
    [b'12.', b'6']
    >>> list(limited_blocks(io.BytesIO(b"12.6"), Limits(3), FaultnetError, "a log", 3))
    Traceback (most recent call last):
    ...
    faultnet.errors.FaultnetError: too much to read; where: a log; got: more; expected: at most 3 bytes...
    """
    source = _Counted(stream)
    head = source.read(2)
    packed = head == _GZIP
    damage = broken or _refusing(refuse, where)
    plain = _unpacked(source, head, damage, size) if packed else _plain(source, head, size)
    count = _Count(limits, refuse, where)
    for block in plain:
        count.add(block, source.taken if packed else 0)
        yield block


class LimitedStream(io.RawIOBase):
    """A source as a file of plain bytes that other libraries read from front to back, held to its limits.

    Parameters
    ----------
    blocks : iterator of bytes
        Of :func:`limited_blocks`.

    Examples
    --------
    >>> LimitedStream(iter([b"12.6 V"])).read(4)
    b'12.6'
    """

    def __init__(self, blocks: Iterator[bytes]) -> None:
        super().__init__()
        self._blocks, self._rest = blocks, b""

    def readable(self) -> bool:
        """Say that it can be read."""
        return True

    def readinto(self, buffer: Any) -> int:
        """Fill a buffer as far as the present block goes."""
        self._rest = self._rest or next(self._blocks, b"")
        count = min(len(buffer), len(self._rest))
        buffer[:count], self._rest = self._rest[:count], self._rest[count:]
        return count


def size_words(size: int) -> str:
    """Write a number of bytes.

    Examples
    --------
    >>> size_words(4_000_000_000), size_words(300_000), size_words(3)
    ('4,000 MB', '300 kB', '3 bytes')
    """
    if size >= MEGABYTE:
        return f"{size / MEGABYTE:,.0f} MB"
    return f"{size / 1000:,.0f} kB" if size >= 1000 else f"{size} bytes"


class _Counted:
    """A stream that knows how much was taken from it."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream, self.taken = stream, 0

    def read(self, size: int) -> bytes:
        found = self._stream.read(size)
        self.taken += len(found)
        return found


class _Count:
    """Adds up what has come and refuses what is too much."""

    def __init__(self, limits: Limits, refuse: Refuse, where: str) -> None:
        self._limits, self._refuse, self._where = limits, refuse, where
        self._size = self._rows = self._line = 0

    def add(self, block: bytes, packed: int) -> None:
        """Count a block; `packed` is how many packed bytes all blocks so far came from, 0 if none was packed."""
        limits = self._limits
        self._size += len(block)
        if self._size > limits.size:
            raise self._error("more", f"at most {size_words(limits.size)} unpacked")
        if packed and self._size > max(FREE, MOST_PACKED * packed):
            raise self._error(
                f"{size_words(self._size)} from {size_words(packed)} packed",
                f"a file packed at most {MOST_PACKED} times",
                "unpack it and look at what it holds",
            )
        if limits.line:
            self._add_lines(block)

    def _add_lines(self, block: bytes) -> None:
        mark = b"\n" if b"\n" in block or b"\r" not in block else b"\r"
        first, last = block.find(mark), block.rfind(mark)
        longest = self._line + (len(block) if first < 0 else first)
        self._line = longest if last < 0 else len(block) - last - 1
        if len(block) > self._limits.line:
            longest = max(longest, *map(len, block.split(mark)))
        if max(longest, self._line) > self._limits.line:
            raise self._error("a line without an end", f"lines of at most {size_words(self._limits.line)}")
        self._rows += block.count(mark)
        if self._limits.rows and self._rows > self._limits.rows:
            raise self._error("more", f"at most {self._limits.rows:,} rows")

    def _error(self, got: str, expected: str, to_do: str = "take a smaller part of it") -> FaultnetError:
        return self._refuse("too much to read", where=self._where, got=got, expected=expected, to_do=to_do)


def _refusing(refuse: Refuse, where: str) -> Callable[[str], None]:
    def damaged(sentence: str) -> None:
        raise refuse("the packed file is damaged", where=where, got=sentence, to_do="take another copy of it")

    return damaged


def _plain(source: _Counted, head: bytes, size: int) -> Iterator[bytes]:
    """Give what is not packed in blocks, the bytes already read first."""
    block = head + source.read(max(size - len(head), 0)) if len(head) == 2 else head
    while block:
        yield from (block[i : i + size] for i in range(0, len(block), size))
        block = source.read(size)


def _unpacked(source: _Counted, head: bytes, damage: Callable[[str], None], size: int) -> Iterator[bytes]:
    """Gather unpacked pieces into blocks of a size."""
    held = bytearray()
    for piece in _pieces(source, head, damage, size):
        held += piece
        while len(held) >= size:
            yield bytes(held[:size])
            del held[:size]
    if held:
        yield bytes(held)


def _pieces(source: _Counted, head: bytes, damage: Callable[[str], None], size: int) -> Iterator[bytes]:
    """Unpack one or several gzip members in small pieces, keeping what came before a break."""
    engine, packed, count = zlib.decompressobj(wbits=31), head, 0
    while packed := packed or source.read(PIECE):
        try:
            piece = engine.decompress(packed, size)
        except zlib.error:
            damage(f"the gzip stream is damaged after {count} unpacked bytes; the rest could not be read")
            return
        count += len(piece)
        yield piece
        packed = engine.unconsumed_tail
        if engine.eof:
            packed, engine = engine.unused_data or source.read(PIECE), zlib.decompressobj(wbits=31)
            if not packed.strip(b"\x00"):
                return
    last = engine.flush()
    yield last
    if not engine.eof:
        damage(f"the gzip stream ends early, after {count + len(last)} unpacked bytes")
