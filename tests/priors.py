"""Small prior sets for tests: a folder that names the shipped set as its parent and holds only what differs."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from faultnet.prior_set.records import COLUMNS
from faultnet.shipped import shipped

TAIL = '"estimate, no source",estimate,invented for a test'


def small_set(folder: Path, name: str = "small") -> Path:
    """Begin a set with the shipped one as its parent."""
    folder.mkdir(parents=True)
    (folder / "prior_set.toml").write_text(f'name = "{name}"\nversion = "1"\nparent = "standard"\n', encoding="utf-8")
    return folder


def add_rows(folder: Path, table: str, rows: Sequence[str]) -> None:
    """Add rows to a table of the set; what stands behind the unit is filled in."""
    path = folder / f"{table}.csv"
    begun = path.read_text(encoding="utf-8") if path.is_file() else ",".join(COLUMNS[table]) + "\n"
    path.write_text(begun + "".join(f"{row},{TAIL}\n" for row in rows), encoding="utf-8")


def entry(file: str, kind: str, name: str) -> str:
    """One entry of a TOML file of the shipped set, as its text."""
    parts = (shipped("priors") / "standard" / file).read_text(encoding="utf-8").split(f"[[{kind}]]\n")
    return next(f"[[{kind}]]\n{part}" for part in parts if part.startswith(f'id = "{name}"\n'))


def add_mode(folder: Path, component: str, mode: str, *, repair: str, on: float | None, rate: float) -> None:
    """Add a fault mode to a component, one that comes and goes if it has a chance of being on; its effects are left."""
    text = entry("components.toml", "component", component)
    text += f'[[component.mode]]\nid = "{mode}"\nlabel = "invented"\nexplanation = "Invented for a test."\n'
    text += f'shows = "Now and then."\nrepair = "{repair}"\n'
    if on is not None:
        text += 'comes_and_goes = true\nbrought_on = ["vibration"]\n'
        add_rows(folder, "on_rates", [f"{component},{mode},any,{on},-", f"{component},{mode},vibration,{on},-"])
    (folder / "components.toml").write_text(text, encoding="utf-8")
    add_rows(folder, "base_rates", [f"{component},{mode},all,{rate},1000,cars"])
