"""The car that this browser practises on: kept in a file of its own, one step a press, looked back upon at the end."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from threading import Lock

import streamlit as st

from faultnet.errors import FaultnetError
from faultnet.practice.ahead import Ahead
from faultnet.practice.cars import Ticket
from faultnet.practice.play import Played, begun, moved
from faultnet.practice.progress import Progress, held, load_progress, progress_file, save_progress, taken_up
from faultnet.practice.review import Adviser, review
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import Step
from workbench import answers, state, workers

PLAYED = "practice_played"
MOST_AHEAD = 32  # browsers for which the advice is asked ahead
_ahead: OrderedDict[str, tuple[Played, Ahead]] = OrderedDict()
_taking = Lock()


def place() -> Path:
    """The file of this browser."""
    return progress_file(f"page-{state.browser()}")


def progress() -> Progress:
    """What was practised so far.

    Raises
    ------
    StoreError
        If the file is damaged.
    """
    return load_progress(place())


def shop() -> Shop:
    """A shop with every tool, at the prices of this workshop; the same one as long as they stay."""
    return _shop(answers.catalogue().fingerprint, state.shop())


@lru_cache(maxsize=4)
def _shop(fingerprint: str, ours: answers.Shop) -> Shop:
    return Shop(answers.catalogue(), answers.costs(ours))


def played(now: Progress) -> Played:
    """The car in hand, every step taken again unless this session has it.

    Raises
    ------
    StoreError
        If it is no longer the car that was begun.
    """
    assert now.in_hand is not None
    known = st.session_state.get(PLAYED)
    if known is not None and known[0] == now.version and known[1].shop.costs == shop().costs:
        found: Played = known[1]
        return found
    found = taken_up(now.in_hand, shop())
    st.session_state[PLAYED] = (now.version, found)
    return found


def begin(version: str, ticket: Ticket) -> None:
    """Begin a car, on top of what was on the page."""
    _changed(version, lambda now: replace(now, in_hand=held(begun(ticket, shop()))))


def give_up(version: str) -> None:
    """Let the car in hand go, unscored."""
    _changed(version, lambda now: replace(now, in_hand=None))


def step(version: str, taken: Step, belief: float | None = None) -> None:
    """Take a step on the car in hand; a press on a page that is outdated takes none."""
    forget()

    def stepped(now: Progress) -> Progress:
        after = moved(played(now), taken, belief)
        _ask_ahead(after)
        return replace(now, in_hand=held(after))

    _changed(version, stepped)


def _ask_ahead(played: Played) -> None:
    """Have what the review will ask worked out beside the server while the learner thinks, from the first step on."""
    if not workers.beside():
        return
    ours, browser = state.shop(), state.browser()
    with _taking:
        known = _ahead.pop(browser, None)
        if known is not None and (known[0].ticket, known[0].shop) != (played.ticket, played.shop):
            known[1].stop()
            known = None
        ahead = known[1] if known else Ahead(played.ticket, played.shop, lambda c, _: answers.advised_in_turn(c, ours))
        _ahead[browser] = played, ahead
        while len(_ahead) > MOST_AHEAD:
            _ahead.popitem(last=False)[1][1].stop()
    for job in played.before:
        ahead.saw(job.case)


def _adviser(finished: Played) -> Adviser:
    """What was asked ahead of a car, or who is asked now."""
    ours = state.shop()
    with _taking:
        known = _ahead.pop(state.browser(), None)
    if known is not None and (known[0].ticket, known[0].shop) == (finished.ticket, finished.shop):
        return known[1].adviser
    return lambda case, _: answers.advised_in_turn(case, ours)


def look_back(now: Progress, finished: Played) -> None:
    """Hold the car that was given back beside the advice, and keep what came of it."""
    found = review(finished, _adviser(finished))
    _changed(now.version, lambda still: replace(still, in_hand=None, cars=(*still.cars, found)))


def choose(what: str, name: str | None) -> None:
    """Put a test or a part on the card."""
    state.set_trouble(None)
    state.remember(f"practice_{what}", name)


def chosen(what: str) -> str | None:
    """The test or the part on the card."""
    found = state.recall(f"practice_{what}")
    return None if found is None else str(found)


def forget() -> None:
    """Take what is on the card away."""
    for what in ("test", "part"):
        state.remember(f"practice_{what}", None)


def _changed(version: str, change: Callable[[Progress], Progress]) -> None:
    state.set_trouble(None)
    try:
        now = progress()
        if now.version == version:
            save_progress(place(), change(now))
    except FaultnetError as error:
        state.set_trouble(error)
