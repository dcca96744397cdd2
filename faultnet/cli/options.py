"""What the commands share: the option that asks for JSON, numbers with a range, and printing an answer."""

from __future__ import annotations

import json
import math
from typing import Annotated, Any

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Answer as JSON.")]


def finite(value: float | None) -> float | None:
    """Refuse what is no number: it passes any range, as no comparison with it holds.

    Raises
    ------
    typer.BadParameter
        For ``nan`` and what is infinite.

    Examples
    --------
    >>> finite(12.6)
    12.6
    """
    if value is not None and not math.isfinite(value):
        raise typer.BadParameter(f"{value} is no number that can be meant")
    return value


def number(low: float, high: float, words: str, *names: str) -> Any:
    """Make an option that takes a finite number from `low` to `high`; `words` say what it is."""
    return typer.Option(*names, min=low, max=high, callback=finite, help=words)


def show(answer: str | dict[str, Any]) -> None:
    """Print an answer: text as it is, anything else as JSON."""
    text = answer if isinstance(answer, str) else json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False)
    typer.echo(text.rstrip("\n"))
