"""What it would cost to ask whether a reading is right before it is stored: the time of a store, and of its answer.

``python tests/bench/asked_first.py`` stores the entries of each demo case's first visit one after the other, and works
each case out as the page does, beliefs, ranking and reasons.
"""

from __future__ import annotations

import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
for folder in (HERE.parents[1], HERE.parents[1] / "ui"):
    if str(folder) not in sys.path:
        sys.path.insert(0, str(folder))

from workbench import thinking  # noqa: E402 - the folders must be known first

from faultnet.case.file import load_case  # noqa: E402
from faultnet.case.store import events  # noqa: E402
from faultnet.case.store.store import Store, open_store  # noqa: E402
from faultnet.case.types import Case  # noqa: E402
from faultnet.diagnosis.tools import USUAL_TOOLS  # noqa: E402
from faultnet.shipped import shipped  # noqa: E402


def timed(store: Store, case: Case) -> list[tuple[float, float]]:
    """Seconds to store each entry of a case's first visit, and to answer the case with it."""
    shop, entries = thinking.Shop(USUAL_TOOLS), case.visits[0].entries
    first = replace(case.visits[0], entries=())
    bare = replace(case, outcome=None, visits=(first,))
    kept, found = store.create_case(bare), []
    thinking.advice(bare, shop)
    for count, entry in enumerate(entries, 1):
        started = time.perf_counter()
        store.append(kept, events.add_entry(0, entry), count)
        stored = time.perf_counter()
        thinking.advice(replace(bare, visits=(replace(first, entries=entries[:count]),)), shop)
        found.append((stored - started, time.perf_counter() - stored))
    return found


def run() -> None:
    """Print medians and 95 % points."""
    with tempfile.TemporaryDirectory() as folder, open_store(f"{folder}/cases.sqlite") as store:
        cases = [load_case(path) for path in sorted(Path(shipped("cases")).glob("*.json"))]
        times = np.array([pair for case in cases for pair in timed(store, case)])
    for name, took in zip(("store", "answer"), 1000.0 * times.T, strict=True):
        print(f"{name}: {len(took)} entries, median {np.median(took):.0f} ms, 95 % {np.quantile(took, 0.95):.0f} ms")


if __name__ == "__main__":
    run()
