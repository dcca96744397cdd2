"""The demo cases that travel with the program, all invented, and cases named by file or by demo."""

from __future__ import annotations

import os
from pathlib import Path

from faultnet.case import file
from faultnet.case.types import Case
from faultnet.errors import CaseError
from faultnet.shipped import shipped

DEMO = "demo:"


def demo_cases() -> dict[str, Path]:
    """Return the demo cases that travel with the program, by name.

    Examples
    --------
    >>> "shorted_cell" in demo_cases()
    True
    """
    return {path.stem: path for path in sorted(shipped("cases").glob("*.json"))}


def case_path(argument: str) -> Path:
    """Turn an argument into a path: `demo:NAME` is a demo case, anything else is a path already.

    Raises
    ------
    CaseError
        If there is no such demo case.

    Examples
    --------
    >>> case_path("demo:shorted_cell").name
    'shorted_cell.json'
    """
    if not argument.startswith(DEMO):
        return Path(argument)
    name, known = argument.removeprefix(DEMO), demo_cases()
    if name not in known:
        raise CaseError("no such demo case", got=repr(name), expected=", ".join(known))
    return known[name]


def load_case(source: str | os.PathLike[str] | bytes) -> Case:
    """Read a case.

    Parameters
    ----------
    source : str, path or bytes
        ``"demo:NAME"`` for a demo case; all else as for :func:`faultnet.case.file.load_case`.

    Returns
    -------
    Case

    Raises
    ------
    CaseError
        If it cannot be read or accepted, with every fault.

    Examples
    --------
    >>> load_case("demo:shorted_cell").car.fuel
    'petrol'
    """
    return file.load_case(case_path(source) if isinstance(source, str) and source.startswith(DEMO) else source)
