"""The pictures in the README show loaded pages: the links at the foot, which are drawn last, can be read in each."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

PICTURES = sorted((Path(__file__).with_name("pictures")).glob("*.png"))
BAR = 40
DARK = 90
LEAST = 0.01


def ink_in_the_bar(path: Path) -> float:
    """Share of dark points in the bar of links; a bar of placeholders has none [-]."""
    grey = np.asarray(Image.open(path).convert("L"))
    return float((grey[-BAR:] < DARK).mean())


def test_the_pages_of_words_show_none_but_these() -> None:
    here = Path(__file__).parent
    shown = {
        (page.parent / found).resolve()
        for page in (here.parents[1] / "README.md", here / "pictures" / "README.md")
        for found in re.findall(r"\(([^)]+\.png)\)", page.read_text(encoding="utf-8"))
    }
    assert shown
    assert shown <= {path.resolve() for path in PICTURES}


def test_a_bar_of_placeholders_is_noticed(tmp_path: Path) -> None:
    picture = Image.open(PICTURES[0]).convert("RGB")
    wide, high = picture.size
    picture.paste((232, 234, 232), (0, high - BAR, wide, high))
    picture.save(tmp_path / "held.png")
    assert ink_in_the_bar(tmp_path / "held.png") <= LEAST


def test_all_pictures_are_there() -> None:
    assert {path.stem for path in PICTURES} >= {
        f"{page}_{kind}" for page in ("begin", "test") for kind in ("phone", "desk")
    }


@pytest.mark.parametrize("path", PICTURES, ids=lambda path: path.stem)
def test_no_picture_holds_placeholders(path: Path) -> None:
    assert ink_in_the_bar(path) > LEAST
