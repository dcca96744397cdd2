"""The page of closed cases: what would change is shown first, accepted only when told to, and taken back exactly."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from faultnet.api import advise, load_case
from faultnet.learning.tables.history import load_history, write_history
from faultnet.learning.versions.versions import take_back
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.sets import IN_USE, standing
from faultnet.shipped import shipped
from tests.ui.conftest import UI


@pytest.fixture
def page(workplace: Path) -> Iterator[AppTest]:
    test = AppTest.from_file(str(UI / "app.py"), default_timeout=300).run()
    test.switch_page("screens/history.py").run()
    assert not test.exception
    yield test
    from workbench import answers

    answers.forget()  # the next test has prior sets of its own


@pytest.fixture
def few(tmp_path: Path) -> bytes:
    """The first thirty cases of the shipped history."""
    whole = load_history(shipped("cases") / "history" / "hot_region.csv.gz")
    write_history(whole.cases[:30], tmp_path / "few.csv.gz")
    return (tmp_path / "few.csv.gz").read_bytes()


def kept_catalogue(test: AppTest) -> str:
    """Which prior set the pages use after another run."""
    from workbench import answers

    test.run()
    assert not test.exception
    return answers.catalogue().name


def said(test: AppTest) -> str:
    return "\n".join(element.proto.body for element in test.get("html"))


def tuned(test: AppTest, data: bytes) -> AppTest:
    test.file_uploader(key="history_file").upload("few.csv.gz", data, "application/gzip")
    test.selectbox(key="folds").select(0)
    test.button(key="tune").click().run()
    return ended(test)


def ended(test: AppTest) -> AppTest:
    """The page once the tuning that runs beside it has ended."""
    while any(button.key == "stop_tuning" for button in test.button):
        time.sleep(0.4)  # each look draws the page anew beside the work
        test.run()
    assert not test.exception
    return test


def test_a_history_is_shown_accepted_and_taken_back(page: AppTest, few: bytes) -> None:
    before = load_catalogue(IN_USE)
    tuned(page, few)
    assert standing() == ()
    page.text_input(key="set_name").set_value("hot_town")
    page.button(key="accept").click().run()
    assert not page.exception
    assert "hot_town@1 is in use from now on." in said(page)
    assert load_catalogue(IN_USE).name == "hot_town"
    assert kept_catalogue(page) == "hot_town"
    summary = advise(load_case("demo:fresh_case")).diagnosis.summary
    assert summary.endswith("Judged by prior set hot_town 1.")
    page.button(key="take_back").click().run()
    assert "hot_town@1 was taken back" in said(page)
    assert load_catalogue(IN_USE).fingerprint == before.fingerprint
    assert "Judged by" not in advise(load_case("demo:fresh_case")).diagnosis.summary


def test_what_was_looked_at_can_be_dropped(page: AppTest, few: bytes) -> None:
    tuned(page, few)
    page.button(key="drop").click().run()
    assert standing() == ()
    assert "Nothing was changed" in said(page)


def test_a_file_that_is_no_history_is_said_in_words(page: AppTest) -> None:
    tuned(page, b"case,battery_rating\n1,60\n")
    assert "1 rows of the history cannot be used" in said(page)
    [bad] = [frame.value for frame in page.dataframe if "expected" in frame.value]
    assert list(bad["row"]) == [2]
    assert list(bad["column"]) == ["battery_rating"]


def test_a_set_taken_back_by_the_command_line_is_noticed(page: AppTest, few: bytes) -> None:
    tuned(page, few)
    page.text_input(key="set_name").set_value("hot_town")
    page.button(key="accept").click().run()
    assert kept_catalogue(page) == "hot_town"
    take_back()
    assert kept_catalogue(page) == "standard"


def test_a_tuning_says_how_far_it_has_come_and_can_be_stopped(page: AppTest, few: bytes) -> None:
    before = load_catalogue(IN_USE).fingerprint
    page.file_uploader(key="history_file").upload("few.csv.gz", few, "application/gzip")
    for asked in ("compact", "physical"):
        assert not page.checkbox(key=asked).value
        page.checkbox(key=asked).check()
    page.button(key="tune").click().run()
    assert [button.key for button in page.button if button.key == "stop_tuning"]
    running = page.session_state["running_tuning"]
    assert (running.options.compact, running.options.physical, running.options.by_person) == (True, True, False)
    page.button(key="stop_tuning").click().run()
    ended(page)
    assert running.tuned is None
    assert "Stopped. Nothing was changed." in said(page)
    assert standing() == ()
    assert load_catalogue(IN_USE).fingerprint == before
    assert "tune" in [button.key for button in page.button]  # and it can be begun again
