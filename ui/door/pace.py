"""Guesses one after the other, all guessers together, and slower the more of them were wrong."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable

PAUSE, LONG_PAUSE = 1.0, 5.0  # [s]
EASY = 10
MOST_WAITING = 8


class Pace:
    """Lets a guess be looked at when its turn has come.

    Whoever has the right cookie never comes here. One address waits with one guess only, so that somebody who tries
    many cannot fill the queue.

    Parameters
    ----------
    clock, sleep : callable
        What time it is, and how to wait [s].
    """

    def __init__(
        self, clock: Callable[[], float] = time.monotonic, sleep: Callable[[float], Awaitable[object]] = asyncio.sleep
    ) -> None:
        self._clock = clock
        self._sleep = sleep
        self._next = 0.0
        self._wrong = 0
        self._waiting: set[str] = set()
        self._turn = asyncio.Lock()

    async def turn(self, address: str) -> bool:
        """Wait until a guess from an address may be looked at; False when it is not to be looked at at all."""
        if address in self._waiting or len(self._waiting) >= MOST_WAITING:
            return False
        self._waiting.add(address)
        try:
            async with self._turn:
                await self._sleep(max(0.0, self._next - self._clock()))
                # Taken for wrong until it is known to be right: a guess that is broken off counts too.
                self._wrong += 1
                self._next = self._clock() + (PAUSE if self._wrong < EASY else LONG_PAUSE)
        finally:
            self._waiting.discard(address)
        return True

    def right(self) -> None:
        """The guess was right: nobody waits for it."""
        self._wrong = 0
        self._next = 0.0
