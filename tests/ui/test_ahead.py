"""A new car's network is built while its form is being filled in: which forms are asked about, and which are not."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from workbench import ahead, answers, workers
from workbench.answers import Shop

from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit

CASE = Case(Car(Battery(600.0)), (Visit((Reading("flat_how_often", state="once", at="now"),), Conditions(7.0)),))
LARGER = replace(CASE, car=Car(Battery(700.0)))
SHOP = Shop(frozenset())


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> Iterator[list[Case]]:
    """Cases whose answer was asked for; one process is there, and has nothing to do."""
    found: list[Case] = []
    monkeypatch.setattr(workers, "_workers", [workers.Worker()])
    monkeypatch.setattr(answers, "answer", lambda case, shop: found.append(case))
    monkeypatch.setattr(ahead, "LEFT_ALONE", 0.05)
    ahead._waiting.clear()
    yield found
    ahead._waiting.clear()


def wait_until(holds: Callable[[], bool]) -> None:
    for _ in range(200):
        if holds():
            return
        time.sleep(0.01)
    raise AssertionError("it never came about")


def test_a_form_that_was_left_alone_is_asked_about_once(asked: list[Case]) -> None:
    for _ in range(3):
        ahead.filled("one", CASE, SHOP)
    wait_until(lambda: len(asked) == 1)
    ahead.filled("one", CASE, SHOP)  # drawn once more as it was
    time.sleep(0.15)
    assert len(asked) == 1
    assert asked[0].visits[0].entries[0].at == ""  # so that it does not differ from second to second


def test_what_is_typed_on_takes_the_place_of_what_was_there(asked: list[Case], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ahead, "LEFT_ALONE", 0.3)
    ahead.filled("one", CASE, SHOP)
    ahead.filled("one", LARGER, SHOP)
    wait_until(lambda: bool(asked))
    time.sleep(0.4)
    assert [case.car for case in asked] == [LARGER.car]


def test_a_case_that_is_begun_is_not_asked_about_a_second_time(asked: list[Case]) -> None:
    ahead.filled("one", CASE, SHOP)
    ahead.begun("one")
    ahead.begun("one")
    time.sleep(0.2)
    assert asked == []


def test_every_browser_has_its_own(asked: list[Case]) -> None:
    ahead.filled("one", CASE, SHOP)
    ahead.filled("other", LARGER, SHOP)
    wait_until(lambda: len(asked) == 2)


def test_nothing_is_asked_ahead_where_others_wait(asked: list[Case], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers.Worker, "busy", lambda self: 1)
    ahead.filled("one", CASE, SHOP)
    time.sleep(0.2)
    assert asked == []


def test_without_processes_beside_the_server_nothing_is_asked_ahead(
    asked: list[Case], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "_workers", [])
    ahead.filled("one", CASE, SHOP)
    time.sleep(0.2)
    assert asked == []
