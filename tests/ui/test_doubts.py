"""A reading that no car is likely to give with the others is asked about before it counts; one tap keeps it or not."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from faultnet.case.types import Battery, Car, Conditions, Reading, Visit
from tests.ui.conftest import Served, a_case
from tests.ui.hands import FIELD, choose, enter, go, on_the_card, opened, read, settled, wait_for_words

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
LOWEST = "Lowest voltage at the posts while it starts"
ASKED = f"Is this right? {LOWEST}: 3.20 V"
NOT_COUNTED = "Not counted until you say so"
KEPT = "kept as right"


def brisk() -> Visit:
    """A car that cranks briskly, fires, and rests at 12.6 V."""
    entries = (
        Reading("how_it_turns_over", state="normal"), Reading("fires_when_cranked", state="fires"),
        Reading("rest_voltage", value=12.6),
    )  # fmt: skip
    return Visit(entries, Conditions(air_temperature=12.0, hours_standing=10.0), date="2026-11-25")


def with_three_volts(screen: Screen, served: Served) -> tuple[Any, str, str]:
    """The page of such a car with 3.2 V typed for its start, its id, and the likely causes before that."""
    case_id = served.keep(a_case(car=Car(Battery(600.0, age=4.0)), visits=(brisk(),)))
    page = opened(screen("phone"), served, case_id)
    before = page.inner_text(".fn-causes .name")
    choose(page, LOWEST)
    enter(page, "3.2")
    wait_for_words(page, ASKED)
    return page, case_id, before


def typed(page: Any, text: str) -> None:
    page.wait_for_function("(x) => document.querySelector('.st-key-entry input')?.value === x", arg=text)


def test_it_is_stored_and_asked_about_counts_for_nothing_and_is_corrected_with_one_tap(
    screen: Screen, served: Served
) -> None:
    page, case_id, before = with_three_volts(screen, served)
    assert NOT_COUNTED in page.inner_text("body")
    assert served.current(case_id).visits[-1].entries[-1].value == 3.2
    assert page.inner_text(".fn-causes .name") == before
    go(page, "Why")
    assert page.inner_text(".fn-causes .name") == before
    go(page, "Test")
    page.get_by_role("button", name="Correct it").click()
    on_the_card(page, LOWEST)
    typed(page, "3.2")
    assert len(served.current(case_id).visits[-1].entries) == 3
    page.reload()
    on_the_card(page, LOWEST)
    typed(page, "3.2")
    page.fill(FIELD, "")
    page.wait_for_timeout(600)  # the script looks at the field four times a second
    typed(page, "")
    enter(page, "10.4")
    wait_for_words(page, f"Stored: {LOWEST}: 10.40 V")
    assert "Is this right?" not in page.inner_text("body")


def test_what_is_let_stand_counts_for_what_it_may_be_worth(screen: Screen, served: Served) -> None:
    """A repair that does not cure puts an earlier reading in doubt: asked about, and counted all the same."""
    page, _case_id, _ = with_three_volts(screen, served)
    read(page, "Voltage at idle", "14.2")
    assert ASKED in page.inner_text("body")
    assert NOT_COUNTED not in page.inner_text("body")
    assert "counts for what it may be worth" in page.inner_text("body")


def test_it_is_kept_with_one_tap_for_good(screen: Screen, served: Served) -> None:
    page, case_id, _ = with_three_volts(screen, served)
    not_counted = page.inner_text(".fn-causes")
    page.get_by_role("button", name="It is right").click()
    wait_for_words(page, KEPT)
    assert "Is this right?" not in page.inner_text("body")
    assert page.inner_text(".fn-causes") != not_counted
    assert served.current(case_id).visits[-1].entries[-1].value == 3.2
    page.reload()
    page.wait_for_selector(".fn-test")
    settled(page)
    assert "Is this right?" not in page.inner_text("body")
    assert KEPT in page.inner_text("body")


def test_once_it_was_measured_again_the_first_is_taken_out_with_one_tap(screen: Screen, served: Served) -> None:
    page, case_id, _ = with_three_volts(screen, served)
    read(page, LOWEST, "10.4")
    assert ASKED in page.inner_text("body")
    assert page.get_by_role("button", name="Correct it").count() == 0
    page.get_by_role("button", name="Take it out").click()
    page.wait_for_function("() => !document.body.innerText.includes('Is this right?')")
    settled(page)
    assert [e.value for e in served.current(case_id).visits[-1].entries[3:]] == [10.4]


def test_an_ordinary_reading_takes_no_second_tap(screen: Screen, served: Served) -> None:
    case_id = served.keep(a_case(car=Car(Battery(600.0, age=4.0)), visits=(brisk(),)))
    page = opened(screen("phone"), served, case_id)
    read(page, LOWEST, "10.4")
    assert "Is this right?" not in page.inner_text("body")
    assert page.get_by_role("button", name="It is right").count() == 0
