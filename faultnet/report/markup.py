"""Somebody's words on a page: what they hold is shown and never obeyed, be it markup or a mark of direction."""

from __future__ import annotations

import re
from html import escape as _escape

OPENS, CLOSES = "\u2066\u2067\u2068", "\u2069"
FIRST_STRONG = "\u2068"
# Letters written from right to left, and marks that change the direction of what follows them.
_TURNS = re.compile(
    "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufeff\U00010800-\U00010fff\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]"
)


def escape(text: object) -> str:
    """Text made safe for HTML.

    Parameters
    ----------
    text : object
        Anything with words.

    Returns
    -------
    str

    Examples
    --------
    >>> escape("<b>5 V & 'more'</b>")
    '&lt;b&gt;5 V &amp; &#x27;more&#x27;&lt;/b&gt;'
    """
    return _escape(isolated(str(text)), quote=True)


def isolated(text: str) -> str:
    """Text whose direction ends where it ends: marks in it change nothing of what stands before or after.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        The same text where no letter or mark in it runs from right to left.

    Notes
    -----
    An isolate ends every embedding and override begun in it [1]_, but not an isolate, and a mark too many would end it
    early: so isolates within are balanced first.

    References
    ----------
    .. [1] Unicode Standard Annex 9, "Unicode Bidirectional Algorithm", rule X6a (from memory).

    Examples
    --------
    >>> isolated("12 V"), isolated("a\\u202eb\\u2069")
    ('12 V', '\\u2068a\\u202eb\\u2069')
    >>> isolated("\\u2067c") == "\\u2068\\u2067c\\u2069\\u2069"
    True
    """
    if _TURNS.search(text) is None:
        return text
    kept, depth = [], 0
    for letter in text:
        if letter in OPENS:
            depth += 1
        elif letter == CLOSES:
            if not depth:
                continue
            depth -= 1
        kept.append(letter)
    return f"{FIRST_STRONG}{''.join(kept)}{CLOSES * (depth + 1)}"
