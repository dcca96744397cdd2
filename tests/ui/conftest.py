"""The front end under test: its folder on the path, a store and settings of its own, and a real server and browser."""

from __future__ import annotations

import sqlite3
import sys
from collections import OrderedDict
from collections.abc import Callable, Generator, Iterator
from contextlib import ExitStack, closing
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from streamlit.components.v2.manifest_scanner import scan_component_manifests as SCAN

from faultnet.case.types import Battery, Car, Case, Conditions, Visit
from tests.bench.sessions import memory_of_its_own
from tests.ui.server import CHROMIUM_FLAGS, DESK, PHONE, UI, Served, chromium, serve_module, serving

# Playwright's own runner tries a test anew for the same reason: a browser on a busy machine may draw a list or a field
# once more under a hand. Only a wait that ran out counts, never a wrong value, and the summary names each.
SECOND_TRY = pytest.mark.flaky(reruns=1, only_rerun="TimeoutError: ")
FAILED = pytest.StashKey[bool]()
MOST_PROFILES = 4  # browsers at once, one for each kind of screen
MOST_MEMORY = 2000.0  # [MB] of a server with its processes, from which on the next file gets a new one
__all__ = ["UI", "Served", "a_case", "serve_module"]
if str(UI) not in sys.path:
    sys.path.insert(0, str(UI))


def a_case(**changes: Any) -> Case:
    """A plain case without entries."""
    visit = Visit(conditions=Conditions(air_temperature=15.0, hours_standing=10.0), date="2026-11-25")
    given: dict[str, Any] = {"car": Car(Battery(600.0)), "visits": (visit,), "name": "Test car", "complaint": "slow"}
    return Case(**{**given, **changes})


@pytest.fixture(scope="session")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the servers keep built networks during the tests."""
    return tmp_path_factory.mktemp("networks")


@cache
def _installed_components() -> list[Any]:
    """What the pages' library looks up in all installed packages for each page it runs: once is enough."""
    return SCAN()


