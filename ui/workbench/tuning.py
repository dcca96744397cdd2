"""A tuning that runs beside the page: how far it has come can be read, and it can be stopped, at any time."""

from __future__ import annotations

import threading
from dataclasses import dataclass, field

from faultnet.errors import FaultnetError
from faultnet.learning.progress import Cancelled, Progress
from faultnet.learning.result import Options, Tuned
from faultnet.learning.tables.history import History
from faultnet.learning.tune import tune
from faultnet.prior_set.catalogue import Catalogue

BEGINNING = Progress("beginning", 0.0, float("inf"))


@dataclass(eq=False)
class Running:
    """One tuning in a thread of its own; it changes nothing, and what it found waits until it is fetched.

    Parameters
    ----------
    history : History
    catalogue : Catalogue
        The prior set it begins with.
    from_set : str
    options : Options
    """

    history: History
    catalogue: Catalogue
    from_set: str
    options: Options
    progress: Progress = BEGINNING
    tuned: Tuned | None = None
    error: FaultnetError | None = None
    _stop: threading.Event = field(default_factory=threading.Event)
    _thread: threading.Thread | None = None

    def begin(self) -> Running:
        """Start it."""
        self._thread = threading.Thread(target=self._work, name="tuning", daemon=True)
        self._thread.start()
        return self

    def cancel(self) -> None:
        """Stop it at its next step; nothing is left behind."""
        self._stop.set()

    @property
    def over(self) -> bool:
        """Whether it has ended, one way or another."""
        return self._thread is not None and not self._thread.is_alive()

    def _work(self) -> None:
        try:
            self.tuned = tune(self.history.cases, self.catalogue, self.options, told=self._told)
        except FaultnetError as error:
            self.error = error
        except Exception as error:
            self.error = FaultnetError("tuning failed, nothing was changed", got=type(error).__name__)
            raise

    def _told(self, progress: Progress) -> None:
        self.progress = progress
        if self._stop.is_set():
            raise Cancelled("tuning was stopped; nothing was changed")
