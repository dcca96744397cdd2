"""Prior sets of the user in versions: accept a tuned one, list them, compare two, take the last one back."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import time
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from faultnet.decision.costs import Costs, load_costs
from faultnet.errors import PriorsError, system_words
from faultnet.learning.result import Tuned
from faultnet.learning.versions.write import applied
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.sets import LOG, NAME, own_versions, set_folder, standing, steps, user_priors
from faultnet.shipped import shipped

LEFTOVER = ".new_"
LEFT_AFTER = 3600.0
"""Age at which a folder that was not finished counts as left behind [s]; writing one takes seconds."""


@dataclass(frozen=True)
class Version:
    """A prior set in the list.

    Parameters
    ----------
    name, version : str
    label : str
        By which it is named to the commands.
    date, title : str
        From its own file.
    state : {"in use", "accepted before", "taken back", "never accepted", "damaged", "shipped"}
        A set that was never accepted is whole: the program was ended before it could be noted. It can be used.
    """

    name: str
    version: str
    label: str
    date: str
    title: str
    state: str


@dataclass(frozen=True)
class Difference:
    """A number that two prior sets do not share; None where a set does not have the row."""

    table: str
    key: tuple[str, ...]
    first: float | None
    second: float | None


def accept(tuned: Tuned, from_set: str, name: str, history: str, sha256: str) -> str:
    """Keep a tuned prior set as a new version and use it from now on.

    Parameters
    ----------
    tuned : Tuned
    from_set : str
        As for :func:`faultnet.prior_set.sets.set_folder`.
    name : str
        Of the new set; small letters, digits and underscores.
    history, sha256 : str
        Name and hash of the history.

    Returns
    -------
    str
        The version, counted from 1.

    Raises
    ------
    PriorsError
        If the name cannot be used, the set does not pass the loader, or nothing can be written; nothing is in use then
        that was not before.
    """
    name = usable_name(name)
    home, source = user_priors() / name, set_folder(from_set)
    try:
        home.mkdir(parents=True, exist_ok=True)
        _clear_leftovers()
        with tempfile.TemporaryDirectory(dir=user_priors(), prefix=LEFTOVER) as folder:
            numbers = [int(p.name) for p in home.iterdir() if p.name.isdecimal()]
            version = str(max(numbers, default=0) + 1)
            made = applied(tuned, source, Path(folder) / "set", name, version, history, sha256)
            _put_on_disk(made)
            os.rename(made, home / version)  # whole or not at all; fails if another was faster
    except (OSError, shutil.Error) as error:
        raise _not_written(home, error) from None
    _note("accepted", name, version)
    return version


def usable_name(name: str) -> str:
    """Give a name back that a prior set of the user may have.

    Raises
    ------
    PriorsError
        If it is malformed or a shipped set has it.

    Examples
    --------
    >>> usable_name("hot_region")
    'hot_region'
    """
    taken = {path.name for path in shipped("priors").iterdir()} | {"in_use"}
    if not NAME.fullmatch(name) or name in taken:
        raise PriorsError(
            "a prior set of yours cannot have this name", got=repr(name),
            expected="small letters, digits and underscores, a letter first; none of " + ", ".join(sorted(taken)),
        )  # fmt: skip
    return name


def take_back() -> tuple[str, str]:
    """Take the last acceptance back; what was in use before it is in use again.

    Returns
    -------
    (str, str)
        Name and version of what was taken back; it stays in its folder.

    Raises
    ------
    PriorsError
        If nothing was accepted, or the list cannot be written.
    """
    accepted = standing()
    if not accepted:
        raise PriorsError("there is no accepted prior set to take back", to_do="`faultnet priors list` shows them")
    _note("taken_back", *accepted[-1])
    return accepted[-1]


def use(name: str) -> tuple[str, str]:
    """Use a version again that was kept earlier, ``name@version``.

    Raises
    ------
    PriorsError
        If there is none of that name.
    """
    own, _, version = name.partition("@")
    if (own, version) not in own_versions():
        set_folder(name)  # says which there are, if there is none at all
        raise PriorsError("not one of your own versions", got=repr(name), expected="name@version", to_do="list them")
    load_catalogue(folder=set_folder(name))
    _note("accepted", own, version)
    return own, version


def versions() -> tuple[Version, ...]:
    """List the shipped sets, then every version of the user's."""
    accepted, noted = standing(), {(step["name"], step["version"]) for step in steps()}
    shipped_names = [(p.parent.name, "") for p in sorted(shipped("priors").glob("*/prior_set.toml"))]
    found = []
    for name, version in (*shipped_names, *own_versions()):
        label = f"{name}@{version}" if version else name
        state = "accepted before" if (name, version) in accepted else "taken back" if version else "shipped"
        if version and (name, version) not in noted:
            state = "never accepted"
        if (name, version) == (accepted[-1] if accepted else ("standard", "")):
            state = "in use"
        try:
            catalogue = load_catalogue(folder=set_folder(label))
        except PriorsError as error:
            found.append(Version(name, version, label, "", str(error), "damaged"))
            continue
        about = catalogue.provenance
        found.append(Version(name, version or catalogue.version, label, about.date, about.title, state))
    return tuple(found)


