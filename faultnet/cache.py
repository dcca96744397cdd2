"""The folder in which what was worked out once is kept for later runs.

Nothing in it is needed: a damaged or unwritable cache only costs time.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from functools import cache
from pathlib import Path

PACKAGE = Path(__file__).parent


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
        False when the folder cannot be written.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with tempfile.NamedTemporaryFile(dir=path.parent, delete=False) as file:
            file.write(data)
        os.replace(file.name, path)
    except OSError:
        return False
    return True


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
