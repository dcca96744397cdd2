"""The picture of a trace as PNG: size, text, and the dip where the drawing has it."""

from __future__ import annotations

import io
import sys

import numpy as np
import pytest
from PIL import Image

from faultnet.errors import MissingExtraError, RecordingError
from faultnet.recordings import Trace, draw_trace, picture_png, png


def pixels(svg: str, **options: float) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(picture_png(svg, **options))).convert("L")).astype(int)


def trace(dip: float) -> Trace:
    time = np.arange(0.0, 10.0, 0.01)
    volts = np.full(time.size, 12.6)
    volts[500:520] = dip
    return Trace(time, volts, name="invented")


def test_it_has_the_size_asked_for_on_white() -> None:
    found = pixels(draw_trace(trace(9.0), width=400, height=200), density=3.0)
    assert found.shape == (600, 1200)
    assert found[0, 0] == 255


def test_the_line_and_its_words_are_in_it() -> None:
    whole = pixels(draw_trace(trace(9.0)))
    blank = pixels('<svg xmlns="http://www.w3.org/2000/svg" width="900" height="320"></svg>')
    assert (blank == 255).all()
    left_margin = whole[:, :100]
    assert (left_margin < 128).sum() > 50, "the words beside the axis are missing"


def test_a_deeper_dip_changes_the_middle_and_not_the_margin_of_the_picture() -> None:
    flat, deep = pixels(draw_trace(trace(12.6))), pixels(draw_trace(trace(6.0)))
    assert (flat[:, 850:1050] != deep[:, 850:1050]).any()


def test_without_a_font_it_is_refused_and_not_drawn_without_words(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(png, "PROBE", png.PROBE.replace(png.FAMILIES, "No Such Family"))
    with pytest.raises(RecordingError, match="without words"):
        picture_png(draw_trace(trace(9.0)))


def test_without_the_optional_library_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "resvg_py", None)
    with pytest.raises(MissingExtraError, match=r"faultnet\[png\]"):
        picture_png(draw_trace(trace(9.0)))
