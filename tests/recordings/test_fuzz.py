"""The short version of the fuzz: mutated files of every format, each a trace or an error a user can act on."""

from __future__ import annotations

import runpy
from pathlib import Path

FUZZ = Path(__file__).parents[1] / "bench" / "fuzz_recordings.py"


def test_a_thousand_mutated_files() -> None:
    """No traceback, nothing over 2 s, memory bounded; `fuzz_recordings.py --files 100000` is the long version."""
    result = runpy.run_path(str(FUZZ))["run"](1000, 20261125)
    assert result["faults"] == []
    assert result["read"] > 300
    assert result["refused"] > 150
    assert len(result["read_by_kind"]) >= 15
