"""Small things done at the car, each from the press to what is seen and stored."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from tests.ui.conftest import Served, a_case
from tests.ui.hands import FIELD, choose, enter, few_closed_cases, go, opened, pick, settled, wait_for_words, work
from tests.ui.server import serving
from tests.ui.test_at_the_car import EACH, holds, in_view, shown

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
BOTH = pytest.mark.parametrize("kind", ["phone", "desk"])  # where the narrowest screen makes no difference
REST = "Open-circuit (rest) voltage at the posts"
RECORDING = shipped("cases") / "recordings" / "adapter_slow.csv.gz"


@EACH
def test_one_bad_field_of_the_car_empties_none_and_is_brought_into_view(
    screen: Screen, served: Served, kind: str
) -> None:
    case_id = served.keep(a_case())
    page = opened(shown(screen, kind), served, case_id, "car")
    size, said = f"car_{case_id}_size", f"car_complaint_{case_id}"
    page.fill(f".st-key-{size} input", "two")
    page.fill(f".st-key-{said} input", "clicks only")
    settled(page)
    page.locator(".st-key-keep_car button").click()
    page.wait_for_selector(f"#wrong-{size}")
    page.wait_for_function("(k) => document.activeElement === document.querySelector(`.st-key-${k} input`)", arg=size)
    settled(page)
    assert in_view(page, f".st-key-{size} input")
    assert page.inner_text(f"#wrong-{size}").startswith("Engine (litres)")
    page.reload()
    page.wait_for_selector(".fn-head")
    settled(page)
    holds(page, size, "two")
    holds(page, said, "clicks only")
    page.fill(f".st-key-{size} input", "2,2")
    settled(page)
    page.locator(".st-key-keep_car button").click()
    wait_for_words(page, "The car was changed")
    case = served.current(case_id)
    assert (case.car.displacement, case.complaint) == (2.2, "clicks only")


@BOTH
def test_an_empty_enter_clears_the_old_error_and_a_limit_is_typed_by_its_sign(
    screen: Screen, served: Served, kind: str
) -> None:
    case_id = served.keep(a_case())
    page = opened(shown(screen, kind), served, case_id)
    choose(page, REST)
    enter(page, "142")
    page.wait_for_selector(".st-key-card .fn-wrong")
    page.click(FIELD)
    page.keyboard.press("Control+A")
    page.keyboard.press("Delete")
    page.keyboard.press("Enter")
    page.wait_for_selector(".st-key-card .fn-wrong", state="detached")
    assert served.current(case_id).visits[0].entries == ()
    enter(page, "<11")
    wait_for_words(page, f"Stored: {REST}: under 11.00 V")
    (entry,) = served.current(case_id).visits[0].entries
    assert (entry.value, entry.bound) == (11.0, "below")


@EACH
def test_what_is_done_before_and_afterwards_is_one_tick_each(screen: Screen, served: Served, kind: str) -> None:
    case_id = served.keep(a_case())
    page = opened(shown(screen, kind), served, case_id)
    choose(page, load_catalogue().test("dead_crank_level").label)
    for words in ("Before this:", "Afterwards:"):
        box = page.get_by_text(words).locator("xpath=ancestor::label")
        box.scroll_into_view_if_needed()
        assert box.bounding_box()["height"] >= 44
        box.click()
        settled(page)
    enter(page, "10.4")
    wait_for_words(page, "Stored:")
    stored = [getattr(e, "act", None) or e.test for e in served.current(case_id).visits[0].entries]
    assert stored == ["disable_fuel", "charge", "dead_crank_level", "enable_fuel"]


@BOTH
def test_the_balance_of_the_day_counts_minutes_their_cost_and_what_was_bought(
    screen: Screen, served: Served, kind: str
) -> None:
    page = opened(shown(screen, kind), served, served.keep(a_case()), "settings")
    page.fill(".st-key-hourly_rate input", "120")
    page.fill(".st-key-currency input", "EUR")
    page.wait_for_timeout(600)  # a hand takes that long from the keys to the link, and no longer
    try:
        go(page, "Test")
        wait_for_words(page, "No minute spent yet")
        choose(page, REST)
        enter(page, "12.4")
        wait_for_words(page, "1 min of work, 2 EUR. Nothing bought")
        work(page, "Replace the part", "Battery", "Cured")
        wait_for_words(page, "Bought: Battery")
    finally:
        Path(served.settings).unlink(missing_ok=True)


@BOTH
def test_a_ticked_reading_is_stored_or_refused_by_name_and_one_start_counts_once(
    screen: Screen, served: Served, kind: str
) -> None:
    case_id = served.keep(a_case())
    page = opened(shown(screen, kind), served, case_id, "log")
    page.set_input_files("input[type=file]", RECORDING)
    wait_for_words(page, "Found in it")
    for words in ("Lowest voltage in a recorded start", "Voltage with the engine running"):
        page.get_by_text(words).first.click()
        settled(page)
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "Not stored: Charging at 10.0 s, 13.79 V: say what it was taken as")
    assert [e.test for e in served.current(case_id).visits[0].entries] == ["recorded_lowest"]
    page.get_by_role("radio", name="Through the module").click()
    wait_for_words(page, "Levels through the module are withheld")
    page.locator("[class*=st-key-take_] label").filter(has_text="module").first.click()
    settled(page)
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "taken at another place; it counts once")
    assert [e.test for e in served.current(case_id).visits[0].entries] == ["recorded_lowest"]
    go(page, "Why")
    go(page, "Log")
    wait_for_words(page, "Here until another is given: adapter_slow.csv.gz")


@pytest.fixture
def alone(built: Path) -> Iterator[Served]:
    """A server of its own: a prior set that comes into use does so for all its pages."""
    with serving(built) as found:
        yield found


@BOTH
def test_a_history_says_how_far_it_is_can_be_stopped_and_a_verdict_says_by_which_set(
    screen: Screen, alone: Served, kind: str
) -> None:
    case_id = alone.keep(a_case())
    page = opened(shown(screen, kind), alone, case_id, "history")
    pick(page, "A case counts half after", "2 years")
    go(page, "Why")
    go(page, "History")
    assert page.get_by_role("combobox", name="A case counts half after").input_value() == "2 years"
    page.set_input_files("input[type=file]", few_closed_cases(60))
    settled(page)
    page.get_by_role("button", name="Work it out").click()
    page.get_by_role("progressbar").first.wait_for()
    page.get_by_role("button", name="Stop it").click()
    wait_for_words(page, "Stopped. Nothing was changed.")
    pick(page, "Parts for scores on cases not learnt from", "0")
    page.get_by_role("button", name="Work it out").click()
    page.locator("iframe").wait_for(timeout=120_000)
    settled(page)
    page.get_by_label("Name of the new set").fill("My shop!")
    page.keyboard.press("Tab")
    settled(page)
    page.get_by_role("button", name="Accept: use it from now on").click()
    page.wait_for_selector("#wrong-set_name", timeout=60_000)
    settled(page)
    assert in_view(page, ".st-key-set_name input")
    holds(page, "set_name", "My shop!")
    assert page.get_by_role("button", name="Drop it").is_visible(), "one bad field hides nothing"
    page.get_by_label("Name of the new set").fill("hot_town")
    settled(page)
    page.get_by_role("button", name="Accept: use it from now on").click()
    wait_for_words(page, "hot_town@1 is in use from now on.")
    go(page, "Test")
    wait_for_words(page, "Judged by prior set hot_town 1.")
    go(page, "History")
    page.get_by_role("button", name="Take the last one back").click()
    wait_for_words(page, "hot_town@1 was taken back")
    go(page, "Test")
    page.wait_for_function("() => !document.body.innerText.includes('Judged by')")
