"""The clock of the script that measures many sessions: it counts the whole picture, and it ends."""

from __future__ import annotations

import os
import subprocess
import sys
from types import SimpleNamespace
from typing import Any

import pytest

from tests.bench import sessions

PAGE = """
<div data-test-script-state="notRunning"></div><p class="fn-said"></p><p id="late"></p>
<button onclick="press()">Press</button>
<script>
const app = document.querySelector('[data-test-script-state]');
function press() {
  window.pressed = performance.now();
  setTimeout(() => { app.dataset.testScriptState = 'running'; }, 20);
  setTimeout(() => { document.querySelector('.fn-said').textContent = 'Stored: one'; }, 60);
  setTimeout(() => { app.dataset.testScriptState = 'notRunning'; }, 100);
  setTimeout(() => {
    document.querySelector('#late').textContent = 'a picture';
    window.late = performance.now();
  }, 300);
}
</script>
"""


@pytest.mark.browser
def test_a_picture_that_comes_late_is_counted(browser: Any) -> None:
    page = browser.new_context().new_page()
    page.set_content(PAGE)
    page.evaluate(sessions.WATCH, ["Stored: one", None])
    page.wait_for_timeout(100)  # a hand needs time to get there, which is not counted
    page.click("button", no_wait_after=True)
    page.wait_for_function("() => window.fnWhole !== null")
    took, whole, late = page.evaluate("[fnTook, fnWhole, late - fnBegun]")
    assert took < whole
    assert whole >= late
    assert page.evaluate("fnBegun <= pressed")
    page.context.close()


def test_a_page_that_never_answers_is_counted_as_lost(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sessions, "LOST", 0.2)
    monkeypatch.setattr(sessions, "THOUGHT", (0.0, 0.0))
    page = SimpleNamespace(evaluate=lambda *_: [None, None], query_selector=lambda *_: object(),
                           inner_text=lambda *_: "a test", click=lambda *_, **__: None)  # fmt: skip
    person = sessions.Person(page, lambda _: None, 0.0)
    sessions.thinking("nobody", SimpleNamespace(process=os.getpid()), [person], 0.5)  # type: ignore[arg-type]
    told = capsys.readouterr().out
    assert " 0 entries" in told
    assert " 0 lost" not in told


def test_a_process_that_has_ended_since_it_was_listed_counts_nothing() -> None:
    ended = subprocess.Popen([sys.executable, "-c", ""])
    ended.wait()
    assert sessions.worked_for([ended.pid]) == 0.0
    assert sessions.worked_for([ended.pid, os.getpid()]) > 0.0
