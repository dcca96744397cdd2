"""Case text to plain dictionaries and lists, JSON or hand-written YAML, with the traps of both closed.

JSON as Python reads it lets a field appear twice and allows ``NaN``. YAML 1.1 turns ``no`` into false, ``12:30`` into
750 and ``2026-11-20`` into a date. Here a field may appear once, a number is a decimal number, only ``true`` and
``false`` are true and false, and everything else stays text.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Sequence
from typing import Any

from faultnet.case.faults import SHOWN, CaseFileError, Fault, path_text, shortened
from faultnet.limits import CASE, LONGEST_TEXT, YAML_CASE, size_words

MOST_LEVELS = 20
MOST_FIELDS = 1_000
"""Fields of an object, or parts of a list that is none of visits or entries (a case has forty at most)."""
_NOT_TEXT = re.compile("[\0\ud800-\udfff]")


def decode(data: bytes, source: str) -> str:
    """Turn the bytes of a case file into text.

    Parameters
    ----------
    data : bytes
        UTF-8, with or without a byte-order mark.
    source : str
        What to call it in an error.

    Returns
    -------
    str

    Raises
    ------
    CaseFileError
        If it is not UTF-8, or larger than any case can be.

    Examples
    --------
    >>> decode(b"\\xef\\xbb\\xbf{}", "a.json")
    '{}'
    """
    _refuse_size(len(data), CASE.size, source)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        found = f"byte {data[error.start]:#04x} at position {error.start}"
        raise CaseFileError(source, (Fault("", found, "text in UTF-8"),), to_do="save the file as UTF-8") from None


def read_json(text: str, source: str) -> Any:
    """Read JSON strictly.

    Raises
    ------
    CaseFileError
        If it is no JSON, a field appears twice, or a value is one that no case has.

    Examples
    --------
    >>> read_json('{"version": 1}', "a.json")
    {'version': 1}
    """
    try:
        tree = json.loads(text, object_pairs_hook=_without_twins)
    except _Twins as error:
        raise CaseFileError(source, (Fault("", f"the field {error} twice", "each field once"),)) from None
    except json.JSONDecodeError as error:
        place = f"{error.msg} at line {error.lineno}, column {error.colno}"
        raise CaseFileError(source, (Fault("", place, "JSON"),), to_do="check commas and quotes there") from None
    except (RecursionError, ValueError):
        raise CaseFileError(source, (Fault("", "JSON nested too deeply or a number too long", "a case"),)) from None
    return checked_tree(tree, source)


def read_yaml(text: str, source: str) -> Any:
    """Read YAML written by hand, with JSON's idea of numbers, true and false.

    Raises
    ------
    CaseFileError
        If it is no YAML, uses anchors or tags, a field appears twice, or a value is one that no case has.

    Examples
    --------
    >>> read_yaml("damp: no\\nvalue: 12:30\\ndate: 2026-11-20", "a.yaml")
    {'damp': 'no', 'value': '12:30', 'date': '2026-11-20'}
    """
    import yaml

    from faultnet.case.plain_yaml import PlainLoader

    _refuse_size(len(text), YAML_CASE.size, source, " written as YAML")
    try:
        tree = yaml.load(text, Loader=PlainLoader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        place = f" at line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        found = f"{getattr(error, 'problem', None) or 'a character that is not allowed'}{place}"
        raise CaseFileError(source, (Fault("", found, "YAML"),), to_do="check the indents and colons there") from None
    except (RecursionError, ValueError):
        raise CaseFileError(source, (Fault("", "YAML nested too deeply or a number too long", "a case"),)) from None
    return checked_tree(tree, source)


def first_part(tree: dict[str, Any], most: int) -> tuple[dict[str, Any], int]:
    """Cut a case down to its first visits and entries.

    Parameters
    ----------
    tree : dict
        A case as JSON or YAML hold it; anything in it may be amiss.
    most : int
        How many visits and entries together.

    Returns
    -------
    dict, int
        The case, itself if it is short enough, and how many visits and entries it had.

    Examples
    --------
    >>> first_part({"visits": [{"entries": [1, 2]}, {}]}, 2)
    ({'visits': [{'entries': [1]}]}, 4)
    """
    visits = tree.get("visits")
    if not isinstance(visits, list):
        return tree, 0
    lengths = [1 + len(_entries_of(visit)) for visit in visits]
    if sum(lengths) <= most:
        return tree, sum(lengths)
    kept: list[Any] = []
    left = most
    for visit, length in zip(visits, lengths, strict=True):
        if left > 0:
            entries = _entries_of(visit)
            kept.append({**visit, "entries": entries[: left - 1]} if entries else visit)
        left -= length
    return {**tree, "visits": kept}, sum(lengths)


def _longest_list(path: Sequence[str | int]) -> float:
    """Say how long a list may be here; visits and entries are counted together, later."""
    return math.inf if path and path[-1] in ("visits", "entries") else MOST_FIELDS


def _entries_of(visit: Any) -> list[Any]:
    entries = visit.get("entries") if isinstance(visit, dict) else None
    return entries if isinstance(entries, list) else []


def _refuse_size(size: int, most: int, source: str, kind: str = "") -> None:
    """Refuse what is larger than any case can be.

    Raises
    ------
    CaseFileError
        If it is.
    """
    if size > most:
        got, expected = size_words(size), size_words(most)
        if got == expected:  # reading stopped there
            got = f"more than {got}"
        raise CaseFileError(source, (Fault("", got, f"a case{kind} of at most {expected}"),))


class _Twins(ValueError):
    """A field that appears twice."""


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build a dictionary, refusing a field that appears twice.

    Raises
    ------
    _Twins
        With the name of the field.
    """
    fields = dict(pairs)
    if len(fields) < len(pairs):
        names = [name for name, _ in pairs]
        raise _Twins(shortened(next(name for place, name in enumerate(names) if name in names[:place])))
    return fields


