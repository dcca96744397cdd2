"""Where the data that travel with the program lie: prior sets, demo cases, the front end.

After a plain install they are inside the package; in a checkout they stand at its top, beside the package.
"""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from faultnet.errors import FaultnetError

Kind = Literal["priors", "cases", "ui"]
_KINDS: tuple[str, ...] = ("priors", "cases", "ui")


def shipped(kind: Kind) -> Path:
    """Return the folder of the shipped data of one kind.

    Parameters
    ----------
    kind : {"priors", "cases", "ui"}
        Prior sets, demo cases, or the pages of the front end.

    Returns
    -------
    pathlib.Path
        An existing folder.

    Raises
    ------
    FaultnetError
        If `kind` is none of the three, or the folder is in neither place.

    Notes
    -----
    An installed copy is looked for first (``faultnet/_shipped/<kind>``), then a checkout (``<top>/<kind>``).

    Examples
    --------
    >>> (shipped("priors") / "standard" / "prior_set.toml").is_file()
    True
    """
    if kind not in _KINDS:
        raise FaultnetError("no such kind of shipped data", got=repr(kind), expected=", ".join(_KINDS))
    for folder in places(kind):
        if folder.is_dir():
            return folder
    raise FaultnetError(
        f"the shipped folder '{kind}' is missing",
        where=" or ".join(str(folder) for folder in places(kind)),
        to_do="install faultnet again, or run it from a complete checkout",
    )


def places(kind: str) -> tuple[Path, Path]:
    """Return where a kind of shipped data may lie: inside the package, and at the top of a checkout.

    Examples
    --------
    >>> [folder.parent.name for folder in places("cases")][0]
    '_shipped'
    """
    package = Path(__file__).resolve().parent
    return package / "_shipped" / kind, package.parent / kind
