"""The script of our own; it is the same on every page, because a page runs only scripts the server names.

What it needs to know stands in attributes of elements, never in its text (see `door/headers.py`).
"""

from __future__ import annotations

from pathlib import Path

PAGE = (Path(__file__).resolve().parent / "page.js").read_text(encoding="utf-8")
SCRIPTS = (PAGE,)
