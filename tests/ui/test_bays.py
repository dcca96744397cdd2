"""Two bays on one PostgreSQL, each with a server of its own: both see one case, no entry is lost, all are signed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.case import postgres
from tests.ui.conftest import a_case
from tests.ui.hands import choose, enter, go, opened, read, wait_for_words
from tests.ui.server import DESK, PHONE, Served, serving

pytestmark = pytest.mark.browser
LOWEST = "Lowest voltage at the posts while it starts"
GRAVITY = "Specific gravity, mean of six cells"
REST = "Open-circuit (rest) voltage at the posts"


@pytest.fixture(scope="module")
def bays(built: Path) -> Iterator[tuple[Served, Served]]:
    with postgres.server() as address:
        more = {"FAULTNET_STORE": address}
        with serving(built, more=more) as first, serving(built, more=more) as second:
            yield first, second


@pytest.fixture
def pages(browser: Any) -> Iterator[tuple[Any, Any]]:
    contexts = [browser.new_context(**kind) for kind in (PHONE, DESK)]
    for context in contexts:
        context.set_default_timeout(30_000)
    yield contexts[0].new_page(), contexts[1].new_page()
    for context in contexts:
        context.close()


def signs_as(page: Any, name: str) -> None:
    go(page, "Settings")
    field = page.get_by_label("Name", exact=True)
    field.fill(name)
    field.press("Enter")
    wait_for_words(page, "Who enters here")
    go(page, "Test")


def test_two_bays_work_on_one_case(bays: tuple[Served, Served], pages: tuple[Any, Any]) -> None:
    (phone, desk), (first, second) = pages, bays
    assert first.place == second.place
    assert first.place.startswith("postgresql://")
    case_id = first.keep(a_case())
    opened(phone, first, case_id)
    signs_as(phone, "Kim")
    opened(desk, second, case_id)
    signs_as(desk, "Sam")

    read(phone, REST, "12.41")
    opened(desk, second, case_id, "entries")
    wait_for_words(desk, f"{REST}: 12.41 V (Kim, phone, ")
    go(desk, "Test")
    choose(desk, LOWEST)
    choose(phone, GRAVITY)
    enter(desk, "9.8")
    wait_for_words(desk, f"Stored: {LOWEST}")
    enter(phone, "1.24")  # on a page that does not know of it
    wait_for_words(phone, "Somebody else changed this case meanwhile.")
    assert "9.80 V (Sam, computer, " in phone.locator(".fn-wrong").inner_text()
    phone.get_by_role("button", name="Store mine as well").tap()
    wait_for_words(phone, f"Stored: {GRAVITY}")

    for page, served in ((phone, first), (desk, second)):
        opened(page, served, case_id, "entries")
        words = page.inner_text("body")
        assert f"{GRAVITY}: 1.240 (Kim, phone, " in words
        assert "9.80 V (Sam, computer, " in words
    entries = second.current(case_id).visits[0].entries
    assert [entry.by for entry in entries] == ["Kim", "Sam", "Kim"]
    assert all(entry.at for entry in entries)


def test_a_name_stays_over_a_reload_and_is_nobodys_else(bays: tuple[Served, Served], pages: tuple[Any, Any]) -> None:
    (phone, desk), (first, second) = pages, bays
    case_id = first.keep(a_case())
    opened(phone, first, case_id)
    signs_as(phone, "Kim")
    phone.reload()
    phone.wait_for_selector(".fn-test")
    go(phone, "Settings")
    assert phone.get_by_label("Name", exact=True).input_value() == "Kim"
    opened(desk, second, case_id, "settings")
    assert desk.get_by_label("Name", exact=True).input_value() == ""
    go(desk, "Test")
    read(desk, REST, "12.41")
    entry = second.current(case_id).visits[0].entries[0]
    assert entry.by == ""
    assert entry.at
