"""The order of the house: imports run one way, the top level holds what it should, everything is documented."""

from __future__ import annotations

import ast
import csv
import fnmatch
import re
import sys
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

import faultnet
from faultnet.cli.commands import app
from faultnet.model import cache as network_cache
from faultnet.simulation.scoring import record
from tests.conftest import BROWSING, LONG

TOP = Path(__file__).parents[1]
PACKAGE = TOP / "faultnet"
ORDER = (
    *(
        "errors",
        "limits",
        "whole",
        "units",
        "shipped",
        "cache",
        "notebook",
        "cluster",
        "case",
        "physics",
        "prior_set",
        "instruments",
        "recordings",
        "model",
        "inference",
    ),
    *("diagnosis", "decision", "learning", "simulation", "practice", "api", "report", "cli"),
)
KNOWN_TO_ENGINE = {
    "faultnet.errors",
    "faultnet.cache",
    "faultnet.cache.cache_folder",
    "faultnet.cache.keep_file",
    "faultnet.cache.open_kept",
    "faultnet.cache.seal",
}
WITHOUT_PLACE = ("__init__", "__main__")
TOP_LEVEL = {
    *("README.md", "DEVELOPERS.md", "CHANGELOG.md", "LICENSE", "pyproject.toml", ".gitignore"),
    *(".ci", "faultnet", "ui", "priors", "tests", "cases"),
}
MAY_PRINT = ("cli",)
OLDER_WORDS = {
    "hangs? on": "depends on",
    "even points": "low-discrepancy points",
    "recipes?": "contraction schedule",
    "desks?": "query",
    "unhinged": "conditioned on activity",
    "joint modes?": "configuration",
    "tallied|tally": "histogram",
    "coming_and_going|coming and going": "intermittent",
}


def modules() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


