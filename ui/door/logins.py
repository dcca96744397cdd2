"""Who may come in while the front end is shared: a passphrase, and a cookie for whoever gave it.

A cookie is drawn at random for each login and says nothing about the passphrase; only its hash is kept, in memory,
under a key drawn at each start. So it is worth nothing on another installation or after the next start, and one login
can be ended without the others.
"""

from __future__ import annotations

import asyncio
import hashlib
import hmac
import secrets
import unicodedata
from dataclasses import dataclass, field
from datetime import datetime

MOST_LOGINS = 64


@dataclass(eq=False)
class Login:
    """One browser that gave the passphrase.

    Parameters
    ----------
    number : int
        As it is listed in the terminal.
    address, device : str
        Where it came from, and on what.
    mark : bytes
        Hash of its cookie.
    """

    number: int
    address: str
    device: str
    mark: bytes
    since: datetime = field(default_factory=datetime.now)
    ended: asyncio.Event = field(default_factory=asyncio.Event)

    def __str__(self) -> str:
        return f"{self.number}  {self.device} at {self.address}, since {self.since:%H:%M}"


class Logins:
    """The logins of this start.

    Parameters
    ----------
    passphrase : str
    """

    def __init__(self, passphrase: str) -> None:
        self._key = secrets.token_bytes(32)
        self._as_given = self._mark(tidy(passphrase))
        self._in_small = self._mark(tidy(passphrase).casefold()) if tidy(passphrase) == _small(passphrase) else None
        self._open: list[Login] = []
        self._count = 0

    def _mark(self, text: str) -> bytes:
        return hmac.digest(self._key, text.encode("utf-8", "surrogatepass"), "sha256")

    def is_passphrase(self, given: str) -> bool:
        """Whether this is the passphrase; in capitals too where it has none itself, as phones begin with one.

        Blanks are none, whatever was set.
        """
        right = hmac.compare_digest(self._mark(tidy(given)), self._as_given)
        small = self._in_small or secrets.token_bytes(hashlib.sha256().digest_size)
        return (hmac.compare_digest(self._mark(_small(given)), small) or right) and tidy(given) != ""

    def begin(self, address: str, device: str) -> str:
        """Let a browser in, and give the cookie it is known by from now on."""
        cookie = secrets.token_urlsafe(32)
        self._count += 1
        self._open.append(Login(self._count, address, device, self._mark(cookie)))
        while len(self._open) > MOST_LOGINS:
            self._open.pop(0).ended.set()
        return cookie

    def of(self, cookie: str) -> Login | None:
        """The login a cookie belongs to."""
        mark = self._mark(cookie)
        found = [login for login in self._open if hmac.compare_digest(login.mark, mark)]
        return found[0] if found else None

    def listed(self) -> tuple[Login, ...]:
        """All that are logged in."""
        return tuple(self._open)

    def end(self, number: int | None = None) -> int:
        """End one login, or all, with whatever they have open; give how many."""
        ending = [login for login in self._open if number is None or login.number == number]
        for login in ending:
            self._open.remove(login)
            login.ended.set()
        return len(ending)


def tidy(text: str) -> str:
    """A passphrase as it is compared: a letter in one spelling, single spaces.

    Examples
    --------
    >>> tidy("  Café  au lait ") == tidy("Cafe\\u0301 au lait")
    True
    """
    return " ".join(unicodedata.normalize("NFKC", text).split())


def _small(text: str) -> str:
    return tidy(text).casefold()
