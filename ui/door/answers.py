"""Answers given at the door, before the server library hears of a request."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, MutableMapping
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
BROKEN_RULE = 1008  # a websocket's close code; before the handshake is taken it becomes status 403


async def answer(send: Send, status: int, body: bytes, headers: Mapping[str, str]) -> None:
    """Answer a request whole."""
    told = {**headers, "content-length": str(len(body))}
    pairs = [(name.encode("latin-1"), value.encode("latin-1")) for name, value in told.items()]
    await send({"type": "http.response.start", "status": status, "headers": pairs})
    await send({"type": "http.response.body", "body": body})


async def close(receive: Receive, send: Send) -> None:
    """Turn a websocket handshake away."""
    await receive()
    await send({"type": "websocket.close", "code": BROKEN_RULE})
