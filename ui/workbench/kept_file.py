"""The log that was given last from a browser: it stays until another is given, also over a reload."""

from __future__ import annotations

import json
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from faultnet.cache import cache_folder, keep_file, open_kept

MOST = 6
MOST_TOLD = 10_000  # bytes


@dataclass(frozen=True)
class Kept:
    """A file as it was given."""

    name: str
    data: bytes


def keep(browser: str, name: str, data: bytes) -> None:
    """Keep a file in place of the one before; where it cannot be kept, nothing but convenience is lost."""
    place = _place(browser)
    before = kept(browser)
    if before is not None and before.data == data:
        return
    if not (keep_file(place, data) and keep_file(place.with_suffix(".json"), json.dumps({"name": name}).encode())):
        return
    with suppress(OSError):
        newest = sorted(place.parent.glob("*.log"), key=lambda path: path.stat().st_mtime, reverse=True)
        for old in newest[MOST:]:
            _remove(old)


def kept(browser: str) -> Kept | None:
    """The file that was given last; None where there is none."""
    place = _place(browser)
    try:
        with open_kept(place.with_suffix(".json")) as file:
            name = json.loads(file.read(MOST_TOLD))["name"]
        with open_kept(place) as file:
            return Kept(str(name), file.read())
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None


def drop(browser: str) -> None:
    """Take the file away."""
    _remove(_place(browser))


def _remove(place: Path) -> None:
    for path in (place, place.with_suffix(".json")):
        path.unlink(missing_ok=True)


def _place(browser: str) -> Path:
    return cache_folder() / "logs" / f"{browser}.log"
