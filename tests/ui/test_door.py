"""The door around the server: whom it answers, what an answer carries, and that the server asks nobody outside."""

from __future__ import annotations

import asyncio
import http.client
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlencode, urlsplit

import pytest
from websockets.exceptions import ConnectionClosed
from websockets.sync.client import connect

from tests.bench.sessions import memory
from tests.ui.conftest import Served, a_case
from tests.ui.hands import go, opened
from tests.ui.server import serve_module, serving

PASSPHRASE = "Café Au Lait"
FORM = ("Content-Type", "application/x-www-form-urlencoded")
UPGRADE = (
    ("Connection", "Upgrade"), ("Upgrade", "websocket"), ("Sec-WebSocket-Version", "13"),
    ("Sec-WebSocket-Key", "AAAAAAAAAAAAAAAAAAAAAA=="),
)  # fmt: skip
WATCHING = """
import os, sys

def seen(event, told):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        place = told[1]
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        place = told[0]
    else:
        return
    with open(os.environ["SOCKETS_SEEN"], "a") as file:
        file.write(f"{event} {place!r}\\n")

sys.addaudithook(seen)
"""
PORT = "PORT"  # stands for the server's own
FOREIGN_HOSTS = (
    (), ("rebound.example:PORT",), ("127.0.0.1.nip.example:PORT",), ("localhost.example:PORT",), ("192.0.2.9:PORT",),
    ("127.0.0.1",), ("127.0.0.1:1",), ("0.0.0.0:PORT",), ("127.0.0.1:PORT, rebound.example",),
    ("user@127.0.0.1:PORT",), ("127.0.0.1:PORT\\@rebound.example",),
)  # fmt: skip
FOREIGN_ORIGINS = (
    "http://rebound.example", "http://rebound.example:PORT", "http://127.0.0.1", "http://127.0.0.1:1", "null",
    "https://127.0.0.1:PORT", "file://", "http://192.0.2.9:PORT", "http://127.0.0.1:PORT.rebound.example",
)  # fmt: skip
OWN = ("127.0.0.1:PORT", "localhost:PORT", "[::1]:PORT", "LOCALHOST:PORT")


