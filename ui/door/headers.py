"""What every answer carries: what the pages may load and run, and who may show them.

No script runs but the server library's own files and the few written out below, which are named by their hash: a script
that gets into a page with somebody's words is not run. No page can reach another host, not even for a picture.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterable
from pathlib import Path

from workbench.scripts import SCRIPTS

PRINT = "window.print()"  # the button on a sheet, see faultnet.report.page


def script_hash(text: str) -> str:
    """A script as a content security policy names it."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def scripts_within(page: Path) -> list[str]:
    """The scripts written out in an HTML file."""
    return re.findall(r"<script>(.*?)</script>", page.read_text(encoding="utf-8"), re.DOTALL)


def policy(host: str, scripts: Iterable[str]) -> str:
    """The content security policy of the pages.

    Parameters
    ----------
    host : str
        The name and port the browser knows this server by; some browsers do not take a websocket for the same origin.
    scripts : iterable of str
        Hashes of the scripts that may stand in a page.
    """
    rules = {
        "default-src": "'self'",
        "script-src": " ".join(("'self'", "'wasm-unsafe-eval'", "'unsafe-hashes'", *scripts)),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data: blob:",
        "font-src": "'self' data:",
        "connect-src": f"'self' ws://{host}",
        "worker-src": "'self' blob:",
        "frame-src": "'self'",
        "object-src": "'none'",
        "base-uri": "'none'",
        "form-action": "'self'",
        "frame-ancestors": "'self'",
    }
    return "; ".join(f"{name} {what}" for name, what in rules.items())


class Headers:
    """The headers of answers, worked out once for each name of the server.

    Parameters
    ----------
    page : Path, optional
        The server library's own page, with a script in it.
    """

    def __init__(self, page: Path | None = None) -> None:
        within = [] if page is None else scripts_within(page)
        self._scripts = tuple(script_hash(text) for text in (*SCRIPTS, PRINT, *within))
        self._known: dict[str, list[tuple[bytes, bytes]]] = {}

    def of(self, host: str) -> list[tuple[bytes, bytes]]:
        """Headers for an answer to a request that was sent to a host of ours."""
        if host not in self._known:
            self._known[host] = [
                (b"content-security-policy", policy(host, self._scripts).encode("latin-1")),
                (b"x-content-type-options", b"nosniff"),
                (b"x-frame-options", b"SAMEORIGIN"),
                (b"referrer-policy", b"same-origin"),
                (b"cross-origin-opener-policy", b"same-origin"),
                (b"cross-origin-resource-policy", b"same-origin"),
            ]
        return self._known[host]
