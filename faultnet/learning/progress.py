"""How far a tuning has come, how long it will take, and how it is stopped.

Tuning works every case out, passes over them until the numbers settle, and does the same again for each fold of the
held-out scores. Until a step was timed, its price is taken from the bench; from then on from what it took here.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass, field

from faultnet.errors import FaultnetError

CASE_SECONDS = 0.006
PASS_SECONDS = 0.0003
LOOK_SECONDS = 0.03
"""Times to work a case out, for its share of a pass, and to look it over for slips [s], by ``tests/bench/tuning.py``;
corrected as it goes."""
TRY_SECONDS = 90.0  # to try physical numbers, until it is seen how long one takes [s]
USUAL_PASSES = 8


class Cancelled(FaultnetError):
    """A tuning was stopped before its end; nothing was changed."""


@dataclass(frozen=True)
class Progress:
    """How far it has come.

    Parameters
    ----------
    doing : str
        In words.
    share : float
        Of the whole work [-].
    left : float
        Time it will probably still take [s].
    """

    doing: str
    share: float
    left: float


Told = Callable[[Progress], None]
"""Told after each step; may raise :class:`Cancelled` to stop the work there."""


def nobody(progress: Progress) -> None:
    """Tell nobody."""


@dataclass
class Gauge:
    """Counts the steps of a tuning and foresees the rest.

    Parameters
    ----------
    cases : int
    passes : int
        Most passes of a climb.
    folds : int
    fold_passes : int
        Most passes for each fold.
    told : callable
    clock : callable
        Gives a time that only grows [s].
    looks : int
        Cases that are looked over for slips.
    tries : bool
        Whether physical numbers are tried.

    Examples
    --------
    >>> seen = []
    >>> ticks = iter(range(100))
    >>> gauge = Gauge(100, 50, 0, 12, seen.append, clock=lambda: float(next(ticks)))
    >>> gauge.worked_out(50)
    >>> seen[0].doing, seen[0].left > 1.0
    ('working out cases: 50 of 100', True)
    """

    cases: int
    passes: int
    folds: int
    fold_passes: int
    told: Told = nobody
    clock: Callable[[], float] = time.monotonic
    looks: int = 0
    tries: bool = False
    _began: float = field(init=False)
    _done: int = 0
    _case_price: float = CASE_SECONDS
    _pass_price: float = field(init=False)
    _last: float = field(init=False)
    _fold: int = 0
    _made: int = 0
    _settled_after: int = 0
    _score_price: float | None = None
    _looked: int = 0
    _look_price: float = LOOK_SECONDS
    _tries_left: float = 0.0
    _tries_began: float | None = None

    def __post_init__(self) -> None:
        self._began = self._last = self.clock()
        self._pass_price = PASS_SECONDS * self.cases
        self._tries_left = TRY_SECONDS * self.tries

    def worked_out(self, done: int) -> None:
        """So many cases are worked out by now."""
        now = self.clock()
        self._done, self._case_price, self._last = done, (now - self._began) / max(done, 1), now
        self._tell(f"working out cases: {done} of {self.cases}")

    def passed(self) -> None:
        """One more pass was made."""
        now = self.clock()
        first = not self._made and not self._fold
        self._pass_price = now - self._last if first else 0.5 * (self._pass_price + now - self._last)
        self._made, self._last = self._made + 1, now
        where = f"fold {self._fold} of {self.folds}" if self._fold else "all cases"
        self._tell(f"passing over {where}: pass {self._made}")

    def climbed(self) -> None:
        """A climb has ended, that of a fold with its scores; the next one is of the next fold."""
        now = self.clock()
        if self._fold:  # a fold ends with its scores
            self._score_price = now - self._last
        self._settled_after = self._settled_after or self._made
        self._fold, self._made, self._last = self._fold + 1, 0, now

    def looked_over(self, done: int) -> None:
        """So many cases were looked over for slips by now."""
        now = self.clock()
        if done > self._looked:
            self._look_price = (now - self._last) / (done - self._looked)
        self._looked, self._last = done, now
        self._tell(f"looking for slips: {done} of {self.looks}")

    def tried(self, done: int, of: int) -> None:
        """So many of the physical numbers were tried by now."""
        now = self.clock()
        if self._tries_began is None:
            self._tries_began = self._last
        self._tries_left = (of - done) * (now - self._tries_began) / max(done, 1)
        self._last = now
        self._tell(f"trying physical numbers: {done} of {of}")

    def _left(self) -> float:
        usual = self._settled_after or min(max(USUAL_PASSES, self._made + 2), self.passes + 1)
        in_fold = min(usual, self.fold_passes + 1)
        now = in_fold if self._fold else usual
        folds_to_come = max(self.folds - self._fold, 0)
        score = 3.0 * self._pass_price if self._score_price is None else self._score_price
        scores = folds_to_come + bool(self._fold)
        passes = max(now - self._made, 0) + folds_to_come * in_fold
        looks = (self.looks - self._looked) * self._look_price
        looks += self._tries_left
        return looks + (self.cases - self._done) * self._case_price + passes * self._pass_price + scores * score

    def _tell(self, doing: str) -> None:
        left = self._left()
        spent = self.clock() - self._began
        self.told(Progress(doing, spent / max(spent + left, 1e-9), left))
