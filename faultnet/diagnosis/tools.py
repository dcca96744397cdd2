"""Tools at hand: what most people have where nothing is said, and whether they allow a test."""

from __future__ import annotations

from collections.abc import Collection

# Hands, eyes with a light, an ordinary multimeter, a charger, jump leads, a piece of wood: common practice, no source.
USUAL_TOOLS = frozenset({"voltmeter", "battery charger", "jump leads", "torch", "wooden bar"})
CHARGER, BOOSTER = "battery charger", "jump leads"


def tools_words(tools: Collection[str]) -> str:
    """Tools at hand in words, behind what everybody has.

    Examples
    --------
    >>> tools_words({"voltmeter", "torch"})
    'eyes, hands, torch, voltmeter'
    """
    return ", ".join(("eyes", "hands", *sorted(tools)))


def has_tools(needed: Collection[str], tools: Collection[str]) -> bool:
    """Whether the tools at hand allow a test; "a or b" is met by either.

    Examples
    --------
    >>> has_tools(("recorder or scan-tool adapter",), {"recorder"}), has_tools(("voltmeter",), ())
    (True, False)
    """
    return all(any(part in tools for part in tool.split(" or ")) for tool in needed)