def compare(first: str, second: str) -> tuple[Difference, ...]:
    """List every number that differs between two prior sets, their prices too.

    Parameters
    ----------
    first, second : str
        As for :func:`faultnet.prior_set.sets.set_folder`.

    Returns
    -------
    tuple of Difference
        Base rates, chances of being on and answers as shares [-], all else in its own unit; in the order of the tables.

    Examples
    --------
    >>> compare("standard", "standard")
    ()
    """
    folders = set_folder(first), set_folder(second)
    one, other = (numbers_of(load_catalogue(folder=f)) | prices_of(load_costs(folder=f)) for f in folders)
    keys = dict.fromkeys((*one, *other))
    return tuple(Difference(k[0], k[1:], one.get(k), other.get(k)) for k in keys if one.get(k) != other.get(k))


def numbers_of(catalogue: Catalogue) -> dict[tuple[str, ...], float]:
    """Give every number that tuning may change, by table and key.

    Examples
    --------
    >>> numbers_of(load_catalogue())[("base_rates", "belt", "slips", "all")]
    0.009
    """
    found: dict[tuple[str, ...], float] = {}
    for rate in (r for groups in catalogue.base_rates.values() for r in groups.values()):
        found["base_rates", rate.component, rate.mode, rate.group] = rate.value / rate.of
    for on in (r for rows in catalogue.on_rates.values() for r in rows.values()):
        found["on_rates", on.component, on.mode, on.condition] = on.value
    for name, table in catalogue.symptoms.items():
        choices = [choice for choice, _ in catalogue.test(name).choices]
        rows = {"otherwise": table.otherwise} | {f"{c}:{m}": row for (c, m), row in table.rows.items()}
        for cause, counts in rows.items():
            for choice, count in zip(choices, counts, strict=True):
                found["symptoms", name, cause, choice] = count / sum(counts)
    for instrument in catalogue.instruments:
        found["instruments", instrument.id, "offset"] = instrument.offset
        found["instruments", instrument.id, "slip"] = instrument.slip
    for key, effect in catalogue.effects.items():
        found[("effects", *key, "centre")] = effect.centre
        found[("effects", *key, "spread")] = effect.spread
    return found | {("spreads", name): spread.value for name, spread in catalogue.spreads.items()}


def prices_of(costs: Costs) -> dict[tuple[str, ...], float]:
    """Give every number of a set's prices, by table, kind and name.

    Examples
    --------
    >>> prices_of(load_costs())["costs", "part", "battery"]
    130.0
    """
    kinds = {kind: value for kind, value in vars(costs).items() if isinstance(value, Mapping)}
    kinds["shop"] = {name: value for name, value in vars(costs).items() if name not in kinds}
    return {
        ("costs", kind, name): value
        for kind, prices in kinds.items()
        for name, value in prices.items()
        if isinstance(value, float)
    }


def _note(did: str, name: str, version: str) -> None:
    """Add a line to the list, on the disk before we go on."""
    step = {"did": did, "name": name, "version": version, "at": datetime.now(UTC).isoformat(timespec="seconds")}
    try:
        with (user_priors() / LOG).open("ab+") as file:
            end = file.seek(0, os.SEEK_END)
            file.seek(max(end - 1, 0))
            begun = end > 0 and file.read(1) != b"\n"  # half a line of a killed program: this one begins below it
            file.write(b"\n" * begun + json.dumps(step).encode() + b"\n")
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise _not_written(user_priors(), error) from None


def _clear_leftovers() -> None:
    """Take away what programs that were killed while they kept a set left behind."""
    for folder in user_priors().glob(f"{LEFTOVER}*"):
        try:
            if time.time() - folder.stat().st_mtime > LEFT_AFTER:
                shutil.rmtree(folder, ignore_errors=True)
        except OSError:
            continue


def _put_on_disk(folder: Path) -> None:
    """Have the files of a folder on the disk before it gets its name."""
    for path in folder.iterdir():
        with path.open("rb") as file:
            os.fsync(file.fileno())


def _not_written(place: Path, error: Exception) -> PriorsError:
    reason = system_words(error)
    to_do = "make that folder writable, or name another in FAULTNET_PRIORS"
    return PriorsError("the prior set cannot be kept", where=str(place), got=reason, to_do=to_do)
