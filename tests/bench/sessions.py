"""How the front end does with many at once: time from an entry to the new picture, and memory of each session.

``python tests/bench/sessions.py [SESSIONS] [same] [think]`` opens that many pages in a real browser on a server of its
own, each on a case of its own, and sends a reading on every one at the same moment, several rounds. Two times run from
sending it, measured inside the page: until the new causes stand there, and until the whole page is drawn anew. The
browser works on the same cores as the server: what is measured is both together. Every case has a car of its own, and
so a network of its own; with `same` all cases have the same car, which leaves what a session itself costs. Processor
time of the server and of the browser for an entry stands beside: it hangs less on who else uses the machine.

With `think` nobody waits for the others: on every page the test on the card is answered as on a sound car, then again
after 10 to 20 seconds drawn at random, as by people who measure something in between.
"""

from __future__ import annotations

import os
import random
import statistics
import sys
import time
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
if str(HERE.parents[1]) not in sys.path:
    sys.path.insert(0, str(HERE.parents[1]))

from faultnet.case.types import Battery, Car, Case, Conditions, Visit  # noqa: E402 - the folder must be known first
from tests.ui.hands import choose, opened  # noqa: E402
from tests.ui.server import CHROMIUM_FLAGS, DESK, Served, chromium, serving  # noqa: E402

VALUES = ("12.1", "12.5", "12.3", "12.6", "12.2")
THOUGHT, ENTRIES = (10.0, 20.0), 6
WATCH = """([words, press]) => {
  window.fnTook = null;
  window.fnWhole = null;
  const begun = performance.now();
  const app = () => document.querySelector('[data-test-script-state]')?.dataset.testScriptState;
  const watch = new MutationObserver(() => {
    if (!document.querySelector('.fn-said')?.textContent.includes(words)) return;
    window.fnTook ??= performance.now() - begun;
    if (app() === 'notRunning') { window.fnWhole = performance.now() - begun; watch.disconnect(); }
  });
  watch.observe(document.body, {childList: true, subtree: true, characterData: true, attributes: true});
  document.querySelector(press).click();
}"""
ENTER, FIRST_ANSWER = '[class*="st-key-enter_"] button', ".st-key-answers button"


def memory(process: int) -> float:
    """Resident memory of a process [MB]."""
    line = next(x for x in Path(f"/proc/{process}/status").read_text().splitlines() if x.startswith("VmRSS"))
    return int(line.split()[1]) / 1024


def memory_of_its_own(process: int) -> float:
    """Resident memory of a process that is no file's [MB]: what it would keep if the machine ran short."""
    line = next(x for x in Path(f"/proc/{process}/status").read_text().splitlines() if x.startswith("RssAnon"))
    return int(line.split()[1]) / 1024


def worked_for(process: int) -> float:
    """Processor time of a process so far [s]."""
    fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def browser_processes(server: int) -> list[int]:
    """This process and all below it but the server: the driver and the browser it started."""
    parents = {}
    for entry in Path("/proc").glob("[0-9]*"):
        try:
            parents[int(entry.name)] = int((entry / "stat").read_text().rpartition(")")[2].split()[1])
        except OSError:
            continue
    found = {os.getpid()}
    while more := {p for p, above in parents.items() if above in found and p != server} - found:
        found |= more
    return sorted(found)


def begun(browser: Any, served: Served, number: int, *, same: bool) -> Any:
    """A page on a case of its own, with a test on the card."""
    which = 0 if same else number
    visit = Visit(conditions=Conditions(air_temperature=5.0 + which, hours_standing=9.0), date="2026-11-25")
    page = browser.new_context(**DESK).new_page()
    opened(page, served, served.keep(Case(Car(Battery(500.0 + 10 * which)), (visit,), name=f"Car {number}")))
    return page


def typed(page: Any, text: str) -> None:
    """Put a reading into the field without sending it."""
    choose(page, "Rest voltage at the posts")
    page.fill(".st-key-entry input", text)


def one_round(pages: list[Any], text: str) -> list[tuple[float, float]]:
    """Send the reading on every page at once; seconds until each shows the new causes, and the whole new picture."""
    for page in pages:
        page.evaluate(WATCH, [f"Stored: Rest voltage at the posts: {float(text):.2f} V", ENTER])
    for page in pages:
        page.wait_for_function("() => window.fnWhole !== null", timeout=60_000, polling=100)
    return [(page.evaluate("window.fnTook") / 1000, page.evaluate("window.fnWhole") / 1000) for page in pages]


