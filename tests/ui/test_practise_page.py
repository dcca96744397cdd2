"""A whole practice car on a phone: two taps to it, large targets, kept over a reload, then beside the advice."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from faultnet.practice.progress import Progress, load_progress
from faultnet.simulation.workshop.steps import Look
from tests.ui.conftest import Served
from tests.ui.hands import first_page, go, settled, wait_for_words

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
THUMB = 44.0  # [px] common practice, no source


def kept(served: Served) -> Progress:
    (path,) = (Path(served.place).parent / "practice").glob("page-*.json")
    return load_progress(path)


def tap(page: Any, name: str, words: str = "") -> None:
    """Press a button that is large enough for a glove, and wait for what comes of it."""
    button = page.get_by_role("button", name=name).first
    button.scroll_into_view_if_needed()
    assert button.bounding_box()["height"] >= THUMB
    button.tap()
    if words:
        wait_for_words(page, words)
    settled(page)


def pick(page: Any, name: str) -> None:
    """Press one of several choices that exclude each other."""
    choice = page.get_by_role("radio", name=name, exact=True)
    choice.scroll_into_view_if_needed()
    assert choice.bounding_box()["height"] >= THUMB
    choice.tap()
    settled(page)


def reload(page: Any, words: str) -> None:
    page.reload()
    page.wait_for_selector(".fn-head")
    wait_for_words(page, words)


def test_a_whole_car_on_a_phone(screen: Screen, served: Served) -> None:
    page = screen("phone")
    first_page(page, served)
    go(page, "Practise")
    tap(page, "Begin car number 1", "matched world, easy, number 1")  # the second tap
    assert kept(served).in_hand is not None
    pick(page, "Give back")
    tap(page, "Let this car go, unscored", "Ten set courses")
    assert kept(served) == Progress(version=kept(served).version)

    tap(page, "3. A new battery, and slow", "It clicks or turns like treacle")
    shoot(page, "begun")
    pick(page, "At rest")
    tap(page, "Open-circuit (rest) voltage", "Better multimeter")
    pick(page, "Better multimeter")
    tap(page, "Do it", "Open-circuit (rest) voltage at the posts: 12.")
    assert "Spent: 2 min" in page.inner_text("body")
    reload(page, "Spent: 2 min")
    pick(page, "Cranking")
    shoot(page, "tests")
    tap(page, "Voltage drop, engine to negative clamp", "Ordinary multimeter")
    tap(page, "Do it", "Voltage drop, engine to negative clamp: ")

    pick(page, "Repair")
    tap(page, "Ground path", "How sure are you")
    mend = page.locator(".st-key-practice_mend button")
    assert mend.is_disabled()
    pick(page, "Renew the cable or strap")
    pick(page, "90 %")
    shoot(page, "repair")
    mend.tap()
    wait_for_words(page, "Renew the cable or strap (Ground path")
    in_hand = kept(served).in_hand
    assert in_hand is not None
    assert [m.belief for m in in_hand.moves] == [None, None, 90.0]
    reload(page, "Renew the cable or strap (Ground path")

    pick(page, "Give back")
    tap(page, "Give the car back")
    page.wait_for_function("() => document.body.innerText.includes('How your last car went')", timeout=120_000)
    settled(page)
    words = page.inner_text("body")
    assert "you said 90 %, and it was at fault" in words
    assert "A ground that fails only under load." in words
    assert "Where the advice would have gone another way" in words
    found = kept(served)
    assert found.in_hand is None
    assert found.cars[0].yours.wrong_parts == 0
    assert f"{found.cars[0].advice.minutes:.0f}" in page.locator(".fn-score").inner_text()
    reload(page, "How your last car went")
    shoot(page, "after")


def shoot(page: Any, name: str) -> None:
    """Pictures of what the test saw, where somebody wants to look at them."""
    folder = os.environ.get("FAULTNET_PICTURES")
    if folder:
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=name == "after")


def test_a_press_in_another_tab_that_is_outdated_does_nothing_twice(screen: Screen, served: Served) -> None:
    page = screen("desk", has_touch=True)
    first_page(page, served)
    go(page, "Practise")
    tap(page, "1. Driven straight here", "the friend with the meter")
    pick(page, "At rest")
    tap(page, "Open-circuit (rest) voltage", "Measure at once (2 min)")
    tap(page, "Measure at once", "Open-circuit (rest) voltage at the posts: 12.6")
    pick(page, "Cranking")  # a number may be read twice, so that a second tap could do harm
    other = page.context.new_page()
    other.goto(page.url)
    other.wait_for_selector(".fn-head")
    settled(other)
    pick(other, "Cranking")
    tap(page, "Sustained voltage in a recorded start", "Sustained voltage in a recorded start: ")
    tap(other, "Sustained voltage in a recorded start", "Sustained voltage in a recorded start: ")
    newest = max((Path(served.place).parent / "practice").glob("page-*.json"), key=lambda p: p.stat().st_mtime)
    in_hand = load_progress(newest).in_hand
    assert in_hand is not None
    assert [m.step for m in in_hand.moves] == [Look("rest_voltage", at_once=True), Look("recorded_sustained")]
    shoot(page, "desk")


def test_a_damaged_file_is_said_and_left(screen: Screen, served: Served) -> None:
    page = screen("phone")
    first_page(page, served)
    go(page, "Practise")
    tap(page, "9. Flat every Monday", "Flat every Monday, for months")
    path = max((Path(served.place).parent / "practice").glob("page-*.json"), key=lambda p: p.stat().st_mtime)
    path.write_bytes(path.read_bytes()[:-5])
    left = path.read_bytes()
    page.reload()
    wait_for_words(page, "The progress file is damaged, and was left as it is.")
    assert path.read_bytes() == left
    page.get_by_role("link", name="Settings", exact=True).tap()
    wait_for_words(page, "Money and prices")
