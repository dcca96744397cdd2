"""Folders of its own, nothing kept in memory from file to file, and long files first, for a suite in two processes.

Run with ``-n 2 --dist loadfile --no-loadscope-reorder`` every file goes to one process whole, in the order given here,
so that what a file builds is built once and no process is left with a long file at the end.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import pytest

from faultnet.diagnosis import models

TESTS = Path(__file__).parent
LONG = (
    "history/test_tuning.py",
    "engine/test_random_networks.py",
    "ui/test_browser.py",
    "engine/test_car_agreement.py",
    "history/test_whole_way.py",
)


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_CACHE", str(folder))
        patch.setenv("FAULTNET_PRIORS", str(folder / "priors"))
        yield folder


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, the others as they were found."""
    place = {TESTS / name: number for number, name in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.path, len(LONG)))


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """Give back the memory of a file: two dozen cars worked through take more than many a machine has, twice."""
    if nextitem is None or nextitem.path != item.path:
        models._models.clear()
        if isinstance(module := getattr(item, "module", None), ModuleType):
            _forget(module)


def _forget(module: ModuleType) -> None:
    for kept in vars(module).values():
        if hasattr(kept, "cache_clear") and kept.__module__ == module.__name__:
            kept.cache_clear()
