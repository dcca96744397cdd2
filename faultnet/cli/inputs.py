"""What the commands are given: cases, tools, prior sets, files to write, the front end."""

from __future__ import annotations

import io
import sys
from collections.abc import Collection, Sequence
from dataclasses import replace
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from faultnet.case.demo import case_path, load_case
from faultnet.case.types import Case, Reading, Visit
from faultnet.errors import CaseError, EntryError, FaultnetError, MissingExtraError, RecordingError, system_words
from faultnet.limits import HELD, size_words
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.shipped import shipped
from faultnet.whole import written_whole

if TYPE_CHECKING:
    from faultnet.decision.costs import Costs


def read_case(argument: str) -> Case:
    """Read a case from a path, from `demo:NAME`, or from standard input (`-`); one without visits gets an empty one.

    Raises
    ------
    CaseError
        If it cannot be read or accepted.
    """
    case = load_case(argument)
    return replace(case, visits=case.visits or (Visit(),))


def read_costs(priors: str, hourly_rate: float | None, currency: str | None) -> Costs:
    """Read the costs of a prior set, with the shop's own figures put in: those of its settings, or the ones given.

    Raises
    ------
    FaultnetError
        If the settings cannot be used.
    """
    from faultnet.decision.costs import load_costs
    from faultnet.decision.shop import load_shop_prices

    ours = load_shop_prices().of(load_costs(priors))
    return ours.with_shop(hourly_rate=hourly_rate, currency=currency)


def case_file(argument: str) -> Path:
    """Return the path of a case that has been read without complaint, for those who open it themselves.

    Raises
    ------
    CaseError
        If it cannot be read or accepted, or is no file.
    """
    if argument == "-":
        raise CaseError("the front end needs a file", got="standard input", to_do="save the case to a file first")
    path = case_path(argument)
    load_case(path)
    return path.resolve()


def read_catalogue(priors: str) -> Catalogue:
    """Load a prior set: the one in use, a shipped or own one by its name, or a folder; its notes go to standard error.

    What is damaged in the list of accepted sets is named on standard error; what is known good is used.

    Raises
    ------
    PriorsError
        If it is missing or malformed.

    Examples
    --------
    >>> read_catalogue("standard").name
    'standard'
    """
    from faultnet.prior_set.sets import damaged_lines

    for line in damaged_lines():
        sys.stderr.write(f"faultnet: note: {line}\n")
    catalogue = load_catalogue(priors)
    for note in catalogue.notes:
        sys.stderr.write(f"faultnet: note: {note}\n")
    return catalogue


def known_tools(catalogue: Catalogue) -> tuple[str, ...]:
    """Return every tool the catalogue's tests ask for, in alphabetical order.

    Examples
    --------
    >>> "voltmeter" in known_tools(load_catalogue())
    True
    """
    return tuple(sorted({part for test in catalogue.tests for tool in test.tools for part in tool.split(" or ")}))


def listed(given: Sequence[str] | None) -> tuple[str, ...]:
    """Take apart what an option was given, each time perhaps several with commas between.

    Examples
    --------
    >>> listed(["voltmeter, torch", "hydrometer"])
    ('voltmeter', 'torch', 'hydrometer')
    """
    parts = [part.strip() for text in given or () for part in text.split(",")]
    return tuple(part for part in parts if part)


def read_tools(given: Sequence[str] | None, catalogue: Catalogue) -> Collection[str] | None:
    """Read the tools at hand: those most people have where nothing is given, every tool for "all" (None is returned).

    Parameters
    ----------
    given : sequence of str, optional
        Each may hold several, with commas between them; "none" means bare hands, "usual" what most people have.
    catalogue : Catalogue

    Raises
    ------
    EntryError
        If the catalogue knows no such tool.

    Examples
    --------
    >>> sorted(read_tools(["voltmeter, torch"], load_catalogue()))
    ['torch', 'voltmeter']
    >>> "clamp meter" in read_tools(["usual, clamp meter"], load_catalogue())
    True
    """
    from faultnet.diagnosis.tools import USUAL_TOOLS

    known = known_tools(catalogue)
    named = set(listed(given or ["usual"])) - {"none"}
    if named == {"all"}:
        return None
    if "usual" in named:
        named = named - {"usual"} | USUAL_TOOLS.intersection(known)
    for tool in sorted(named.difference(known)):
        raise EntryError(
            "unknown tool", where="--tools", got=repr(tool), expected=", ".join(("all", "usual", "none", *known))
        )
    return frozenset(named)


