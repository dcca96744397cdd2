"""The log that was given last from a browser: it stays until another is given, also over a reload."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from faultnet.cache import cache_folder

MOST = 6


@dataclass(frozen=True)
class Kept:
    """A file as it was given."""

    name: str
    data: bytes


def keep(browser: str, name: str, data: bytes) -> None:
    """Keep a file in place of the one before; where it cannot be kept, nothing but convenience is lost."""
    place = _place(browser)
    try:
        if place.exists() and place.read_bytes() == data:
            return
        place.parent.mkdir(parents=True, exist_ok=True)
        place.write_bytes(data)
        place.with_suffix(".json").write_text(json.dumps({"name": name}), encoding="utf-8")
        newest = sorted(place.parent.glob("*.log"), key=lambda path: path.stat().st_mtime, reverse=True)
        for old in newest[MOST:]:
            _remove(old)
    except OSError:
        return


def kept(browser: str) -> Kept | None:
    """The file that was given last; None where there is none."""
    place = _place(browser)
    try:
        name = json.loads(place.with_suffix(".json").read_text(encoding="utf-8"))["name"]
        return Kept(str(name), place.read_bytes())
    except (OSError, ValueError, KeyError):
        return None


def drop(browser: str) -> None:
    """Take the file away."""
    _remove(_place(browser))


def _remove(place: Path) -> None:
    for path in (place, place.with_suffix(".json")):
        path.unlink(missing_ok=True)


def _place(browser: str) -> Path:
    return cache_folder() / "logs" / f"{browser}.log"
