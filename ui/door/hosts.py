"""Which names this server goes by, and whether a request was meant for it and came from its own pages.

A page of another origin can make a browser send requests here, and a name of its own can be made to lead here (DNS
rebinding); a browser then says in `Host`, `Origin` or `Sec-Fetch-Site` where the request comes from. Programs that are
no browsers may leave the last two out, and need nothing of this to read what the user can read anyway.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

HERE = ("127.0.0.1", "localhost", "[::1]")
ORDINARY_PORT = 80  # browsers leave it out of Host and Origin


def host_names(port: int, shown: Iterable[str] = ()) -> frozenset[str]:
    """What may stand in `Host`.

    Parameters
    ----------
    port : int
    shown : iterable of str
        Addresses that the user was shown, besides those of this computer itself.

    Examples
    --------
    >>> "192.0.2.7:8501" in host_names(8501, ["192.0.2.7"]), "192.0.2.7:80" in host_names(8501, ["192.0.2.7"])
    (True, False)
    """
    names = {*HERE, *(name.lower() for name in shown)}
    found = {f"{name}:{port}" for name in names}
    return frozenset(found | names if port == ORDINARY_PORT else found)


def values(scope: Mapping[str, Any], name: str) -> list[str]:
    """Every value of a header of a request, as it was sent."""
    return [value.decode("latin-1") for key, value in scope["headers"] if key == name.encode()]


def refusal(scope: Mapping[str, Any], hosts: Collection[str]) -> str | None:
    """Why a request is not answered; None when it may be.

    Parameters
    ----------
    scope : mapping
        Of a request or a websocket handshake, as ASGI hands it on.
    hosts : collection of str
        From :func:`host_names`.
    """
    host = values(scope, "host")
    if len(host) != 1 or host[0].lower() not in hosts:
        return "This server goes by another name."
    origins = {f"http://{name}" for name in hosts}
    if any(origin.lower() not in origins for origin in values(scope, "origin")):
        return "Other pages may not ask this server."
    if any(site in ("cross-site", "same-site") for site in values(scope, "sec-fetch-site")) and not _opened(scope):
        return "Other pages may link to this server, and nothing else."
    return None


def _opened(scope: Mapping[str, Any]) -> bool:
    """Whether a person followed a link: the page fills a tab of its own, and is not shown inside another."""
    return scope.get("method") == "GET" and values(scope, "sec-fetch-dest") == ["document"]
