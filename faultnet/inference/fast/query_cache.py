"""What is kept of the questions about one cluster, in one object, and until when.

A question is contracted in stages, and each leaves something that a later question needs again:

==============  ======================================================  ======  ======  ========
kept            what                                                    trim    rest    forget
==============  ======================================================  ======  ======  ========
`constants`     products that no reading bears on                       goes    goes
`outcomes`      what tests would show, given the hidden nodes           goes    goes
`schedules`     which tables are multiplied in which order              goes    goes
`numbers`       what products are known by                                      goes
`rows`          the row of each hypothesis in a message                 goes    goes
`factors`       likelihood factors of readings over hidden nodes        goes    goes    goes
`messages`      likelihoods of readings, for all configurations                         goes
`likelihoods`   the same for the configurations asked about so far              goes    goes
`answers`       what tests would show, for all configurations                   goes    goes
`queries`       the same for the configurations asked about so far,             goes    goes
                and the products they came from                         goes    goes    goes
==============  ======================================================  ======  ======  ========

`trim` once a question is answered, `rest` when another car is worked on, `forget` so that a bench finds all anew. None
changes an answer: what is gone is worked out again. Small clusters keep `answers`, large ones `queries`.
"""

from __future__ import annotations

import threading
from collections.abc import Hashable, Iterable, Iterator
from dataclasses import dataclass, field
from itertools import count
from typing import TYPE_CHECKING
from weakref import ref

import numpy as np
from numpy.typing import NDArray

from faultnet.inference.configurations import Components
from faultnet.inference.contraction import Tensor
from faultnet.inference.fast.bounded_cache import Memo
from faultnet.inference.fast.schedule import Named, Schedule

if TYPE_CHECKING:
    from faultnet.inference.fast.query import Likelihoods, Query

ROOM = 96 << 20
KEPT_CONSTANTS = 1 << 22
KEPT_OUTCOMES = 1 << 20
KEPT_SCHEDULES = 96
KEPT_FACTORS = 1 << 18
KEPT_MESSAGES = 96
KEPT_ANSWERS = 48
KEPT_READINGS = 3
Key = tuple[int, int]


def _entries(tensor: Tensor) -> int:
    return tensor.values.size


@dataclass(frozen=True, eq=False)
class QueryCache:
    """What is kept of the questions about one cluster; the table above says what each field holds.

    Examples
    --------
    >>> cache = QueryCache()
    >>> cache.number("a"), cache.number("b"), cache.number("a")
    (0, 1, 0)
    >>> cache.size()
    0
    """

    constants: Memo[Tensor] = field(default_factory=lambda: Memo(KEPT_CONSTANTS, _entries))
    outcomes: Memo[Named] = field(default_factory=lambda: Memo(KEPT_OUTCOMES, lambda n: n.tensor.values.size))
    schedules: Memo[Schedule] = field(default_factory=lambda: Memo(KEPT_SCHEDULES))
    numbers: dict[Hashable, int] = field(default_factory=dict)
    rows: dict[Components, NDArray[np.unsignedinteger]] = field(default_factory=dict)
    factors: Memo[Tensor] = field(default_factory=lambda: Memo(KEPT_FACTORS, _entries))
    messages: Memo[tuple[Tensor, float]] = field(default_factory=lambda: Memo(KEPT_MESSAGES))
    likelihoods: Memo[Likelihoods] = field(default_factory=lambda: Memo(KEPT_MESSAGES))
    answers: Memo[Tensor] = field(default_factory=lambda: Memo(KEPT_ANSWERS))
    queries: Memo[list[Query]] = field(default_factory=lambda: Memo(KEPT_READINGS))
    _serial: Iterator[int] = field(default_factory=count)

    def number(self, key: Hashable) -> int:
        """A number for a product, the same whenever it is asked for."""
        found = self.numbers.get(key)
        return self.numbers.setdefault(key, next(self._serial)) if found is None else found

    def size(self) -> int:
        """What takes room [bytes]; schedules hold large tables of their own, messages and answers are small."""
        tables = [*self.constants.values(), *(named.tensor for named in self.outcomes.values())]
        tables += [table for schedule in self.schedules.values() for _, table in schedule.constants]
        asked = sum(query.size() for query in self._queries())
        return _memory(tables) + asked + 8 * self.factors.weight

    def trim(self) -> None:
        """Drop what is large and soon worked out again; answers under the readings asked about last are kept."""
        for kept in (self.constants, self.outcomes, self.schedules, self.rows, self.factors):
            kept.clear()
        for query in self._queries():
            query.trim()

    def rest(self) -> None:
        """Drop all but the likelihoods of readings, which are small."""
        self.trim()
        for kept in (self.numbers, self.likelihoods, self.answers, self.queries):
            kept.clear()

    def forget(self) -> None:
        """Drop what was worked out for readings; what no reading bears on is kept."""
        for kept in (self.factors, self.messages, self.likelihoods, self.answers, self.queries):
            kept.clear()

    def _queries(self) -> Iterator[Query]:
        return (query for queries in self.queries.values() for query in queries)


def _memory(tables: Iterable[Tensor]) -> int:
    """What tables take, memory that several lie in counted once, and files mapped into memory not at all [bytes]."""
    owners = {id(owner): owner for owner in (_owner(table) for table in tables)}
    return sum(owner.nbytes for owner in owners.values() if not isinstance(owner, np.memmap))


def _owner(table: Tensor) -> NDArray[np.float64]:
    """The array whose memory a table lies in."""
    values = table.values
    while isinstance(values.base, np.ndarray):
        values = values.base
    return values


@dataclass(eq=False)
class CommonProducts:
    """Products of a query that depend on few configurations, so that further configurations begin with them.

    The largest products of a question only serve to make the next ones; these go once no test left fetches them. The
    others stay, of every query used lately, as far as :data:`ROOM` allows for all clusters and cars together.

    Parameters
    ----------
    tables : dict of (int, int) to Tensor
        By number and reach.
    lasting : set of (int, int)
        Those that work on further configurations begins with.
    """

    tables: dict[Key, Tensor] = field(default_factory=dict)
    lasting: set[Key] = field(default_factory=set)

    def size(self) -> int:
        """What it holds [bytes]."""
        return sum(t.values.nbytes for t in list(self.tables.values()))

    def tidy(self) -> None:
        """Let go of what nothing begins with, and of the products used longest ago while all together take too much."""
        for key in [k for k in list(self.tables) if k not in self.lasting]:
            self.tables.pop(key, None)
        with _lock:
            others = [kept for r in _used_last if (kept := r()) is not None and kept is not self]
            kept_now = [*others, self]
            _used_last[:] = [ref(kept) for kept in kept_now]
        left = ROOM
        for kept in reversed(kept_now):
            left -= kept.size()
            if left < 0:
                kept.tables.clear()


_lock = threading.Lock()
_used_last: list[ref[CommonProducts]] = []  # the one used last at the end
