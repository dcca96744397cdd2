"""A prior set that names a parent holds only what differs; the rest is its parent's, row by row.

``parent = "standard"`` in `prior_set.toml` names a shipped set or a version of the user's. A row of a table takes the
place of the parent's row with the same key, an entry of a TOML file that of the parent's entry with the same id, as a
whole; what the parent does not have is added behind. A parent may have a parent of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from faultnet.errors import PriorsError
from faultnet.prior_set.sets import IN_USE, set_folder
from faultnet.prior_set.tables import Row, csv_rows, toml_rows, toml_table

HEAD = "prior_set.toml"
KEYS: dict[str, tuple[str, ...]] = {
    "base_rates": ("component", "mode", "group"),
    "on_rates": ("component", "mode", "condition"),
    "effects": ("component", "mode", "parameter"),
    "spreads": ("name",),
    "symptoms": ("test", "cause", "choice"),
    "instruments": ("id",),
    "costs": ("kind", "name"),
}


def lineage(folder: Path) -> tuple[Path, ...]:
    """Return the folder of a prior set, that of its parent, and so on.

    Raises
    ------
    PriorsError
        If a parent is missing, is given as a path, or is the set itself.

    Examples
    --------
    >>> from faultnet.prior_set.sets import set_folder
    >>> len(lineage(set_folder("standard")))
    1
    """
    found = [folder.resolve()]
    while (parent := toml_table(found[-1] / HEAD).get("parent")) is not None:
        where = f"{HEAD} of '{found[-1].name}'"
        if not isinstance(parent, str) or parent == IN_USE or {"/", "\\", "."} & set(parent) or not parent:
            raise PriorsError(
                "'parent' cannot be used", where=where, got=repr(parent),
                expected="the name of a shipped set, or name@version of one of yours",
                to_do="list them with: faultnet priors list",
            )  # fmt: skip
        above = set_folder(parent).resolve()
        if above in found:
            raise PriorsError("a prior set is its own parent", where=where, got=repr(parent), to_do="name another set")
        found.append(above)
    return tuple(found)


def merged_head(folders: Sequence[Path]) -> dict[str, Any]:
    """Return `prior_set.toml`; what a set does not say of itself, its parent says."""
    found: dict[str, Any] = {}
    for folder in reversed(folders):
        found |= toml_table(folder / HEAD)
    return found


def merged_rows(folders: Sequence[Path], table: str, columns: tuple[str, ...]) -> list[Row]:
    """Return the rows of a table, those of the set in the place of its parents' rows with the same key.

    Raises
    ------
    PriorsError
        If the set without a parent lacks the table, a table is malformed, or a key stands twice in one.
    """
    found: dict[tuple[str, ...], Row] = {}
    for folder in reversed(folders):
        path = folder / f"{table}.csv"
        if folder is folders[-1] or path.is_file():
            found |= _by_key([_named(row, folders, folder) for row in csv_rows(path, columns)], KEYS[table])
    return list(found.values())


def _by_key(rows: Sequence[Row], keys: tuple[str, ...]) -> dict[tuple[str, ...], Row]:
    found: dict[tuple[str, ...], Row] = {}
    for row in rows:
        key = tuple(str(row.cells[k]).strip() for k in keys)
        if key in found:
            raise PriorsError("a row stands twice", where=row.where, got=":".join(key), to_do="take one of them out")
        found[key] = row
    return found


def merged_entries(folders: Sequence[Path], file: str, key: str) -> list[Row]:
    """Return the entries of a TOML file by the same rule; an entry is replaced whole."""
    found: dict[str, Row] = {}
    for folder in reversed(folders):
        if folder is folders[-1] or (folder / file).is_file():
            rows = [_named(row, folders, folder) for row in toml_rows(folder / file, key)]
            found |= {row.text("id"): row for row in rows}
    return list(found.values())


def merged_if_any(folders: Sequence[Path], file: str, key: str) -> list[Row]:
    """Return entries by the same rule, of those folders whose file has any."""
    having = [f for f in folders if (f / file).is_file() and key in toml_table(f / file)]
    return merged_entries(having, file, key) if having else []


def merged_texts(folders: Sequence[Path], file: str) -> dict[str, Any]:
    """Return a TOML file of texts by id; sections are joined, texts and lists replaced."""
    found: dict[str, Any] = {}
    for folder in reversed(folders):
        if folder is folders[-1] or (folder / file).is_file():
            for name, value in toml_table(folder / file).items():
                joined = isinstance(value, dict) and isinstance(found.get(name), dict)
                found[name] = {**found[name], **value} if joined else value
    return found


def _named(row: Row, folders: Sequence[Path], folder: Path) -> Row:
    """A row that says of which set it is where that is not the set asked for."""
    return row if folder is folders[0] else replace(row, where=f"{row.where} of its parent '{folder.name}'")
