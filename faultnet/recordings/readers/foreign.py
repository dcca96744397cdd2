"""Listen to what other libraries log while they read, instead of letting them write on the user's screen."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager


class _Keeper(logging.Handler):
    """Keeps messages in a list."""

    def __init__(self, kept: list[str]) -> None:
        super().__init__(logging.WARNING)
        self.kept = kept

    def emit(self, record: logging.LogRecord) -> None:
        """Keep one message."""
        self.kept.append(record.getMessage().split("\n")[0][:120])


@contextmanager
def heard(library: str) -> Iterator[list[str]]:
    """Collect the warnings and errors that a library logs.

    Parameters
    ----------
    library : str
        Name of its root logger.

    Yields
    ------
    list of str
        Fills while the block runs; the library's own handlers are put back afterwards.

    Examples
    --------
    >>> with heard("some_library") as said:
    ...     logging.getLogger("some_library.reader").warning("line 3 is no frame")
    >>> said
    ['line 3 is no frame']
    """
    logger, kept = logging.getLogger(library), list[str]()
    handlers, propagate = logger.handlers, logger.propagate
    logger.handlers, logger.propagate = [_Keeper(kept)], False
    try:
        yield kept
    finally:
        logger.handlers, logger.propagate = handlers, propagate
