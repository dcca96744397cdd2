"""The gate of a shared front end: nothing behind it is reached, uploaded or begun without the passphrase."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from door import asking
from door.answers import Message, Receive, Scope, Send, answer, close
from door.hosts import values
from door.logins import Login, Logins
from door.pace import Pace

ENDED = 4403  # a close code of our own: the login was ended


class Gate:
    """Lets requests through that carry the cookie of a login, and asks all others for the passphrase.

    Parameters
    ----------
    logins : Logins
    cookie : str
        Its name; servers on several ports of one computer share their cookies.
    pace : callable
        Makes what slows guesses down.
    """

    def __init__(self, logins: Logins, cookie: str, pace: Callable[[], Pace] = Pace) -> None:
        self.logins = logins
        self._cookie = cookie
        self._pace, self._cookie_pace = pace(), pace()  # pages left open try an old cookie again and again

    async def admitted(self, scope: Scope, receive: Receive, send: Send) -> Login | None:
        """The login a request belongs to; without one the request is answered here, and None given."""
        shown = _cookie(scope, self._cookie)
        login = None if shown is None else self.logins.of(shown)
        if login is not None:
            return login
        if shown is not None and not await self._cookie_pace.turn(_address(scope)):
            await self._ask(scope, receive, send, 429, asking.BUSY)
        elif scope["type"] == "http" and scope["method"] == "POST" and shown is None and _is_form(scope):
            await self._try(scope, receive, send)
        else:
            await self._ask(scope, receive, send, 403)
        return None

    async def _try(self, scope: Scope, receive: Receive, send: Send) -> None:
        body = await _body(receive)
        if body is None or not await self._pace.turn(_address(scope)):
            await self._ask(scope, receive, send, 429, asking.BUSY)
        elif not self.logins.is_passphrase(asking.given_in(body)):
            await self._ask(scope, receive, send, 403, asking.WRONG)
        else:
            self._pace.right()
            kept = self.logins.begin(_address(scope), _device(scope))
            query = scope["query_string"].decode("latin-1")
            here = "/" + scope["raw_path"].decode("latin-1").lstrip("/\\") + (f"?{query}" if query else "")
            await answer(send, 303, b"", {"location": here, "set-cookie": self._set(kept)})

    async def _ask(self, scope: Scope, receive: Receive, send: Send, status: int, said: str = "") -> None:
        """Show the page that asks; a cookie that is worth nothing is taken back, so that it is not tried again."""
        if scope["type"] == "websocket":
            await close(receive, send)
            return
        headers = {"content-type": "text/html; charset=utf-8", "cache-control": "no-store", "connection": "close"}
        if _cookie(scope, self._cookie) is not None:
            headers["set-cookie"] = self._set("", "; Max-Age=0")
        await answer(send, status, asking.page(said), headers)

    def _set(self, value: str, more: str = "") -> str:
        return f"{self._cookie}={value}; Path=/; HttpOnly; SameSite=Strict{more}"


def until_ended(login: Login, receive: Receive) -> Receive:
    """What a websocket of a login receives: the browser's messages, and that it has gone once the login is ended."""

    async def received() -> Message:
        message, ended = asyncio.ensure_future(receive()), asyncio.ensure_future(login.ended.wait())
        try:
            await asyncio.wait((message, ended), return_when=asyncio.FIRST_COMPLETED)
            if not login.ended.is_set():
                return await message
            return {"type": "websocket.disconnect", "code": ENDED}
        finally:
            message.cancel()
            ended.cancel()

    return received


async def _body(receive: Receive) -> bytes | None:
    """A short body of a request; None when it is long or breaks off."""
    body = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if message["type"] != "http.request" or len(body) > asking.MOST_BYTES:
            return None
        if not message.get("more_body"):
            return body


def _is_form(scope: Scope) -> bool:
    return values(scope, "content-type") == ["application/x-www-form-urlencoded"]


def _cookie(scope: Scope, name: str) -> str | None:
    """A cookie by its name; None where there is none."""
    for text in values(scope, "cookie"):
        for part in text.split(";"):
            key, _, value = part.strip().partition("=")
            if key == name:
                return value
    return None


def _address(scope: Scope) -> str:
    return str((scope.get("client") or ("unknown",))[0])


def _device(scope: Scope) -> str:
    return "phone" if any("Mobile" in agent for agent in values(scope, "user-agent")) else "computer"
