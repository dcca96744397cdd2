"""What the car can do now is one tap each, kept with the visit, and no test is proposed that it cannot serve."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from faultnet.case.types import Case, Conditions, Reading, Visit
from faultnet.prior_set import load_catalogue
from tests.ui.conftest import Served, a_case
from tests.ui.hands import opened, settled, wait_for_words

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
RUNNING = {t.label for t in load_catalogue().tests if {"engine_runs", "engine_warm"} & set(t.needs)}
MILD = Conditions(air_temperature=12.0, hours_standing=10.0)
LAMPS = Reading("charge_lamp", state="stays_on")


def flat_again() -> Case:
    """A car that is flat again and again, its charge lamp on: the charging voltage is what one would read."""
    again = Reading("flat_how_often", state="again_and_again")
    volts = Reading("rest_voltage", value=12.1)
    return a_case(visits=(Visit((again, LAMPS, volts), conditions=MILD, date="2026-11-25"),))


def proposed(page: Any) -> set[str]:
    """The labels of the test on the card and of those ranked below it."""
    others = page.locator(".st-key-others button strong").all_inner_texts()
    return {page.locator(".fn-test h2").inner_text(), *others}


def tap(page: Any, words: str) -> None:
    button = page.locator(".st-key-able").get_by_role("radio", name=words, exact=True)
    button.scroll_into_view_if_needed()
    button.click()
    wait_for_words(page, f"The car now: {words}")


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_a_car_that_does_not_start_is_asked_for_nothing_that_needs_it_to_run(
    screen: Screen, served: Served, kind: str
) -> None:
    page = screen(kind)
    case_id = served.keep(flat_again())
    opened(page, served, case_id)
    assert proposed(page) & RUNNING
    tap(page, "Does not start")
    assert served.current(case_id).visits[-1].runs == "no"
    assert not proposed(page) & RUNNING
    page.reload()
    page.wait_for_selector(".fn-test")
    settled(page)
    assert not proposed(page) & RUNNING
    page.get_by_role("button", name="Undo", exact=True).click()
    page.wait_for_timeout(500)
    settled(page)
    assert served.current(case_id).visits[-1].runs is None
    assert proposed(page) & RUNNING


def test_what_was_said_can_be_taken_back_and_what_the_entries_say_stands_without_a_tap(
    screen: Screen, served: Served
) -> None:
    page = screen("phone")
    clunk = Reading("how_it_turns_over", state="one_clunk")
    case_id = served.keep(a_case(visits=(Visit((clunk,), conditions=MILD, date="2026-11-25"),)))
    opened(page, served, case_id)
    assert page.locator(".st-key-able").get_by_role("radio", name="Does not turn", exact=True).is_checked()
    tap(page, "Turns")
    assert served.current(case_id).visits[-1].cranks is True
    page.wait_for_timeout(1100)  # a second tap within a second is a bounce
    page.locator(".st-key-able").get_by_role("radio", name="Not known", exact=True).first.click()
    page.wait_for_timeout(500)
    settled(page)
    assert served.current(case_id).visits[-1].cranks is None
    assert page.locator(".st-key-able").get_by_role("radio", name="Does not turn", exact=True).is_checked()


def test_the_tools_counted_on_are_said_and_a_whole_shops_are_one_tap_away(screen: Screen, served: Served) -> None:
    """A recorder tells more of a slow start than an ordinary meter, for those who have one."""
    page = screen("phone")
    slow = (Reading("how_it_turns_over", state="slow"), Reading("rest_voltage", value=12.5))
    opened(page, served, served.keep(a_case(visits=(Visit(slow, conditions=MILD, date="2026-11-25"),))))
    try:
        assert "Counted on: eyes, hands, battery charger, jump leads, torch, voltmeter, wooden bar." in page.inner_text(
            "body"
        )
        usual = proposed(page)
        page.get_by_role("button", name="A whole shop's tools").click()
        wait_for_words(page, "Counted on: a whole shop's tools.")
        assert proposed(page) != usual
        page.get_by_role("button", name="What most people have").click()
        wait_for_words(page, "Counted on: eyes, hands,")
        assert proposed(page) == usual
    finally:
        Path(served.settings).unlink(missing_ok=True)
