"""Whether the verdict holds stands in a line below it, and in full on the page of reasons."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from faultnet.case.demo import load_case
from faultnet.case.types import Case
from tests.ui.conftest import Served, a_case
from tests.ui.hands import go, opened
from tests.ui.test_at_the_car import in_view, shown

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]


def after(name: str, entries: int) -> Case:
    """A demo case as it stood after so many entries."""
    case = load_case(f"demo:{name}")
    return replace(case, visits=(replace(case.visits[0], entries=case.visits[0].entries[:entries]),))


def test_a_line_below_the_verdict_says_whether_it_holds(screen: Screen, served: Served) -> None:
    page = opened(shown(screen, "phone"), served, served.keep(load_case("demo:shorted_cell")))
    page.wait_for_selector(".fn-robust")
    assert page.inner_text(".fn-robust") == (
        "Robust: this stays the first repair whatever the base rates within a factor of three."
    )
    assert in_view(page, ".fn-stop")  # the advice itself is not pushed down by it
    page = opened(shown(screen, "phone"), served, served.keep(after("sulphated_battery", 2)))
    page.wait_for_selector(".fn-robust")
    said = page.inner_text(".fn-robust")
    assert said.startswith("Fragile: in a shop that sees ")
    assert "To settle it: " in said
    go(page, "Why")
    page.wait_for_function("() => document.body.innerText.includes('The leading cause depends on one number')")


def test_nothing_is_said_before_there_is_a_verdict(screen: Screen, served: Served) -> None:
    page = opened(shown(screen, "phone"), served, served.keep(a_case()))
    page.wait_for_selector(".st-key-rest")
    assert page.locator(".fn-robust, [data-testid=stException]").count() == 0
    assert "Where it stands" in page.inner_text("body")
