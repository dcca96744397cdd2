"""Loading a prior set from its folder: read every file, check it, tie the files together."""

from __future__ import annotations

import functools
import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from faultnet.errors import PriorsError
from faultnet.prior_set import records
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.checks import check_catalogue
from faultnet.prior_set.declared import check_numbers, check_parameters
from faultnet.prior_set.overlay import (
    KEYS,
    lineage,
    merged_entries,
    merged_head,
    merged_if_any,
    merged_rows,
    merged_texts,
)
from faultnet.prior_set.retired import without_retired
from faultnet.prior_set.sets import set_folder
from faultnet.prior_set.tables import Row
from faultnet.prior_set.types import ActSpec, Test
from faultnet.shipped import shipped

Cautioned = TypeVar("Cautioned", Test, ActSpec)
FILES: tuple[str, ...] = (
    "prior_set.toml",
    "components.toml",
    "tests.toml",
    "acts.toml",
    "cautions.toml",
    "instruments.csv",
    "base_rates.csv",
    "on_rates.csv",
    "effects.csv",
    "spreads.csv",
    "symptoms.csv",
)


def load_catalogue(prior_set: str = "standard", folder: Path | str | None = None) -> Catalogue:
    """Read a prior set and check it.

    Parameters
    ----------
    prior_set : str
        As for :func:`faultnet.prior_set.sets.set_folder`; not used when `folder` is given.
    folder : path, optional
        Folder of a prior set of your own.

    Returns
    -------
    Catalogue
        Read once and kept until a file of the set changes.

    Raises
    ------
    PriorsError
        If the set is missing, or a file is malformed: says the file, the row, what was found, what was expected.

    Examples
    --------
    >>> load_catalogue().component("battery").modes[0].id
    'sound'
    """
    where = Path(folder) if folder is not None else set_folder(prior_set)
    if not where.is_dir():
        raise PriorsError(
            "no such prior set",
            where=where.name,
            expected="one of " + ", ".join(prior_sets()),
            to_do="name a shipped set, or give the folder of your own",
        )
    folders = lineage(where)
    return _load(folders, state_of(folders))


def prior_sets() -> tuple[str, ...]:
    """Return the names of the shipped prior sets.

    Examples
    --------
    >>> "standard" in prior_sets()
    True
    """
    return tuple(sorted(path.parent.name for path in shipped("priors").glob("*/prior_set.toml")))


@functools.lru_cache(maxsize=8)
def _load(folders: tuple[Path, ...], state: tuple[tuple[int, int], ...]) -> Catalogue:
    """Read the set and its parents; `state` only makes the cache notice a changed file."""
    head = merged_head(folders)
    about, texts = records.head(head), records.texts(merged_texts(folders, "cautions.toml"))
    tests = merged_entries(folders, "tests.toml", "test")
    components = merged_entries(folders, "components.toml", "component")
    effects, effect_notes = current_rows("effects", folders, head)
    spreads, spread_notes = current_rows("spreads", folders, head)
    check_parameters(effects, {row.text("id") for row in components})
    check_numbers(spreads, texts["preconditions"])
    numbers = records.spreads(spreads)
    factor, floor = (numbers[name].value for name in ("roughly_factor", "roughly_floor"))
    known_tests = tuple(_worst_first(records.test(row), texts["cautions"]) for row in tests)
    acts = merged_entries(folders, "acts.toml", "act")
    records.check_told(tests, known_tests, {row.text("id") for row in acts})
    catalogue = Catalogue(
        fingerprint=_fingerprint(folders),
        **about,
        **texts,
        components=tuple(records.component(row) for row in components),
        tests=known_tests,
        complaints=tuple(
            records.complaint(row, known_tests) for row in merged_if_any(folders, "tests.toml", "complaint")
        ),
        acts=tuple(_worst_first(records.act(row), texts["cautions"]) for row in acts),
        instruments=tuple(
            replace(entry, roughly_factor=factor, roughly_floor=floor)
            for entry in records.instruments(_rows(folders, "instruments"))
        ),
        base_rates=records.base_rates(_rows(folders, "base_rates")),
        on_rates=records.on_rates(_rows(folders, "on_rates")),
        effects=records.effects(effects),
        spreads=numbers,
        symptoms=records.symptoms(_rows(folders, "symptoms"), tests),
        notes=(*effect_notes, *spread_notes),
    )
    check_catalogue(catalogue)
    return catalogue


def _worst_first(entry: Cautioned, cautions: dict[str, str]) -> Cautioned:
    """Put the cautions of a test or an act in the order of the list of cautions, which is how bad they are."""
    place = {name: k for k, name in enumerate(cautions)}
    return replace(entry, cautions=tuple(sorted(entry.cautions, key=lambda c: place.get(c, len(place)))))


def _rows(folders: tuple[Path, ...], table: str) -> list[Row]:
    return merged_rows(folders, table, records.COLUMNS[table])


def current_rows(table: str, folders: tuple[Path, ...], head: dict[str, Any]) -> tuple[list[Row], list[str]]:
    """Rows without the retired ones; a set of an earlier format gets what was added since from the shipped set.

    Parameters
    ----------
    table : {"effects", "spreads", "costs"}
    folders : tuple of Path
        Of the set, its parent, and so on.
    head : dict
        Of :func:`faultnet.prior_set.overlay.merged_head`.

    Returns
    -------
    rows : list of Row
    notes : list of str
        What was left out and what was taken from the shipped set, in words.

    Examples
    --------
    >>> from faultnet.prior_set.overlay import merged_head
    >>> from faultnet.prior_set.sets import set_folder
    >>> folders = (set_folder("standard"),)
    >>> current_rows("spreads", folders, merged_head(folders))[1]
    []
    """
    kept, notes = without_retired(table, _rows(folders, table))
    if head.get("format", 1) == records.FORMAT:
        return kept, notes
    keys = KEYS[table]
    held = {tuple(str(row.cells[k]) for k in keys) for row in kept}
    shipped_rows = _rows((shipped("priors") / "standard",), table)
    added = [row for row in shipped_rows if tuple(str(row.cells[k]) for k in keys) not in held]
    if added:
        names = ", ".join(dict.fromkeys(":".join(str(row.cells[k]) for k in keys[:2]) for row in added))
        notes.append(f"{table}.csv: taken from the shipped set, which this older set did not have: {names}")
    return [*kept, *added], notes


def _fingerprint(folders: tuple[Path, ...]) -> str:
    """Return a hash of the contents of the files of a set and its parents."""
    digest = hashlib.sha256()
    for folder in folders:
        for name in FILES:
            if (folder / name).is_file():
                digest.update(name.encode() + (folder / name).read_bytes())
    return digest.hexdigest()


def state_of(folders: tuple[Path, ...], files: tuple[str, ...] = FILES) -> tuple[tuple[int, int], ...]:
    """Return times of change [ns] and sizes [byte] of the files of a set and its parents; zeros for missing ones."""
    paths = (folder / name for folder in folders for name in files)
    stats = [path.stat() if path.is_file() else None for path in paths]
    return tuple((stat.st_mtime_ns, stat.st_size) if stat else (0, 0) for stat in stats)
