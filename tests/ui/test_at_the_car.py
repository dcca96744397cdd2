"""The page at the car: what is typed survives, a thumb can type all a meter shows, the eye finds what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest

from tests.ui.conftest import Served, a_case
from tests.ui.hands import FIELD, choose, first_page, go, on_the_card, opened, search, settled, wait_for_words
from tests.ui.test_access import violations

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
SMALL = {"viewport": {"width": 320, "height": 568}}
SCREENS = {"phone": ("phone", {}), "small": ("phone", SMALL), "desk": ("desk", {})}
EACH = pytest.mark.parametrize("kind", SCREENS)
RATING = "Battery (cold-cranking A)"
# Where what is named by a selector stands, and where the bar of links begins.
SEEN = """(what) => { const e = document.querySelector(what).getBoundingClientRect();
    return [e.top, e.bottom, document.querySelector('.st-key-links').getBoundingClientRect().top]; }"""


def shown(screen: Screen, kind: str, **more: Any) -> Any:
    name, changes = SCREENS[kind]
    return screen(name, **changes, **more)


def in_view(page: Any, what: str) -> bool:
    top, bottom, floor = page.evaluate(SEEN, what)
    return bool(-1 <= top < bottom <= floor)


def holds(page: Any, field: str, text: str) -> None:
    """Wait until a field holds a text."""
    page.wait_for_function(
        "([field, text]) => document.querySelector(`.st-key-${field} input`)?.value === text", arg=[field, text]
    )


def key(page: Any, words: str, field: str = "entry") -> None:
    """Press a key beside a field, as a thumb does."""
    page.locator(f".fn-keys[data-field='{field}'] button", has_text=re.compile(f"^{re.escape(words)}$")).click()


# A test comes to the card whose head is not drawn yet; meanwhile somebody scrolls; then the head is there.
LATE = """async kind => {
    const main = document.querySelector('[data-testid=stMain]'), card = document.querySelector('.st-key-card');
    const turn = Object.assign(document.createElement('span'), {className: 'fn-turn'});
    const later = ms => new Promise(done => setTimeout(done, ms));
    main.scrollTo(0, 300);
    card.classList.remove('st-key-card');
    Object.assign(turn.dataset, {turn: 'another test', chosen: 'False'});
    document.body.append(turn);
    await later(200);
    if (kind) main.dispatchEvent(new Event(kind, {bubbles: true}));
    card.classList.add('st-key-card');
    await later(400);
    return main.scrollTop; }"""


@pytest.mark.parametrize("by_hand", ["wheel", "pointerdown", "touchmove"])
def test_a_page_that_is_drawn_late_is_not_moved_under_the_hand(screen: Screen, served: Served, by_hand: str) -> None:
    page = opened(screen("phone"), served, served.keep(a_case()))
    assert page.evaluate(LATE, by_hand) == 300
    assert page.evaluate(LATE, "") == 0


@EACH
def test_one_bad_field_loses_nothing_and_is_brought_into_view(screen: Screen, served: Served, kind: str) -> None:
    page = shown(screen, kind)
    first_page(page, served)
    page.get_by_label("Complaint, in the driver's words").fill("clicks only")
    page.get_by_label(RATING).fill("54o")
    page.get_by_label("What you call the car").fill("blue van")
    page.get_by_label("Air (°C)").fill("-3")
    settled(page)
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_selector("#wrong-new_rating")
    page.wait_for_function("() => document.activeElement === document.querySelector('.st-key-new_rating input')")
    settled(page)
    assert in_view(page, ".st-key-new_rating input")
    assert page.inner_text("#wrong-new_rating").startswith(RATING)
    page.reload()
    page.wait_for_selector(".fn-head")
    settled(page)
    still_there(page)
    tab = page.context.new_page()
    tab.set_viewport_size(page.viewport_size)
    first_page(tab, served)
    still_there(tab)
    tab.close()
    page.bring_to_front()
    page.get_by_role("button", name="Empty the form").click()
    holds(page, "new_rating", "")


def still_there(page: Any) -> None:
    for field, text in (("new_rating", "54o"), ("new_label", "blue van"), ("new_today_air", "-3")):
        holds(page, field, text)


@EACH
def test_half_typed_text_and_the_chosen_test_survive_another_page_a_reload_and_another_tab(
    screen: Screen, served: Served, kind: str
) -> None:
    case_id = served.keep(a_case())
    page = opened(shown(screen, kind), served, case_id)
    choose(page, "Open-circuit (rest) voltage at the posts")
    page.click(FIELD)
    page.keyboard.type("12.")
    page.wait_for_timeout(600)  # a hand takes that long from the keys to the link
    go(page, "Why")
    go(page, "Test")
    on_the_card(page, "Open-circuit (rest) voltage at the posts")
    holds(page, "entry", "12.")
    page.reload()
    on_the_card(page, "Open-circuit (rest) voltage at the posts")
    holds(page, "entry", "12.")
    tab = page.context.new_page()
    tab.set_viewport_size(page.viewport_size)
    opened(tab, served, case_id)
    on_the_card(tab, "Open-circuit (rest) voltage at the posts")
    holds(tab, "entry", "12.")
    tab.close()
    page.bring_to_front()
    page.click(FIELD)
    page.keyboard.press("End")
    page.keyboard.type("4")
    page.keyboard.press("Enter")
    wait_for_words(page, "Stored: Open-circuit (rest) voltage at the posts: 12.40 V")
    holds(page, "entry", "")
    choose(page, "Open-circuit (rest) voltage at the posts")
    page.wait_for_timeout(300)
    holds(page, "entry", "")  # what was stored is not half typed any more


SHOWN_BY_A_METER = (
    ("Voltage drop, negative post to clamp", "350", ["mV"], "350 mV"),
    ("Fall of the open-circuit (rest) voltage overnight", "30", ["±", "mV"], "-30 mV"),
    ("Open-circuit (rest) voltage at the posts", "11", ["under"], "under 11.00 V"),
    ("Voltage drop, negative post to clamp", "2", ["over range", "V"], "over 2.00 V"),
)


@EACH
def test_all_that_a_meter_shows_is_typed_by_thumb(screen: Screen, served: Served, kind: str) -> None:
    page = opened(shown(screen, kind), served, served.keep(a_case()))
    for test, digits, keys, said in SHOWN_BY_A_METER:
        choose(page, test)
        assert page.get_attribute(FIELD, "inputmode") == "decimal"
        page.click(FIELD)
        page.keyboard.type(digits)
        for words in keys:
            key(page, words)
        page.keyboard.press("Enter")
        wait_for_words(page, f"Stored: {test}: {said}")


def test_the_air_below_nought_is_typed_by_thumb_on_the_first_page(screen: Screen, served: Served) -> None:
    page = screen("phone")
    first_page(page, served)
    field = page.get_by_label("Air (°C)")
    assert field.get_attribute("inputmode") == "decimal"
    field.fill("3")
    settled(page)
    page.wait_for_timeout(400)
    for words, text in (("±", "-3"), ("°F", "-3 °F"), ("±", "3 °F")):
        key(page, words, "new_today_air")
        holds(page, "new_today_air", text)


@EACH
def test_a_chosen_test_is_where_the_eye_is_and_so_is_its_field(screen: Screen, served: Served, kind: str) -> None:
    page = opened(shown(screen, kind), served, served.keep(a_case()))
    page.locator(".st-key-others button").last.scroll_into_view_if_needed()
    label = page.locator(".st-key-others button strong").last.inner_text()
    page.locator(".st-key-others button").last.click()
    on_the_card(page, label)
    page.wait_for_timeout(300)
    assert in_view(page, ".st-key-card .fn-test h2")
    if kind != "small":  # there is room for the field as well, or for the first answer
        answers = page.locator(".st-key-answers button").count()
        assert in_view(page, ".st-key-answers button" if answers else ".st-key-entry input")
    page.get_by_role("button", name="Show the proposed test instead").click()
    page.wait_for_function("(x) => document.querySelector('.fn-test h2')?.innerText !== x", arg=label)


def test_the_card_has_the_order_of_the_work(screen: Screen, served: Served) -> None:
    page = opened(screen("phone", bypass_csp=True), served, served.keep(a_case()))
    choose(page, "Fall of the voltage over 15 s of cranking")
    words = page.inner_text(".st-key-card")
    order = ["Fall of the voltage", "Take care", "At most 15 s", "First", "How", "Crank for 15 seconds", "Before this:",
             "0:15", "Sound car today", "\nEnter\n", "Skip it", "Afterwards:", "Tools:", "Why:"]  # fmt: skip
    places = [words.index(part) for part in order]
    assert places == sorted(places)
    assert violations(page) == []


@EACH
def test_a_timer_runs_survives_a_reload_and_is_seen_and_heard_to_end(screen: Screen, served: Served, kind: str) -> None:
    page = shown(screen, kind, alone=True)
    page.clock.install()
    opened_at = served.keep(a_case())
    page.goto(f"{served.address}/?case={opened_at}")
    page.wait_for_selector(".fn-test")
    page.clock.run_for(2000)
    search(page, "Fall of the voltage over 15 s of cranking")
    page.clock.run_for(2000)
    page.wait_for_selector(".fn-timer")
    crank = page.locator(".fn-timer").first
    crank.get_by_role("button").click()
    page.clock.run_for(5000)
    assert crank.locator(".left").inner_text() in ("0:10", "0:11", "0:09")
    assert crank.get_attribute("data-state") == "running"
    page.reload()
    page.wait_for_selector(".fn-timer")
    page.clock.run_for(3000)
    assert crank.get_attribute("data-state") == "running"
    assert page.evaluate("window.fnPage.rung") == 0
    page.clock.run_for(12_000)
    assert crank.locator(".left").inner_text() == "time is up"
    assert page.evaluate("window.fnPage.rung") == 1
    assert "Crank: time is up" in crank.locator(".said").text_content()
    page.clock.run_for(5000)
    assert page.evaluate("window.fnPage.rung") == 1, "it rings once"


@EACH
def test_a_battery_whose_rating_nobody_knows_gets_its_verdict(screen: Screen, served: Served, kind: str) -> None:
    page = shown(screen, kind)
    first_page(page, served)
    page.get_by_text("Rating not known").click()
    page.get_by_label(RATING).wait_for(state="detached")
    settled(page)
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_selector(".fn-test")
    settled(page)
    case_id = str(page.url).split("case=")[1].split("&")[0]
    assert served.current(case_id).car.battery.rating is None
    assert page.locator(".fn-causes li").count() == 3


@EACH
def test_a_deleted_case_is_named_and_leads_back_to_the_list(screen: Screen, served: Served, kind: str) -> None:
    kept, gone = served.keep(a_case(name="Stays")), served.keep(a_case(name="Goes"))
    page = opened(shown(screen, kind), served, gone, "cases")
    page.get_by_role("button", name="Delete 'Goes'").click()
    wait_for_words(page, "Deleted: Goes. It can be brought back")
    page.wait_for_timeout(1200)
    assert in_view(page, "#kept-cases")
    assert page.locator(f".st-key-open_{kept}").count() == 1
    assert page.locator(f".st-key-open_{gone}").count() == 0


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_what_is_wrong_and_what_runs_breaks_no_rule_of_accessibility(
    screen: Screen, served: Served, scheme: str
) -> None:
    page = screen("phone", color_scheme=scheme, bypass_csp=True, **SMALL)
    first_page(page, served)
    page.get_by_label(RATING).fill("x")
    settled(page)
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_selector("#wrong-new_rating")
    settled(page)
    assert violations(page) == []
    opened(page, served, served.keep(a_case()))
    choose(page, "Parasitic draw (key off), once asleep")
    page.locator(".fn-timer button").first.click()
    page.wait_for_selector(".fn-timer[data-state=running]")
    assert violations(page) == []
    opened(page, served, served.keep(a_case()), "history")
    assert violations(page) == []
