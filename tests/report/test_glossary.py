"""Technical words are explained from one source on page, paper and in the catalogue, and every one is met somewhere."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from faultnet.api import advise, load_case
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.page import reference_markdown
from faultnet.report import job_sheet
from faultnet.report.circuit import POINTS
from faultnet.report.glossary import explained, used

WORDS = {"cell": "One of six.", "weak cell": "A cell that holds less.", "ripple": "What is <left>."}


class Balanced(HTMLParser):
    """Tags opened and not closed, and all text."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_longest_word_wins_and_each_is_explained_once() -> None:
    html = "<p>A weak cell, two cells, <b title='ripple'>Ripple</b>; ripple again, excellent.</p>"
    marked = explained(html, WORDS)
    assert re.findall(r'class="fn-word"[^>]*>([^<]+)<', marked) == ["weak cell", "cells", "Ripple"]
    assert "What is &lt;left&gt;." in marked
    assert "title='ripple'" in marked
    found = Balanced(marked)
    assert found.open == []
    assert found.text == Balanced(html).text


@pytest.mark.parametrize("tag", ["a", "button", "summary", "label", "svg"])
def test_nothing_to_press_stands_inside_another_thing_to_press(tag: str) -> None:
    first = f"<p><{tag} class='x'>a <b>cell</b></{tag}> and a "
    marked = explained(f"{first}cell</p>", WORDS)
    assert marked.startswith(f'{first}<button type="button" class="fn-word"')


def test_words_inside_tags_are_no_words() -> None:
    assert used("<img alt='ripple'> nothing", WORDS) == ()


def test_every_word_is_met_in_what_the_program_says() -> None:
    """A word that stands nowhere in tests, acts, components, cautions or on a page would never be shown."""
    catalogue = load_catalogue("standard")
    texts = [catalogue.cautions, catalogue.preconditions]
    said = [text for table in texts for text in table.values()]
    for test in catalogue.tests:
        said += [test.label, test.explanation, *test.steps, *(label for _, label in test.choices)]
    for act in catalogue.acts:
        said += [act.label, act.explanation, *act.steps]
    for component in catalogue.components:
        said += [component.label, component.explanation]
        said += [text for mode in component.modes for text in (mode.label, mode.explanation, mode.shows)]
    said += [instrument.label for instrument in catalogue.instruments]
    said += [point.label for point in POINTS.values()]
    said += ["State of charge", "bit", "AGM (glass mat)"]  # words of the pages
    missing = set(catalogue.words) - set(used(" . ".join(said), catalogue.words))
    assert missing == set()


def test_explanations_are_a_sentence_or_two_and_do_not_use_the_word_alone() -> None:
    for word, meaning in load_catalogue("standard").words.items():
        assert 1 <= meaning.count(". ") + 1 <= 3, word
        assert meaning.endswith("."), word
        assert len(meaning) <= 190, word


def test_page_and_paper_and_catalogue_say_the_same() -> None:
    catalogue = load_catalogue("standard")
    case = load_case("demo:shorted_cell")
    sheet = job_sheet(case, advise(case).diagnosis, catalogue)
    assert catalogue.words["cell"] in sheet
    assert catalogue.words["cell"] in reference_markdown(catalogue)
