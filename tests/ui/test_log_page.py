"""The page of recorded logs in a real browser: the trace with its marks, zoom, and readings taken by choice."""

from __future__ import annotations

import base64
import re
import time
import urllib.parse
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from faultnet.recordings import Start, find_events, read_recording
from faultnet.recordings.synthetic.generate import text_of
from faultnet.recordings.synthetic.simulate import simulate_log
from faultnet.shipped import shipped
from tests.ui.conftest import Served, a_case
from tests.ui.hands import arrow_to, go, opened, pick, settled, wait_for_words
from tests.ui.server import serving

pytestmark = pytest.mark.browser
Screen = Callable[..., Any]
BOTH = pytest.mark.parametrize("kind", ["phone", "desk"])
WIDTH = {"phone": 390, "desk": 1280}
ADAPTER = shipped("cases") / "recordings" / "adapter.tsv"


def starts_of(file: Path) -> list[Start]:
    """What the library finds in the same file."""
    return [event for event in find_events(read_recording(file)) if isinstance(event, Start)]


def given(screen: Screen, served: Served, kind: str, file: Path) -> tuple[Any, str]:
    """The page with a log that was handed to it, and the number of its case."""
    case_id = served.keep(a_case())
    page = opened(screen(kind), served, case_id, "log")
    page.set_input_files("input[type=file]", file)
    wait_for_words(page, "Found in it")
    page.wait_for_selector(".fn-picture img:visible")
    return page, case_id


def drawing(page: Any) -> str:
    """The picture that is seen, as the SVG it came as."""
    picture = page.locator(".fn-picture img:visible")
    head, _, content = str(picture.get_attribute("src")).partition(",")
    return base64.b64decode(content).decode() if "base64" in head else urllib.parse.unquote(content)


def redrawn(page: Any, before: str) -> str:
    """The picture once it is another one than before."""
    deadline = time.monotonic() + 30.0
    while (seen := drawing(page)) == before:
        assert time.monotonic() < deadline, "the picture stayed as it was"
        page.wait_for_timeout(100)
    return seen


def times(svg: str) -> tuple[float, float]:
    """First and last mark of the axis of time [s]."""
    marks = [float(mark) for mark in re.findall(r'text-anchor="middle">([\d.]+)<', svg)]
    return marks[0], marks[-1]


@BOTH
def test_the_trace_carries_its_events_fits_the_screen_and_is_looked_at_as_one_likes(
    screen: Screen, served: Served, kind: str
) -> None:
    """All of it with its marks, without those of the starts, one start closely, which keeps its number, and a part."""
    page, _ = given(screen, served, kind, ADAPTER)
    whole = drawing(page)
    for mark in ("start 1: caught", "start 2: did not catch", "charging 13.33 V"):
        assert mark in whole
    [box] = [one.bounding_box() for one in page.query_selector_all(".fn-picture img") if one.is_visible()]
    assert box["x"] >= 0
    assert box["x"] + box["width"] <= WIDTH[kind]
    assert page.evaluate("document.querySelector('[data-testid=stMain]').scrollWidth") <= WIDTH[kind]

    page.get_by_role("button", name="Starts", exact=True).click()
    svg = redrawn(page, whole)
    assert "start 1" not in svg
    assert "charging 13.33 V" in svg
    settled(page)
    page.get_by_role("button", name="Starts", exact=True).click()
    assert redrawn(page, svg) == whole
    settled(page)

    second = starts_of(ADAPTER)[1]
    page.get_by_role("radio", name=re.compile(r"Start 2 at")).click()
    svg = redrawn(page, whole)
    (begin, end), (first, last) = times(svg), times(whole)
    assert first < begin <= second.begin < second.end <= end < last
    assert "start 2: did not catch" in svg
    assert "start 1" not in svg
    settled(page)

    page.get_by_role("radio", name="A part").click()
    page.get_by_role("slider").first.wait_for(state="attached")
    settled(page)
    before = drawing(page)
    handle = page.get_by_role("slider").first
    handle.focus()
    for _ in range(30):
        handle.press("ArrowRight")
    assert times(redrawn(page, before))[0] > times(before)[0]
    assert page.query_selector(".fn-wrong") is None


