"""Timers on the page: they run in the browser, survive a reload there, and are heard and seen to end."""

from __future__ import annotations

from collections.abc import Iterable

from faultnet.prior_set.types import Timer
from workbench.words import plain


def block(found: Iterable[Timer], name: str) -> str:
    """HTML of timers, to be started by a tap.

    Parameters
    ----------
    found : iterable of Timer
    name : str
        What tells those of this card from all others.

    Examples
    --------
    >>> block((), "a")
    ''
    >>> "data-seconds='300'" in block((Timer("Headlamps on", 300.0),), "a")
    True
    """
    lines = "".join(_line(timer, f"fn timer {name} {number}") for number, timer in enumerate(found))
    return f"<div class='fn-timers'>{lines}</div>" if lines else ""


def _line(timer: Timer, name: str) -> str:
    label = plain(timer.label)
    return (
        f"<div class='fn-timer' role='group' aria-label='{label}' data-timer='{plain(name)}' "
        f"data-seconds='{timer.seconds:g}' data-label='{label}'><span class='what'>{label}</span>"
        f"<span class='left'>{plain(clock(timer.seconds))}</span><button type='button'>Start</button>"
        "<span class='said' role='status'></span></div>"
    )


def clock(seconds: float) -> str:
    """A time as the page shows it.

    Examples
    --------
    >>> clock(15.0), clock(2400.0), clock(3600.0)
    ('0:15', '40:00', '1:00:00')
    """
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"
