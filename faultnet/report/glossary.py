"""Technical words explained where they stand: marked in HTML for the page, listed on paper."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache

from faultnet.report.markup import escape

_TAG = re.compile(r"(<[^>]*>)")
_PRESSED = re.compile(r"<(/?)(?:a|button|summary|label|svg)\b(?![^>]*/>)", re.IGNORECASE)


@lru_cache(maxsize=8)
def _pattern(words: frozenset[str]) -> re.Pattern[str]:
    """Any of the words, longest first, with or without a plural s."""
    longest_first = sorted(words, key=lambda word: (-len(word), word))
    return re.compile(rf"\b(?:{'|'.join(re.escape(escape(word)) for word in longest_first)})(?:s|es)?\b", re.IGNORECASE)


def _meant(found: str, words: Mapping[str, str]) -> str:
    """The word that was found, as it stands among the words."""
    lower = {word.lower(): word for word in words}
    said = found.lower()
    return next(lower[form] for form in (said, said.removesuffix("s"), said.removesuffix("es")) if form in lower)


def used(html: str, words: Mapping[str, str]) -> tuple[str, ...]:
    """Words that stand in a text, in the order in which they first stand there.

    Parameters
    ----------
    html : str
        What stands inside tags is passed over.
    words : mapping of word to explanation

    Examples
    --------
    >>> used("<p>Two cells, one Ripple.</p>", {"ripple": "...", "cell": "..."})
    ('cell', 'ripple')
    """
    texts = (part for part in _TAG.split(html) if not part.startswith("<"))
    found = (match.group() for text in texts for match in _pattern(frozenset(words)).finditer(text))
    return tuple(dict.fromkeys(_meant(word, words) for word in found)) if words else ()


def explained(html: str, words: Mapping[str, str]) -> str:
    """HTML in which each technical word is a button that holds its explanation; once each.

    Parameters
    ----------
    html : str
        Already escaped. What stands inside a link, a button or another thing to press is left as it is.
    words : mapping of word to explanation

    Returns
    -------
    str
        A word becomes ``<button class="fn-word" data-means="...">``; the page shows what it means when it is pressed.

    Examples
    --------
    >>> explained("<b>Ripple</b> and ripple", {"ripple": "What is left."}).count("What is left.")
    1
    >>> explained("<a href='#x'>Ripple</a>", {"ripple": "What is left."})
    "<a href='#x'>Ripple</a>"
    """
    if not words:
        return html
    left, inside = set(words), 0

    def marked(match: re.Match[str]) -> str:
        word = _meant(match.group(), words)
        if word not in left:
            return match.group()
        left.discard(word)
        means = f'data-word="{escape(word)}" data-means="{escape(words[word])}"'
        return f'<button type="button" class="fn-word" aria-haspopup="dialog" {means}>{match.group()}</button>'

    pattern, parts = _pattern(frozenset(words)), []
    for part in _TAG.split(html):
        if pressed := _PRESSED.match(part):
            inside += -1 if pressed[1] else 1
        parts.append(part if inside or part.startswith("<") else pattern.sub(marked, part))
    return "".join(parts)


def listed_words(html: str, words: Mapping[str, str]) -> str:
    """The words of a sheet with their explanations, as HTML; nothing where none of them stands in it.

    Examples
    --------
    >>> listed_words("<p>No such word</p>", {"ripple": "What is left."})
    ''
    """
    found = used(html, words)
    rows = "".join(f"<dt>{escape(word)}</dt><dd>{escape(words[word])}</dd>" for word in found)
    return f'<h2>Words</h2><dl class="words">{rows}</dl>' if found else ""
