"""Two questions about one event: what is told twice counts once, and is not asked for a second time."""

from __future__ import annotations

from functools import lru_cache
from typing import get_args

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Outcome, Reading, Visit
from faultnet.diagnosis import diagnosis_of, work_through
from faultnet.diagnosis.diagnose import Worked, ranked
from faultnet.diagnosis.needs import is_open, without_told_twice
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import OUTCOMES
from faultnet.simulation.car.answers import told
from faultnet.simulation.car.world import draw_car

CAR = Car(Battery(600.0), label="invented")
MILD = Conditions(air_temperature=15.0)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


def said(**answers: str) -> tuple[Entry, ...]:
    return tuple(Reading(test, state=state) for test, state in answers.items())


def beliefs(*entries: Entry) -> np.ndarray:
    return work_through(Case(CAR, (Visit(entries, MILD),)), catalogue()).belief.posterior


FOLLOWS = {"jump_start": "starts_and_restarts_later", "after_booster": "runs_and_restarts"}
FINER = {"jump_start": "starts_flat_again", "after_booster": "fails_after_a_drive"}
AT_ODDS = {"jump_start": "starts_and_restarts_later", "after_booster": "fails_after_a_drive"}
FLAT_NEXT_DAY = {"jump_start": "starts_flat_again", "after_booster": "runs_and_restarts"}


def test_what_is_told_twice_counts_once() -> None:
    once = said(jump_start="starts_and_restarts_later")
    assert np.allclose(beliefs(*said(**FOLLOWS)), beliefs(*once))
    assert np.allclose(beliefs(*reversed(said(**FOLLOWS))), beliefs(*once))
    assert not np.allclose(beliefs(*said(after_booster="runs_and_restarts")), beliefs(*once))


def test_the_answer_that_says_more_counts() -> None:
    assert np.allclose(beliefs(*said(**FINER)), beliefs(*said(after_booster="fails_after_a_drive")))


@pytest.mark.parametrize("answers", [AT_ODDS, FLAT_NEXT_DAY])
def test_answers_of_which_neither_follows_both_count(answers: dict[str, str]) -> None:
    visit = Visit(said(**answers), MILD)
    assert without_told_twice(visit, catalogue()) is visit
    for alone in said(**answers):
        assert not np.allclose(beliefs(*visit.entries), beliefs(alone))


def test_the_verdict_says_that_it_was_told_already() -> None:
    twice = work_through(Case(CAR, (Visit(said(**FOLLOWS), MILD),)), catalogue())
    assert 'What is answered to "After a start with a booster" was told already' in _summary(twice)
    both = work_through(Case(CAR, (Visit(said(**FLAT_NEXT_DAY), MILD),)), catalogue())
    assert "told already" not in _summary(both)


def _summary(worked: Worked) -> str:
    return diagnosis_of(worked, ranked(worked, None)[0]).summary


@pytest.mark.parametrize(
    "answered, asked, still_open",
    [
        ({"after_booster": "runs_and_restarts"}, "jump_start", True),
        ({"after_booster": "died_as_leads_came_off"}, "jump_start", False),
        ({"jump_start": "starts_and_restarts_later"}, "after_booster", False),
        ({"jump_start": "no_help"}, "after_booster", False),
        ({"jump_start": "not_tried"}, "after_booster", False),
        ({"jump_start": "starts_flat_again"}, "after_booster", True),
        ({"flat_how_often": "once"}, "jump_start", True),
    ],
)
def test_what_was_told_is_not_asked_for(answered: dict[str, str], asked: str, still_open: bool) -> None:
    case = Case(CAR, (Visit(said(**answered), MILD), Visit((), MILD)))
    assert is_open(catalogue().test(asked), case, catalogue()) is still_open


@pytest.mark.parametrize(
    ("entry", "asked"),
    [
        (None, False),
        (Reading("jump_start", not_measured="skipped"), False),
        (Reading("jump_start", state="starts_flat_again"), True),
        (Act("jump_start", None, "cured"), True),
        (Act("jump_start", None, "better"), True),
        (Act("jump_start", None, "no_change"), False),
        (Act("jump_start"), False),
    ],
)
def test_what_came_of_a_start_with_a_booster_is_asked_once_there_was_one(entry: Entry | None, asked: bool) -> None:
    """Nobody knows how it ran after a start that nobody made (common practice, no source)."""
    case = Case(CAR, (Visit(() if entry is None else (entry,), MILD),))
    assert is_open(catalogue().test("after_booster"), case, catalogue()) is asked


def test_a_prior_set_and_a_case_know_the_same_outcomes() -> None:
    assert get_args(Outcome) == OUTCOMES


def test_a_virtual_driver_tells_one_story() -> None:
    """What follows from an answer is what he says to the other question, whichever is asked first."""
    booster, after = (catalogue().test(test) for test in ("jump_start", "after_booster"))
    stories = set()
    for number in range(80):
        car = draw_car(np.random.default_rng([4, number]), catalogue(), CAR, {"use": "left_on"}, MILD, "standard")
        rng = np.random.default_rng(number)
        then, first, again = (told(car, rng, test) for test in (after, booster, after))
        assert then == again
        if first == "starts_and_restarts_later":
            assert then == "runs_and_restarts"
        stories.add((first, then))
    assert ("starts_and_restarts_later", "runs_and_restarts") in stories
    assert len({then for _, then in stories}) > 1
