"""The wheel: what it carries, and that it answers far from any checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from faultnet import __version__

TOP = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder that holds what a plain install puts into site-packages."""
    folder = tmp_path_factory.mktemp("wheel")
    build = [sys.executable, "-m", "hatchling", "build", "--target", "wheel", "--directory", str(folder)]
    subprocess.run(build, cwd=TOP, check=True, capture_output=True, timeout=120)
    (wheel,) = folder.glob("*.whl")
    assert wheel.name == f"faultnet-{__version__}-py3-none-any.whl"
    with zipfile.ZipFile(wheel) as packed:
        packed.extractall(folder / "site")
    return folder / "site"


def run(unpacked: Path, elsewhere: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    command = [sys.executable, *arguments]
    return subprocess.run(
        command, cwd=elsewhere, env=environment, capture_output=True, text=True, timeout=120, check=False
    )  # fmt: skip


def test_it_carries_priors_cases_front_end_and_types(unpacked: Path) -> None:
    shipped = unpacked / "faultnet" / "_shipped"
    for kind in ("priors", "cases", "ui"):
        wanted = {path.relative_to(TOP) for path in (TOP / kind).rglob("*") if path.is_file()}
        wanted = {path for path in wanted if "__pycache__" not in path.parts}
        carried = {path.relative_to(shipped) for path in (shipped / kind).rglob("*") if path.is_file()}
        assert carried == wanted
    assert (unpacked / "faultnet" / "py.typed").is_file()


def test_its_code_and_data_are_its_own(unpacked: Path, tmp_path: Path) -> None:
    code = "from faultnet.shipped import shipped; print(*(shipped(kind) for kind in ('priors', 'cases', 'ui')))"
    places = run(unpacked, tmp_path, "-c", code).stdout.split()
    assert [Path(place).parent for place in places] == [unpacked / "faultnet" / "_shipped"] * 3


def test_it_diagnoses_a_demo_case_far_from_a_checkout(unpacked: Path, tmp_path: Path) -> None:
    ran = run(unpacked, tmp_path, "-m", "faultnet", "diagnose", "demo:shorted_cell")
    assert ran.returncode == 0, ran.stderr
    assert "Battery: one shorted cell explains what was seen" in ran.stdout


def test_it_declares_the_command(unpacked: Path) -> None:
    (entry_points,) = unpacked.glob("faultnet-*.dist-info/entry_points.txt")
    assert "faultnet = faultnet.cli:main" in entry_points.read_text(encoding="utf-8")
