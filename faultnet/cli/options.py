"""What the commands share: the option that asks for JSON, and printing an answer."""

from __future__ import annotations

import json
from typing import Annotated, Any

import typer

JsonOption = Annotated[bool, typer.Option("--json", help="Answer as JSON.")]


def show(answer: str | dict[str, Any]) -> None:
    """Print an answer: text as it is, anything else as JSON."""
    text = answer if isinstance(answer, str) else json.dumps(answer, indent=2, ensure_ascii=False, allow_nan=False)
    typer.echo(text.rstrip("\n"))
