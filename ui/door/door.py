"""The door: put around the server library's application, it turns away what was not meant for these pages."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Collection, Iterable

from door.answers import App, Message, Receive, Scope, Send, answer, close
from door.gate import ENDED, Gate, until_ended
from door.headers import Headers
from door.hosts import refusal, values

HELP = "who: lists who is logged in; end 2: ends the second login; end all: ends all\n"


class Door:
    """An application around another one.

    Parameters
    ----------
    app : callable
        The application, as ASGI wants it.
    hosts : collection of str
        What may stand in `Host`, from :func:`door.hosts.host_names`.
    headers : Headers
    gate : Gate, optional
        Where the front end is shared.
    """

    def __init__(self, app: App, hosts: Collection[str], headers: Headers, gate: Gate | None = None) -> None:
        self._app = app
        self._hosts = hosts
        self._headers = headers
        self._gate = gate
        self._loop: asyncio.AbstractEventLoop | None = None

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        self._loop = asyncio.get_running_loop()
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        why = refusal(scope, self._hosts)
        if why is not None:
            await _turned_away(why, scope, receive, send)
            return
        send = self._with_headers(scope, send)
        if self._gate is None:
            await self._app(scope, receive, send)
            return
        login = await self._gate.admitted(scope, receive, send)
        if login is None:
            return
        if scope["type"] != "websocket":
            await self._app(scope, receive, send)
            return
        await self._app(scope, until_ended(login, receive), send)
        if login.ended.is_set():
            await send({"type": "websocket.close", "code": ENDED})

    def _with_headers(self, scope: Scope, send: Send) -> Send:
        """Add our headers to an answer, instead of those of the same name."""
        if scope["type"] != "http":
            return send
        ours = self._headers.of(values(scope, "host")[0].lower())
        names = {name for name, _ in ours}

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = [pair for pair in message.get("headers", ()) if pair[0].lower() not in names]
                message = {**message, "headers": [*kept, *ours]}
            await send(message)

        return sent

    def obey(self, lines: Iterable[str]) -> None:
        """Do what is typed in the terminal, line by line, while the front end is shared."""
        for line in lines:
            print(self._obeyed(line.split()), end="", flush=True)

    def _obeyed(self, words: list[str]) -> str:
        if self._gate is None or self._loop is None or not words:
            return ""
        logins = self._gate.logins
        if words == ["who"]:
            return "".join(f"{login}\n" for login in logins.listed()) or "Nobody is logged in.\n"
        if len(words) == 2 and words[0] == "end" and (words[1] == "all" or words[1].isdecimal()):
            number = None if words[1] == "all" else int(words[1])
            ended = self._in_the_loop(number)
            return f"{ended} ended. Whoever knows the passphrase can log in again.\n" if ended else "There is none.\n"
        return HELP

    def _in_the_loop(self, number: int | None) -> int:
        """End logins where the requests are answered, as nothing of theirs may be touched from another thread."""
        assert self._gate is not None
        assert self._loop is not None
        logins, done, ended = self._gate.logins, threading.Event(), []

        def end() -> None:
            ended.append(logins.end(number))
            done.set()

        self._loop.call_soon_threadsafe(end)
        return ended[0] if done.wait(10.0) else 0


async def _turned_away(why: str, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await close(receive, send)
        return
    headers = {"content-type": "text/plain; charset=utf-8", "connection": "close", "x-content-type-options": "nosniff"}
    await answer(send, 403, f"{why}\n".encode(), headers)
