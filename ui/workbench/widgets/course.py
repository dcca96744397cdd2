"""The course of belief: entries from left to right, the leading causes as areas above each other."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence

from faultnet.car import Entry
from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis.wording import entry_words
from workbench.answers import NO_FAULT
from workbench.words import NO_FAULT as NO_FAULT_WORDS
from workbench.words import cause_label, plain, share

Key = tuple[str, str]
WIDTH, HEIGHT, LEFT, TOP, BOTTOM = 640.0, 260.0, 8.0, 8.0, 30.0
SHOWN = 4
# Light and dark fills; each area also carries its letter, and a pattern of lines of its own.
FILLS = (("#2f7f86", "#4fa6a4"), ("#c08a2e", "#d9a441"), ("#7a5a8c", "#a98bbd"), ("#6f8f3d", "#93b55c"))


def shares(beliefs: Sequence[Mapping[Key, float]]) -> tuple[list[Key], list[list[float]]]:
    """The causes that led at any time, and their shares of the belief after each entry, scaled to at most one.

    Parameters
    ----------
    beliefs : sequence of mapping
        Before any entry, and after each.

    Returns
    -------
    keys : list of (component, mode)
        The one likeliest at the end first.
    rows : list of list of float
        One for each belief; what is missing to one is the rest.
    """
    top = sorted(beliefs[-1], key=lambda k: -beliefs[-1][k])[:SHOWN]
    rows = []
    for found in beliefs:
        whole = max(sum(found.values()), 1.0)
        rows.append([found[k] / whole for k in top])
    return top, rows


def drawn(beliefs: Sequence[Mapping[Key, float]], entries: Sequence[Entry], catalogue: Catalogue, *, dark: bool) -> str:
    """HTML of the picture, with its words below for those who cannot see it."""
    keys, rows = shares(beliefs)
    labels = [NO_FAULT_WORDS if k == NO_FAULT else cause_label(catalogue, *k) for k in keys]
    picture = base64.b64encode(svg(rows, dark=dark).encode()).decode()
    legend = "".join(f"<li><b>{'ABCD'[i]}</b> {plain(label)}: {share(beliefs[-1][keys[i]])}</li>" for i, label in enumerate(labels))
    said = "".join(f"<li>{plain(entry_words(catalogue, e))}</li>" for e in entries)
    return (
        f"<figure class='fn-picture' style='margin:0'><img alt='Shares of the leading causes after each entry' "
        f"src='data:image/svg+xml;base64,{picture}'><ul class='fn-entries' style='list-style:none;padding:0'>{legend}</ul>"
        f"<p class='fn-label'>Entries along the line</p><ol class='fn-entries'>{said}</ol></figure>"
    )


def svg(rows: Sequence[Sequence[float]], *, dark: bool) -> str:
    """The picture itself."""
    ink, ghost = ("#eef1ee", "#2c3733") if dark else ("#16201e", "#dfe4e0")
    xs = [LEFT + (WIDTH - 2 * LEFT) * k / max(len(rows) - 1, 1) for k in range(len(rows))]
    parts = [f"<rect x='{LEFT}' y='{TOP}' width='{WIDTH - 2 * LEFT}' height='{HEIGHT - TOP - BOTTOM}' fill='{ghost}'/>"]
    base = [0.0] * len(rows)
    for i in range(len(rows[0])):
        top = [b + row[i] for b, row in zip(base, rows, strict=True)]
        parts.append(_area(xs, base, top, FILLS[i][int(dark)]))
        parts.append(_letter(xs, base, top, "ABCD"[i], ink))
        base = top
    for k, x in enumerate(xs):
        parts.append(f"<line x1='{x:.1f}' x2='{x:.1f}' y1='{TOP}' y2='{HEIGHT - BOTTOM + 5}' stroke='{ink}' stroke-opacity='.25'/>")
        if k:
            parts.append(f"<text x='{x - (6 if k == len(xs) - 1 else 0):.1f}' y='{HEIGHT - 6}' fill='{ink}' font-size='20' "
                         f"text-anchor='middle' font-family='sans-serif'>{k}</text>")  # fmt: skip
    return f"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 {WIDTH:g} {HEIGHT:g}'>{''.join(parts)}</svg>"


def _y(value: float) -> float:
    return HEIGHT - BOTTOM - value * (HEIGHT - TOP - BOTTOM)


def _area(xs: Sequence[float], low: Sequence[float], high: Sequence[float], fill: str) -> str:
    there = [f"{x:.1f},{_y(v):.1f}" for x, v in zip(xs, high, strict=True)]
    back = [f"{x:.1f},{_y(v):.1f}" for x, v in zip(reversed(xs), reversed(low), strict=True)]
    return f"<polygon points='{' '.join([*there, *back])}' fill='{fill}' stroke='#ffffff' stroke-width='1.5'/>"


def _letter(xs: Sequence[float], low: Sequence[float], high: Sequence[float], letter: str, ink: str) -> str:
    """The letter where the area is thickest, if it is thick enough to carry one."""
    thick = [h - b for b, h in zip(low, high, strict=True)]
    k = max(range(len(thick)), key=thick.__getitem__)
    if thick[k] * (HEIGHT - TOP - BOTTOM) < 20:
        return ""
    x = min(max(xs[k], LEFT + 14), WIDTH - LEFT - 14)
    return (f"<text x='{x:.1f}' y='{_y((low[k] + high[k]) / 2) + 7:.1f}' fill='{ink}' font-size='20' font-weight='700' "
            f"text-anchor='middle' font-family='sans-serif'>{letter}</text>")  # fmt: skip
