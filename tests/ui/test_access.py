"""Every page can be read and worked by everybody: rules of accessibility, contrast in sunlight, keys alone.

The rules are those of axe-core (see ``axe/README.md``), an outside source: WCAG 2.0 to 2.2 at levels A and AA, and
its best practices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from faultnet.case.types import Act, Reading
from tests.ui.conftest import Served, a_case
from tests.ui.hands import few_closed_cases, go, opened, settled

pytestmark = pytest.mark.browser
AXE = Path(__file__).with_name("axe") / "axe.min.js"
PAGES = ("Test", "Why", "Entries", "Car", "Log", "Paper", "Cases", "Settings", "History", "Practise")
SHEETS = {"Job sheet": "Job sheet", "Sheet for the car, with empty boxes": "At the car", "Pocket plan": "Pocket plan"}
NONE = {"light": [], "dark": []}
Screen = Callable[..., Any]


def violations(page: Any) -> list[str]:
    """What axe-core finds wrong with a page and in the frames on it, a line for each element.

    `bypass_csp` of the screen lets its script in.
    """
    lines = []
    for frame in page.frames:
        if not frame.evaluate("() => 'axe' in window"):
            frame.add_script_tag(path=str(AXE))
        found = frame.evaluate("() => axe.run(document, {resultTypes: ['violations'], iframes: false})")
        lines += [
            f"{rule['id']}: {node['target']} {node['html'][:200]} {node['failureSummary']}"
            for rule in found["violations"]
            for node in rule["nodes"]
        ]
    return lines


def in_both_colours(page: Any) -> dict[str, list[str]]:
    """What is wrong with a page as it is drawn for daylight and for the dark."""
    found = {}
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme=scheme)
        page.wait_for_timeout(300)
        settled(page)
        page.wait_for_function("() => !document.querySelector('[data-stale=true]')")  # greyed while it is drawn anew
        found[scheme] = violations(page)
    return found


@pytest.fixture(scope="module")
def case_id(served: Served) -> str:
    """A case with readings, an answer, work and two visits, so that every part of every page is drawn."""
    case = a_case(complaint="Turns slowly in the morning")
    first = replace(case.visits[0], entries=(Reading("rest_voltage", value=12.1), Reading("smell", state="none")))
    work = Act("clean_joint", component="negative_joint", outcome="no_change")
    return served.keep(
        replace(case, visits=(first, replace(first, entries=(Reading("crank_minimum", value=8.2), work))))
    )


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_no_page_breaks_a_rule_of_accessibility(screen: Screen, served: Served, case_id: str, kind: str) -> None:
    page = opened(screen(kind, bypass_csp=True), served, case_id)
    found = {}
    for link in PAGES:
        go(page, link)
        found[link] = in_both_colours(page)
    assert found == dict.fromkeys(PAGES, NONE)


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_the_first_page_breaks_none_either(screen: Screen, served: Served, kind: str) -> None:
    page = screen(kind, bypass_csp=True)
    page.goto(served.address)
    page.wait_for_selector(".fn-care")
    assert in_both_colours(page) == NONE


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_no_sheet_breaks_one_in_its_frame(screen: Screen, served: Served, case_id: str, kind: str) -> None:
    page = opened(screen(kind, bypass_csp=True), served, case_id, "paper")
    for sheet, headed in SHEETS.items():
        page.get_by_text(sheet, exact=True).click()
        settled(page)
        page.frame_locator("iframe").locator("h1", has_text=headed).wait_for()
        assert len(page.frames) == 2
        assert in_both_colours(page) == NONE, sheet


@pytest.mark.parametrize("kind", ["phone", "desk"])
def test_what_a_history_would_change_breaks_none(screen: Screen, served: Served, kind: str) -> None:
    page = opened(screen(kind, bypass_csp=True), served, served.keep(a_case()), "history")
    page.set_input_files("input[type=file]", few_closed_cases(100))
    page.get_by_role("button", name="Work it out").click()
    page.locator(".st-key-stop_tuning button").wait_for()
    assert in_both_colours(page) == NONE
    page.frame_locator("iframe").locator("h1").wait_for(timeout=120_000)
    settled(page)
    assert in_both_colours(page) == NONE


def test_the_check_finds_what_is_wrong_also_in_a_frame(screen: Screen) -> None:
    page = screen("desk")
    wrong = "<img src='data:,'><p style='color:#bbb;background:#fff'>pale</p>"
    page.set_content(f"<html><body>{wrong}</body></html>")
    found = " ".join(violations(page))
    assert "image-alt" in found
    assert "color-contrast" in found
    framed = f'<main><h1>x</h1><iframe title="x" srcdoc="{wrong}"></iframe></main>'
    page.set_content(f'<html lang="en"><title>x</title>{framed}</html>')
    page.frame_locator("iframe").locator("p").wait_for()
    assert "image-alt" in " ".join(violations(page))
