"""Folders of its own, little kept in memory, and long files first, for a suite in two processes.

With ``-n 2 --dist loadfile --no-loadscope-reorder`` every file goes to one process whole, in the order given here:
what a file builds is built once, and no process is left with a long file at the end. The files that drive a browser
go to one process together: one server and one browser for all of them, which are not slowed down by a second pair.
"""

from __future__ import annotations

import gc
import shutil
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from hypothesis import HealthCheck, settings

from faultnet.diagnosis import models
from faultnet.model import cache

# A busy machine is no failure: how long drawing or running an example takes is not what these tests are about.
settings.register_profile("faultnet", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("faultnet")

TESTS = Path(__file__).parent
CARS_IN_MEMORY = 2
NETWORKS_KEPT = 48  # on disk, 50 MB each: files that come back to the demo cases find them built
BROWSING = (
    "ui/test_browser.py",
    "ui/test_stories.py",
    "ui/test_access.py",
    "ui/test_log_page.py",
    "ui/test_keyboard.py",
    "ui/test_door.py",
    "ui/test_words.py",
    "ui/test_sessions_bench.py",
    "ui/test_at_the_car.py",
    "ui/test_able.py",
    "ui/test_doubts.py",
    "ui/test_photos.py",
    "ui/test_words_explained.py",
    "ui/test_circuit_page.py",
    "ui/test_small_stories.py",
    "ui/test_robust_line.py",
    "ui/test_practise_page.py",
    "ui/test_bays.py",
)
LONG = (
    *BROWSING,
    "learning/test_tuning.py",
    "simulation/test_trial.py",
    "ui/test_app.py",
    "test_cluster.py",
    "simulation/independent/test_independent.py",
    "learning/test_whole_way.py",
    "learning/test_drift.py",
    "learning/test_slips.py",
    "learning/test_physical.py",
    "learning/test_compact.py",
    "inference/test_car_agreement.py",
    "test_demo_cases.py",
    "ui/test_history_page.py",
    "simulation/test_agreement.py",
    "test_words_of_the_trade.py",
    "simulation/test_balance.py",
    "diagnosis/test_order_of_work.py",
    "simulation/test_calibration.py",
    "test_cli.py",
    "decision/test_advice.py",
    "recordings/test_uncertainty.py",
    "recordings/test_events.py",
    "report/test_pdf.py",
    "diagnosis/test_course.py",
)


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_CACHE", str(folder))
        patch.setenv("FAULTNET_PRIORS", str(folder / "priors"))
        patch.setenv("FAULTNET_KEY", str(folder / "cache.key"))
        patch.setenv("FAULTNET_SETTINGS", str(folder / "settings.json"))
        patch.setenv("FAULTNET_PRACTICE", str(folder / "practice"))
        patch.setattr(models, "KEPT", CARS_IN_MEMORY)
        patch.setattr(cache, "KEPT", NETWORKS_KEPT)
        yield folder
    shutil.rmtree(folder, ignore_errors=True)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Long files first, the others as they were found."""
    place = {TESTS / name: number for number, name in enumerate(LONG)}
    items.sort(key=lambda item: place.get(item.path, len(LONG)))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Files whole, as ``--dist loadfile`` does it, and those that drive a browser together."""
    if config.getoption("dist") != "loadfile":
        return None
    from xdist.scheduler import LoadFileScheduling

    class Files(LoadFileScheduling):
        def _split_scope(self, nodeid: str) -> str:
            file = nodeid.split("::")[0]
            return "browser" if file.removeprefix("tests/") in BROWSING else file

    return Files(config, log)


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown(item: pytest.Item, nextitem: pytest.Item | None) -> None:
    """Give back the memory of a file: a car worked through takes a gigabyte and more."""
    if nextitem is None or nextitem.path != item.path:
        models._models.clear()
        if isinstance(module := getattr(item, "module", None), ModuleType):
            _forget(module)
        gc.collect()
        models.hand_on()


def _forget(module: ModuleType) -> None:
    for kept in vars(module).values():
        if hasattr(kept, "cache_clear") and kept.__module__ == module.__name__:
            kept.cache_clear()
