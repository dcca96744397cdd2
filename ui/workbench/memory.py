"""Looking for garbage costs little: what the program itself consists of is looked through once and never again.

Streamlit looks through everything for garbage after each run of a page, 70 ms of processor time in which all other
sessions wait; the launcher switches that off. Python's own search comes too seldom: what ended runs of pages held would
pile up to several megabytes a session. What cars at rest have given back stays with the C library's allocator unless it
is told to hand it on: ten megabytes a car.
"""

from __future__ import annotations

import gc
import time

from faultnet.diagnosis.models import hand_on

EVERY = 2.0  # [s]
_looked: list[float] = []


def tidy() -> None:
    """Look for garbage unless that was done just now; the first time, set apart for good all that is in memory then."""
    now = time.monotonic()
    if _looked and now - _looked[-1] < EVERY:
        return
    first = not _looked
    _looked[:] = [now]
    gc.collect()
    if first:
        gc.freeze()
    hand_on()
