"""Technical words on the page: pressed by finger, mouse or key, each says in a sentence or two what it means."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from faultnet.prior_set import load_catalogue
from faultnet.report.glossary import used
from tests.ui.conftest import Served, a_case
from tests.ui.hands import choose, go, opened
from tests.ui.test_access import violations
from tests.ui.test_at_the_car import EACH, in_view, shown

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
WORDS = load_catalogue().words
TEST = "Voltage drop, negative post to clamp"


def said(page: Any, word: str) -> None:
    """Wait until the box says what a word means, in full view."""
    page.wait_for_function(
        "(x) => document.querySelector('.fn-meaning:not([hidden])')?.innerText.includes(x)", arg=WORDS[word]
    )
    assert in_view(page, ".fn-meaning")


def closed(page: Any) -> None:
    page.wait_for_function("() => document.querySelector('.fn-meaning').hidden")


@EACH
def test_a_word_is_explained_where_it_stands_and_the_box_goes_away_again(
    screen: Screen, served: Served, kind: str
) -> None:
    page = opened(shown(screen, kind), served, served.keep(a_case()))
    choose(page, TEST)
    word = page.locator(
        ".st-key-card .fn-word[data-word='voltage drop'], .st-key-card .fn-word[data-word='post']"
    ).first
    name = word.get_attribute("data-word")
    press = word.click if kind == "desk" else word.tap
    press()
    said(page, name)
    page.locator(".fn-meaning button").click()
    closed(page)
    assert page.evaluate("() => document.activeElement.dataset.word") == name
    press()
    said(page, name)
    page.locator(".fn-causes").click(position={"x": 3, "y": 3})
    closed(page)
    assert page.locator(".fn-test h2").inner_text() == TEST


def test_a_word_is_explained_by_keys_alone(screen: Screen, served: Served) -> None:
    page = opened(screen("desk"), served, served.keep(a_case()))
    choose(page, TEST)
    page.locator(".st-key-card .fn-word").first.focus()
    word = page.evaluate("() => document.activeElement.dataset.word")
    for key in ("Enter", "Space"):
        page.keyboard.press(key)
        said(page, word)
        page.keyboard.press("Escape")
        closed(page)
        assert page.evaluate("() => document.activeElement.dataset.word") == word


def test_words_are_explained_on_every_page_that_has_some(screen: Screen, served: Served) -> None:
    page = opened(screen("phone"), served, served.keep(a_case(complaint="ripple")))
    for link in ("Test", "Why", "Entries", "Car", "Log"):
        go(page, link)
        words_are_explained(page, link)


def words_are_explained(page: Any, link: str) -> None:
    marked = page.evaluate("() => [...document.querySelectorAll('.fn-word')].map(e => e.dataset.word)")
    spoken = page.evaluate(
        """() => [...document.querySelectorAll('.fn-steps, .fn-care ul, .fn-causes')].map(e => e.innerText).join(' ')"""
    )
    assert marked or link not in ("Test", "Why"), "these pages have technical words at any time"
    assert set(used(spoken, WORDS)) <= set(marked), link


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_box_breaks_no_rule_of_accessibility(screen: Screen, served: Served, scheme: str) -> None:
    page = opened(screen("phone", color_scheme=scheme, bypass_csp=True), served, served.keep(a_case()))
    choose(page, TEST)
    page.locator(".st-key-card .fn-word").first.tap()
    page.wait_for_selector(".fn-meaning:not([hidden])")
    assert violations(page) == []
