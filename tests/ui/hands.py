"""What a person does at the screen, for the tests in a real browser."""

from __future__ import annotations

import itertools
import tempfile
from pathlib import Path
from typing import Any

from faultnet.learning.tables.history import load_history, write_history
from faultnet.shipped import shipped
from tests.ui.server import Served

FIELD = ".st-key-entry input"


def opened(page: Any, served: Served, case_id: str, path: str = "") -> Any:
    """Go to a case and wait until it is drawn."""
    page.goto(f"{served.address}/{path}?case={case_id}")
    page.wait_for_selector(".fn-head")
    settled(page)
    return page


# Whether the server and the height of the page have rested for some pictures in a row, with no part of it still to be
# loaded: 150 ms at sixty a second; on a busy machine pictures come later, and the page is given longer.
RESTS = """([wait, pictures]) => {
    const state = document.querySelector('[data-test-script-state]')?.dataset.testScriptState;
    const height = document.querySelector('[data-testid=stMain]')?.scrollHeight;
    const last = window.fnRests;
    const whole = !document.querySelector('[data-testid=stSkeleton]');
    const same = last?.wait === wait && last.height === height && state === 'notRunning' && whole;
    window.fnRests = {wait, height, pictures: same ? last.pictures + 1 : 0};
    return window.fnRests.pictures >= pictures; }"""
PICTURES = 9
_waits = itertools.count()


def settled(page: Any) -> None:
    """Wait until the server has nothing more to send, and what it sent is drawn."""
    page.wait_for_function(RESTS, arg=[next(_waits), PICTURES])


def choose(page: Any, label: str) -> None:
    """Put a test on the card by searching it."""
    search(page, label)
    # the same test may have been there before as the proposed one, and the page is drawn once more even so
    page.wait_for_function("() => document.querySelector('.fn-turn')?.dataset.chosen === 'True'")
    on_the_card(page, label)


def search(page: Any, label: str) -> None:
    """Search a test and press it; a list that a page just drawn has closed is opened once more, as a person would."""
    if not _taken(page, label):
        _taken(page, label)


def _taken(page: Any, label: str) -> bool:
    """Search a test and press it; whether the list stayed open that long."""
    from playwright.sync_api import TimeoutError as ClosedTooSoon

    box = page.get_by_role("combobox", name="Any other test")
    box.click()
    box.fill(label)
    try:
        page.get_by_role("option", name=label).first.click(timeout=10_000)
    except ClosedTooSoon:
        return False
    return True


def on_the_card(page: Any, label: str) -> None:
    """Wait until a test is on the card."""
    page.wait_for_function("(x) => document.querySelector('.fn-test h2')?.innerText === x", arg=label)
    settled(page)


def enter(page: Any, text: str) -> None:
    """Type into the entry field as a person does, once more where a page just drawn took it away, and press Enter."""
    for _ in range(2):
        page.click(FIELD)
        page.keyboard.type(text)
        if page.input_value(FIELD) == text:
            break
    page.keyboard.press("Enter")


def wait_for_words(page: Any, words: str) -> None:
    page.wait_for_function("(x) => document.body.innerText.includes(x)", arg=words)
    settled(page)


def read(page: Any, label: str, text: str) -> None:
    """Put a test on the card, enter its reading, and see it stored; who does not see it there types it once more."""
    from playwright.sync_api import TimeoutError as NotThere

    choose(page, label)
    enter(page, text)
    stored = "(x) => document.body.innerText.includes(x)"
    try:
        page.wait_for_function(stored, arg=f"Stored: {label}", timeout=15_000)
    except NotThere:
        left = page.input_value(FIELD)  # a page drawn between the last key and Enter took the one or the other
        if left == text:
            page.press(FIELD, "Enter")
        elif not left:
            enter(page, text)
    wait_for_words(page, f"Stored: {label}")


