"""Products of a desk that may be asked for again, kept as long as there is room for them in memory.

The largest products of a question only serve to make the next ones; these go as soon as all tests are answered. What
the answers for further configurations begin with stays, on every desk used lately, as far as :data:`ROOM` allows.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from itertools import count
from weakref import WeakSet

from faultnet.inference.contraction import Tensor

ROOM = 96 << 20
Key = tuple[int, int]


@dataclass(eq=False)
class Shelf:
    """Products by number and reach.

    Parameters
    ----------
    tables : dict of (int, int) to Tensor
    lasting : set of (int, int)
        Those that work on further configurations begins with.
    used : int
        When it was used last, as a count over all shelves.
    """

    tables: dict[Key, Tensor] = field(default_factory=dict)
    lasting: set[Key] = field(default_factory=set)
    used: int = 0

    def size(self) -> int:
        """What it holds [bytes]."""
        return sum(t.values.nbytes for t in list(self.tables.values()))

    def tidied(self) -> None:
        """Let go of what nothing begins with, and of the shelves used longest ago while all together take too much."""
        for key in [k for k in list(self.tables) if k not in self.lasting]:
            self.tables.pop(key, None)
        with _lock:
            self.used = next(_clock)
            _all.add(self)
            shelves = sorted(_all, key=lambda s: -s.used)
        left = ROOM
        for shelf in shelves:
            left -= shelf.size()
            if left < 0:
                shelf.tables.clear()


_lock = threading.Lock()
_clock = count()
_all: WeakSet[Shelf] = WeakSet()
