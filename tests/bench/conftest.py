"""Speed is measured only when it is asked for by name."""

from __future__ import annotations

from pathlib import Path

import pytest


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Leave the speed measurements out unless they are named on the command line."""
    if collection_path.name == "test_engine_speed.py" and not any(collection_path.name in a for a in config.args):
        return True
    return None
