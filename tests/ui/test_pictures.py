"""The pictures in the README show loaded pages: the links at the foot, which are drawn last, can be read in each."""

from __future__ import annotations

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


def test_all_pictures_are_there() -> None:
    assert {path.stem for path in PICTURES} >= {
        f"{page}_{kind}" for page in ("begin", "test") for kind in ("phone", "desk")
    }


@pytest.mark.parametrize("path", PICTURES, ids=lambda path: path.stem)
def test_no_picture_holds_placeholders(path: Path) -> None:
    assert ink_in_the_bar(path) > LEAST
