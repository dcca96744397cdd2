"""Words of users stay words: the same hostile text in every field, every page visited, and the network watched."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from faultnet.case.store.store import open_store
from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Reading, Visit
from faultnet.report.markup import CLOSES, FIRST_STRONG, OPENS, isolated
from tests.ui.conftest import Served, a_case
from tests.ui.hands import begin, first_page, go, opened, settled

pytestmark = pytest.mark.browser
OUTSIDE = "http://words.invalid"
PAYLOAD = (
    f"<img src={OUTSIDE}/a.png onerror=window.fnHit=1><b id=fnHtml>h</b><script>window.fnHit=1</script>"
    f"![i]({OUTSIDE}/b.png) [l]({OUTSIDE}/c) <{OUTSIDE}/d> **fnBold** `fnCode` $fnTex$ :red[fnRed] "
    "\u202egnp.exe\u2069\u2067"
)
MARKDOWN = f"![i]({OUTSIDE}/b.png) [l]({OUTSIDE}/c) **fnBold** `fnCode` $fnTex$ :red[fnRed]\u202egnp.exe\u2069\u2067"
FIELDS = "input[type=text]:visible, input[type=password]:visible, input:not([type]):visible, textarea:visible"
PAGES = ("Test", "Why", "Entries", "Car", "Log", "Paper", "Cases", "History", "Settings")
LOOK = """() => {
  const wrong = [];
  const look = (doc, view) => {
    if (view.fnHit) wrong.push('a script ran');
    for (const e of doc.querySelectorAll('#fnHtml, [src*="words.invalid"], [href*="words.invalid"]'))
      wrong.push(e.outerHTML.slice(0, 200));
    for (const e of doc.querySelectorAll('strong, b, em, code, .katex, a, span[style], span[class*=colored]'))
      if (/^fn(Bold|Code|Tex|Red)$/.test(e.textContent.trim())) wrong.push(e.outerHTML.slice(0, 200));
    const walk = doc.createTreeWalker(doc.body, NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
      const text = walk.currentNode.data;
      let depth = 0;
      for (const c of text) {
        if ('\\u2066\\u2067\\u2068'.includes(c)) depth += 1;
        if (c === '\\u2069') depth -= 1;
        if (depth < 0 || (depth === 0 && c >= '\\u202a' && c <= '\\u202e')) { depth = -1; break; }
      }
      if (depth !== 0) wrong.push('direction: ' + text.slice(0, 200));
    }
    for (const frame of doc.querySelectorAll('iframe'))
      if (frame.contentDocument?.body) look(frame.contentDocument, frame.contentWindow);
  };
  look(document, window);
  return wrong;
}"""


def hostile(words: str) -> Case:
    """A closed case with these words wherever a case holds text."""
    entries = (
        Reading("rest_voltage", value=12.4, note=words, entered=words[:40]),
        Act("charge_battery", component="battery", outcome="better", note=words),
    )
    visits = (Visit(entries, date="2026-11-25", note=words), Visit(date="2026-11-26", note=words))
    return Case(Car(Battery(600.0), label=words[:200]), visits, words, words[:200], outcome=CaseOutcome((), words))


def sound(page: Any, where: str) -> None:
    """Fail if anything of the words was obeyed."""
    settled(page)
    assert page.evaluate(LOOK) == [], where


def fill_in(page: Any, words: str) -> int:
    """Put the words into every text field that is seen, one after the other, and leave each; give how many."""
    folded = page.locator("details:not([open]) > summary")
    while folded.count():
        folded.first.click()
        settled(page)
    number = 0
    while number < page.locator(FIELDS).count():  # leaving a field may bring or take others
        field = page.locator(FIELDS).nth(number)
        number += 1
        if field.is_enabled() and field.is_editable():
            field.fill(words)
            field.press("Escape" if field.get_attribute("role") == "combobox" else "Tab")
            settled(page)
    return number


@pytest.mark.parametrize("words", [PAYLOAD, MARKDOWN], ids=["markup", "markdown"])
def test_words_of_a_case_are_shown_and_never_obeyed(screen: Callable[..., Any], served: Served, words: str) -> None:
    with open_store(served.place) as store:
        deleted = store.create_case(hostile(words))
        store.delete(deleted)
    page = screen("desk")
    opened(page, served, served.keep(hostile(words)))
    for link in PAGES:
        go(page, link)
        sound(page, link)
        if link == "Paper":
            for sheet in ("Sheet for the car, with empty boxes", "Pocket plan"):
                page.get_by_text(sheet, exact=True).click()
                sound(page, sheet)
    page.goto(f"{served.address}/?case={'%3Cb%20id%3DfnHtml%3E%E2%80%AE'}")
    page.wait_for_selector(".fn-wrong")
    sound(page, "a case that is not there")


def test_words_typed_into_every_field_are_shown_and_never_obeyed(
    screen: Callable[..., Any], served: Served, tmp_path: Path
) -> None:
    page = screen("desk")
    first_page(page, served)
    filled = fill_in(page, PAYLOAD)
    page.get_by_role("button", name="Begin", exact=True).click()
    page.wait_for_selector(".fn-wrong")
    sound(page, "first page")
    page.reload()  # what was typed is kept; the offer to empty the form stands in the run that finds it kept
    page.get_by_role("button", name="Empty the form").click()
    page.wait_for_selector(".st-key-empty_new", state="detached")
    begin(page, served, PAYLOAD)
    for link, pressed in (
        ("Test", "Enter"), ("Entries", "Begin the visit"), ("Entries", "Close the case"), ("Car", "Keep"),
        ("Log", None), ("Cases", None), ("History", None),
    ):  # fmt: skip
        go(page, link)
        filled += fill_in(page, PAYLOAD)
        sound(page, link)
        if pressed is not None:
            page.get_by_role("button", name=pressed, exact=True).first.click()
            sound(page, f"{link}, {pressed}")
    assert filled > 40
    log = tmp_path / "log<img src=x>![i](http:$$words.invalid).csv"
    log.write_text(f'"{PAYLOAD}","{MARKDOWN}",c\n' + "".join(f"{t},12.4,12.5\n" for t in range(20)), encoding="utf-8")
    go(page, "Log")
    page.set_input_files("input[type=file]", str(log))
    sound(page, "an uploaded log")
    for box in ("Time column", "Voltage column"):
        page.get_by_role("combobox", name=box).click()
        page.wait_for_selector("[role=option]")
        sound(page, box)
        page.keyboard.press("Escape")
    closed = tmp_path / "closed.csv"
    closed.write_text(f'case,battery_rating,test\n"{MARKDOWN}",600,"{PAYLOAD}"\n', encoding="utf-8")
    go(page, "History")
    page.set_input_files("input[type=file]", str(closed))
    settled(page)
    page.get_by_role("button", name="Work it out").click()
    page.wait_for_selector(".fn-wrong")
    sound(page, "a history with bad rows")


def test_a_plain_text_is_left_as_it_is() -> None:
    assert isolated("12,4 V & <b>") == "12,4 V & <b>"


@given(st.text(alphabet="ab\u0634\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200f", max_size=12))
def test_marks_of_direction_end_with_the_text(text: str) -> None:
    """No mark but ours is open at the end, none closes ours; the words themselves are all there."""
    found = isolated(text)
    words = [letter for letter in text if unicodedata.category(letter) != "Cf"]
    assert [letter for letter in found if unicodedata.category(letter) != "Cf"] == words
    depth = 0
    for place, letter in enumerate(found):
        depth += (letter in OPENS) - (letter == CLOSES)
        assert depth >= (0 if found == text or place == len(found) - 1 else 1)
    assert depth == 0
    assert found == text or found.startswith(FIRST_STRONG)
    if any("\u202a" <= letter <= "\u202e" for letter in text):
        assert found != text


def test_labels_show_signs_that_would_be_markup() -> None:
    from workbench.words import plain

    assert plain("**a** [b](c) :red[d]\n- e", "label") == r"\*\*a\*\* \[b\]\(c\) \:" + "\u2060" + r"red\[d\] \- e"
    assert plain(a_case().name, "label") == "Test car"
