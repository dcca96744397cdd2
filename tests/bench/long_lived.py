"""What a server holds that runs for long: memory while one session opens case after case, and after uploads.

``python tests/bench/long_lived.py [CASES]`` opens that many cases, 50 when left out, in one page of a real browser on
a server of its own. Each has a car and a weather of its own, and so a network of its own. In each two readings are
entered, at rest and while cranking, and the reasons are looked at. At the end a log of some 40 MB is uploaded, and
another page opened. Memory is that of the server.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from playwright.sync_api import Error, sync_playwright

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from faultnet.case.types import Battery, Car, Case, Conditions, Visit  # noqa: E402 - the folder must be known first
from tests.bench.sessions import memory, memory_of_its_own  # noqa: E402
from tests.ui.hands import FIELD, go, opened, read, settled  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, DESK, Served, chromium, serving  # noqa: E402

EVERY = 5
LOG_ROWS = 3_000_000


def one_case(number: int) -> Case:
    """An invented car, different from all others."""
    conditions = Conditions(air_temperature=-10.0 + 0.7 * number, hours_standing=9.0)
    car = Car(Battery(450.0 + 7.0 * number), displacement=1.0 + 0.05 * (number % 20))
    return Case(car, (Visit(conditions=conditions, date="2026-11-25"),), name=f"Car {number}")


def visited(page: Any, served: Served, number: int) -> None:
    """Open a case of its own, enter two readings, look at the reasons."""
    opened(page, served, served.keep(one_case(number)))
    for label, text in (
        ("Open-circuit (rest) voltage at the posts", f"{11.9 + 0.02 * (number % 40):.2f}"),
        ("Lowest voltage at the posts while it starts", f"{8.5 + 0.05 * (number % 40):.2f}"),
    ):
        try:
            read(page, label, text)
        except Error as error:  # a busy machine; said, so that nothing is taken for whole that is not
            print(f"car {number}: {label} not stored: {str(error).splitlines()[0]}", flush=True)
            print(f"    the field holds {page.input_value(FIELD, timeout=5000)!r}", flush=True)
            page.reload()
    go(page, "Why")


def told(what: str, served: Served, most: float) -> float:
    """Print what the server takes now; give the most so far."""
    now = memory(served.process)
    print(f"{what}: {now:.0f} MB, of which its own {memory_of_its_own(served.process):.0f} MB", flush=True)
    return max(most, now)


def upload(page: Any, served: Served, most: float) -> float:
    """Let the page of logs read a large file, then leave it."""
    with tempfile.TemporaryDirectory() as folder:
        log = Path(folder) / "long.csv"
        log.write_text("time [s],voltage [V]\n" + "".join(f"{k / 100:.2f},12.4{k % 10}\n" for k in range(LOG_ROWS)))
        go(page, "Log")
        page.set_input_files("input[type=file]", str(log))
        page.wait_for_function("() => document.body.innerText.includes('samples over')", timeout=300_000)
        settled(page)
        most = told(f"a log of {log.stat().st_size / 1e6:.0f} MB is shown", served, most)
    go(page, "Cases")
    time.sleep(3.0)
    go(page, "Why")
    return told("another page is shown", served, most)


def run(cases: int) -> None:
    """Measure."""
    with serving() as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        page = browser.new_context(**DESK).new_page()
        page.set_default_timeout(90_000)
        most = told("at the start", served, 0.0)
        for number in range(cases):
            visited(page, served, number)
            if number == 0 or (number + 1) % EVERY == 0:
                most = told(f"{number + 1} cases", served, most)
        print(f"most: {most:.0f} MB", flush=True)
        upload(page, served, most)
        browser.close()


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    run(numbers[0] if numbers else 50)
