"""Folders of its own, for the cache and for prior sets: nothing of other runs is trusted, nothing is left behind."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest


@pytest.fixture(autouse=True, scope="session")
def _own_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    folder = tmp_path_factory.mktemp("cache")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("FAULTNET_CACHE", str(folder))
        patch.setenv("FAULTNET_PRIORS", str(folder / "priors"))
        yield folder
