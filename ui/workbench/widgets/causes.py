"""The leading causes as plain bars, with the change since the last entry."""

from __future__ import annotations

from collections.abc import Mapping

from faultnet.diagnosis.wording import share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.beliefs import NO_FAULT, cause_words
from workbench.words import change, plain

SHOWN = 3
MENDED = 0.2
Key = tuple[str, str]


def leading(now: Mapping[Key, float], count: int = SHOWN) -> list[Key]:
    """The likeliest causes, and that no part is at fault where that is among them."""
    return sorted(now, key=lambda key: (-now[key], key))[:count]


def mended(was: Mapping[Key, float], now: Mapping[Key, float], catalogue: Catalogue) -> str:
    """HTML of the causes that were at fault and of which repairs left little."""
    found = [key for key in was if key != NO_FAULT and was[key] - now[key] > MENDED]
    return "".join(
        f"<p class='fn-note'>Repaired: {plain(cause_words(key, catalogue))}. It was at fault with "
        f"{plain(share_words(was[key]))} and is still there with {plain(share_words(now[key]))}.</p>"
        for key in sorted(found, key=lambda k: -was[k])
    )


def bars(now: Mapping[Key, float], before: Mapping[Key, float] | None, catalogue: Catalogue, count: int = SHOWN) -> str:
    """HTML of the leading causes.

    Parameters
    ----------
    now : mapping of (component, mode) to probability
    before : mapping of (component, mode) to probability, optional
        As it stood one entry earlier; a thin mark on the bar shows it.
    catalogue : Catalogue
    count : int
    """
    lines = [
        _line(cause_words(key, catalogue), now[key], before.get(key) if before else None) for key in leading(now, count)
    ]
    return f"<ol class='fn-causes' aria-label='Likely causes'>{''.join(lines)}</ol>"


def _line(label: str, now: float, before: float | None) -> str:
    moved, mark = "", ""
    if before is not None:
        moved = change(now, before)
        mark = f"<b style='left:calc({100 * before:.1f}% - 1px)'></b>"
    return (
        f"<li><span class='name'>{plain(label)}</span><span class='share'>{plain(share_words(now))}</span>"
        f"<span class='moved' title='change since the last entry'>{moved}</span>"
        f"<span class='bar' aria-hidden='true'><i style='width:{100 * now:.1f}%'></i>{mark}</span></li>"
    )
