"""Case text to plain dictionaries and lists, JSON or hand-written YAML, with the traps of both closed.

JSON as Python reads it lets a field appear twice and allows ``NaN``. YAML 1.1 turns ``no`` into false, ``12:30`` into
750 and ``2026-11-20`` into a date. Here a field may appear once, a number is a decimal number, only ``true`` and
``false`` are true and false, and everything else stays text.
"""

from __future__ import annotations

import json
from typing import Any

from faultnet.case.faults import CaseFileError, Fault, path_text, shortened

MOST_BYTES = 20_000_000
MOST_LEVELS = 20


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
    if len(data) > MOST_BYTES:
        size = f"{len(data) / 1e6:.0f} MB"
        raise CaseFileError(source, (Fault("", size, f"a case of at most {MOST_BYTES / 1e6:.0f} MB"),))
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

    try:
        tree = yaml.load(text, Loader=PlainLoader)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        place = f" at line {mark.line + 1}, column {mark.column + 1}" if mark else ""
        found = f"{getattr(error, 'problem', None) or 'a character that is not allowed'}{place}"
        raise CaseFileError(source, (Fault("", found, "YAML"),), to_do="check the indents and colons there") from None
    except RecursionError:
        raise CaseFileError(source, (Fault("", "YAML nested too deeply", "a case"),)) from None
    return checked_tree(tree, source)


class _Twins(ValueError):
    """A field that appears twice."""


def _without_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Build a dictionary, refusing a field that appears twice.

    Raises
    ------
    _Twins
        With the name of the field.
    """
    fields: dict[str, Any] = {}
    for name, value in pairs:
        if name in fields:
            raise _Twins(shortened(name))
        fields[name] = value
    return fields


def checked_tree(tree: Any, source: str) -> Any:
    """Refuse nulls and text that cannot be stored, naming every place.

    Raises
    ------
    CaseFileError
        If there is any.
    """
    faults: list[Fault] = []
    _collect(tree, [], faults)
    if faults:
        raise CaseFileError(source, tuple(faults))
    return tree


def _collect(value: Any, path: list[str | int], faults: list[Fault]) -> None:
    """Walk a tree of dictionaries and lists and note what is not allowed anywhere."""
    if len(path) > MOST_LEVELS:
        faults.append(Fault(path_text(path[:3]) + " ...", "levels without end", f"at most {MOST_LEVELS} levels"))
    elif isinstance(value, dict):
        for name, inner in value.items():
            _collect(name, path, faults)
            _collect(inner, [*path, str(name)], faults)
    elif isinstance(value, list):
        for position, inner in enumerate(value):
            _collect(inner, [*path, position], faults)
    elif value is None:
        faults.append(Fault(path_text(path), "null", "a value; leave the field out when it is not known"))
    elif isinstance(value, str) and any(c == "\0" or "\ud800" <= c <= "\udfff" for c in value):
        faults.append(Fault(path_text(path), shortened(value), "text without the null character or half characters"))
