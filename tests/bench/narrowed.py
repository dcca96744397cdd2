"""What leaving unlikely hidden states out of the ranking saves and costs, over all readings of the demo cases.

``python tests/bench/narrowed.py [case ...]`` prints, for each reading after which it matters, the processor time with
all states and with the likely ones (least of three passes, in turn), and the largest difference of a test's worth.
"""

from __future__ import annotations

import os
import statistics
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from unittest import mock

# one thread: the products are small, and a second thread costs more than it brings (README.md beside this file)
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parents[2]))

from faultnet.inference.fast.query import Query
from faultnet.prior_set.catalogue import Catalogue
from faultnet.shipped import shipped
from tests.bench import work

PASSES = 3


def all_states(query: Query, *_: Any) -> Query:
    """Instead of :meth:`Query.narrowed`."""
    return query


@dataclass
class Entry:
    """Times of one entry [ms], and what each test is worth after it [bit]: with all states, and with likely ones."""

    name: str
    ms: tuple[list[float], list[float]] = field(default_factory=lambda: ([], []))
    bits: dict[bool, dict[str, float]] = field(default_factory=dict)

    def least(self, narrow: bool) -> float:
        return min(self.ms[narrow])

    def differs(self) -> float:
        """Largest difference of a test's worth [bit]."""
        return max(abs(b - self.bits[False][t]) for t, b in self.bits[True].items())


def entries_of(name: str, tables: Catalogue) -> list[Entry]:
    """All entries of a demo case, entered one after the other, with all states and with the likely ones in turn."""
    models, visits = work.demo(name, tables)
    entered = list(work.prefixes(visits))
    found = [Entry(f"{name} {getattr(v[-1].entries[-1], 'test', 'act') if v[-1].entries else ''}") for v in entered]
    for narrow in [False, True] * PASSES:
        work.forget(models)
        with mock.patch.object(Query, "narrowed", Query.narrowed if narrow else all_states):
            for entry, so_far in zip(found, entered, strict=True):
                begin = time.process_time()
                bits = work.worked(models, so_far, tables, work.open_tests(so_far[-1], tables)).bits
                entry.ms[narrow].append(1e3 * (time.process_time() - begin))
                entry.bits[narrow] = bits
    return found[1:]


def main() -> None:
    """Measure and print."""
    tables = work.catalogue()
    names = sys.argv[1:] or sorted(p.stem for p in Path(str(shipped("cases"))).glob("*.json"))
    entries = [entry for name in names for entry in entries_of(name, tables)]
    for entry in entries:
        if entry.differs():
            print(f"{entry.name:48} {entry.least(False):6.1f} {entry.least(True):6.1f} ms  {entry.differs():.1e} bit")
    for narrow, told in ((False, "all states"), (True, "likely states")):
        each = [entry.least(narrow) for entry in entries]
        print(f"{told}: {len(each)} entries, median {statistics.median(each):.1f}, together {sum(each):.0f} ms")
    print(f"largest difference {max(entry.differs() for entry in entries):.1e} bit")


if __name__ == "__main__":
    main()
