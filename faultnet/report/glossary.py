"""Technical words explained where they stand: marked in HTML for the page, listed on paper."""

from __future__ import annotations

import re
from collections.abc import Mapping
from functools import lru_cache
from itertools import count

from faultnet.report.markup import escape

_TAG = re.compile(r"(<[^>]*>)")
_ids = count(1)


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
    """HTML in which each technical word can be tapped, or reached by key, for its explanation; once each.

    Parameters
    ----------
    html : str
        Already escaped.
    words : mapping of word to explanation

    Returns
    -------
    str
        A word becomes ``<span class="fn-word" tabindex="0">`` with its explanation beside it, shown by style alone.

    Examples
    --------
    >>> explained("<b>Ripple</b> and ripple", {"ripple": "What is left."}).count("What is left.")
    1
    """
    if not words:
        return html
    left = set(words)

    def marked(match: re.Match[str]) -> str:
        word = _meant(match.group(), words)
        if word not in left:
            return match.group()
        left.discard(word)
        place = f"fn-word-{next(_ids)}"
        return (
            f'<span class="fn-word" tabindex="0" role="note" aria-describedby="{place}">{match.group()}'
            f'<span class="fn-means" role="tooltip" id="{place}">{escape(words[word])}</span></span>'
        )

    pattern = _pattern(frozenset(words))
    return "".join(part if part.startswith("<") else pattern.sub(marked, part) for part in _TAG.split(html))


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
