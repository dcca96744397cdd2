"""Where prior sets lie: shipped ones, those of the user in versions, and which of them is in use.

The user's folder holds one folder a name and in it one a version, each a whole prior set: ``hot_region/1``. The file
``accepted.jsonl`` beside them is only ever added to: which version was accepted and which acceptance was taken back.
What is in use follows from it, so that taking back deletes nothing and restores what was there before to the letter.
"""

from __future__ import annotations

import json
import os
import re
from contextlib import suppress
from pathlib import Path

from faultnet.errors import PriorsError, system_words
from faultnet.limits import LIST, size_words
from faultnet.shipped import shipped

PLACE = "FAULTNET_PRIORS"
IN_USE = "in_use"
LOG = "accepted.jsonl"
NAME = re.compile(r"[a-z][a-z0-9_]{0,40}")
Named = tuple[str, str]


def user_priors() -> Path:
    """Return the folder of the user's prior sets: ``FAULTNET_PRIORS`` if set, else in the user's data folder."""
    named = os.environ.get(PLACE)
    if named:
        return Path(named)
    import platformdirs

    return platformdirs.user_data_path("faultnet") / "priors"


def steps() -> tuple[dict[str, str], ...]:
    """Return everything that was accepted or taken back, oldest first.

    A line that cannot be read is passed over (:func:`damaged_lines` names it): what a killed program left of a line was
    never acknowledged, and what is known good must go on working.

    Returns
    -------
    tuple of dict
        With `did` ("accepted" or "taken_back"), `name`, `version` and `at` (UTC).

    Raises
    ------
    PriorsError
        If the file cannot be read.
    """
    return tuple(step for step in map(_step, _lines()) if step is not None)


def damaged_lines() -> tuple[str, ...]:
    """Name every line of the list of accepted sets that cannot be read, with its folder and what to do."""
    place = user_priors() / LOG
    return tuple(
        f"line {number} of {place} cannot be read and is passed over: {line[:60]!r}; take that line out (no prior set "
        "is touched by that) and see with `faultnet priors list` what is in use"
        for number, line in enumerate(_lines(), start=1)
        if _step(line) is None
    )


def _lines() -> list[str]:
    place = user_priors() / LOG
    try:
        with place.open("rb") as file:
            content = file.read(LIST.size + 1)
    except FileNotFoundError:
        return []
    except OSError as error:
        got = system_words(error)
        raise PriorsError("the list of accepted prior sets cannot be read", where=str(place), got=got) from None
    if len(content) > LIST.size:
        raise PriorsError(
            "too much to read", where=str(place), got="more", expected=f"at most {size_words(LIST.size)}",
            to_do="move that file away",
        )  # fmt: skip
    return [line for line in content.decode("utf-8", "replace").split("\n") if line.strip()]


def _step(line: str) -> dict[str, str] | None:
    """Read a line; None if it is none that was written whole."""
    wanted = {"did", "name", "version", "at"}
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not (isinstance(found, dict) and wanted <= set(found) and found["did"] in ("accepted", "taken_back")):
        return None
    return {name: str(found[name]) for name in wanted}


def standing() -> tuple[Named, ...]:
    """Return what was accepted and not taken back, oldest first: pairs of name and version; the last is in use."""
    found: list[Named] = []
    for step in steps():
        if step["did"] == "accepted":
            found.append((step["name"], step["version"]))
        elif found:
            found.pop()
    return tuple(found)


def set_folder(name: str) -> Path:
    """Find a prior set.

    Parameters
    ----------
    name : str
        "in_use", a folder, a shipped set, ``name`` of a set of the user (its version that was accepted last and not
        taken back) or ``name@version``.

    Returns
    -------
    pathlib.Path
        An existing folder.

    Raises
    ------
    PriorsError
        If there is none.

    Examples
    --------
    >>> set_folder("standard").name
    'standard'
    """
    accepted = standing()
    if name == IN_USE:
        name = "@".join(accepted[-1]) if accepted else "standard"
    own, _, version = name.partition("@")
    version = version or next((v for n, v in reversed(accepted) if n == own), "")
    plain = not {"/", "\\", "."} & set(name)
    places = [*([shipped("priors") / name] if plain else []), *([user_priors() / own / version] if version else [])]
    with suppress(OSError, ValueError):  # no folder can have such a name, or be looked at
        for place in (*places, Path(name)):
            if place.is_dir():
                return place
    ours = sorted(path.parent.name for path in shipped("priors").glob("*/prior_set.toml"))
    raise PriorsError(
        "no such prior set",
        where=name,
        expected="one of " + ", ".join((*ours, *(f"{n}@{v}" for n, v in own_versions()))),
        to_do="name one of these, or give the folder of your own",
    )


def own_versions() -> tuple[Named, ...]:
    """Return every version in the user's folder, whether in use or not, as pairs of name and version.

    Folders of other names, such as what a killed program left behind (``.new_...``), are none.
    """
    found = sorted(user_priors().glob("*/*/prior_set.toml"))
    named = [(path.parent.parent.name, path.parent.name) for path in found]
    named = [(name, version) for name, version in named if NAME.fullmatch(name) and version.isdecimal()]
    return tuple(sorted(named, key=lambda pair: (pair[0], len(pair[1]), pair[1])))