def checked_tree(tree: Any, source: str) -> Any:
    """Refuse nulls and text that cannot be stored, naming every place.

    Raises
    ------
    CaseFileError
        If there is any.
    """
    walk = _Walk()
    walk.over(tree, [])
    if walk.count:
        raise CaseFileError(source, tuple(walk.faults), count=walk.count)
    return tree


class _Walk:
    """Walks a tree of dictionaries and lists and notes what is allowed nowhere: the first faults, and how many."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []
        self.count = 0

    def over(self, value: Any, path: list[str | int]) -> None:
        """Look at a value and all below it; `path` is the same again afterwards."""
        if isinstance(value, str):
            if len(value) > LONGEST_TEXT:
                self._note(path, f"{len(value):,} characters", f"a text of at most {LONGEST_TEXT:,}")
            elif _NOT_TEXT.search(value):
                self._note(path, shortened(value), "text without the null character or half characters")
        elif value is None:
            self._note(path, "null", "a value; leave the field out when it is not known")
        elif not isinstance(value, dict | list):
            return
        elif len(path) >= MOST_LEVELS:
            self._note(path_text(path[:3]) + " ...", "levels without end", f"at most {MOST_LEVELS} levels")
        elif len(value) > (MOST_FIELDS if isinstance(value, dict) else _longest_list(path)):
            self._note(path, f"{len(value):,} in one place", f"at most {MOST_FIELDS:,}")
        elif isinstance(value, dict):
            for name in value:
                self.over(name, path)
            self._inner(((str(name), inner) for name, inner in value.items()), path)
        else:
            self._inner(enumerate(value), path)

    def _inner(self, inner: Iterable[tuple[str | int, Any]], path: list[str | int]) -> None:
        for name, value in inner:
            path.append(name)
            self.over(value, path)
            path.pop()

    def _note(self, path: str | Sequence[str | int], got: str, expected: str) -> None:
        self.count += 1
        if len(self.faults) < SHOWN:
            self.faults.append(Fault(path if isinstance(path, str) else path_text(path), got, expected))