def tools_line(given: Sequence[str] | None) -> str:
    """Say which tools were counted on where nobody said which; empty where somebody did."""
    from faultnet.diagnosis.tools import USUAL_TOOLS, tools_words

    if given:
        return ""
    return f"Counted on: {tools_words(USUAL_TOOLS)}. --tools names yours, --tools all a whole shop's."


def with_complaint(case: Case, complaint: str | None, catalogue: Catalogue) -> Case:
    """The case with what the driver complains of as the first entry of its last visit.

    Raises
    ------
    EntryError
        If the catalogue knows no such complaint.

    Examples
    --------
    >>> case = with_complaint(load_case("demo:fresh_case"), "clicks", load_catalogue())
    >>> case.visits[-1].entries[0].state
    'rapid_clicking'
    """
    if complaint is None:
        return case
    known = {c.id: c for c in catalogue.complaints}
    if complaint not in known:
        raise EntryError("unknown complaint", where="--complaint", got=repr(complaint), expected=", ".join(known))
    said = Reading(known[complaint].test, state=known[complaint].choice)
    last = replace(case.visits[-1], entries=(said, *case.visits[-1].entries))
    return replace(case, visits=(*case.visits[:-1], last))


def visit_of(case: Case, number: int | None) -> Visit:
    """Return a visit by its number from 1, or the last.

    Raises
    ------
    CaseError
        If the case has no such visit.
    """
    count = len(case.visits)
    if number is not None and number > count:
        raise CaseError("no such visit", where="--visit", got=str(number), expected=f"1 to {count}")
    return case.visits[-1 if number is None else number - 1]


class StandardInput(io.BytesIO):
    """What standard input held, under a name that messages can use; unlike a pipe it can be wound back."""

    name = "standard input"


def read_source(argument: str) -> str | BinaryIO:
    """Return the path of a recording, or what standard input holds (`-`).

    Raises
    ------
    RecordingError
        If standard input holds more than can be kept in memory.
    """
    if argument != "-":
        return argument
    held = sys.stdin.buffer.read(HELD + 1)
    if len(held) > HELD:
        raise RecordingError(
            "too much to read", where="standard input", got="more", expected=f"at most {size_words(HELD)}",
            to_do="save it to a file and name that",
        )  # fmt: skip
    return StandardInput(held)


def write_text(path: Path, text: str) -> None:
    """Write a file.

    Raises
    ------
    FaultnetError
        If the system does not let us.
    """
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file byte by byte.

    Raises
    ------
    FaultnetError
        If the system does not let us.
    """
    try:
        with written_whole(path) as file:
            file.write(content)
    except OSError as error:
        reason = system_words(error)
        raise FaultnetError("the file cannot be written", where=str(path), got=reason, to_do="check the path") from None


def front_end() -> Any:
    """Load the launcher of the front end from the folder it travels in.

    Returns
    -------
    module
        With the function `launch`.

    Raises
    ------
    FaultnetError
        If the front end, or what it needs, is not installed.
    """
    if find_spec("streamlit") is None:
        raise MissingExtraError("the front end is not installed", extra="app")
    spec = spec_from_file_location("faultnet_front_end", shipped("ui") / "serve.py")
    if spec is None or spec.loader is None:
        raise FaultnetError("the front end's launcher cannot be loaded", to_do="install faultnet again")
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
