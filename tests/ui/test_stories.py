"""Whole cases worked through at the screen, from opening the page to a justified repair."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from pypdf import PdfReader

from faultnet.case.file import load_case
from faultnet.case.types import Act, Conditions, Reading, Visit
from faultnet.shipped import shipped
from tests.ui.conftest import Served, a_case
from tests.ui.hands import (
    FIELD,
    arrow_to,
    begin,
    choose,
    enter,
    go,
    new_visit,
    opened,
    read,
    settled,
    wait_for_words,
    work,
)
from tests.ui.test_access import SHEETS

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
BOTH = pytest.mark.parametrize("kind", ["phone", "desk"])


TWO_VISITS = (
    Visit((Reading("rest_voltage", value=12.6), Reading("crank_minimum", value=10.4)), Conditions(12.0, 10.0)),
    Visit(
        (
            Reading("how_it_turns_over", state="one_clunk"),
            Reading("negative_joint_drop", value=6.1),
            Reading("negative_joint_moves", state="moves"),
        ),
        Conditions(12.0, 10.0),
    ),
)


def first_cause(page: Any) -> str:
    return str(page.inner_text(".fn-causes li:first-child .name"))


def share(page: Any, cause: str) -> float:
    """Share of a cause on the page of reasons [%]."""
    for line in page.query_selector_all(".fn-causes li"):
        if line.query_selector(".name").inner_text() == cause:
            words = line.query_selector(".share").inner_text()
            return float(words.removeprefix("over ").removeprefix("under ").removesuffix("%"))
    return 0.0


@BOTH
def test_an_intermittent_no_start_over_three_visits(screen: Screen, served: Served, kind: str) -> None:
    """From its beginning on a phone; at the desk from the third visit on, with what was read before in the store."""
    page = screen(kind)
    if kind == "phone":
        case_id = begin(page, served, "Some mornings one clunk and nothing more")
        read(page, "Open-circuit (rest) voltage at the posts", "12,6")
        read(page, "Lowest voltage at the posts while it starts", "10,4")
        new_visit(page)
        read(page, "How does it turn over?", "3")
        read(page, "Voltage drop, negative post to clamp", "6.1")
        read(page, "Negative terminal, by hand", "2")
    else:
        case_id = served.keep(a_case(visits=TWO_VISITS))
        opened(page, served, case_id)
    assert first_cause(page) == "Negative battery terminal connection: loose"
    new_visit(page)
    read(page, "How does it turn over?", "1")
    assert first_cause(page) == "Negative battery terminal connection: loose", (
        "a pass while the fault is away does not clear it"
    )
    work(page, "Tighten the connection", "Negative battery terminal connection", "Cured")
    assert first_cause(page) == "No part at fault"
    assert "Repaired: Negative battery terminal connection: loose" in page.inner_text(".st-key-beliefs")
    go(page, "Entries")
    arrow_to(page, "What was at fault", "Negative battery terminal connection: loose")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    settled(page)
    page.get_by_label("How it was proven").fill("tightened; two weeks of mornings without trouble")
    page.get_by_role("button", name="Close the case").click()
    wait_for_words(page, "Proven by: tightened")
    case = served.current(case_id)
    assert [len(v.entries) for v in case.visits] == [2, 3, 2]
    assert replace(case.visits[2].entries[1], at="") == Act(
        "tighten_joint", component="negative_joint", outcome="cured"
    )
    assert case.outcome is not None
    assert case.outcome.causes == (("negative_joint", "slack"),)


@BOTH
def test_a_shorted_cell(screen: Screen, served: Served, kind: str) -> None:
    page = screen(kind)
    begin(page, served, "Flat again the morning after every charge")
    read(page, "Open-circuit (rest) voltage at the posts", "10.45")
    read(page, "Lowest voltage at the posts while it starts", "7.4")
    read(page, "How does it turn over?", "2")
    assert first_cause(page) == "Battery: one shorted cell"
    go(page, "Why")
    assert share(page, "Battery: one shorted cell") >= 80
    assert "Open-circuit (rest) voltage at the posts: 10.45 V" in page.inner_text(".fn-why")


@BOTH
def test_readings_from_a_recorded_log(screen: Screen, served: Served, kind: str) -> None:
    case_id = served.keep(a_case())
    page = opened(screen(kind), served, case_id, "log")
    page.set_input_files("input[type=file]", shipped("cases") / "recordings" / "logger_decimal_comma.txt")
    wait_for_words(page, "Found in it")
    page.wait_for_selector(".fn-picture img:visible")
    page.get_by_text("Lowest voltage in a recorded start").first.click()
    settled(page)
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "Stored from the recording")
    (entry,) = served.current(case_id).visits[0].entries
    assert entry.test == "recorded_lowest"
    assert entry.interval is not None


def test_two_quick_taps_are_one(screen: Screen, served: Served) -> None:
    """With gloves on a finger bounces: the second tap comes before the page has changed."""
    case_id = served.keep(a_case())
    page = opened(screen("phone"), served, case_id)
    for pause in (0, 60, 120):
        before = len(served.current(case_id).visits[0].entries)
        choose(page, "Open-circuit (rest) voltage at the posts")
        page.click(FIELD)
        page.keyboard.type("12.4")
        page.keyboard.press("Enter")
        page.wait_for_timeout(pause)
        page.keyboard.press("Enter")
        wait_for_words(page, "Stored: Open-circuit (rest) voltage at the posts")
        choose(page, "How does it turn over?")
        answer = page.get_by_role("button", name=re.compile("^2 ·"))
        answer.scroll_into_view_if_needed()
        box = answer.bounding_box()
        place = (box["x"] + 20, box["y"] + 10)
        page.mouse.click(*place)
        page.wait_for_timeout(pause)
        page.mouse.click(*place)
        wait_for_words(page, "Stored: How does it turn over?")
        page.wait_for_timeout(500)
        settled(page)
        stored = [entry.test for entry in served.current(case_id).visits[0].entries]
        assert stored[before:] == ["rest_voltage", "how_it_turns_over"], pause


def test_a_choice_and_a_press_right_after_it_belong_together(screen: Screen, served: Served) -> None:
    """The press may be on its way before the page was drawn anew for the choice."""
    case_id = served.keep(a_case())
    page = opened(screen("desk"), served, case_id, "log")
    page.set_input_files("input[type=file]", shipped("cases") / "recordings" / "logger_decimal_comma.txt")
    page.wait_for_selector(".fn-picture img:visible")
    settled(page)
    page.get_by_text("Lowest voltage in a recorded start").first.click()
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "Stored from the recording")
    assert [entry.test for entry in served.current(case_id).visits[0].entries] == ["recorded_lowest"]


@BOTH
def test_a_repair_that_does_not_cure(screen: Screen, served: Served, kind: str) -> None:
    """From its beginning on a phone; at the desk from the repair on."""
    page = screen(kind)
    if kind == "phone":
        case_id = begin(page, served, "Turns slowly, lamps stay bright")
        read(page, "How does it turn over?", "2")
        read(page, "Open-circuit (rest) voltage at the posts", "12.6")
        read(page, "Voltage drop, engine to negative clamp", "1.4")
    else:
        told = (Reading("how_it_turns_over", state="slow"), Reading("rest_voltage", value=12.6))
        case = a_case(visits=(Visit((*told, Reading("ground_path_drop", value=1.4)), Conditions(12.0, 10.0)),))
        case_id = served.keep(case)
        opened(page, served, case_id)
    suspected = first_cause(page)
    assert suspected == "Ground path: high resistance"
    work(page, "Renew the cable or strap", "Ground path", "No change")
    page.get_by_role("button", name="Undo").click()
    wait_for_words(page, "Taken back")
    assert len(served.current(case_id).visits[0].entries) == 3
    page.get_by_role("button", name="Redo").click()
    wait_for_words(page, "Brought back")
    read(page, "Lowest voltage at the posts while it starts", "7.6")
    page.reload()
    page.wait_for_selector(".fn-causes")
    wait_for_words(page, "5 entries so far")
    assert first_cause(page) != suspected
    assert f"Repaired: {suspected}" in page.inner_text(".st-key-beliefs")


@BOTH
def test_each_sheet_as_pdf(screen: Screen, served: Served, kind: str) -> None:
    page = opened(screen(kind), served, served.keep(a_case()), "paper")
    for sheet, headed in SHEETS.items():
        page.get_by_text(sheet, exact=True).click()
        settled(page)
        with page.expect_download() as kept:
            page.get_by_role("button", name="PDF, A4").click()
        file = PdfReader(kept.value.path())
        words = " ".join(" ".join(p.extract_text() for p in file.pages).split())
        assert headed in words
        if sheet != "Pocket plan":  # there each caution stands beside what it belongs to
            assert "Take care" in words
        assert "licensed practice come first" in words


@BOTH
def test_a_meter_over_its_limit(screen: Screen, served: Served, kind: str) -> None:
    case_id = served.keep(a_case())
    page = opened(screen(kind), served, case_id)
    choose(page, "Voltage drop, negative post to clamp")
    enter(page, "OL")
    wait_for_words(page, "such as >20")
    page.fill(".st-key-entry input", ">2")
    page.keyboard.press("Enter")
    wait_for_words(page, "Stored: Voltage drop, negative post to clamp: over 2.00 V")
    (entry,) = served.current(case_id).visits[0].entries
    assert (entry.value, entry.bound) == (2.0, "above")
    assert first_cause(page).startswith("Negative battery terminal connection")


def test_a_well_founded_repair_is_named_on_the_first_screen(screen: Screen, served: Served) -> None:
    case = load_case(shipped("cases") / "shorted_cell.json")
    page = opened(screen("phone"), served, served.keep(case))
    box = page.locator(".fn-stop").bounding_box()
    floor = page.evaluate("document.querySelector('.st-key-links').getBoundingClientRect().top")
    assert "Battery: replace the part" in page.inner_text(".fn-stop")
    assert 0 <= box["y"] < box["y"] + box["height"] <= floor
