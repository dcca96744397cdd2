"""How long the first page takes on a server just started, in a real browser that has never seen it.

``python tests/bench/first_page.py [TIMES]`` starts a server anew for every figure. Two times: from launching the server
until it answers, and from then on until the whole first page is drawn. The first page is the one to begin on, or a case
already kept, whose network is built first or was left on the disk by an earlier server. Then a car that nobody has met
is typed in: the time from "Begin" to the whole picture, pressed at once after the last field, and after as long as it
takes to look the form over once.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from faultnet.case.types import Battery, Car, Case, Conditions, Visit  # noqa: E402 - the folder must be known first
from tests.bench.sessions import below, worked_for  # noqa: E402
from tests.ui import hands  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, PHONE, chromium, serving  # noqa: E402

CASE = Case(Car(Battery(600.0)), (Visit(conditions=Conditions(air_temperature=8.0, hours_standing=9.0)),), name="Car")
LOOKS_IT_OVER = 4.0  # [s]
WHOLE = """last => document.querySelector(last)
  && document.querySelector('[data-test-script-state]')?.dataset.testScriptState === 'notRunning'"""


def first_page(browser: Any, built: Path, *, of_a_case: bool) -> tuple[float, float, float]:
    """Seconds until the server answers, until its first page is drawn after that, and the server's processor time."""
    launched = time.perf_counter()
    with serving(built) as served:
        answers = time.perf_counter()
        address = served.address + (f"/?case={served.keep(CASE)}" if of_a_case else "")
        context = browser.new_context(**PHONE)
        page = context.new_page()
        asked = time.perf_counter()
        page.goto(address)
        page.wait_for_function(WHOLE, arg=".fn-test" if of_a_case else ".fn-care", timeout=60_000, polling=20)
        drawn = time.perf_counter()
        context.close()
        return answers - launched, drawn - asked, worked_for(below(served.process))


def from_begin(browser: Any, built: Path, number: int, look: float) -> float:
    """Seconds from "Begin" to the whole picture of a car not met before, pressed so long after the last field [s]."""
    with serving(built) as served:
        context = browser.new_context(**PHONE)
        page = context.new_page()
        hands.first_page(page, served)
        hands.describe(page, "will not start", rating=500.0 + 10.0 * number, air=3.0 + number, standing=9.0)
        hands.pick(page, "What is the complaint?", "Turns slowly")
        page.wait_for_timeout(1000.0 * look)
        pressed = time.perf_counter()
        page.get_by_role("button", name="Begin", exact=True).click()
        page.wait_for_function(WHOLE, arg=".fn-test", timeout=60_000, polling=20)
        drawn = time.perf_counter()
        context.close()
        return drawn - pressed


def run(times: int) -> None:
    """Print the median and the worst of each figure."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        for name, of_a_case, kept in (
            ("page to begin on", False, False),
            ("a case, network not on the disk", True, False),
            ("a case, network on the disk", True, True),
        ):
            found = []
            with tempfile.TemporaryDirectory() as folder:
                for number in range(times + kept):
                    built = Path(folder) / ("same" if kept else str(number))
                    found.append(first_page(browser, built, of_a_case=of_a_case))
            up, drawn, worked = zip(*found[kept:], strict=True)
            print(
                f"{name}: server answers after {statistics.median(up):.1f} s, page whole "
                f"{statistics.median(drawn):.2f} s later (worst {max(drawn):.2f} s), server's processor "
                f"{statistics.median(worked):.1f} s; load average {os.getloadavg()[0]:.1f}",
                flush=True,
            )
        for look in (0.0, LOOKS_IT_OVER):
            with tempfile.TemporaryDirectory() as folder:
                found = [from_begin(browser, Path(folder) / str(n), n, look) for n in range(times)]
            print(
                f'from "Begin", {look:.0f} s after the last field: {statistics.median(found):.2f} s '
                f"(worst {max(found):.2f} s); load average {os.getloadavg()[0]:.1f}",
                flush=True,
            )
        browser.close()


if __name__ == "__main__":
    run(int(sys.argv[1]) if len(sys.argv) > 1 else 3)