@cache
def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(path: Path) -> Iterator[str]:
    """Every module or name that a file imports, wherever in it."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            yield node.module or ""
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def package_of(path: Path) -> str:
    return ".".join(path.parent.relative_to(TOP).parts)


def in_repository() -> list[Path]:
    """Files at the top and below it, without what .gitignore names."""
    patterns = [line.strip("/") for line in (TOP / ".gitignore").read_text(encoding="utf-8").split() if line]
    found, folders = [], [TOP]
    while folders:
        for path in sorted(folders.pop().iterdir()):
            if path.name != ".git" and not any(fnmatch.fnmatch(path.name, pattern) for pattern in patterns):
                (folders if path.is_dir() else found).append(path)
    return found


def test_the_files_that_are_run_first_are_there() -> None:
    assert len(set(LONG)) == len(LONG)
    assert [name for name in LONG if not (TOP / "tests" / name).is_file()] == []


def test_the_files_that_drive_a_browser_go_to_one_process() -> None:
    files = {path.relative_to(TOP / "tests").as_posix(): path for path in (TOP / "tests" / "ui").glob("test_*.py")}
    marked = {name for name, path in files.items() if "mark.browser" in path.read_text(encoding="utf-8")}
    assert marked == set(BROWSING)


def test_every_module_has_its_place_in_the_order() -> None:
    assert {part_of(path) for path in modules()} <= {*ORDER, *WITHOUT_PLACE}


def test_imports_run_one_way() -> None:
    wrong = []
    for path in modules():
        here = part_of(path)
        for name in imported(path) if here not in WITHOUT_PLACE else ():
            above = name.split(".")[1] if name.startswith("faultnet.") else here
            if above in ORDER and ORDER.index(above) > ORDER.index(here):
                wrong.append(f"{path.relative_to(TOP)} imports {name}")
    assert wrong == []


def test_no_package_offers_a_name_that_hides_one_of_its_modules() -> None:
    """Else ``from faultnet.diagnosis import diagnose`` would be a function here and a module there."""
    hidden = []
    for path in PACKAGE.rglob("__init__.py"):
        inside = {p.stem for p in path.parent.glob("*.py")} | {p.name for p in path.parent.iterdir() if p.is_dir()}
        names = [n for n in ast.walk(tree(path)) if isinstance(n, ast.ImportFrom) and n.module != package_of(path)]
        offered = {a.asname or a.name for n in names for a in n.names}
        offered |= {n.name for n in tree(path).body if isinstance(n, ast.FunctionDef | ast.ClassDef)}
        hidden += [f"{path.relative_to(TOP)}: {name}" for name in offered & inside]
    assert hidden == []


def test_nothing_imports_the_front_end() -> None:
    front_end = {"streamlit", "altair", "ui"}
    assert [path for path in modules() if {name.split(".")[0] for name in imported(path)} & front_end] == []


def test_physics_knows_no_probability() -> None:
    allowed = {*sys.stdlib_module_names, "numpy", "faultnet.errors", "faultnet.physics"}
    for path in sorted((PACKAGE / "physics").rglob("*.py")):
        for name in imported(path):
            assert name.split(".")[0] in allowed or ".".join(name.split(".")[:2]) in allowed, f"{path.name}: {name}"


def test_the_engine_knows_only_the_form_of_a_network() -> None:
    for path in sorted((PACKAGE / "inference").rglob("*.py")):
        ours = {
            name
            for name in imported(path)
            if name.startswith("faultnet.") and not name.startswith("faultnet.inference")
        }
        assert all(name.startswith("faultnet.model.network") for name in ours - KNOWN_TO_ENGINE), (path, ours)


def test_older_words_for_a_thing_do_not_come_back() -> None:
    """The word of the field stands behind each; DEVELOPERS.md explains some of them."""
    for path in modules():
        words = path.read_text(encoding="utf-8").lower()
        found = {old: new for old, new in OLDER_WORDS.items() if re.search(rf"(?<![a-z]){old}(?![a-z])", words)}
        assert found == {}, path.relative_to(TOP)


def test_the_library_neither_prints_nor_logs() -> None:
    verbs = ("basicConfig", "debug", "info", "warning", "error", "exception", "critical")
    aloud = {"print", *(f"logging.{verb}" for verb in verbs)}
    for path in modules():
        if part_of(path) not in MAY_PRINT:
            called = {ast.unparse(node.func) for node in ast.walk(tree(path)) if isinstance(node, ast.Call)}
            assert not called & aloud, path.relative_to(TOP)


def test_every_public_name_is_documented() -> None:
    bare = []
    for path in modules():
        wanted = [tree(path), *(node for node in tree(path).body if isinstance(node, ast.FunctionDef | ast.ClassDef))]
        names = [getattr(node, "name", path.name) for node in wanted if not ast.get_docstring(node)]
        bare += [f"{path.relative_to(TOP)}: {name}" for name in names if not name.startswith("_")]
    assert bare == []


def test_top_level_is_exactly_what_was_agreed() -> None:
    assert {path.relative_to(TOP).parts[0] for path in in_repository()} == TOP_LEVEL


def test_versions_agree() -> None:
    project = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert project["version"] == faultnet.__version__
    assert f"## {faultnet.__version__}" in (TOP / "CHANGELOG.md").read_text(encoding="utf-8")


def test_every_command_is_documented() -> None:
    text = (TOP / "README.md").read_text(encoding="utf-8")
    for command in app.registered_commands:
        assert command.callback is not None
        assert f"| `faultnet {command.callback.__name__}" in text
    for group in app.registered_groups:
        assert group.typer_instance is not None
        for command in group.typer_instance.registered_commands:
            assert f"`{group.name} {command.name}" in text or f"`faultnet {group.name} {command.name}" in text


def test_every_data_column_is_documented() -> None:
    text = (TOP / "DEVELOPERS.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"`(\w+)`", text))
    for path in sorted((TOP / "priors").rglob("*.csv")):
        with path.open(encoding="utf-8", newline="") as file:
            assert set(next(csv.reader(file))) <= documented, path.name
        assert f"`{path.name}`" in text
    for name in ("component", "test", "act"):
        rows = tomllib.loads((TOP / "priors" / "standard" / f"{name}s.toml").read_text(encoding="utf-8"))[name]
        inner = [mode for row in rows for mode in row.get("mode", [])]
        assert {key for row in [*rows, *inner] for key in row} <= documented, name


def test_no_file_knows_the_machine_it_was_written_on() -> None:
    """No home folder, no folder of this machine, no registry or mirror, in text or data: a clone must work anywhere."""
    pieces = (r"/ho" r"me/\w", r"/Us" r"ers/\w", r"/opt/v" r"env", r"/wo" r"rk/", r"C:\\Us" r"ers", r"/ro" r"ot/\w")
    passing = (r"/tm" r"p/\w", r"/va" r"r/tmp", r"/va" r"r/folders")
    hosts = (r"pythonhos" r"ted\.org", r"py" r"pi\.org", r"index-u" r"rl", r"py" r"pi-", r"local" r"host:\d")
    forbidden = re.compile("|".join((*pieces, *passing, *hosts)))
    for path in in_repository():
        found = forbidden.search(path.read_bytes().decode("latin-1"))
        assert found is None, f"{path.relative_to(TOP)}: {found}"


def test_scripts_are_for_bash_and_stop_at_the_first_failure() -> None:
    for path in (TOP / ".ci" / "run", *(TOP / "tests").glob("*.sh")):
        text = path.read_text(encoding="utf-8")
        assert text.startswith("#!/usr/bin/env bash\n")
        assert "set -euo pipefail" in text


@pytest.mark.parametrize(
    "module, hashed",
    [("faultnet.model.build", network_cache.CODE), ("faultnet.simulation.trial", record.CODE)],
)
def test_what_is_kept_is_told_apart_by_all_code_it_depends_on(module: str, hashed: tuple[str, ...]) -> None:
    """A network on disk and a trial's kept results are found again by a hash of code: it must hold all of it.

    What only reads, checks, writes or waits (errors, limits, units, the tables of a prior set, which has a hash of its
    own) may be left out.
    """
    may_be_left_out = (
        "errors",
        "limits",
        "whole",
        "cluster",
        "units",
        "case",
        "prior_set",
        "cache",
        "shipped",
        "notebook",
        "__init__",
    )
    files = {path.relative_to(PACKAGE).as_posix() for path in modules()}
    assert [part for part in hashed if part not in files and not any(f.startswith(f"{part}/") for f in files)] == []
    for name in everything_imported_by(module):
        inside = name.removeprefix("faultnet.").replace(".", "/") + ".py"
        held = any(inside == part or inside.startswith(f"{part}/") for part in hashed)
        assert held or name.split(".")[1] in may_be_left_out, name


def everything_imported_by(module: str) -> set[str]:
    """Our modules that a module imports, directly or not, and itself."""
    paths = {".".join(("faultnet", *path.relative_to(PACKAGE).with_suffix("").parts)): path for path in modules()}
    found, left = set(), [module]
    while left:
        name = left.pop()
        if name in paths and name not in found:
            found.add(name)
            left += imported(paths[name])
    return found