def pick(page: Any, box: str, option: str) -> None:
    """Choose in a list, and once more where the list still shows the old choice, as a person would who looks at it."""
    for _ in range(2):
        if _shown(page, box) == option:
            return
        arrow_to(page, box, option)
        page.keyboard.press("Enter")
        settled(page)
        for _ in range(10):
            if _shown(page, box) == option:
                return
            page.wait_for_timeout(50)
    assert _shown(page, box) == option


def _shown(page: Any, box: str) -> str:
    return page.get_by_role("combobox", name=box).input_value()


def arrow_to(page: Any, box: str, option: str) -> None:
    """Open a list and go to an option by the arrow keys: lists are long, and some cannot be typed into on a phone."""
    field = page.get_by_role("combobox", name=box)
    field.scroll_into_view_if_needed()
    page.wait_for_timeout(200)
    field.focus()
    arrow_down_to(page, box, option)


def arrow_down_to(page: Any, box: str, option: str) -> None:
    """Go to an option of the list that has the focus, and back to it where the drawing lagged behind the keys."""
    for key in ["ArrowDown"] * 60 + ["ArrowUp"] * 60:
        page.keyboard.press(key)
        page.wait_for_timeout(30)
        if _focused(page) == option:
            page.wait_for_timeout(120)
            if _focused(page) == option:
                return
    raise AssertionError(f"no option {option!r} in {box!r}")


def _focused(page: Any) -> str | None:
    """The option that Enter would choose, as it is drawn."""
    words = page.evaluate("() => document.querySelector('[role=option][data-focused=true]')?.innerText")
    return None if words is None else words.strip()


def go(page: Any, link: str) -> None:
    """Follow a link at the foot of the screen."""
    page.get_by_role("link", name=link, exact=True).click()
    page.wait_for_function(
        "(x) => document.querySelector('[class*=st-key-link_here]')?.innerText.trim() === x", arg=link
    )
    settled(page)


def begin(page: Any, served: Served, complaint: str) -> str:
    """Begin a case from the first page, and give its id."""
    first_page(page, served)
    describe(page, complaint, rating=600, air=12, standing=10)
    page.get_by_role("button", name="Begin", exact=True).click()
    return case_begun(page)


def first_page(page: Any, served: Served) -> None:
    """Open the page to begin on."""
    page.goto(served.address)
    page.wait_for_selector(".fn-head")
    settled(page)


def describe(page: Any, complaint: str, *, rating: float, air: float, standing: float) -> None:
    """Fill in what the first page cannot do without, and the weather."""
    page.get_by_label("Complaint, in the driver's words").fill(complaint)
    page.get_by_label("Battery (cold-cranking A)").fill(f"{rating:g}")
    pick(page, "Rated by", "EN (Europe)")
    page.get_by_label("Air (°C)").fill(f"{air:g}")
    page.get_by_label("Standing (h)").fill(f"{standing:g}")


def case_begun(page: Any) -> str:
    """Wait until a case is begun, and give its id."""
    page.wait_for_selector(".fn-test")
    settled(page)
    return str(page.url).split("case=")[1].split("&")[0]


def new_visit(page: Any) -> None:
    """Begin another visit."""
    go(page, "Entries")
    page.get_by_role("button", name="Begin the visit").click()
    page.wait_for_selector(".fn-test")
    settled(page)


def work(page: Any, act: str, part: str | None, outcome: str) -> None:
    """Enter work done, with how the complaint stood afterwards."""
    pick(page, "What was done", act)
    if part is not None:
        pick(page, "On which part", part)
    page.get_by_text(outcome, exact=True).click()
    settled(page)
    page.get_by_role("button", name="Store this work").click()
    wait_for_words(page, f"Stored: {act}")


def few_closed_cases(count: int) -> dict[str, Any]:
    """The first cases of the invented history, as a file to be given to the page."""
    whole = load_history(shipped("cases") / "history" / "hot_region.csv.gz")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "few.csv.gz"
        write_history(whole.cases[:count], path)
        return {"name": path.name, "mimeType": "application/gzip", "buffer": path.read_bytes()}
