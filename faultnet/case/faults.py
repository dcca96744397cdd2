"""Everything that is wrong with a case file, each fault with its path."""

from __future__ import annotations

import difflib
import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from faultnet.errors import CaseError

LONGEST_NAME = 60
"""Characters of a field's name that a message shows."""

SHOWN = 20
"""Faults that a message lists."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong.

    Parameters
    ----------
    path : str
        For example ``visits[0].entries[2].value``, counted from 0 as in JSON.
    got, expected : str
    """

    path: str
    got: str
    expected: str

    def __str__(self) -> str:
        return f"{self.path or 'the whole file'}: got {self.got}, expected {self.expected}"


class CaseFileError(CaseError):
    """A case file cannot be accepted.

    Parameters
    ----------
    source : str
        The file, or where else the text came from.
    faults : tuple of Fault
        Those that were found; the first :data:`SHOWN` are kept and listed.
    count : int, optional
        How many there are; as many as `faults` when left out.
    at_least : bool
        Whether there may be more, because not everything was looked at.
    to_do : str, optional

    Examples
    --------
    >>> print(CaseFileError("a.json", (Fault("car.fuel", '"gas"', "'petrol' or 'diesel'"),)))
    the case cannot be accepted, 1 fault; where: a.json
      car.fuel: got "gas", expected 'petrol' or 'diesel'
    """

    def __init__(
        self,
        source: str,
        faults: tuple[Fault, ...],
        *,
        count: int | None = None,
        at_least: bool = False,
        to_do: str | None = None,
    ) -> None:
        self.faults = faults[:SHOWN]
        self.count = max(len(faults), count or 0)
        said = "1 fault" if self.count == 1 else f"{self.count:,} faults"
        said = f"at least {said}" if at_least else said
        super().__init__(f"the case cannot be accepted, {said}", where=source, to_do=to_do)
        left = self.count - len(self.faults)
        more = [f"and {left:,} more"] if left else []
        self.args = ("\n  ".join([str(self.args[0]), *map(str, self.faults), *more]),)


def path_text(parts: Iterable[str | int]) -> str:
    """Write a path as people read it.

    Examples
    --------
    >>> path_text(["visits", 0, "entries", 2, "value"])
    'visits[0].entries[2].value'
    """
    text = ""
    for part in parts:
        name = part if isinstance(part, int) or len(part) <= LONGEST_NAME else part[: LONGEST_NAME - 3] + "..."
        text += f"[{name}]" if isinstance(name, int) else f".{name}" if text else name
    return text


def shortened(value: Any) -> str:
    """Show a value in at most some sixty characters.

    Examples
    --------
    >>> shortened({"a": 1})
    '{"a": 1}'
    """
    text = json.dumps(value, ensure_ascii=True, default=str)
    return text if len(text) <= 60 else text[:57] + "..."


def from_validation(errors: Iterable[Mapping[str, Any]], known: Collection[str] = ()) -> tuple[Fault, ...]:
    """Turn what pydantic found into faults.

    Parameters
    ----------
    errors : iterable of mapping
        From ``ValidationError.errors()``.
    known : collection of str
        All names of fields, to suggest one for a name that is unknown.

    Returns
    -------
    tuple of Fault
    """
    return tuple(_fault(error, known) for error in errors)


def _without_tags(location: Sequence[str | int]) -> list[str | int]:
    """Leave out the word by which pydantic tells a reading from an act; it is no part of the file."""
    kept = []
    for position, part in enumerate(location):
        before = location[max(position - 2, 0) : position]
        follows_entry = bool(before) and (before[-1] == "entry" or (before[0] == "entries" and before[-1] != "entries"))
        if not (follows_entry and part in ("reading", "act")):
            kept.append(part)
    return kept


def _fault(error: Mapping[str, Any], known: Collection[str]) -> Fault:
    """Turn one error of pydantic into a fault."""
    parts = _without_tags(error["loc"])
    path = path_text(parts)
    if error["type"] == "missing":
        return Fault(path, "nothing", "this field")
    if error["type"] == "extra_forbidden":
        name = str(parts[-1])[:LONGEST_NAME]
        # a name that is known has its place elsewhere
        close = [] if name in known else difflib.get_close_matches(name, known, n=1)
        return Fault(path, "an unknown field", f"perhaps {close[0]}" if close else "no such field here")
    return Fault(path, shortened(error["input"]), _expected(error))


_PATTERNS = {
    "date": "a date such as 2026-11-20",
    "at": "a moment such as 2026-11-20T14:05:31+00:00",
    "id": "64 hexadecimal digits, small letters",
}


def _expected(error: Mapping[str, Any]) -> str:
    """Take what was expected out of pydantic's message."""
    message = str(error["msg"])
    if error["type"] == "string_pattern_mismatch":
        return _PATTERNS.get(str(error["loc"][-1]), "an id of small letters, digits and underscores")
    for opening in ("Value error, ", "Input should be ", "String should "):
        message = message.removeprefix(opening)
    plain = {"a valid dictionary or instance of": "an object", "a valid boolean": "true or false"}
    return next((ours for theirs, ours in plain.items() if message.startswith(theirs)), message)
