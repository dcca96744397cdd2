"""What the review of a car will ask, worked out while the learner still thinks.

The advice's own play of the car goes on step by step beside the learner's, and what the advice would do is asked of
each case that the learner came to, which goes first. The review then finds its answers ready; it is the same review.
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import CancelledError, Future, ThreadPoolExecutor
from contextlib import suppress
from typing import TypeVar

from faultnet.case.types import Case
from faultnet.errors import FaultnetError
from faultnet.practice.cars import Ticket
from faultnet.practice.play import Played, begun, taken
from faultnet.practice.review import Advised, Adviser, advised, advised_step
from faultnet.simulation.workshop.job import Shop

Done = TypeVar("Done")


class Ahead:
    """Asks ahead on one car.

    Parameters
    ----------
    ticket : Ticket
    shop : Shop
    ask : callable
        Says what the advice would do; called from a thread beside the caller's, one case at a time.

    Examples
    --------
    >>> from faultnet.decision import load_costs
    >>> from faultnet.practice.review import review
    >>> from faultnet.practice.knowing import play_knowing
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.simulation.workshop.steps import GiveBack
    >>> ticket, shop = Ticket(course="sound_car"), Shop(load_catalogue(), load_costs())
    >>> ahead = Ahead(ticket, shop, lambda case, shop: Advised(GiveBack(), "it is sound", {}))
    >>> ahead.saw(begun(ticket, shop).case)
    >>> review(play_knowing(ticket, shop), ahead.adviser).advice.tests
    0
    >>> ahead.stop()
    """

    def __init__(self, ticket: Ticket, shop: Shop, ask: Adviser = advised) -> None:
        self._ticket, self._shop, self._ask = ticket, shop, ask
        self._thread = ThreadPoolExecutor(1, thread_name_prefix="practice")
        self._asked: dict[Case, Future[Advised]] = {}
        self._begun = False

    def saw(self, case: Case) -> None:
        """Ask about a case that the learner came to."""
        self._put(case)
        if not self._begun:
            self._begun = True
            self._submit(self._play, None)

    def adviser(self, case: Case, shop: Shop) -> Advised:
        """What the advice would do: what was asked ahead, or asked now."""
        known = self._asked.get(case)
        try:
            return self._ask(case, shop) if known is None else known.result()
        except CancelledError:
            return self._ask(case, shop)

    def stop(self) -> None:
        """Ask nothing further; what was begun comes to its end."""
        self._thread.shutdown(wait=False, cancel_futures=True)

    def _put(self, case: Case) -> None:
        if case not in self._asked:
            asked = self._submit(self._ask, case, self._shop)
            if asked is not None:
                self._asked[case] = asked

    def _submit(self, what: Callable[..., Done], *of: object) -> Future[Done] | None:
        """Have something done in its turn; nothing once it was stopped."""
        with suppress(RuntimeError):
            return self._thread.submit(what, *of)
        return None

    def _play(self, played: Played | None) -> None:
        """One step of the advice's play; the next one stands behind what the learner has come to by then."""
        if played is None:
            played = begun(self._ticket, self._shop)
        if played.job.done:
            return
        known = self._asked.get(played.case)
        if known is None or not known.done():  # what the learner waits for in the queue is left to its turn
            known = Future()
            try:
                known.set_result(self._ask(played.case, self._shop))
            except FaultnetError as error:
                known.set_exception(error)
            self._asked.setdefault(played.case, known)
        if known.cancelled() or known.exception() is not None:
            return
        self._submit(self._play, taken(played, *advised_step(known.result())))