@pytest.fixture
def workplace(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A store and settings of its own, for a test that runs the pages in this process.

    A page run here leaves itself behind as the main module, which a process that a later test spawns would run again.
    """
    main = sys.modules["__main__"]
    monkeypatch.setenv("FAULTNET_STORE", str(tmp_path / "cases.sqlite"))
    monkeypatch.setenv("FAULTNET_SETTINGS", str(tmp_path / "settings.json"))
    monkeypatch.setenv("FAULTNET_PRIORS", str(tmp_path / "priors"))
    monkeypatch.setenv("FAULTNET_PRACTICE", str(tmp_path / "practice"))
    monkeypatch.delenv("FAULTNET_PASSPHRASE", raising=False)
    monkeypatch.delenv("FAULTNET_OPEN_CASE", raising=False)
    monkeypatch.setattr("streamlit.components.v2.manifest_scanner.scan_component_manifests", _installed_components)
    yield tmp_path
    sys.modules["__main__"] = main
    from workbench import state

    state.close_stores()


@pytest.fixture(scope="session")
def servers(built: Path) -> Iterator[Callable[[], Served]]:
    """Gives the real server, started as the launcher does it: the one that runs, unless it has grown too large."""
    with ExitStack() as running:
        found: list[Served] = []

        def current() -> Served:
            if found and memory_of_its_own(found[-1].process) > MOST_MEMORY:
                running.close()
                found.clear()
            if not found:
                found.append(running.enter_context(serving(built)))
            return found[-1]

        yield current


@pytest.fixture(scope="module")
def served(servers: Callable[[], Served]) -> Served:
    """The real server on a free port, for all files that ask for none of their own; settings are as they come."""
    found = servers()
    Path(found.settings).unlink(missing_ok=True)
    return found


@pytest.fixture(scope="session")
def driver() -> Iterator[Any]:
    """What starts browsers and drives them."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        yield playwright


@pytest.fixture(scope="session")
def chosen_browser() -> str:
    """The path of a real browser; a test that needs it fails where there is none."""
    path = chromium()
    if path is None:
        pytest.fail("no Chromium found: install the system's package 'chromium'; these tests do not run without it")
    return path


@pytest.fixture(scope="session")
def browser(driver: Any, chosen_browser: str) -> Iterator[Any]:
    """A real headless browser, in which every context begins with nothing."""
    found = driver.chromium.launch(executable_path=chosen_browser, args=CHROMIUM_FLAGS)
    yield found
    found.close()


@pytest.fixture(scope="session")
def profiles(
    driver: Any, chosen_browser: str, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Callable[[dict[str, Any]], Any]]:
    """Gives a browser with a profile for a kind of screen, which keeps the pages' scripts compiled between tests.

    A page opens there for two thirds of the processor time that it takes in one that begins with nothing.
    """
    kept: OrderedDict[str, Any] = OrderedDict()

    def profile(kind: dict[str, Any]) -> Any:
        name = repr(sorted(kind.items()))
        if name not in kept:
            folder = str(tmp_path_factory.mktemp("profile"))
            kept[name] = driver.chromium.launch_persistent_context(
                folder, executable_path=chosen_browser, args=CHROMIUM_FLAGS, **kind
            )
        kept.move_to_end(name)
        if len(kept) > MOST_PROFILES:
            kept.popitem(last=False)[1].close()
        return kept[name]

    yield profile
    for context in kept.values():
        context.close()


def _as_new(context: Any, address: str) -> None:
    """Leave a profile without pages and without what they stored."""
    blank, *pages = context.pages
    for page in pages:
        page.close()
    context.clear_cookies()
    session = context.new_cdp_session(blank)
    session.send("Storage.clearDataForOrigin", {"origin": address, "storageTypes": "local_storage,indexeddb"})
    session.detach()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A second try for what runs in a browser."""
    for item in items:
        if item.get_closest_marker("browser"):
            item.add_marker(SECOND_TRY)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item) -> Generator[None, pytest.TestReport, pytest.TestReport]:
    """Leave a test's outcome with it, for fixtures that say more of one that failed."""
    report = yield
    if report.when == "call":
        item.stash[FAILED] = report.failed
    return report


@pytest.fixture
def screen(
    browser: Any, profiles: Callable[[dict[str, Any]], Any], served: Served, request: pytest.FixtureRequest
) -> Iterator[Callable[..., Any]]:
    """Opens pages on a phone or a desktop, and fails afterwards if anything but this computer was asked.

    A second page of the same kind is another device: it begins with nothing. So does one that is `alone`, as a test
    must ask for that leaves a clock of its own behind.
    """
    contexts, outside = [], []
    lent: list[Any] = []

    def heard(request: Any) -> None:
        if _outside(request.url):
            outside.append(request.url)

    def opened(
        kind: str = "phone",
        viewport: Any = None,
        color_scheme: str | None = None,
        alone: bool = False,
        **changes: Any,
    ) -> Any:
        wanted = {**(PHONE if kind == "phone" else DESK), **changes}
        context = None if alone else profiles(wanted)
        if context is None or context in lent:
            context = browser.new_context(**wanted)
            contexts.append(context)
        else:
            lent.append(context)
        context.on("request", heard)
        context.set_default_timeout(30_000)
        page = context.new_page()
        if viewport is not None:  # size and colours are the page's: a profile for each would begin without scripts
            page.set_viewport_size(viewport)
        if color_scheme is not None:
            page.emulate_media(color_scheme=color_scheme)
        return page

    yield opened
    if request.node.stash.get(FAILED, False):
        _tell(contexts + lent, served)
    for context in contexts:
        context.close()
    for context in lent:
        _as_new(context, served.address)
        context.remove_listener("request", heard)
    assert outside == []


def _tell(contexts: list[Any], served: Served) -> None:
    """Print what stood on the screens, what was typed and kept, and the server's last words, for the report."""
    for page in (page for context in contexts for page in context.pages):
        print(f"--- {page.url}\n{page.locator('body').inner_text()[:2000]}")
    with closing(sqlite3.connect(served.place)) as kept:
        print("--- drafts", kept.execute("SELECT place, changed_at, length(fields) FROM drafts").fetchall())
    print("--- server", (Path(served.place).parent / "log.txt").read_text()[-2000:])


def _outside(url: str) -> bool:
    return not url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:", "about:"))