@BOTH
def test_only_what_is_ticked_becomes_a_reading(screen: Screen, served: Served, kind: str) -> None:
    page, case_id = given(screen, served, kind, ADAPTER)
    boxes = page.get_by_text("Lowest voltage in a recorded start")
    boxes.first.wait_for()
    assert boxes.count() == 1, "of many events the first start is shown before anybody chose"
    arrow_to(page, "Take from", f"Start 2 at {starts_of(ADAPTER)[1].begin:.1f} s")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    page.wait_for_function("() => document.body.innerText.split('Lowest voltage in a recorded start').length === 3")
    settled(page)
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "No reading was ticked")
    assert served.current(case_id).visits[0].entries == ()
    boxes.nth(1).click()
    settled(page)
    page.get_by_role("button", name="Take the ticked ones").click()
    wait_for_words(page, "Stored from the recording")
    (entry,) = served.current(case_id).visits[0].entries
    second = starts_of(ADAPTER)[1]
    assert entry.value == pytest.approx(second.lowest_steady, abs=0.02)
    assert entry.interval == pytest.approx(0.2)


@BOTH
def test_a_dip_of_one_sample_among_many_is_still_drawn(
    screen: Screen, served: Served, tmp_path: Path, kind: str
) -> None:
    """Each column of pixels stands for hundreds of samples; the lowest of them must reach the picture."""
    trace = simulate_log(np.random.default_rng(3), 1e-4, starts=1, nuisance=False).trace
    lowest = float(trace.volts.min())
    (tmp_path / "scope.csv").write_bytes(text_of(trace))
    page, _ = given(screen, served, kind, tmp_path / "scope.csv")
    assert trace.time.size > 100_000
    assert f"to {trace.volts.max():.2f} V" in drawing(page)
    assert f"from {lowest:.2f}" in drawing(page)
    assert len(drawing(page)) < 100_000


@BOTH
def test_an_unclear_log_asks_and_is_read_once_that_is_settled(
    screen: Screen, served: Served, tmp_path: Path, kind: str
) -> None:
    rows = "".join(f"{0.1 * k:.1f};{12.6 if k < 60 or k > 70 else 9.9}\n" for k in range(200))
    (tmp_path / "unclear.csv").write_text(f"time;volts\n{rows}")
    page = opened(screen(kind), served, served.keep(a_case()), "log")
    page.set_input_files("input[type=file]", tmp_path / "unclear.csv")
    wait_for_words(page, "The unit of the time is not known")
    pick(page, "Unit of time", "s")
    wait_for_words(page, "Found in it")
    page.wait_for_selector(".fn-picture img:visible")
    assert "start 1" in drawing(page)


def held(served: Served) -> int:
    """Bytes of uploaded files that the server holds, as it tells itself."""
    with urllib.request.urlopen(f"{served.address}/_stcore/metrics", timeout=10) as answer:
        lines = answer.read().decode().splitlines()
    return sum(int(float(line.split()[-1])) for line in lines if "UploadedFileManager" in line)


def holds(served: Served, wanted: int) -> None:
    """Wait until the server holds so many bytes; it works the number out every five seconds only."""
    deadline = time.monotonic() + 20.0
    while held(served) != wanted and time.monotonic() < deadline:
        time.sleep(0.5)
    assert held(served) == wanted


@pytest.fixture
def alone(built: Path) -> Iterator[Served]:
    """A server of its own: what closed pages of other tests held is let go some minutes later only."""
    with serving(built) as found:
        yield found


def test_an_upload_is_dropped_when_the_page_lets_it_go(screen: Screen, alone: Served, tmp_path: Path) -> None:
    page = opened(screen("desk"), alone, alone.keep(a_case()))
    go(page, "Log")
    file = tmp_path / "log.csv"
    lines = (f"{k / 10},{12.4}" for k in range(20_000))
    file.write_text("\n".join(("time [s],voltage [V]", *lines)), encoding="utf-8")
    page.set_input_files("input[type=file]", str(file))
    wait_for_words(page, "20000 samples")
    holds(alone, file.stat().st_size)
    go(page, "Why")
    holds(alone, 0)
    go(page, "Log")
    wait_for_words(page, "Here until another is given: log.csv")
    wait_for_words(page, "20000 samples")
    assert held(alone) == 0, "what stays of it lies on the disk"
    page.get_by_role("button", name="Take it away").click()
    page.wait_for_function("() => !document.body.innerText.includes('log.csv')")
