"""Pictures of every page for the README, on a phone and on a desktop, from the demo cases.

One command writes them again: ``python tests/ui/screenshots.py``. Needs what the tests in a real browser need.
"""

from __future__ import annotations

import io
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from faultnet.case.file import load_case  # noqa: E402 - the folder must be known first
from faultnet.shipped import shipped  # noqa: E402
from tests.ui.hands import choose, few_closed_cases, opened, settled, wait_for_words  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, DESK, PHONE, Served, chromium, serving  # noqa: E402

PICTURES = HERE / "pictures"
OTHERS = ("circuit", "why", "entries", "car", "log", "paper", "cases", "history", "practise", "settings")
PAGES = {"": "test", **{p: p for p in OTHERS}}
SCREENS = {"phone": {**PHONE, "device_scale_factor": 1.5}, "desk": DESK}
CASE, RECORDING = "intermittent_no_start.json", "logger_decimal_comma.txt"
VERDICTS = {
    "robust": ("shorted_cell.json", None),
    "fragile": ("sulphated_battery.json", 4),
}  # entries; None: all of them
DROP = "Voltage drop, engine to negative clamp"
COLOURS = 160  # fewer turn the red of a probe brown
# Nothing is held by a placeholder any more, and the links, which come last, are there.
DRAWN = """() => !document.querySelector('[data-testid=stSkeleton]')
    && document.querySelectorAll('.st-key-links a').length === 10"""


def small_png(png: bytes) -> bytes:
    """The same picture with few colours; flat pages lose nothing by it."""
    from PIL import Image

    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


def pictures_of(page: Any, served: Served, case_id: str, path: str, name: str) -> dict[str, bytes]:
    """Open a page, bring it to a telling state, and take its picture, or two where it is long."""
    opened(page, served, case_id, "" if path == "circuit" else path)
    if path == "circuit":
        choose(page, DROP)
        page.wait_for_function("() => document.querySelector('.fn-circuit img').naturalWidth > 0")
    if path == "practise":
        page.get_by_role("button", name="3. A new battery, and slow").click()
        page.get_by_role("radio", name="Cranking", exact=True).click()
        page.get_by_role("button", name="Lowest voltage in a recorded start").click()
        wait_for_words(page, "Lowest voltage in a recorded start: ")
    if path == "history":
        page.set_input_files("input[type=file]", few_closed_cases(300))
        page.get_by_role("button", name="Work it out").click()
        page.wait_for_selector("iframe", timeout=120_000)
        page.locator("iframe").scroll_into_view_if_needed()
    if path == "log":
        page.set_input_files("input[type=file]", shipped("cases") / "recordings" / RECORDING)
        wait_for_words(page, "Found in it")
        page.wait_for_selector(".fn-picture img:visible")
    taken = {name: _taken(page)}
    if path == "log":
        page.evaluate("document.querySelector('.fn-picture').scrollIntoView({block: 'center'})")
        taken["trace"] = _taken(page)
    return taken


def verdict(page: Any, served: Served, file: str, entries: int | None) -> bytes:
    """Where a demo case stands after so many entries, with what it would take to turn it."""
    case = load_case(shipped("cases") / file)
    visit = replace(case.visits[0], entries=case.visits[0].entries[:entries])
    shown = case if entries is None else replace(case, visits=(visit,), outcome=None)
    opened(page, served, served.keep(replace(shown, outcome=None)))
    page.wait_for_selector(".fn-robust")
    page.evaluate("document.querySelector('#where-it-stands').scrollIntoView()")
    return _taken(page)


def _taken(page: Any) -> bytes:
    settled(page)
    page.wait_for_function(DRAWN)
    page.wait_for_timeout(400)
    return small_png(page.screenshot(animations="disabled"))


def write_all(folder: Path = PICTURES) -> list[Path]:
    """Write every picture, and give their paths."""
    from playwright.sync_api import sync_playwright

    folder.mkdir(exist_ok=True)
    written = []
    with serving() as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        case_id = served.keep(load_case(shipped("cases") / CASE))
        for kind, options in SCREENS.items():
            page = browser.new_context(**options).new_page()
            page.goto(served.address)
            page.wait_for_selector(".fn-care")
            pictures = {"begin": _taken(page)}
            for path, name in PAGES.items():
                pictures |= pictures_of(page, served, case_id, path, name)
            pictures |= {name: verdict(page, served, *told) for name, told in VERDICTS.items()}
            for name, png in pictures.items():
                written.append(folder / f"{name}_{kind}.png")
                written[-1].write_bytes(png)
        browser.close()
    return written


if __name__ == "__main__":
    for path in write_all():
        print(f"{path.name}: {path.stat().st_size / 1024:.0f} kB")
