"""Case files: one case as JSON, or as YAML written by hand, with a published schema.

A number is in the unit of its entry, or in the base unit of its test when none is given; text is read as typed on
screen (:func:`faultnet.units.parse_entry`). What is written is read back to an equal case. Files of version 1 are read
too: version 2 added a battery whose rating is not known, what the car needs, what it can do now, photos, readings under
a limit, and when and by whom something was entered. Test, instrument and
component ids are only checked for their spelling here: which ones exist is the catalogue's business.
"""

from __future__ import annotations

import json
import os
import sys
from pathlib import Path
from typing import Any

from faultnet.case.faults import SHOWN, CaseFileError, Fault, from_validation, shortened
from faultnet.case.tree import decode, first_part, read_json, read_yaml
from faultnet.case.types import Case
from faultnet.errors import CaseError, system_words
from faultnet.limits import CASE, LOOKED_AT_FIRST, MOST_ENTRIES

VERSION = 2


def load_case(source: str | os.PathLike[str] | bytes, name: str = "") -> Case:
    """Read a case.

    Parameters
    ----------
    source : str, path or bytes
        A path (``.yaml`` and ``.yml`` are read as YAML, all else as JSON), ``"-"`` for standard input, JSON text (it
        begins with a brace), or the bytes of a file.
    name : str
        Of the file that bytes came from; its ending says how they are read.

    Returns
    -------
    Case

    Raises
    ------
    CaseFileError
        If it cannot be read or accepted, with every fault.

    Examples
    --------
    >>> text = '{"format": "faultnet-case", "version": 2, "car": {"battery": {"rating": 600}}}'
    >>> load_case(text).car.battery.rating
    600.0
    """
    if isinstance(source, bytes):
        return _case_from_text(decode(source, name or "the bytes given"), name or "the bytes given")
    if isinstance(source, str) and source.lstrip().startswith("{"):
        return case_from_json(source)
    if source == "-":
        return case_from_json(decode(sys.stdin.buffer.read(CASE.size + 1), "standard input"), "standard input")
    path = Path(source)
    return _case_from_text(decode(_bytes_of(path), str(path)), str(path))


def _case_from_text(text: str, name: str) -> Case:
    """Read YAML if the name ends so, else JSON."""
    if name.lower().endswith((".yaml", ".yml")):
        return case_from_tree(read_yaml(text, name), name)
    return case_from_json(text, name)


def case_from_json(text: str, source: str = "the text given") -> Case:
    """Read a case from JSON text.

    Parameters
    ----------
    text : str
    source : str
        What to call it in an error.

    Returns
    -------
    Case

    Raises
    ------
    CaseFileError
        If it cannot be accepted, with every fault.

    Examples
    --------
    >>> case_from_json('{"format": "faultnet-case", "version": 2, "car": {"battery": {"rating": "600"}}}')
    Traceback (most recent call last):
    faultnet.case.faults.CaseFileError: the case cannot be accepted, 1 fault; where: the text given
      car.battery.rating: got "600", expected a valid number
    """
    return case_from_tree(read_json(text, source), source)


def case_from_tree(tree: Any, source: str = "the data given") -> Case:
    """Make a case from plain dictionaries and lists, as JSON or YAML hold it.

    Raises
    ------
    CaseFileError
        If it cannot be accepted, with every fault.

    Examples
    --------
    >>> case_from_tree({"format": "faultnet-case", "version": 2, "car": {"battery": {"rating": 600}}}).name
    ''
    """
    from pydantic import ValidationError

    from faultnet.case.form import CaseForm, known_fields

    _refuse_another_format(tree, source)
    for most in (LOOKED_AT_FIRST, MOST_ENTRIES):
        looked_at, length = first_part(tree, most)
        too_long = Fault("visits", f"{length:,} visits and entries", f"at most {MOST_ENTRIES:,}")
        excess: tuple[Fault, ...] = (too_long,) if length > MOST_ENTRIES else ()
        try:
            form = CaseForm.model_validate(looked_at)
        except ValidationError as error:
            first = error.errors(include_url=False, include_context=False)[: SHOWN - len(excess)]
            faults, count = (*excess, *from_validation(first, known_fields())), error.error_count() + len(excess)
            raise CaseFileError(source, faults, count=count, at_least=length > most) from None
        if length <= most:
            break
    if excess:
        raise CaseFileError(source, excess, to_do="make a case of each visit, or leave repeated readings out")
    return form.build()


def case_to_json(case: Case, indent: int | None = 2) -> str:
    """Write a case as JSON text that reads back to an equal case.

    Parameters
    ----------
    case : Case
    indent : int, optional
        Spaces per level; None for one line.

    Returns
    -------
    str

    Raises
    ------
    CaseError
        If the case holds something a case file cannot, such as an infinite value.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> case_to_json(Case(Car(Battery(600.0)), visits=()), indent=None)
    '{"format": "faultnet-case", "version": 2, "car": {"battery": {"rating": 600.0}}, "visits": []}'
    """
    from faultnet.case.plain import case_fields

    written = case_fields(case)
    text = json.dumps(written, indent=indent, ensure_ascii=False)
    if case_from_json(text, "the case to be written") != case:
        raise CaseError(
            "a case file cannot hold this case exactly",
            got=shortened(written),
            expected="values of the types of faultnet.case.types",
            to_do="report this with the case: it is a fault of the program",
        )
    return text


def case_schema() -> dict[str, Any]:
    """Give the JSON Schema of a case file.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. It is slightly wider than :func:`load_case`: whether the text of a value is a
        reading, and whether a date is in the calendar, only the program checks.

    Examples
    --------
    >>> case_schema()["required"]
    ['format', 'version', 'car']
    """
    from faultnet.case.form import CaseForm

    schema = _without_null(CaseForm.model_json_schema())
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def _bytes_of(path: Path) -> bytes:
    """Read a file.

    Raises
    ------
    CaseFileError
        If the system does not let us.
    """
    try:
        with path.open("rb") as file:
            return file.read(CASE.size + 1)
    except (OSError, ValueError) as error:
        reason = system_words(error)
        raise CaseFileError(shortened(path), (Fault("", reason, "a case file"),), to_do="check the path") from None


def _refuse_another_format(tree: Any, source: str) -> None:
    """Refuse what is not a case file of this version, before its fields are looked at.

    Raises
    ------
    CaseFileError
        If it is none.
    """
    if not isinstance(tree, dict):
        raise CaseFileError(source, (Fault("", shortened(tree), "an object with format, version and car"),))
    for name, known in (("format", ("faultnet-case",)), ("version", (VERSION, 1))):
        got = tree.get(name)
        if got not in known or isinstance(got, bool):
            found = shortened(got) if name in tree else "nothing"
            hint = "a newer program wrote it: update this one" if isinstance(got, int) and got > VERSION else None
            raise CaseFileError(source, (Fault(name, found, " or ".join(map(shortened, known))),), to_do=hint)


def _without_null(schema: Any) -> Any:
    """Take null out of a schema: a field that is not known is left out of the file."""
    if isinstance(schema, list):
        return [_without_null(part) for part in schema]
    if not isinstance(schema, dict):
        return schema
    kept = {name: _without_null(part) for name, part in schema.items() if not (name == "default" and part is None)}
    choices = kept.get("anyOf")
    if isinstance(choices, list) and {"type": "null"} in choices:
        (only,) = [choice for choice in kept.pop("anyOf") if choice != {"type": "null"}]
        kept.update(only)
    return kept
