"""Looking for garbage costs little: what the program itself consists of is looked through once and never again."""

from __future__ import annotations

import gc
from functools import lru_cache


@lru_cache(maxsize=1)
def settle() -> None:
    """Set apart all that is in memory once the first page stands: the libraries and the catalogue, for good.

    Streamlit looks through everything for garbage after each run of a page, 70 ms of processor time in which all other
    sessions wait. The launcher switches that off; Python still looks by itself, through what came after this.
    """
    gc.collect()
    gc.freeze()
