"""Orders of products that were found before: those of earlier runs, and those that come with the program.

The file of earlier runs lies in the cache folder and grows by a line with every order that had to be searched for: a
workshop finds some hundred in a day. So it is cut to its newest lines when it has too many, and a line is only checked
and taken apart once its order is asked for: with a seal checked for each line, a file of 100,000 took 3 s at the start
of every command.
"""

from __future__ import annotations

import hmac
import json
from functools import lru_cache
from pathlib import Path

from faultnet.cache import cache_folder, keep_file, open_kept, seal

Step = tuple[int, ...]
ORDERS_FILE = "orders.jsonl"
SHIPPED_ORDERS = Path(__file__).with_name(ORDERS_FILE)
MOST_KEPT = 20_000  # lines of earlier runs, some 7 MB; beyond them the older half is forgotten


class KeptOrders:
    """Orders in a file, each under its key.

    Parameters
    ----------
    path : Path
        Lines of a seal, a space, and a key with its steps as JSON; read once.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lines = {_key_of(line): line for line in _lines_of(path)}

    def __len__(self) -> int:
        return len(self._lines)

    def get(self, key: str) -> tuple[Step, ...] | None:
        """The steps kept under a key; none where there is no such line, or its seal does not hold."""
        sealed, _, told = self._lines.get(key.encode(), b"").partition(b" ")
        if not told or not hmac.compare_digest(sealed, seal(ORDERS_FILE, told).encode()):
            return None
        return order_of(told)[1]

    def keep(self, key: str, steps: tuple[Step, ...]) -> None:
        """Keep an order for later runs; a folder that cannot be written only costs time."""
        told = json.dumps([key, steps]).encode()
        line = seal(ORDERS_FILE, told).encode() + b" " + told
        self._lines[key.encode()] = line
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            with open_kept(self._path, adding=True) as file:
                file.write(line + b"\n")
        except OSError:
            return


def remembered() -> KeptOrders:
    """Orders of earlier runs of this user."""
    return read_orders(cache_folder() / ORDERS_FILE)


@lru_cache(maxsize=4)
def read_orders(path: Path) -> KeptOrders:
    """Orders kept in a file, which is read at the first call."""
    return KeptOrders(path)


@lru_cache(maxsize=1)
def shipped() -> dict[str, tuple[Step, ...]]:
    """Orders that come with the program, as trusted as its code: without a seal, which only one user could read."""
    try:
        return dict(order_of(line) for line in SHIPPED_ORDERS.read_text(encoding="utf-8").splitlines())
    except (OSError, ValueError):
        return {}


def order_of(told: str | bytes) -> tuple[str, tuple[Step, ...]]:
    """A key and its steps as they are written in a line.

    Examples
    --------
    >>> order_of('["a1", [[0, 1]]]')
    ('a1', ((0, 1),))
    """
    key, steps = json.loads(told)
    return key, tuple((int(a), int(b)) for a, b in steps)


def _key_of(line: bytes) -> bytes:
    """What stands in the first quotes of a line: its key, if its seal holds."""
    return line.partition(b'"')[2].partition(b'"')[0]


def _lines_of(path: Path) -> list[bytes]:
    """Lines of a file; where they are too many, the older half is taken out of it.

    What another process adds meanwhile may be lost, and is searched for again.
    """
    try:
        with open_kept(path) as file:
            lines = file.read().splitlines()
    except OSError:
        return []
    if len(lines) > MOST_KEPT:
        lines = lines[-MOST_KEPT // 2 :]
        keep_file(path, b"\n".join(lines) + b"\n")
    return lines
