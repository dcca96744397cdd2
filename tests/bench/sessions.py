"""How the front end does with many at once: time from an entry to the new picture, and memory of each session.

``python tests/bench/sessions.py [SESSIONS] [same] [think [SECONDS]]`` opens that many pages in a real browser on a
server of its own, each on a case of its own, and sends a reading on every one at the same moment, several rounds. Two
times run from sending it, measured inside the page: until the new causes stand there, and until the whole page is drawn
anew. The browser works on the same cores as the server: what is measured is both together. Every case has a car of its
own, and so a network of its own; with `same` all cases have the same car, which leaves what a session itself costs.
Processor time of the server and of the browser for an entry stands beside: it hangs less on who else uses the machine.

With `think` nobody waits for the others: on every page the test on the card is answered as on a sound car, by a press
of the mouse or keys where the button stands, then again after 10 to 20 seconds drawn at random, as by people who
measure something in between. It goes on for so many seconds, 120 when left out, 60 at most
for one page before the others come. The clock starts when the press
reaches the page. The picture is whole when what was stored is said, the page rests, and nothing in it has changed since
for half a second; the time is that of the last change. A press that leads to nothing within a minute is counted as
lost, and what is still under way at the end is waited for, a minute at most. A car that is answered to the end is
followed by another.
"""

from __future__ import annotations

import itertools
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
THOUGHT, LASTS, ALONE, LOST = (10.0, 20.0), 120.0, 60.0, 60.0  # [s]
WATCH = """([words, press]) => {
  window.fnTook = window.fnWhole = window.fnBegun = null;
  window.fnWatch?.disconnect();
  clearInterval(window.fnLook);
  const app = () => document.querySelector('[data-test-script-state]')?.dataset.testScriptState;
  const said = () => document.querySelector('.fn-said')?.textContent.includes(words);
  let last = 0;
  const begin = e => { window.fnBegun ??= performance.now(); last = window.fnBegun; };
  for (const kind of ['pointerdown', 'keydown']) document.addEventListener(kind, begin, {capture: true, once: true});
  window.fnWatch = new MutationObserver(() => {
    if (window.fnBegun === null) return;
    last = performance.now();
    if (said()) window.fnTook ??= last - window.fnBegun;
  });
  window.fnWatch.observe(document.body, {childList: true, subtree: true, characterData: true, attributes: true});
  window.fnLook = setInterval(() => {
    if (window.fnTook === null || app() !== 'notRunning' || !said() || performance.now() - last < QUIET) return;
    window.fnWhole = last - window.fnBegun;
    window.fnWatch.disconnect();
    clearInterval(window.fnLook);
  }, 50);
  if (press) { begin(); document.querySelector(press).click(); }
}""".replace("QUIET", "500")
ENTER, FIRST_ANSWER = '[class*="st-key-enter_"] button', ".st-key-answers button"


def memory(server: int) -> float:
    """Memory of a server with the processes that it started [MB]: a page that several share counts in parts."""
    return _kept(server, "Pss:")


def memory_of_its_own(server: int) -> float:
    """The same without what is a file's [MB]: what it would keep if the machine ran short."""
    return _kept(server, "Pss_Anon:")


def _kept(server: int, what: str) -> float:
    total = 0
    for process in below(server):
        lines = _of_process(process, "smaps_rollup").splitlines()
        if not lines:
            continue
        total += int(next(x for x in lines if x.startswith(what)).split()[1])
    return total / 1024


def worked_for(processes: list[int]) -> float:
    """Processor time of processes so far [s]; one that has ended since they were listed counts nothing."""
    ticks = 0
    for process in processes:
        if fields := _of_process(process, "stat").rpartition(")")[2].split():
            ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def _of_process(process: int, name: str) -> str:
    """What the kernel says of a process; nothing of one that has ended."""
    try:
        return Path(f"/proc/{process}/{name}").read_text()
    except (FileNotFoundError, ProcessLookupError):
        return ""


