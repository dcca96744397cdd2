"""A whole case by keys alone: nothing is pressed with a mouse, and one always sees where one is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from faultnet.case.types import Act
from tests.ui.conftest import Served, a_case
from tests.ui.hands import arrow_down_to, case_begun, on_the_card, opened, settled, wait_for_words

pytestmark = pytest.mark.browser
MOST_STOPS = 150
# What has the focus: its name, and whether it or a frame drawn around it for the purpose is outlined.
HERE = """() => {
    let e = document.activeElement;
    if (e && e.tagName === 'IFRAME') e = e.contentDocument.activeElement;
    if (!e || e === document.body) return {name: '', seen: true, what: ''};
    const outlined = x => { const s = getComputedStyle(x);
        return s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) > 0 && s.outlineColor !== 'rgba(0, 0, 0, 0)'; };
    const frames = [e, e.closest('.react-aria-ComboBox')?.querySelector(':scope > div'), e.closest('label'),
        e.closest('[data-baseweb=select] > div'), e.type === 'checkbox' || e.type === 'radio' ? e.parentElement : null];
    const name = e.ariaLabel || (e.labels && e.labels.length && e.labels[0].innerText) || e.innerText || e.id || '';
    return {name: name.trim(), seen: frames.some(x => x && outlined(x)), what: e.outerHTML.slice(0, 200)};
}"""


def stop(page: Any) -> str:
    """The name of what has the focus, which must be seen to have it."""
    found = page.evaluate(HERE)
    if not found["seen"]:  # a frame around a field is drawn a moment later
        page.wait_for_timeout(40)
        found = page.evaluate(HERE)
    assert found["seen"], f"nothing shows that this has the focus: {found['what']}"
    return str(found["name"])


def tab_to(page: Any, name: str, key: str = "Tab") -> None:
    """Press a key until something of this name has the focus."""
    passed = [stop(page)]
    while not passed[-1].startswith(name):
        assert len(passed) < MOST_STOPS, f"the keys never reach {name!r}, only {dict.fromkeys(passed)}"
        page.keyboard.press(key)
        passed.append(stop(page))


def type_into(page: Any, field: str, text: str) -> None:
    tab_to(page, field)
    page.keyboard.type(text)


def press(page: Any, name: str, key: str = "Enter", move: str = "Tab") -> None:
    tab_to(page, name, move)
    page.keyboard.press(key)


def pick(page: Any, box: str, option: str) -> None:
    """Go to a list and take an option with the arrows and Enter."""
    tab_to(page, box)
    arrow_down_to(page, box, option)
    page.keyboard.press("Enter")
    settled(page)


def search(page: Any, label: str) -> None:
    """Put a test on the card by typing its name into the list of all tests, anew where it was closed meanwhile."""
    if not _listed(page, label):
        page.keyboard.press("Escape")
        assert _listed(page, label)
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Enter")
    on_the_card(page, label)


def _listed(page: Any, label: str) -> bool:
    """Type a test's name into the list of all tests; whether the list then shows it."""
    from playwright.sync_api import TimeoutError as ClosedTooSoon

    tab_to(page, "Any other test")
    page.keyboard.press("ControlOrMeta+A")
    page.keyboard.type(label)
    try:
        page.get_by_role("option", name=label).first.wait_for(timeout=10_000)
    except ClosedTooSoon:
        return False
    return True


def begin(page: Any, served: Served, complaint: str) -> str:
    page.goto(served.address)
    page.wait_for_selector(".fn-head")
    settled(page)
    type_into(page, "Complaint, in the driver's words", complaint)
    type_into(page, "Battery (cold-cranking A)", "600")
    pick(page, "Rated by", "EN (Europe)")
    type_into(page, "Air (°C)", "12")
    press(page, "Begin", "Space")
    return case_begun(page)


def read(page: Any, label: str, text: str) -> None:
    search(page, label)
    type_into(page, "Reading", text)
    page.keyboard.press("Enter")
    wait_for_words(page, f"Stored: {label}")


def test_a_case_from_its_beginning_to_its_end(screen: Callable[..., Any], served: Served) -> None:
    page = screen("desk")
    case_id = begin(page, served, "Turns slowly in the morning")
    read(page, "Voltage drop, negative post to clamp", "2,1")
    read(page, "Open-circuit (rest) voltage at the posts", "12.6")
    pick(page, "What was done", "Tighten the connection")
    pick(page, "On which part", "Negative battery terminal connection")
    tab_to(page, "Cured")
    page.keyboard.press("Space")
    settled(page)
    press(page, "Store this work")
    wait_for_words(page, "Stored: Tighten the connection")
    press(page, "Entries")
    wait_for_words(page, "Close the case")
    pick(page, "What was at fault", "Negative battery terminal connection: loose")
    page.keyboard.press("Escape")
    type_into(page, "How it was proven", "two weeks of mornings without trouble")
    press(page, "Close the case")
    wait_for_words(page, "Proven by: two weeks")
    case = served.current(case_id)
    drop, rest, work = case.visits[0].entries
    assert case.complaint == "Turns slowly in the morning"
    assert [(e.test, e.value) for e in (drop, rest)] == [("negative_joint_drop", 2.1), ("rest_voltage", 12.6)]
    assert replace(work, at="") == Act("tighten_joint", component="negative_joint", outcome="cured")
    assert case.outcome is not None
    assert case.outcome.causes == (("negative_joint", "slack"),)


def test_shift_and_tab_go_back_the_same_way(screen: Callable[..., Any], served: Served) -> None:
    page = screen("desk")
    page.goto(served.address)
    page.wait_for_selector(".fn-head")
    settled(page)
    tab_to(page, "Air (°C)")
    tab_to(page, "Complaint, in the driver's words", "Shift+Tab")


@pytest.mark.parametrize("path", ["", "entries", "car", "log", "paper", "cases", "history"])
def test_every_stop_of_every_page_is_seen(screen: Callable[..., Any], served: Served, path: str) -> None:
    page = opened(screen("desk"), served, served.keep(a_case()), path)
    last = "document.activeElement.matches('.st-key-links [class*=_History] a')"
    for _ in range(MOST_STOPS):
        page.keyboard.press("Tab")
        stop(page)
        if page.evaluate(last):
            return
    raise AssertionError("the keys never come to the last link")