def told(name: str, found: list[tuple[float, float]]) -> None:
    """Print median, 95th percentile and worst of both times."""
    for part, times in zip(("new causes", "whole picture"), zip(*found, strict=True), strict=True):
        p95 = sorted(times)[min(len(times) - 1, int(0.95 * len(times)))]
        median = statistics.median(times)
        print(
            f"{name}, {part}: median {median:.2f} s, p95 {p95:.2f} s, worst {max(times):.2f} s ({len(times)})",
            flush=True,
        )


def measured(name: str, served: Served, pages: list[Any]) -> None:
    """Send every value on every page, and print times and processor time for an entry."""
    rounds = []
    server = browser = 0.0
    for text in VALUES:
        for page in pages:
            typed(page, text)
        ours = browser_processes(served.process)
        before = worked_for(served.process), sum(map(worked_for, ours))
        rounds += one_round(pages, text)
        server += worked_for(served.process) - before[0]
        browser += sum(map(worked_for, ours)) - before[1]
    told(name, rounds)
    entries = len(rounds)
    print(f"    processor time for an entry: server {server / entries:.2f} s, browser {browser / entries:.2f} s; "
          f"load average {os.getloadavg()[0]:.1f}", flush=True)  # fmt: skip


def answered(page: Any) -> None:
    """Answer the test on the card as on a sound car, and watch what the page does."""
    label = page.inner_text(".fn-test h2")
    sound = page.query_selector(".fn-test .sound")
    if page.query_selector(FIRST_ANSWER) is not None:
        press = FIRST_ANSWER
    elif sound is not None:
        page.fill(".st-key-entry input", sound.inner_text().split(" to ")[0].removeprefix("under "))
        press = ENTER
    else:
        press = ".st-key-not_skipped button"
    page.evaluate(WATCH, [f"Stored: {label}", press])


def took(page: Any) -> tuple[float, float] | None:
    """Seconds until the new causes and the whole picture of what was sent last; None while it is not drawn."""
    found = page.evaluate("[window.fnTook, window.fnWhole]")
    return None if found[1] is None else (found[0] / 1000, found[1] / 1000)


def thinking(name: str, served: Served, pages: list[Any]) -> None:
    """Answer tests on every page with time to think in between, and print as :func:`measured` does."""
    draw = random.Random(1)
    begun = time.monotonic()
    due = [begun + draw.uniform(0.0, THOUGHT[1]) for _ in pages]
    waiting, done = set[int](), [0] * len(pages)
    rounds: list[tuple[float, float]] = []
    before = worked_for(served.process), sum(map(worked_for, browser_processes(served.process)))
    while min(done) < ENTRIES:
        for k, page in enumerate(pages):
            if k in waiting and (found := took(page)) is not None:
                waiting.remove(k)
                rounds.append(found)
                done[k] += 1
                due[k] = time.monotonic() + draw.uniform(*THOUGHT)
            elif k not in waiting and done[k] < ENTRIES and time.monotonic() >= due[k]:
                answered(page)
                waiting.add(k)
        time.sleep(0.1)
    spent = time.monotonic() - begun
    server = worked_for(served.process) - before[0]
    browser = sum(map(worked_for, browser_processes(served.process))) - before[1]
    told(name, rounds)
    print(f"    processor time for an entry: server {server / len(rounds):.2f} s, browser with this script "
          f"{browser / len(rounds):.2f} s; one entry every {spent / len(rounds):.2f} s; "
          f"load average {os.getloadavg()[0]:.1f}", flush=True)  # fmt: skip


def run(sessions: int, *, same: bool, think: bool) -> None:
    """Measure one page alone, then all together."""
    from playwright.sync_api import sync_playwright

    with serving() as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        pages = [begun(browser, served, 0, same=same)]
        measure = thinking if think else measured
        measure("one session", served, pages)
        first = memory(served.process)
        pages += [begun(browser, served, number, same=same) for number in range(1, sessions)]
        opened_all = memory(served.process)
        measure(f"{sessions} at once", served, pages)
        after = memory(served.process)
        browser.close()
    print(f"memory: {first:.0f} MB with one session, {opened_all:.0f} MB with {sessions}, {after:.0f} MB after;")
    cars = "all on one car" if same else "each on a car of its own"
    print(f"        {(after - first) / max(sessions - 1, 1):.1f} MB for each further session, {cars}")


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:] if word.isdigit()]
    run(numbers[0] if numbers else 20, same="same" in sys.argv, think="think" in sys.argv)
