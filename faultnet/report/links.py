"""What was read and what it moved: causes on the left, entries on the right, a rope where an entry moved a cause.

A rope is thicker the more the entry moved the cause; a whole rope speaks for it, a broken one against it. Causes are
words with their share, entries are words; there are no boxes.
"""

from __future__ import annotations

import textwrap
from typing import Literal

from faultnet.diagnosis.result import Diagnosis
from faultnet.diagnosis.wording import share_words
from faultnet.report.markup import escape
from faultnet.report.words import LEAST_WEIGHT

LINE, GAP, FONT = 19.0, 16.0, 16
Placed = dict[object, tuple[float, float]]


def draw_links(diagnosis: Diagnosis, *, width: int = 372, paper: Literal["light", "dark"] = "light") -> str:
    """The picture as SVG; empty when no entry moved a cause yet.

    Parameters
    ----------
    diagnosis : Diagnosis
    width : int
        [px]; words are broken into lines to fit.
    paper : {"light", "dark"}

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet import advise
    >>> case = Case(Car(Battery(600.0)), (Visit((Reading("rest_voltage", value=10.45),)),))
    >>> "Open-circuit" in draw_links(advise(case, load_catalogue()).diagnosis)
    True
    """
    ink, rope = ("#eef1ee", "#58b3ae") if paper == "dark" else ("#16201e", "#2f7f86")
    ropes = _ropes(diagnosis)
    if not ropes:
        return ""
    letters = int(width * 0.36 / (FONT * 0.53))
    causes = {key: textwrap.wrap(label, letters) for key, label in _causes(diagnosis, ropes).items()}
    entries = {place: textwrap.wrap(said, letters) for place, said in _entries(diagnosis, ropes).items()}
    height = max(_height(causes), _height(entries))
    left, right = _placed(causes, height), _placed(entries, height)
    drawn = [
        _rope(0.37 * width, left[cause][0], 0.63 * width, right[entry][0], weight, rope)
        for cause, entry, weight in sorted(ropes, key=lambda r: -abs(r[2]))
    ]
    words = [_words(causes[key], 0.0, left[key], "start", ink, bold=True) for key in causes]
    words += [_words(entries[key], float(width), right[key], "end", ink, bold=False) for key in entries]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height:g}" width="{width}" height="{height:g}" '
        f'role="img" aria-label="Which entry moved which cause" font-family="sans-serif" font-size="{FONT}">'
        f"{''.join(drawn)}{''.join(words)}</svg>"
    )


def _ropes(diagnosis: Diagnosis) -> list[tuple[str, tuple[int, int], float]]:
    return [
        (cause, (r.visit, r.entry), r.weight)
        for cause, found in diagnosis.reasons.items()
        for r in found
        if abs(r.weight) >= LEAST_WEIGHT
    ]


def _causes(diagnosis: Diagnosis, ropes: list[tuple[str, tuple[int, int], float]]) -> dict[str, str]:
    tied = {cause for cause, _, _ in ropes}
    return {
        f"{c.component}:{c.mode}": f"{c.label}, {share_words(c.probability)}"
        for c in diagnosis.causes
        if f"{c.component}:{c.mode}" in tied
    }


def _entries(diagnosis: Diagnosis, ropes: list[tuple[str, tuple[int, int], float]]) -> dict[tuple[int, int], str]:
    tied = sorted({entry for _, entry, _ in ropes})
    said = {(r.visit, r.entry): r.said for found in diagnosis.reasons.values() for r in found}
    return {entry: said[entry] for entry in tied}


def _height(blocks: dict[object, list[str]] | dict[str, list[str]] | dict[tuple[int, int], list[str]]) -> float:
    return sum(LINE * len(lines) + GAP for lines in blocks.values())


def _placed(blocks: dict[str, list[str]] | dict[tuple[int, int], list[str]], height: float) -> Placed:
    """Middle and top of each block, spread evenly over the height."""
    spare = (height - _height(blocks)) / len(blocks)
    found: Placed = {}
    y = 0.0
    for key, lines in blocks.items():
        tall = LINE * len(lines) + GAP + spare
        found[key] = (y + tall / 2, y + (tall - LINE * len(lines)) / 2)
        y += tall
    return found


def _rope(x1: float, y1: float, x2: float, y2: float, weight: float, colour: str) -> str:
    thick = min(1.0 + abs(weight) / 3.0, 9.0)
    dash = "" if weight > 0 else ' stroke-dasharray="7 6"'
    middle = (x1 + x2) / 2
    return (
        f'<path d="M{x1:.1f} {y1:.1f}C{middle:.1f} {y1:.1f} {middle:.1f} {y2:.1f} {x2:.1f} {y2:.1f}" fill="none" '
        f'stroke="{colour}" stroke-width="{thick:.1f}"{dash}/>'
    )


def _words(lines: list[str], x: float, place: tuple[float, float], anchor: str, ink: str, *, bold: bool) -> str:
    weight = ' font-weight="700"' if bold else ""
    return "".join(
        f'<text x="{x:g}" y="{place[1] + LINE * (k + 0.75):.1f}" text-anchor="{anchor}" fill="{ink}"{weight}>'
        f"{escape(line)}</text>"
        for k, line in enumerate(lines)
    )
