"""Walk over the links between the blocks of a measurement file before asammdf follows them, which it does for ever."""

from __future__ import annotations

from collections.abc import Iterator
from typing import BinaryIO

HEADER = 64
"""Where the header block begins; each block has 24 bytes before its first link (ASAM MDF 4.1, from memory)."""

NEXT, FIRST, SECOND = 24, 32, 40
"""Places of the first three links in a block: the next block of its list, its own first part, its data."""


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
    for other in range(HEADER + FIRST, HEADER + FIRST + 32, 8):
        for _ in _listed(stream, _link(stream, other), seen):
            pass
    for data_group in _listed(stream, _link(stream, HEADER + NEXT), seen):
        for group in _listed(stream, _link(stream, data_group + FIRST), seen):
            for _ in _listed(stream, _link(stream, group + FIRST), seen):
                pass
        _walk_data(stream, _link(stream, data_group + SECOND))
    stream.seek(0)


def _walk_data(stream: BinaryIO, address: int) -> None:
    """Walk over the list of data blocks of a group, if it has one."""
    if _kind(stream, address) == b"##HL":
        address = _link(stream, address + NEXT)
    if _kind(stream, address) in (b"##DL", b"##LD"):
        for _ in _listed(stream, address, set()):
            pass


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
