"""The folder in which what was worked out once is kept for later runs.

Nothing in it is needed: a damaged or unwritable cache only costs time. Nothing in it is trusted either: what is kept
carries a seal made with a key that only its user can read, so that whoever else may write into the folder cannot change
an answer.
"""

from __future__ import annotations

import hashlib
import hmac
import os
import secrets
import stat
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import BinaryIO

PACKAGE = Path(__file__).parent
KEY_BYTES = 32


def cache_folder() -> Path:
    """Where things are kept: ``FAULTNET_CACHE`` if set, else the user's cache folder."""
    if named := os.environ.get("FAULTNET_CACHE"):
        return Path(named)
    from platformdirs import user_cache_dir

    return Path(user_cache_dir("faultnet")) / "networks"


def keep_file(path: Path, data: bytes) -> bool:
    """Write a file beside its final name and rename it, so that a reader never sees half of it.

    Returns
    -------
    bool
        False when the folder cannot be written, or the disk is full; nothing is left behind then.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, beside = tempfile.mkstemp(dir=path.parent)
    except OSError:
        return False
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.replace(beside, path)
    except OSError:
        return False
    finally:
        with suppress(OSError):
            os.unlink(beside)  # there is none once it has its final name
    return True


def open_kept(path: Path, *, adding: bool = False) -> BinaryIO:
    """Open a file that was kept, and no pipe, device or link that somebody put in its place.

    Reading those may never end, and what is added to the end of a link goes into a file elsewhere.

    Parameters
    ----------
    path : Path
    adding : bool
        To add to its end, and make it if there is none.

    Raises
    ------
    OSError
        If there is no such file.
    """
    flags = os.O_WRONLY | os.O_APPEND | os.O_CREAT if adding else os.O_RDONLY
    for name in ("O_NONBLOCK", "O_NOFOLLOW", "O_BINARY"):  # not every system has all
        flags |= getattr(os, name, 0)
    handle = os.open(path, flags, 0o600)
    if not stat.S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise FileNotFoundError(path)
    return os.fdopen(handle, "ab" if adding else "rb")


def seal(name: str, *parts: bytes | memoryview) -> str:
    """Vouch for what is kept under a name.

    Parameters
    ----------
    name : str
        What it is kept as; under another name the seal does not hold.
    parts : bytes
        Each whole.

    Returns
    -------
    str
        HMAC-SHA256 [1]_ with the user's own key, in hexadecimal digits. Compare it with
        :func:`hmac.compare_digest`.

    References
    ----------
    .. [1] RFC 2104, "HMAC: Keyed-Hashing for Message Authentication", section 2 (from memory).

    Examples
    --------
    >>> seal("a", b"bc") == seal("a", b"bc"), seal("a", b"bc") == seal("a", b"b", b"c"), len(seal("a"))
    (True, False, 64)
    """
    digest = hmac.new(own_key(key_file()), digestmod="sha256")
    for part in (name.encode(), *parts):
        digest.update(memoryview(part).nbytes.to_bytes(8, "little"))
        digest.update(part)
    return digest.hexdigest()


def key_file() -> Path:
    """Where the key of this user lies: ``FAULTNET_KEY`` if set, else in the user's data folder."""
    if named := os.environ.get("FAULTNET_KEY"):
        return Path(named)
    from platformdirs import user_data_dir

    return Path(user_data_dir("faultnet")) / "cache.key"


@cache
def own_key(path: Path) -> bytes:
    """The key in a file that nobody else can read, drawn when there is none.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bytes
        Where no such file can be kept, a key for this process alone: what other runs kept is then built anew.
    """
    kept = _read_key(path)
    if kept is not None:
        return kept
    drawn = secrets.token_bytes(KEY_BYTES)
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:  # readable by its owner only
            file.write(drawn)
        with suppress(FileExistsError):  # another process was faster: its key is taken
            _put(Path(file.name), path)
    return _read_key(path) or drawn


def _put(file: Path, path: Path) -> None:
    """Give a finished file its name; a file of that name is only replaced when it holds no key of ours."""
    try:
        if _read_key(path) is None:
            path.unlink(missing_ok=True)
        os.link(file, path)
        file.unlink()
    except FileExistsError:
        file.unlink()
        raise
    except (OSError, AttributeError):  # a file system without second names
        os.replace(file, path)


def _read_key(path: Path) -> bytes | None:
    """The key in a file; None where there is none, or where somebody else can read or has written it."""
    try:
        with path.open("rb") as file:
            if not is_own(file.fileno(), private=True):
                return None
            kept = file.read(KEY_BYTES + 1)
    except OSError:
        return None
    return kept if len(kept) == KEY_BYTES else None


def is_own(file: int, *, private: bool = False) -> bool:
    """Whether an open file is this user's and nobody else can change it.

    Parameters
    ----------
    file : int
        Its descriptor.
    private : bool
        Nor read it.
    """
    if not hasattr(os, "geteuid"):
        return True  # a system on which a user's folders are closed to others as they are
    told = os.fstat(file)
    closed = stat.S_IRWXG | stat.S_IRWXO if private else stat.S_IWGRP | stat.S_IWOTH
    return told.st_uid == os.geteuid() and not stat.S_IMODE(told.st_mode) & closed


@cache
def code_hash(*parts: str) -> str:
    """Hash of the text of some modules, so that what other code worked out is not taken for this code's.

    Parameters
    ----------
    parts : str
        Files and folders inside the package, such as ``"physics"`` or ``"instruments.py"``.

    Raises
    ------
    FileNotFoundError
        If the package has no such file or folder: after a move, a hash of nothing would hold for ever.

    Examples
    --------
    >>> code_hash("errors.py") == code_hash("errors.py") != code_hash("units")
    True
    """
    digest = hashlib.sha256()
    for part in parts:
        here = PACKAGE / part
        files = sorted(here.rglob("*.py")) if here.is_dir() else [here]
        if not files:
            raise FileNotFoundError(here)
        for path in files:
            digest.update(path.relative_to(PACKAGE).as_posix().encode() + path.read_bytes())
    return digest.hexdigest()
