"""Markdown tables."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a Markdown table; a bar inside a cell is escaped.

    Parameters
    ----------
    header : sequence of str
    rows : iterable of sequences
        As many cells as the header has.

    Returns
    -------
    str

    Examples
    --------
    >>> print(table(("a", "b"), [(1, "x|y")]))
    | a | b |
    |---|---|
    | 1 | x\\|y |
    """
    lines = [_line(header), "|" + "---|" * len(header)]
    return "\n".join([*lines, *(_line(row) for row in rows)])


def _line(cells: Iterable[object]) -> str:
    return "| " + " | ".join(str(cell).replace("|", "\\|") for cell in cells) + " |"