def below(root: int, without: int = 0) -> list[int]:
    """A process and all that it and they started, but for one and what that started."""
    parents = {}
    for entry in Path("/proc").glob("[0-9]*"):
        if fields := _of_process(int(entry.name), "stat").rpartition(")")[2].split():
            parents[int(entry.name)] = int(fields[1])
    found = {root}
    while more := {p for p, above in parents.items() if above in found and p != without} - found:
        found |= more
    return sorted(found)


def browser_processes(server: int) -> list[int]:
    """This process and all below it but the server: the driver and the browser it started."""
    return below(os.getpid(), without=server)


def begun(browser: Any, served: Served, number: int, *, same: bool) -> Any:
    """A page on a case of its own, with a test on the card."""
    page = browser.new_context(**DESK).new_page()
    page.set_default_timeout(LOST * 1000)
    opened(page, served, served.keep(one_case(0 if same else number)))
    return page


def one_case(number: int) -> Case:
    """A case on a car and in weather of its own."""
    visit = Visit(conditions=Conditions(air_temperature=5.0 + number % 40, hours_standing=9.0), date="2026-11-25")
    return Case(Car(Battery(500.0 + 10 * number)), (visit,), name=f"Car {number}")


def typed(page: Any, text: str) -> None:
    """Put a reading into the field without sending it."""
    choose(page, "Open-circuit (rest) voltage at the posts")
    page.fill(".st-key-entry input", text)


def one_round(pages: list[Any], text: str) -> list[tuple[float, float]]:
    """Send the reading on every page at once; seconds until each shows the new causes, and the whole new picture."""
    for page in pages:
        page.evaluate(WATCH, [f"Stored: Open-circuit (rest) voltage at the posts: {float(text):.2f} V", ENTER])
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
        before = worked_for(below(served.process)), worked_for(ours)
        rounds += one_round(pages, text)
        server += worked_for(below(served.process)) - before[0]
        browser += worked_for(ours) - before[1]
    told(name, rounds)
    entries = len(rounds)
    print(f"    processor time for an entry: server {server / entries:.2f} s, browser {browser / entries:.2f} s; "
          f"load average {os.getloadavg()[0]:.1f}", flush=True)  # fmt: skip


def answered(page: Any) -> bool:
    """Answer the test on the card as on a sound car, as a hand does it; False where no test is left."""
    if page.query_selector(".fn-test h2") is None:
        return False
    watched = f"Stored: {page.inner_text('.fn-test h2')}"
    sound = page.query_selector(".fn-test .sound")
    if page.query_selector(FIRST_ANSWER) is not None:
        page.evaluate(WATCH, [watched, None])
        page.click(FIRST_ANSWER, no_wait_after=True)
    elif sound is not None:
        page.fill(".st-key-entry input", sound.inner_text().split(" to ")[0].removeprefix("under "))
        page.evaluate(WATCH, [watched, None])
        page.press(".st-key-entry input", "Enter", no_wait_after=True)
    else:
        page.evaluate(WATCH, [watched, None])
        page.click(".st-key-not_skipped button", no_wait_after=True)
    return True


def took(page: Any) -> tuple[float, float] | None:
    """Seconds until the new causes and the whole picture of what was sent last; None while it is not drawn."""
    found = page.evaluate("[window.fnTook, window.fnWhole]")
    return None if found[1] is None else (found[0] / 1000, found[1] / 1000)


class Person:
    """Somebody at a page of their own, who thinks, answers, and looks at what comes of it."""

    def __init__(self, page: Any, begin_another: Any, due: float) -> None:
        self.page = page
        self._begin_another = begin_another
        self.due = due
        self.pressed: float | None = None

    def seen(self, now: float) -> tuple[float, float] | str | None:
        """What came of the last press: its times, "lost" when nothing did for long, None while it is waited for."""
        assert self.pressed is not None
        found = took(self.page)
        if found is None and now - self.pressed < LOST:
            return None
        self.pressed = None
        return found or "lost"

    def act(self) -> None:
        """Answer the test on the card, or begin with another car where none is left."""
        if answered(self.page):
            self.pressed = time.monotonic()
        else:
            self._begin_another(self.page)


