"""Words stand out from their ground, by day and by night.

The measure is the contrast ratio of W3C, Web Content Accessibility Guidelines (WCAG) 2.1, from the relative luminance
defined there: success criterion 1.4.3 asks 4.5 for words, 1.4.6 asks 7 for words that are to be read in poor
conditions, such as sunlight on the screen, and 1.4.11 asks 3 for the edges of what is worked with.
"""

from __future__ import annotations

import re
import tomllib

import pytest

from tests.ui.conftest import UI

STYLE = (UI / "workbench" / "look.css").read_text(encoding="utf-8")
THEME = tomllib.loads((UI / ".streamlit" / "config.toml").read_text(encoding="utf-8"))["theme"]
WORDS, SUNLIGHT, EDGES = 4.5, 7.0, 3.0
# Where each ink is written: "page" is the ground of the whole page, the others are grounds of the style sheet.
USED = {
    "ink": ("page", "sheet", "care", "wrong", "good"),  # causes, shares, the test, its steps and figures
    "soft": ("page", "sheet", "care", "wrong"),  # notes, where a case stands, what was the case before
    "deep": ("page", "sheet"),  # links and what was just stored
}
LEAST = {"ink": SUNLIGHT, "soft": WORDS, "deep": SUNLIGHT}
PAIRS = [(ink, ground) for ink, grounds in USED.items() for ground in grounds]
both_themes = pytest.mark.parametrize("theme", ["light", "dark"])


def luminance(colour: str) -> float:
    """Relative luminance of a colour such as #16201e [-], WCAG 2.1; the border of the curve as in IEC 61966-2-1."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    red, green, blue = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours [-], 1 to 21, WCAG 2.1."""
    dark, light = sorted((luminance(first), luminance(second)))
    return (light + 0.05) / (dark + 0.05)


def colours(theme: str) -> dict[str, str]:
    """The named colours of a theme, those of the style sheet and the page's own."""
    pairs = re.findall(r"--([a-z-]+): light-dark\((#[0-9a-f]{6}), (#[0-9a-f]{6})\)", STYLE)
    named = {name: night if theme == "dark" else day for name, day, night in pairs}
    return {**named, "page": THEME[theme]["backgroundColor"]}


def test_the_measure_matches_its_definition() -> None:
    # black on white is 21 by definition; #767676 on white is the well-known grey that just passes 4.5 (from memory)
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#ffffff", "#ffffff") == pytest.approx(1.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.01)


def test_every_ink_and_every_colour_of_the_style_sheet_is_known_here() -> None:
    inks = set(re.findall(r"(?<![-\w])color: ([^;}!]+?)(?: !important)?[;}]", STYLE))
    assert inks - {"inherit"} == {
        f"var(--{ink})" for ink in USED
    }  # what is inherited is the ink of the sentence around it
    assert len(colours("light")) - 1 == len(re.findall(r"^ *--[a-z-]+: (?!\.)", STYLE, flags=re.MULTILINE))


@both_themes
@pytest.mark.parametrize(("ink", "ground"), PAIRS)
def test_words_stand_out_from_their_ground(ink: str, ground: str, theme: str) -> None:
    named = colours(theme)
    assert contrast(named[ink], named[ground]) >= LEAST[ink]


@both_themes
@pytest.mark.parametrize("ground", ["backgroundColor", "secondaryBackgroundColor"])
def test_what_the_widgets_write_stands_out_too(ground: str, theme: str) -> None:
    """Fields, lists and plain links, which have their colours from the theme and not from the style sheet."""
    own = THEME[theme]
    assert contrast(own["textColor"], own[ground]) >= SUNLIGHT
    assert contrast(own["linkColor"], own[ground]) >= SUNLIGHT
    assert contrast("#ffffff", own["primaryColor"]) >= WORDS
    assert contrast(own["borderColor"], own[ground]) >= EDGES


@both_themes
@pytest.mark.parametrize(
    ("mark", "ground"),
    [
        *(("bar", "ghost"), ("ink", "bar"), ("ink", "ghost"), ("ink", "good")),
        *(("care-line", "care"), ("wrong-line", "wrong"), ("deep", "page"), ("deep", "sheet")),
    ],
)
def test_marks_stand_out_from_their_ground(mark: str, ground: str, theme: str) -> None:
    named = colours(theme)
    assert contrast(named[mark], named[ground]) >= EDGES
