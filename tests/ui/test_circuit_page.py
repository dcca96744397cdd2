"""The circuit on the card: seen with the test's name and its field, each part pressed for its belief and its tests."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from faultnet.case.types import Reading
from faultnet.prior_set import load_catalogue
from faultnet.report.circuit import AT_THE_ALTERNATOR, PARTS
from tests.ui.conftest import Served, a_case
from tests.ui.hands import FIELD, choose, on_the_card, opened
from tests.ui.test_access import violations
from tests.ui.test_at_the_car import EACH, in_view, shown

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
TEST = "Voltage drop, negative post to clamp"
PRESSED = {p.component for p in PARTS.values() if p.component} | {"alternator"}


def a_drop(screen: Screen, served: Served, kind: str, read: Reading | None = None) -> Any:
    """The page with a test that has probes on its card."""
    case = a_case()
    visit = replace(case.visits[0], entries=(read or Reading("rest_voltage", value=12.3),))
    page = opened(shown(screen, kind), served, served.keep(replace(case, visits=(visit,))))
    choose(page, TEST)
    return page


def part(page: Any, component: str) -> Any:
    label = load_catalogue().component(component).label
    return page.locator(f".fn-part[aria-label^='{label}:']")


def told(page: Any) -> str:
    """What the box says of a part, in full view."""
    page.wait_for_selector(".fn-meaning:not([hidden])")
    assert in_view(page, ".fn-meaning")
    return str(page.inner_text(".fn-meaning"))


def drawing(page: Any) -> str:
    return base64.b64decode(page.get_attribute(".fn-circuit img", "src").partition("base64,")[2]).decode()


@EACH
def test_name_picture_sound_range_and_field_are_seen_together(screen: Screen, served: Served, kind: str) -> None:
    page = a_drop(screen, served, kind)
    page.wait_for_function("() => document.querySelector('.fn-circuit img').naturalWidth > 0")
    page.wait_for_timeout(300)
    seen = [".st-key-card .fn-test h2", ".fn-circuit", ".fn-ask .sound", FIELD]
    if kind != "small":
        seen += [".fn-causes li:first-child", ".fn-causes li:nth-child(3)"]
    assert [what for what in seen if not in_view(page, what)] == []
    picture, field = (page.locator(what).bounding_box() for what in (".fn-circuit", ".st-key-entry_block"))
    assert picture["y"] + picture["height"] <= field["y"] + 1, "the field does not cover the picture"
    top = page.locator(".fn-circuit").evaluate("e => e.getBoundingClientRect().bottom")
    assert top < page.locator(".st-key-card .fn-steps").first.evaluate("e => e.getBoundingClientRect().top")
    assert "red" in drawing(page)
    assert "%" in drawing(page)


@EACH
def test_a_pressed_part_tells_its_belief_and_puts_its_test_on_the_card(
    screen: Screen, served: Served, kind: str
) -> None:
    page = a_drop(screen, served, kind, Reading("hydrometer_spread", value=0.12))  # it is the battery
    press = (lambda what: what.click()) if kind == "desk" else (lambda what: what.tap())
    press(part(page, "battery"))
    said = told(page)
    first = page.inner_text(".fn-causes li:first-child .name")
    share = page.inner_text(".fn-causes li:first-child .share")
    assert first.startswith("Battery:")
    assert f"{first}: {share}" in said
    press(part(page, "ground_path"))
    assert told(page).startswith("Ground path")
    test = page.locator(".fn-meaning .test").first
    label = test.inner_text().partition(" · ")[0]
    assert test.bounding_box()["height"] >= 44
    press(test)
    on_the_card(page, label)
    assert not page.locator(".fn-meaning").is_visible()
    page.wait_for_timeout(300)
    assert in_view(page, ".st-key-card .fn-test h2")
    press(page.get_by_role("button", name="Show the proposed test instead"))
    page.wait_for_function("(x) => document.querySelector('.fn-test h2')?.innerText !== x", arg=label)


@EACH
def test_a_finger_finds_each_part_where_it_is_drawn(screen: Screen, served: Served, kind: str) -> None:
    page = a_drop(screen, served, kind)
    box = page.locator(".fn-circuit").bounding_box()
    names = page.locator(".fn-part").evaluate_all("all => all.map(e => JSON.parse(e.dataset.part).title)")
    labels = {load_catalogue().component(c).label for c in PRESSED}
    assert {name.partition(";")[0] for name in names} == labels
    assert "; ".join(load_catalogue().component(c).label for c in AT_THE_ALTERNATOR) in names
    for button, name in zip(page.locator(".fn-part").all(), names, strict=True):
        where = button.bounding_box()
        x, y = where["x"] + where["width"] / 2, where["y"] + where["height"] / 2
        assert box["x"] < x < box["x"] + box["width"]
        assert box["y"] < y < box["y"] + box["height"]
        (page.mouse.click if kind == "desk" else page.touchscreen.tap)(x + 2, y + 2)
        assert told(page).startswith(name)
        page.keyboard.press("Escape")
        page.wait_for_selector(".fn-meaning", state="hidden")


def test_a_part_is_chosen_by_keys_alone(screen: Screen, served: Served) -> None:
    page = a_drop(screen, served, "desk")
    part(page, "battery").focus()
    for _ in range(3):
        page.keyboard.press("Tab")
    name = page.evaluate("() => JSON.parse(document.activeElement.dataset.part).title")
    page.keyboard.press("Enter")
    assert told(page).startswith(name)
    page.keyboard.press("Escape")
    assert page.evaluate("() => JSON.parse(document.activeElement.dataset.part).title") == name
    page.keyboard.press("Space")
    told(page)
    page.keyboard.press("Tab")
    label = page.evaluate("() => document.activeElement.innerText").partition(" · ")[0]
    page.keyboard.press("Enter")
    on_the_card(page, label)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_picture_and_box_break_no_rule_and_take_the_colours_of_the_page(
    screen: Screen, served: Served, scheme: str
) -> None:
    page = opened(screen("phone", color_scheme=scheme, bypass_csp=True), served, served.keep(a_case()))
    choose(page, TEST)
    assert ("#eef1ee" in drawing(page)) is (scheme == "dark")
    part(page, "battery").tap()
    told(page)
    assert violations(page) == []


def test_a_test_that_only_asks_has_no_picture(screen: Screen, served: Served) -> None:
    page = opened(screen("phone"), served, served.keep(a_case()))
    choose(page, "Belt, by eye and thumb")
    assert page.locator(".fn-circuit").count() == 0
