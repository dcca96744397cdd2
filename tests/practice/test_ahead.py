"""What a review asks is asked ahead: the same review, nothing left to ask, and the learner's cases first."""

from __future__ import annotations

from threading import Event

import pytest

from faultnet.case.types import Case
from faultnet.decision import load_costs
from faultnet.errors import EntryError
from faultnet.practice.ahead import Ahead
from faultnet.practice.cars import Ticket
from faultnet.practice.play import Played, begun, moved
from faultnet.practice.review import Advised, review
from faultnet.prior_set import load_catalogue
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.steps import GiveBack, Look

SHOP = Shop(load_catalogue(), load_costs())
TICKET = Ticket(course="sound_car")
ADVISED = ("rest_voltage", "crank_minimum", "charge_lamp")
PATIENCE = 30.0  # [s]


class Asked:
    """An adviser that needs no network; it waits until it may begin, and says when all of its play was asked."""

    def __init__(self) -> None:
        self.cases: list[Case] = []
        self.may_begin, self.ended = Event(), Event()

    def __call__(self, case: Case, shop: Shop) -> Advised:
        assert self.may_begin.wait(PATIENCE)
        self.cases.append(case)
        read = {e.test for v in case.visits for e in v.entries if hasattr(e, "test")}
        left = [test for test in ADVISED if test not in read]
        if not left:
            self.ended.set()
        return Advised(Look(left[0]) if left else GiveBack(), f"{len(left)} left", {})


def learner() -> Played:
    played = begun(TICKET, SHOP)
    for step in (Look("ground_side_drop"), Look("charge_idle_voltage"), GiveBack()):
        played = moved(played, step)
    assert played.job.done
    return played


def test_the_review_finds_everything_asked_and_is_the_same() -> None:
    finished, ask = learner(), Asked()
    ahead = Ahead(TICKET, SHOP, ask)
    for job in finished.before:
        ahead.saw(job.case)
    ask.may_begin.set()
    assert ask.ended.wait(PATIENCE)
    last = moved(begun(TICKET, SHOP), Look("belt_look")).case
    ahead.saw(last)
    assert ahead.adviser(last, SHOP) == ask(last, SHOP)  # what stood before it is done
    ask.cases[:] = [case for case in ask.cases if case != last]
    found = review(finished, ahead.adviser)
    assert [job.case for job in finished.before][:2] == ask.cases[:2]
    assert len(ask.cases) == len(set(ask.cases)) == 3 + 3  # three of either play, and both begin with the same case
    plain = Asked()
    plain.may_begin.set()
    assert found == review(finished, plain)
    assert len(found.turns) == 3
    ahead.stop()


def test_what_was_not_asked_ahead_is_asked_then_and_after_the_end_too() -> None:
    finished, ask = learner(), Asked()
    ask.may_begin.set()
    ahead = Ahead(TICKET, SHOP, ask)
    ahead.stop()
    ahead.saw(finished.before[0].case)
    assert review(finished, ahead.adviser) == review(finished, ask)


def test_a_fault_ahead_is_told_where_the_answer_is_wanted() -> None:
    def refuses(case: Case, shop: Shop) -> Advised:
        raise EntryError("no", got="this", expected="that")

    ahead = Ahead(TICKET, SHOP, refuses)
    case = begun(TICKET, SHOP).case
    ahead.saw(case)
    with pytest.raises(EntryError, match="no"):
        ahead.adviser(case, SHOP)
    ahead.stop()
