"""What is depended on has an upper bound, and is installed in versions that passed."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

TOP = Path(__file__).parents[1]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text(encoding="utf-8"))
PINNED = (TOP / "tests" / "constraints.txt").read_text(encoding="utf-8").splitlines()


def required() -> list[Requirement]:
    extras = PROJECT["project"]["optional-dependencies"].values()
    named = [*PROJECT["build-system"]["requires"], *PROJECT["project"]["dependencies"], *(r for e in extras for r in e)]
    return [found for found in map(Requirement, named) if found.name != "faultnet"]


def versions() -> dict[str, Version]:
    pairs = [line.split("==") for line in PINNED if not line.startswith("#")]
    return {canonicalize_name(name): Version(version) for name, version in pairs}


@pytest.mark.parametrize("needed", required(), ids=str)
def test_every_dependency_has_bounds_that_hold_the_version_that_passed(needed: Requirement) -> None:
    signs = {bound.operator for bound in needed.specifier}
    assert "<" in signs
    assert ">=" in signs
    assert versions()[canonicalize_name(needed.name)] in needed.specifier


def test_python_has_an_upper_bound() -> None:
    assert re.fullmatch(r">=3\.\d+,<3\.\d+", PROJECT["project"]["requires-python"])


def test_the_constraints_are_names_and_versions_only() -> None:
    lines = [line for line in PINNED if not line.startswith("#")]
    assert [line for line in lines if not re.fullmatch(r"[A-Za-z0-9._-]+==[0-9][0-9A-Za-z.+]*", line)] == []
    assert len(versions()) == len(lines) > 50
    assert "faultnet" not in versions()


def test_both_ways_of_setting_up_use_them() -> None:
    set_up = (TOP / "tests" / "set_up.sh").read_text(encoding="utf-8")
    assert "--constraint tests/constraints.txt" in set_up
    readme = (TOP / "README.md").read_text(encoding="utf-8")
    assert "bash tests/set_up.sh app" in readme
    assert "bash tests/everything.sh" in readme
    assert "bash tests/set_up.sh" in (TOP / "tests" / "everything.sh").read_text(encoding="utf-8")
