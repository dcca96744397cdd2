"""A bounded store of results already worked out, shared by threads."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Generic, TypeVar

Value = TypeVar("Value")


class Memo(Generic[Value]):
    """Keeps the results used last.

    Parameters
    ----------
    most : int
        Results kept, or what they may weigh together.
    weigh : callable, optional
        What a result weighs; one when left out.

    Examples
    --------
    >>> memo = Memo(2)
    >>> memo.get("a", lambda: 1), memo.get("a", lambda: 2)
    (1, 1)
    """

    def __init__(self, most: int, weigh: Callable[[Value], int] | None = None) -> None:
        self._most = most
        self._weigh = weigh
        self._weight = 0
        self._lock = threading.Lock()
        self._kept: OrderedDict[Hashable, Value] = OrderedDict()

    def get(self, key: Hashable, make: Callable[[], Value]) -> Value:
        """The result kept under a key; made, outside the lock, when there is none."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return self._kept[key]
        value = make()
        with self._lock:
            if key not in self._kept:
                self._kept[key] = value
                self._weight += self._weight_of(value)
            while self._weight > self._most and len(self._kept) > 1:
                self._weight -= self._weight_of(self._kept.popitem(last=False)[1])
            return self._kept.get(key, value)

    def clear(self) -> None:
        """Forget everything."""
        with self._lock:
            self._kept.clear()
            self._weight = 0

    def values(self) -> list[Value]:
        """All results kept, the one used last at the end."""
        with self._lock:
            return list(self._kept.values())

    @property
    def weight(self) -> int:
        """What all results kept weigh together."""
        return self._weight

    def _weight_of(self, value: Value) -> int:
        return 1 if self._weigh is None else self._weigh(value)
