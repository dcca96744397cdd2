"""The first answer on a car, worked out while its form is still being filled in.

Building a car's network and its first answer take seconds, which somebody who presses "Begin" would wait for. What
stands in the form is asked about as soon as it has been left alone for a moment, in a process beside the server that
has nothing else to do; whoever presses "Begin" then finds the network there. Nothing of it is kept as a case.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from contextlib import suppress
from dataclasses import dataclass, replace

from faultnet.case.types import Case
from faultnet.errors import FaultnetError
from workbench import answers, workers
from workbench.answers import Shop

LEFT_ALONE = 0.7  # [s]
MOST = 32  # browsers
_lock = threading.Lock()
_waiting: OrderedDict[str, _Filled] = OrderedDict()


@dataclass(frozen=True)
class _Filled:
    """What stood in a browser's form last."""

    case: Case
    timer: threading.Timer


def filled(browser: str, case: Case, shop: Shop) -> None:
    """Take note of what stands in the form of a new case.

    Parameters
    ----------
    browser : str
    case : Case
        With one visit, as it would begin.
    shop : Shop
    """
    if not workers.beside():
        return
    visit = case.visits[0]
    case = replace(case, visits=(replace(visit, entries=tuple(replace(e, at="", by="") for e in visit.entries)),))
    with _lock:
        known = _waiting.pop(browser, None)
        if known is not None and known.case == case:
            _waiting[browser] = known
            return
        if known is not None:
            known.timer.cancel()
        timer = threading.Timer(LEFT_ALONE, _ask, (case, shop))
        timer.daemon = True
        _waiting[browser] = _Filled(case, timer)
        while len(_waiting) > MOST:
            _waiting.popitem(last=False)[1].timer.cancel()
        timer.start()


def begun(browser: str) -> None:
    """The case is begun: what stood in its form is not asked about any more."""
    with _lock:
        known = _waiting.pop(browser, None)
    if known is not None:
        known.timer.cancel()


def _ask(case: Case, shop: Shop) -> None:
    if workers.have_one_idle():
        with suppress(FaultnetError):  # it is said once the case has begun
            answers.answer(case, shop)
