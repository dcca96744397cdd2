"""The front end in a real browser, on a phone and on a desktop."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from faultnet.case.types import Reading
from faultnet.prior_set import load_catalogue
from tests.ui.conftest import Served, a_case
from tests.ui.hands import FIELD, choose, enter, go, opened, settled, wait_for_words

pytestmark = pytest.mark.browser
# All that is pressed but words inside sentences, which are as high as their line lets them (WCAG 2.2, 2.5.8, inline).
SMALL = """() => [...document.querySelectorAll('[data-testid=stMain] :is(button, a, input, [role=combobox])')
].filter(e => {
    const whole = e.closest('label, .react-aria-ComboBox > div, [data-testid=stTextInputRootElement]') || e;
    const box = whole.getBoundingClientRect();
    return e.checkVisibility() && e.type !== 'file' && !e.matches('.fn-word')
        && box.width > 0 && (box.height < 44 || box.width < 40);
}).map(e => e.outerHTML.slice(0, 160))"""
TINY = """() => [...document.querySelectorAll('[data-testid=stMain] *')].filter(e => e.checkVisibility()
    && [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())
    && !e.closest('script, style, [data-testid=stIconMaterial]') && parseFloat(getComputedStyle(e).fontSize) < 16
).map(e => e.outerHTML.slice(0, 160))"""


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_typing_a_reading_stores_it_shows_it_and_keeps_the_focus(
    screen: Callable[..., Any], served: Served, kind: str
) -> None:
    case = a_case()
    asked = tuple(Reading(t.id, not_measured="skipped") for t in load_catalogue().tests if t.kind == "choice")
    case_id = served.keep(replace(case, visits=(replace(case.visits[0], entries=asked),)))  # numbers are what is left
    page = opened(screen(kind), served, case_id)
    choose(page, "Open-circuit (rest) voltage at the posts")
    enter(page, "12,4")
    wait_for_words(page, "Stored: Open-circuit (rest) voltage at the posts: 12.40 V")
    assert served.current(case_id).visits[0].entries[-1].value == 12.4
    page.wait_for_function("() => document.activeElement === document.querySelector('.st-key-entry input')")
    assert page.input_value(FIELD) == ""
    enter(page, "0,1")  # again without touching anything: the field is still the same one
    page.wait_for_function("() => document.querySelector('.st-key-entry input').value === '' || "
                           "document.querySelector('.fn-wrong')")  # fmt: skip
    settled(page)
    page.wait_for_function("() => document.activeElement === document.querySelector('.st-key-entry input')")


def test_the_first_screen_of_a_phone_shows_causes_and_the_next_test(screen: Callable[..., Any], served: Served) -> None:
    case = a_case(complaint="Turns over slowly on cold mornings, and twice nothing happened at all")
    visit = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.4),))
    page = opened(screen("phone"), served, served.keep(replace(case, visits=(visit,))))
    floor = page.evaluate("document.querySelector('.st-key-links').getBoundingClientRect().top")
    for part in (".fn-causes li:first-child", ".fn-causes li:nth-child(3)", ".fn-test h2"):
        box = page.locator(part).bounding_box()
        assert box["y"] >= 0
        assert box["y"] + box["height"] <= floor, part
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    assert page.get_attribute(FIELD, "inputmode") == "decimal"


def test_no_page_scrolls_sideways_and_everything_can_be_touched(screen: Callable[..., Any], served: Served) -> None:
    case = a_case()
    visit = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.4), Reading("smell", state="none")))
    page = opened(screen("phone"), served, served.keep(replace(case, visits=(visit,))))
    for link in ("Test", "Why", "Entries", "Car", "Log", "Paper", "Cases"):
        go(page, link)
        assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= 390, link
        assert page.evaluate(SMALL) == [], link
        assert page.evaluate(TINY) == [], link


def test_all_links_of_a_phone_can_be_reached_and_read(screen: Callable[..., Any], served: Served) -> None:
    page = opened(screen("phone", viewport={"width": 320, "height": 568}), served, served.keep(a_case()))
    for width in (320, 360, 390):
        page.set_viewport_size({"width": width, "height": 568})
        settled(page)
        all_links_are_seen(page, width)
    page.get_by_role("link", name="History", exact=True).click()
    wait_for_words(page, "What closed cases say about the numbers")


def all_links_are_seen(page: Any, width: int) -> None:
    bar = page.locator(".st-key-links a:visible")
    bar.get_by_text("History", exact=True).wait_for()  # the links are drawn last
    boxes = [link.bounding_box() for link in bar.all()]
    assert bar.all_inner_texts() == [
        "Test",
        "Why",
        "Entries",
        "Car",
        "Log",
        "Paper",
        "Cases",
        "History",
        "Practise",
        "Settings",
    ]
    assert all(box["height"] >= 44 and box["width"] >= 44 for box in boxes)
    assert min(box["x"] for box in boxes) >= 0
    assert max(box["x"] + box["width"] for box in boxes) <= width
    assert max(box["y"] + box["height"] for box in boxes) <= 568
    for row in (boxes[:5], boxes[5:]):
        assert all(a["x"] + a["width"] <= b["x"] + 0.5 for a, b in pairwise(row))
    words = page.locator(".st-key-links a:visible p")
    assert words.evaluate_all("all => all.every(p => p.scrollWidth <= p.clientWidth)")


def test_a_desktop_has_the_page_on_history_in_its_bar(screen: Callable[..., Any], served: Served) -> None:
    page = opened(screen("desk"), served, served.keep(a_case()))
    page.locator(".st-key-links").get_by_role("link", name="History", exact=True).click()
    wait_for_words(page, "What closed cases say about the numbers")


def test_a_press_far_down_brings_the_new_picture_into_view(screen: Callable[..., Any], served: Served) -> None:
    page = opened(screen("phone"), served, served.keep(a_case()))
    page.locator(".st-key-others button").last.scroll_into_view_if_needed()
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollTop") > 500
    label = page.locator(".st-key-others button strong").last.inner_text()
    page.locator(".st-key-others button").last.click()
    page.wait_for_function("(x) => document.querySelector('.fn-test h2')?.innerText === x", arg=label)
    page.wait_for_function("() => document.querySelector('[data-testid=stMain]').scrollTop === 0")


def test_what_is_wanted_and_where_to_type_it_are_seen_without_scrolling(
    screen: Callable[..., Any], served: Served
) -> None:
    page = opened(screen("phone"), served, served.keep(a_case()))
    choose(page, "Fall of the voltage over 15 s of cranking")  # with cautions, needs, steps and timers above them
    floor = page.evaluate("document.querySelector('.st-key-links').getBoundingClientRect().top")
    for part in (".fn-ask .sound", FIELD, ".fn-keys[data-field=entry]"):
        box = page.locator(part).bounding_box()
        assert 0 <= box["y"] < box["y"] + box["height"] <= floor, part


def test_a_reload_keeps_the_case(screen: Callable[..., Any], served: Served) -> None:
    case_id = served.keep(a_case())
    page = opened(screen("phone"), served, case_id)
    choose(page, "Open-circuit (rest) voltage at the posts")
    enter(page, "12,1")
    wait_for_words(page, "12.10 V")
    page.reload()
    page.wait_for_selector(".fn-head")
    wait_for_words(page, "1 entry so far")
    assert "Test car" in page.inner_text(".fn-head")


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_a_wrong_entry_is_explained_and_put_right_by_one_press(
    screen: Callable[..., Any], served: Served, kind: str
) -> None:
    case_id = served.keep(a_case())
    page = opened(screen(kind), served, case_id)
    choose(page, "Open-circuit (rest) voltage at the posts")
    enter(page, "142")
    wait_for_words(page, "Did you mean 14.2 V?")
    assert page.input_value(FIELD) == "142"
    assert served.current(case_id).visits[0].entries == ()
    page.get_by_role("button", name="Store 14.2 V").click()
    wait_for_words(page, "Stored: Open-circuit (rest) voltage at the posts: 14.20 V")


def test_an_answer_typed_on_a_fresh_page_is_the_one_that_was_typed(screen: Callable[..., Any], served: Served) -> None:
    """Enter in a field presses the first button of its form: that must never be the first answer."""
    case_id = served.keep(a_case())
    Path(served.settings).write_text(json.dumps({"tools": []}), encoding="utf-8")  # then only answers are asked for
    try:
        page = opened(screen("desk"), served, case_id)
    finally:
        Path(served.settings).unlink()
    asked = page.inner_text(".fn-test h2")
    answers = page.locator(".st-key-answers button").all_inner_texts()
    enter(page, "2")
    wait_for_words(page, f"Stored: {asked}")
    (entry,) = served.current(case_id).visits[0].entries
    choices = dict(load_catalogue().test(entry.test).choices)
    assert answers[1] == f"2 · {choices[entry.state]}"


def test_half_typed_text_is_not_stored_by_leaving_the_field(screen: Callable[..., Any], served: Served) -> None:
    case_id = served.keep(a_case())
    page = opened(screen("desk"), served, case_id)
    choose(page, "Open-circuit (rest) voltage at the posts")
    page.click(FIELD)
    page.keyboard.type("12.1")
    page.get_by_text("Only roughly").click()
    page.wait_for_timeout(400)
    assert served.current(case_id).visits[0].entries == ()
    page.get_by_role("button", name="Enter", exact=True).click()
    wait_for_words(page, "about 12.10 V")
    assert served.current(case_id).visits[0].entries[0].roughly


def test_two_devices_on_one_case(screen: Callable[..., Any], served: Served) -> None:
    case_id = served.keep(a_case())
    phone, desk = opened(screen("phone"), served, case_id), opened(screen("desk"), served, case_id)
    choose(phone, "Open-circuit (rest) voltage at the posts")
    choose(desk, "Lowest voltage at the posts while it starts")
    enter(phone, "12.1")
    wait_for_words(phone, "12.10 V")
    enter(desk, "9.3")
    wait_for_words(desk, "Somebody else changed this case meanwhile")
    assert "Open-circuit (rest) voltage at the posts: 12.10 V (phone" in desk.inner_text("body")
    desk.get_by_role("button", name="Store mine as well").click()
    wait_for_words(desk, "Stored: Lowest voltage at the posts while it starts: 9.30 V")
    assert [e.test for e in served.current(case_id).visits[0].entries] == ["rest_voltage", "crank_minimum"]


def test_by_keyboard_alone(screen: Callable[..., Any], served: Served) -> None:
    case_id = served.keep(a_case())
    page = opened(screen("desk"), served, case_id)
    page.wait_for_function("() => document.activeElement === document.querySelector('.st-key-entry input')")
    first = page.inner_text(".fn-test h2")
    (proposed,) = (t for t in load_catalogue().tests if t.label == first)
    page.keyboard.type("1" if proposed.plausible is None else f"{sum(proposed.plausible) / 2.0:.1f}")
    page.keyboard.press("Enter")
    wait_for_words(page, "Stored:")
    page.wait_for_function("() => document.activeElement === document.querySelector('.st-key-entry input')")
    assert len(served.current(case_id).visits[0].entries) == 1


def test_from_the_first_page_to_a_demo_case_and_its_verdict(screen: Callable[..., Any], served: Served) -> None:
    page = screen("phone")
    page.goto(served.address)
    page.wait_for_selector(".fn-head")
    page.get_by_role("button", name="Flat again after every charge").click()
    page.wait_for_selector(".fn-causes")
    settled(page)
    assert "Battery" in page.inner_text(".fn-causes li:first-child")
    assert "invented" in page.inner_text(".fn-head")
    page.get_by_role("link", name="Why", exact=True).click()
    wait_for_words(page, "What speaks for and against")
    page.get_by_role("link", name="Test", exact=True).click()
    page.wait_for_selector(".fn-test, .fn-note")
    assert "Flat again" in page.inner_text(".fn-head")


@pytest.mark.parametrize("night", [False, True])
def test_the_theme_follows_the_device(screen: Callable[..., Any], served: Served, night: bool) -> None:
    case_id = served.keep(a_case())
    page = opened(screen("phone", color_scheme="dark" if night else "light"), served, case_id)
    ink = page.evaluate("getComputedStyle(document.querySelector('.fn-test h2')).color")
    assert ink == ("rgb(238, 241, 238)" if night else "rgb(22, 32, 30)")


@pytest.mark.parametrize("sheet", ["job", "blank"])
def test_sheets_print_on_paper(screen: Callable[..., Any], served: Served, sheet: str) -> None:
    case = a_case()
    visit = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.1), Reading("crank_minimum", value=8.9)))
    page = opened(screen("desk"), served, served.keep(replace(case, visits=(visit,))), "paper")
    if sheet == "blank":
        page.get_by_text("Sheet for the car").click()
        settled(page)
    with page.expect_download() as kept:
        page.get_by_role("button", name="Keep it as a file").click()
    page.set_content(Path(kept.value.path()).read_text(encoding="utf-8"))
    page.emulate_media(media="print")
    assert not page.get_by_role("button", name="Print").is_visible()
    for paper, wide in (("A4", 210), ("Letter", 216)):
        page.set_viewport_size({"width": int((wide - 28) / 25.4 * 96), "height": 1000})  # less both margins [mm]
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), paper
        assert page.pdf(format=paper).startswith(b"%PDF")