@pytest.fixture(scope="module")
def sockets(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the server under test writes down whom it looks up, and to whom it connects or sends."""
    folder = tmp_path_factory.mktemp("watching")
    (folder / "sitecustomize.py").write_text(WATCHING)
    return folder / "seen.txt"


@pytest.fixture(scope="module")
def served(built: Path, sockets: Path) -> Iterator[Served]:
    more = {"PYTHONPATH": str(sockets.parent), "SOCKETS_SEEN": str(sockets)}
    with serving(built, more=more) as found:
        yield found


@pytest.fixture(scope="module")
def shared(built: Path) -> Iterator[Served]:
    with serving(built, share=True, more={"FAULTNET_PASSPHRASE": PASSPHRASE}) as found:
        yield found


def asked(
    served: Served, headers: Any = (), *, hosts: tuple[str, ...] | None = None, body: bytes | None = None,
    path: str = "/_stcore/health", method: str = "GET",
) -> tuple[int, dict[str, str], bytes]:  # fmt: skip
    """Status, headers and body of an answer; the request has just the headers given."""
    own = urlsplit(served.address)
    connection = http.client.HTTPConnection(str(own.hostname), own.port or 0, timeout=30)
    connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
    for host in (own.netloc,) if hosts is None else hosts:
        connection.putheader("Host", host.replace(PORT, str(own.port)))
    for name, value in headers:
        connection.putheader(name, value.replace(PORT, str(own.port)))
    if body is not None:
        connection.putheader("Content-Length", str(len(body)))
    connection.endheaders(body)
    answer = connection.getresponse()
    found = (
        answer.status,
        {k.lower(): v for k, v in answer.getheaders()},
        b"" if answer.status == 101 else answer.read(),
    )
    connection.close()
    return found


def shaken(served: Served, headers: Any = (), **given: Any) -> int:
    """Status of a websocket handshake: 101 when it was taken."""
    return asked(served, (*UPGRADE, *headers), path="/_stcore/stream", **given)[0]


@pytest.mark.parametrize("hosts", FOREIGN_HOSTS)
def test_a_request_for_another_name_is_refused(served: Served, hosts: tuple[str, ...]) -> None:
    assert asked(served, hosts=hosts)[0] in (400, 403)
    assert shaken(served, hosts=hosts) in (400, 403)


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
def test_a_page_of_another_origin_is_refused(served: Served, origin: str) -> None:
    assert asked(served, [("Origin", origin)])[0] == 403
    assert shaken(served, [("Origin", origin)]) == 403


@pytest.mark.parametrize("host", OWN)
def test_the_names_of_this_computer_are_answered(served: Served, host: str) -> None:
    origin = ("Origin", f"http://{host}")
    assert asked(served, [origin], hosts=(host,))[0] == 200
    assert shaken(served, [origin], hosts=(host,)) == 101


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_pages_may_link_here_and_nothing_else(served: Served, site: str) -> None:
    for kind, status in (("document", 200), ("iframe", 403), ("image", 403), ("script", 403), ("empty", 403)):
        assert asked(served, [("Sec-Fetch-Site", site), ("Sec-Fetch-Dest", kind)], path="/")[0] == status, kind
    assert asked(served, [("Sec-Fetch-Site", site), ("Sec-Fetch-Dest", "document")], method="POST")[0] == 403
    assert asked(served, [("Sec-Fetch-Site", "same-origin"), ("Sec-Fetch-Dest", "script")])[0] == 200


def test_answers_forbid_framing_sniffing_and_what_the_pages_do_not_need(served: Served) -> None:
    for path in ("/", "/why", "/_stcore/health", "/static/none.js"):
        headers = asked(served, path=path)[1]
        rules = dict(rule.split(" ", 1) for rule in headers["content-security-policy"].split("; "))
        assert rules["frame-ancestors"] == rules["default-src"] == "'self'"
        assert rules["object-src"] == "'none'"
        assert "'unsafe-inline'" not in rules["script-src"]
        assert "'unsafe-eval'" not in rules["script-src"]
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["x-frame-options"] == "SAMEORIGIN"


@pytest.mark.browser
def test_the_pages_work_under_the_policy(served: Served, browser: Any) -> None:
    """Every page is drawn, the cursor is put into the field, and a sheet prints, without one breach of the policy."""
    page = browser.new_context().new_page()
    page.set_default_timeout(30_000)
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.add_init_script(
        "document.addEventListener('securitypolicyviolation', e => console.log('BREACH', e.violatedDirective, "
        "e.blockedURI, e.sample))"
    )
    opened(page, served, served.keep(a_case()))
    assert page.get_attribute(".st-key-entry input", "inputmode") == "decimal"
    for link in ("Why", "Entries", "Car", "Log", "Paper"):
        go(page, link)
    sheet = page.frames[1]
    sheet.wait_for_selector("h1")
    sheet.evaluate("window.print = () => { window.printed = true; }")
    sheet.click("button.print")
    assert sheet.evaluate("window.printed")
    for link in ("Cases", "History"):
        go(page, link)
    page.context.close()
    assert [line for line in said if "BREACH" in line or "Content Security Policy" in line] == []


def test_no_socket_leaves_this_computer(served: Served, sockets: Path) -> None:
    """Whatever the tests above made the server do; a handshake from a foreign page made it ask an outside host."""
    for origin in FOREIGN_ORIGINS:
        shaken(served, [("Origin", origin)])
    assert shaken(served, [("Origin", served.address)]) == 101
    seen = sockets.read_text().splitlines() if sockets.exists() else []
    assert any("127.0.0.1" in line for line in seen)  # the server looks whether it listens: the watch is awake
    loopback = ("('127.", "'127.0.0.1'", "'localhost'", "('::1'", "b'127.", "'/")  # a path is a socket of this computer
    assert [line for line in seen if not line.split(" ", 1)[1].startswith(loopback)] == []


def come_in(shared: Served, words: str) -> tuple[int, str]:
    """Status after giving a passphrase, and the cookie."""
    body = urlencode({"passphrase": words}).encode()
    status, headers, _ = asked(shared, [FORM], path="/why?case=abc", method="POST", body=body)
    if status == 303:
        assert headers["location"] == "/why?case=abc"
    return status, headers.get("set-cookie", "").split(";")[0]


def test_nothing_is_reached_or_uploaded_before_the_passphrase(shared: Served) -> None:
    assert shaken(shared, [("Origin", shared.address)]) == 403
    for path in ("/", "/_stcore/health", "/_stcore/host-config", "/static/js/index.js", "/media/x", "/why"):
        status, _, body = asked(shared, path=path)
        assert (status, b"Passphrase" in body) == (403, True), path
    upload = asked(shared, path="/_stcore/upload_file/any/file", method="PUT", body=b"x" * 4000)
    assert (upload[0], b"Passphrase" in upload[2]) == (403, True)


def test_what_a_stranger_sends_is_not_held(shared: Served) -> None:
    """Hundreds of megabytes were, and stayed; now the line is cut long before."""
    own, before = urlsplit(shared.address), memory(shared.process)
    for method, path, kind in (("PUT", "/_stcore/upload_file/any/file", "any/kind"), ("POST", "/", FORM[1])):
        for length in (("Content-Length", "200000000"), ("Transfer-Encoding", "chunked")):
            sent = 0
            connection = http.client.HTTPConnection(str(own.hostname), own.port or 0, timeout=30)
            connection.putrequest(method, path)
            connection.putheader("Content-Type", kind)
            connection.putheader(*length)
            connection.endheaders()
            with suppress(OSError):
                for _ in range(200):
                    chunked = length[1] == "chunked"
                    connection.send(b"f4240\r\n" + b"x" * 1_000_000 + b"\r\n" if chunked else b"x" * 1_000_000)
                    sent += 1
            connection.close()
            assert sent < 100, (method, length)
            assert memory(shared.process) - before < 50, (method, length)


def test_a_passphrase_of_ones_own_with_capitals_and_accents(shared: Served) -> None:
    for wrong in ("é", "café au lait", "", "Café Au Lai", "\ud800".encode("utf-8", "replace").decode()):
        assert come_in(shared, wrong)[0] == 403
    status, cookie = come_in(shared, " Café  Au Lait ")
    assert status == 303
    assert asked(shared, [("Cookie", f"other=1; {cookie}")])[0] == 200
    assert asked(shared, [("Cookie", cookie[:-1])])[0] == 403
    assert asked(shared, [("Cookie", f"{cookie.split('=')[0]}=é")])[0] in (403, 429)


def _to_the_end(open_page: Any) -> None:
    while True:
        open_page.recv(timeout=20)


def test_a_login_is_ended_in_the_terminal(shared: Served) -> None:
    _, cookie = come_in(shared, PASSPHRASE)
    _, other = come_in(shared, PASSPHRASE)
    assert cookie != other
    headers = {"Cookie": cookie, "Origin": shared.address}
    with connect(f"ws{shared.address[4:]}/_stcore/stream", additional_headers=headers, proxy=None) as open_page:
        shared.terminal.write(b"who\nend all\n")
        shared.terminal.flush()
        with pytest.raises(ConnectionClosed) as closed:
            _to_the_end(open_page)
        assert closed.value.rcvd is not None
        assert closed.value.rcvd.code == 4403
    assert asked(shared, [("Cookie", cookie)])[0] == 403
    assert shaken(shared, [("Cookie", cookie), ("Origin", shared.address)]) == 403
    assert come_in(shared, PASSPHRASE)[0] == 303


def in_a_loop(work: Callable[[], Coroutine[Any, Any, Any]]) -> Any:
    """Run something in a loop of its own; the browser's driver has one running in this thread."""
    with ThreadPoolExecutor(1) as other:
        return other.submit(lambda: asyncio.run(work())).result(timeout=60)


class Waits(list[float]):
    """A clock that only moves while somebody waits, and how long each wait was."""

    def now(self) -> float:
        return 100.0 + sum(self)

    async def sleep(self, seconds: float) -> None:
        self.append(round(seconds, 6))

    def pace(self) -> Any:
        from door.pace import Pace

        return Pace(self.now, self.sleep)


def test_guesses_wait_for_one_another_wherever_they_come_from() -> None:
    from door.pace import EASY, LONG_PAUSE, PAUSE

    waits = Waits()

    async def guessed() -> None:
        pace = waits.pace()
        for number in range(EASY + 5):
            assert await pace.turn(f"192.0.2.{number}")
        pace.right()
        assert await pace.turn("192.0.2.1")

    in_a_loop(guessed)
    assert waits == [0.0, *[PAUSE] * (EASY - 1), *[LONG_PAUSE] * 5, 0.0]


def test_one_address_waits_with_one_guess_and_few_wait_at_all() -> None:
    from door.pace import MOST_WAITING, Pace

    async def guessed() -> list[bool]:
        pace = Pace()
        await pace._turn.acquire()
        first = [asyncio.ensure_future(pace.turn(f"192.0.2.{k}")) for k in range(MOST_WAITING)]
        await asyncio.sleep(0)
        refused = [await pace.turn("192.0.2.0"), await pace.turn("198.51.100.1")]
        for waiting in first:
            waiting.cancel()
        await asyncio.gather(*first, return_exceptions=True)
        pace._turn.release()
        return [*refused, await pace.turn("192.0.2.0")]

    assert in_a_loop(guessed) == [False, False, True]


def test_cookies_are_guessed_no_faster() -> None:
    from door.gate import Gate
    from door.logins import Logins

    answers: list[Any] = []
    waits = Waits()

    async def send(message: Any) -> None:
        answers.append(message)

    async def guessed() -> None:
        gate = Gate(Logins(PASSPHRASE), "faultnet_1", waits.pace)
        for number in range(3):
            scope = {"type": "http", "method": "GET", "client": (f"192.0.2.{number}", 1), "query_string": b"",
                     "headers": [(b"cookie", b"faultnet_1=guess%d" % number)]}  # fmt: skip
            assert await gate.admitted(scope, _nothing, send) is None

    in_a_loop(guessed)
    assert waits == [0.0, 1.0, 1.0]
    assert [m["status"] for m in answers if m["type"] == "http.response.start"] == [403] * 3


async def _nothing() -> dict[str, Any]:
    return {"type": "http.request", "body": b""}


def test_a_cookie_is_worth_nothing_elsewhere_and_says_nothing_of_the_passphrase() -> None:
    from door.logins import Logins

    one, other = Logins(PASSPHRASE), Logins(PASSPHRASE)
    cookie, second = one.begin("192.0.2.1", "phone"), one.begin("192.0.2.1", "phone")
    assert cookie != second
    assert one.of(cookie) is not None
    assert other.of(cookie) is None
    assert one._as_given != other._as_given
    assert one.end(1) == 1
    assert one.of(cookie) is None
    assert one.of(second) is not None
    assert [login.number for login in one.listed()] == [2]


def test_a_drawn_passphrase_may_be_typed_with_a_capital() -> None:
    from door.logins import Logins

    drawn = Logins("anchor maple quartz river wren")
    assert drawn.is_passphrase(" Anchor maple  quartz river wren")
    assert not drawn.is_passphrase("anchor maple quartz river")
    assert not Logins("Anchor Maple").is_passphrase("anchor maple")


@pytest.mark.parametrize("blanks", ["", "   ", "\u3000" * 9, "\t\n"])
def test_blanks_are_no_passphrase(monkeypatch: pytest.MonkeyPatch, blanks: str) -> None:
    """They were taken for one, and an empty field let anybody in."""
    from door.logins import Logins

    monkeypatch.setenv("FAULTNET_PASSPHRASE", blanks)
    module = serve_module()
    assert module.own_passphrase() == ""  # one is drawn
    assert module.short_passphrase() is None
    assert not Logins(blanks).is_passphrase("")
    assert not Logins(blanks).is_passphrase(blanks)


@pytest.mark.parametrize("short", ["é", "  abc    def  ", "e\u0301" * 7, "1234567"])
def test_a_passphrase_of_ones_own_that_is_short_is_refused(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], short: str
) -> None:
    monkeypatch.setenv("FAULTNET_PASSPHRASE", short)
    assert serve_module().launch(None, 0, True, False) == 2
    said = capsys.readouterr().err
    assert "FAULTNET_PASSPHRASE is too short" in said
    assert short.strip() not in said


def test_only_so_many_are_logged_in() -> None:
    from door.logins import MOST_LOGINS, Logins

    logins = Logins(PASSPHRASE)
    first = logins.begin("192.0.2.1", "phone")
    login = logins.of(first)
    for _ in range(MOST_LOGINS):
        logins.begin("192.0.2.1", "phone")
    assert login is not None
    assert login.ended.is_set()
    assert logins.of(first) is None
    assert len(logins.listed()) == MOST_LOGINS
