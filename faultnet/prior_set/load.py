"""Loading a prior set from its folder: read every file, check it, tie the files together."""

from __future__ import annotations

import functools
import hashlib
from pathlib import Path

from faultnet.errors import PriorsError
from faultnet.prior_set import records
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.checks import check_catalogue
from faultnet.prior_set.sets import set_folder
from faultnet.prior_set.tables import csv_rows, toml_rows, toml_table
from faultnet.shipped import shipped

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
    return _load(where.resolve(), _state(where))


def prior_sets() -> tuple[str, ...]:
    """Return the names of the shipped prior sets.

    Examples
    --------
    >>> "standard" in prior_sets()
    True
    """
    return tuple(sorted(path.parent.name for path in shipped("priors").glob("*/prior_set.toml")))


@functools.lru_cache(maxsize=8)
def _load(folder: Path, state: tuple[tuple[int, int], ...]) -> Catalogue:
    """Read the set; `state` only makes the cache notice a changed file."""
    head = toml_table(folder / "prior_set.toml")
    cautions = toml_table(folder / "cautions.toml")
    tests = toml_rows(folder / "tests.toml", "test")
    catalogue = Catalogue(
        fingerprint=_fingerprint(folder),
        **records.head(head),
        **records.texts(cautions),
        components=tuple(records.component(row) for row in toml_rows(folder / "components.toml", "component")),
        tests=tuple(records.test(row) for row in tests),
        acts=tuple(records.act(row) for row in toml_rows(folder / "acts.toml", "act")),
        instruments=records.instruments(csv_rows(folder / "instruments.csv", records.INSTRUMENT_COLUMNS)),
        base_rates=records.base_rates(csv_rows(folder / "base_rates.csv", records.BASE_RATE_COLUMNS)),
        on_rates=records.on_rates(csv_rows(folder / "on_rates.csv", records.ON_RATE_COLUMNS)),
        effects=records.effects(csv_rows(folder / "effects.csv", records.EFFECT_COLUMNS)),
        spreads=records.spreads(csv_rows(folder / "spreads.csv", records.SPREAD_COLUMNS)),
        symptoms=records.symptoms(csv_rows(folder / "symptoms.csv", records.SYMPTOM_COLUMNS), tests),
    )
    check_catalogue(catalogue)
    return catalogue


def _fingerprint(folder: Path) -> str:
    """Return a hash of the contents of the set's files."""
    digest = hashlib.sha256()
    for name in FILES:
        if (folder / name).is_file():
            digest.update(name.encode() + (folder / name).read_bytes())
    return digest.hexdigest()


def _state(folder: Path) -> tuple[tuple[int, int], ...]:
    """Return times of change [ns] and sizes [byte] of the set's files; zeros for one that is missing."""
    stats = [path.stat() if path.is_file() else None for path in (folder / name for name in FILES)]
    return tuple((stat.st_mtime_ns, stat.st_size) if stat else (0, 0) for stat in stats)