def thinking(name: str, served: Served, people: list[Person], lasts: float) -> None:
    """Answer tests on every page with time to think in between, and print as :func:`measured` does."""
    from playwright.sync_api import Error

    draw = random.Random(1)
    begun = time.monotonic()
    for person in people:
        person.due = begun + draw.uniform(0.0, THOUGHT[1])
    rounds: list[tuple[float, float]] = []
    lost = failed = 0
    before = worked_for(below(served.process)), worked_for(browser_processes(served.process))
    now = begun
    while now - begun < lasts or (any(p.pressed for p in people) and now - begun < lasts + LOST):
        for person in people:
            now = time.monotonic()
            try:
                if person.pressed is not None:
                    found = person.seen(now)
                    if found is not None:
                        lost += found == "lost"
                        rounds += [found] if isinstance(found, tuple) else []
                        person.due = now + draw.uniform(*THOUGHT)
                elif now >= person.due and now - begun < lasts:
                    person.act()
            except Error as error:  # the hand did not find what it wanted to press
                failed += 1
                print(f"    {str(error).splitlines()[0]}", flush=True)
                person.pressed, person.due = None, now + draw.uniform(*THOUGHT)
        time.sleep(0.05)
        now = time.monotonic()
    spent = now - begun
    server = worked_for(below(served.process)) - before[0]
    browser = worked_for(browser_processes(served.process)) - before[1]
    lost += sum(p.pressed is not None for p in people)
    if rounds:
        told(name, rounds)
    each = max(len(rounds), 1)
    print(
        f"    {len(rounds)} entries in {spent:.0f} s, {lost} lost, {failed} not pressed; server "
        f"{memory(served.process):.0f} MB; processor time for an entry: server {server / each:.2f} s, "
        f"browser with this script {browser / each:.2f} s; load average {os.getloadavg()[0]:.1f}",
        flush=True,
    )


def run(sessions: int, *, same: bool, think: float | None) -> None:
    """Measure one page alone, then all together; with people who think for so many seconds, when given."""
    from playwright.sync_api import sync_playwright

    with serving() as served, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=chromium(), args=CHROMIUM_FLAGS)
        pages = [begun(browser, served, 0, same=same)]
        cars = itertools.count(sessions)

        def another(page: Any) -> None:
            opened(page, served, served.keep(one_case(0 if same else next(cars))))

        def measure(name: str) -> None:
            if think is None:
                measured(name, served, pages)
            else:
                lasts = think if len(pages) == sessions else min(think, ALONE)
                thinking(name, served, [Person(page, another, 0.0) for page in pages], lasts)

        measure("one session")
        first = memory(served.process)
        pages += [begun(browser, served, number, same=same) for number in range(1, sessions)]
        opened_all = memory(served.process)
        measure(f"{sessions} at once")
        after = memory(served.process)
        browser.close()
    print(f"memory: {first:.0f} MB with one session, {opened_all:.0f} MB with {sessions}, {after:.0f} MB after;")
    on = "all on one car" if same else "each on a car of its own"
    print(f"        {(after - first) / max(sessions - 1, 1):.1f} MB for each further session, {on}")


if __name__ == "__main__":
    words = sys.argv[1:]
    after = [word for word in words[words.index("think") + 1 :] if word.isdigit()] if "think" in words else []
    thought = None if "think" not in words else float(after[0]) if after else LASTS
    counts = [word for word in words[: words.index("think") if "think" in words else None] if word.isdigit()]
    run(int(counts[0]) if counts else 20, same="same" in words, think=thought)
