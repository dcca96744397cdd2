"""Files that appear whole or not at all: written beside their place, put on the disk, then renamed."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO


@contextmanager
def written_whole(path: str | os.PathLike[str], *, private: bool = False) -> Iterator[BinaryIO]:
    """Open a file to write that takes its name only once everything is in it and on the disk.

    Parameters
    ----------
    path : str or path
        What stands there is replaced at the end and stays if anything fails. What is no plain file (a pipe, a terminal)
        is written to as it is.
    private : bool
        Whether only its owner may read it; else it has the rights that a new file of the user has.

    Yields
    ------
    binary file

    Raises
    ------
    OSError
        If the system does not let us; nothing is left behind then.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     with written_whole(f"{folder}/a.txt") as file:
    ...         _ = file.write(b"12.6 V")
    ...     Path(folder, "a.txt").read_bytes(), len(os.listdir(folder))
    (b'12.6 V', 1)
    """
    target = Path(path)
    if target.exists() and not target.is_file():
        with target.open("wb") as file:
            yield file
        return
    target = target.resolve() if target.is_symlink() else target
    handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:40]}.")
    try:
        with os.fdopen(handle, "wb") as file:
            yield file
            file.flush()
            os.fsync(file.fileno())
        if not private:
            os.chmod(name, _rights(target))
        os.replace(name, target)
    except BaseException:
        with suppress(OSError):
            os.unlink(name)
        raise


def _rights(target: Path) -> int:
    """Rights of the file that is replaced, or those of a new one."""
    with suppress(OSError):
        return stat.S_IMODE(target.stat().st_mode)
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask
