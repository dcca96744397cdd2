"""Walk over the links between the blocks of a measurement file before asammdf follows them, which it does for ever."""

from __future__ import annotations

import zlib
from collections.abc import Iterator
from typing import BinaryIO

from faultnet.errors import RecordingError
from faultnet.limits import MEGABYTE, size_words

HEADER = 64
"""Where the header block begins; each block has 24 bytes before its first link (ASAM MDF 4.1, from memory)."""

NEXT, FIRST, SECOND = 24, 32, 40
"""Places of the first three links in a block: the next block of its list, its own first part, its data."""

MOST_UNPACKED = 1000 * MEGABYTE
"""Bytes that the packed data blocks of a measurement file may hold together (estimate)."""

MOST_LINKS = 1_000_000
"""Data blocks that one block of a list may name (estimate)."""

MOST_BLOCK = 64 * MEGABYTE
"""Bytes that one packed data block may hold: asammdf unpacks it whole; writers cut blocks at 4 MB (estimate)."""

ONE_BYTE_TO = 1032
"""Bytes that one packed byte may become: the most that deflate can do (RFC 1951: 258 bytes by two bits)."""


def refuse_endless(stream: BinaryIO) -> None:
    """Refuse a measurement file whose blocks lead back to one that came before.

    Parameters
    ----------
    stream : binary file
        The measurement file, unpacked; it is wound back afterwards.

    Raises
    ------
    ValueError
        If it is not of version 4, or a block is met twice in lists of which each block has but one place.
    RecordingError
        If its packed data blocks hold more than :data:`MOST_BLOCK` or, together, :data:`MOST_UNPACKED`.

    Notes
    -----
    Walked are the lists of data groups, their channel groups and data lists, and the channels of those; file
    histories, attachments, events and hierarchies.

    Examples
    --------
    >>> import io
    >>> refuse_endless(io.BytesIO(b"MDF     3.30    "))
    Traceback (most recent call last):
    ...
    ValueError: not of version 4
    """
    stream.seek(0)
    if stream.read(16)[8:9] != b"4":
        raise ValueError("not of version 4")
    seen: set[int] = set()
    total = 0
    for other in range(HEADER + FIRST, HEADER + FIRST + 32, 8):
        for _ in _listed(stream, _link(stream, other), seen):
            pass
    for data_group in _listed(stream, _link(stream, HEADER + NEXT), seen):
        for group in _listed(stream, _link(stream, data_group + FIRST), seen):
            for _ in _listed(stream, _link(stream, group + FIRST), seen):
                pass
        total += _walk_data(stream, _link(stream, data_group + SECOND))
        if total > MOST_UNPACKED:
            raise _too_much(total, MOST_UNPACKED, "its data blocks together")
    stream.seek(0)


def _walk_data(stream: BinaryIO, address: int) -> int:
    """Walk over the data blocks of a group; give how many bytes the packed ones hold."""
    if _kind(stream, address) == b"##HL":
        address = _link(stream, address + NEXT)
    if _kind(stream, address) not in (b"##DL", b"##LD"):
        return _unpacked_size(stream, address)
    total = 0
    for block in _listed(stream, address, set()):
        for number in range(1, min(_number(stream, block + 16), MOST_LINKS)):
            total += _unpacked_size(stream, _link(stream, block + NEXT + 8 * number))
            if total > MOST_UNPACKED:
                raise _too_much(total, MOST_UNPACKED, "its data blocks together")
    return total


def _unpacked_size(stream: BinaryIO, address: int) -> int:
    """Give how many bytes a packed data block holds, by unpacking it where it could be too many; 0 if it is none.

    A packed block has the size it claims at 32 and its packed size at 40, counted from its beginning, and its content
    from 48 on (ASAM MDF 4.1, from memory).
    """
    if not address or _kind(stream, address) != b"##DZ":
        return 0
    claimed, packed = _number(stream, address + 32), _number(stream, address + 40)
    if claimed > MOST_BLOCK:
        raise _too_much(claimed, MOST_BLOCK, "a data block")
    if packed * ONE_BYTE_TO <= MOST_BLOCK:
        return claimed if packed * ONE_BYTE_TO >= claimed else packed * ONE_BYTE_TO
    content = zlib.decompressobj().decompress(_bytes(stream, address + 48, min(packed, MOST_BLOCK)), MOST_BLOCK + 1)
    if len(content) > MOST_BLOCK:
        raise _too_much(len(content), MOST_BLOCK, "a data block")
    return max(claimed, len(content))


def _too_much(found: int, most: int, what: str) -> RecordingError:
    return RecordingError(
        "too much to read", where=f"the measurement file, {what}", got=f"{size_words(found)} unpacked, or more",
        expected=f"at most {size_words(most)}", to_do="export a shorter stretch",
    )  # fmt: skip


def _listed(stream: BinaryIO, address: int, seen: set[int]) -> Iterator[int]:
    """Give the places of the blocks of a list."""
    while address:
        if address in seen:
            raise ValueError("a block is met twice")
        seen.add(address)
        yield address
        address = _link(stream, address + NEXT)


def _link(stream: BinaryIO, place: int) -> int:
    """Read a link; 0 beyond the end of the file."""
    return _number(stream, place)


def _number(stream: BinaryIO, place: int) -> int:
    """Read eight bytes as a number; 0 beyond the end of the file."""
    found = _bytes(stream, place, 8)
    return int.from_bytes(found, "little") if len(found) == 8 else 0


def _kind(stream: BinaryIO, place: int) -> bytes:
    """Read what kind of block begins at a place."""
    return _bytes(stream, place, 4)


def _bytes(stream: BinaryIO, place: int, count: int) -> bytes:
    if place >= 2**62:
        return b""
    stream.seek(place)
    return stream.read(count)
