"""The folder in which what was worked out once is kept for later runs.

Nothing in it is needed: a damaged or unwritable cache only costs time.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


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
