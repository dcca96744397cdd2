"""Plain text of at most 80 columns: headings, wrapped paragraphs, columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

WIDTH = 79


def section(title: str, lines: Iterable[str]) -> str:
    """Give a block of text with a heading; nothing at all when it has no lines.

    Examples
    --------
    >>> print(section("Next tests", ["  1. look"]))
    NEXT TESTS
      1. look
    """
    body = list(lines)
    return "\n".join([title.upper(), *body]) if body else ""


def joined(blocks: Iterable[str]) -> str:
    """Put blocks below each other with an empty line between; empty ones are left out."""
    return "\n\n".join(block for block in blocks if block)


def wrapped(text: str, first: str = "  ", rest: str | None = None) -> str:
    """Wrap a paragraph, its first line led by `first` and the others by `rest` or as many blanks.

    Examples
    --------
    >>> print(wrapped("Let air in. " * 8, first="  - "))
      - Let air in. Let air in. Let air in. Let air in. Let air in. Let air in. Let
        air in. Let air in.
    """
    hanging = " " * len(first) if rest is None else rest
    return textwrap.fill(text.strip(), WIDTH, initial_indent=first, subsequent_indent=hanging, break_long_words=False)


def percent(probability: float) -> str:
    """Write a probability so that nothing looks certain; five characters wide.

    Examples
    --------
    >>> [percent(p) for p in (0.9999, 0.93, 0.05, 0.001)]
    ['>99 %', ' 93 %', '  5 %', ' <1 %']
    """
    if probability > 0.995:
        return ">99 %"
    if probability < 0.005:
        return " <1 %"
    return f"{100.0 * probability:3.0f} %"


def bar(probability: float, length: int = 12) -> str:
    """Draw a probability as a bar.

    Examples
    --------
    >>> bar(0.5, 8)
    '####....'
    """
    filled = round(probability * length)
    return "#" * filled + "." * (length - filled)


def counted(number: int, word: str) -> str:
    """Write a number with its noun.

    Examples
    --------
    >>> counted(1, "visit"), counted(3, "visit"), counted(2, "entry")
    ('1 visit', '3 visits', '2 entries')
    """
    plural = word[:-1] + "ies" if word.endswith("y") else word + "s"
    return f"{number} {word if number == 1 else plural}"
