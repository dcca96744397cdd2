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
        Results kept.

    Examples
    --------
    >>> memo = Memo(2)
    >>> memo.get("a", lambda: 1), memo.get("a", lambda: 2)
    (1, 1)
    """

    def __init__(self, most: int) -> None:
        self._most = most
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
            self._kept[key] = value
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return value
