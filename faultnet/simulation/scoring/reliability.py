"""The reliability plot: how often what was believed with so much was so, as a picture in SVG made by hand."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from html import escape

SIDE, LEFT, TOP, BOTTOM, RIGHT = 320.0, 52.0, 16.0, 44.0, 200.0
MARKS = ("circle", "square", "triangle", "diamond", "cross", "plus")
COLOURS = ("#2c6f72", "#8a6116", "#664a78", "#5a7530", "#9b1c5a", "#35506b")


def draw_reliability(policies: Mapping[str, Sequence[Mapping[str, float]]]) -> str:
    """Draw the reliability of policies' beliefs.

    Parameters
    ----------
    policies : mapping of str to sequence of {"belief", "frequency", "count"}
        As in the trial's JSON.

    Returns
    -------
    str
        One `svg` element. Text and lines take the colour of their surroundings; each policy has a mark of its own.

    Examples
    --------
    >>> picture = draw_reliability({"ours": [{"belief": 0.1, "frequency": 0.12, "count": 40}]})
    >>> picture.startswith("<svg"), picture.count("<circle")
    (True, 2)
    """
    width, height = LEFT + SIDE + RIGHT, TOP + SIDE + BOTTOM
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="Reliability of beliefs" font-family="sans-serif" font-size="12" fill="currentColor">',
        *_frame(),
    ]
    for k, (name, points) in enumerate(policies.items()):
        mark, colour = MARKS[k % len(MARKS)], COLOURS[k % len(COLOURS)]
        places = [(_across(p["belief"]), _up(p["frequency"])) for p in points]
        path = " ".join(f"{x:.1f},{y:.1f}" for x, y in places)
        parts.append(f'<polyline points="{path}" fill="none" stroke="{colour}"/>')
        parts += [
            _mark(mark, x, y, colour, f"{p['count']:g} beliefs") for (x, y), p in zip(places, points, strict=True)
        ]
        line = TOP + 14.0 + 18.0 * k
        parts.append(_mark(mark, LEFT + SIDE + 16.0, line - 4.0, colour, ""))
        parts.append(f'<text x="{LEFT + SIDE + 28.0:g}" y="{line:g}">{escape(name.replace("_", " "))}</text>')
    return "".join((*parts, "</svg>"))


def _across(share: float) -> float:
    return LEFT + SIDE * share


def _up(share: float) -> float:
    return TOP + SIDE * (1.0 - share)


def _frame() -> list[str]:
    """Axes, their numbers and words, and the line on which belief and frequency agree."""
    line = 'stroke="currentColor" stroke-opacity="0.5"'
    corners = f'x1="{_across(0):g}" y1="{_up(0):g}" x2="{_across(1):g}" y2="{_up(1):g}"'
    parts = [
        f'<rect x="{LEFT:g}" y="{TOP:g}" width="{SIDE:g}" height="{SIDE:g}" fill="none" {line}/>',
        f'<line {corners} {line} stroke-dasharray="4 4"/>',
    ]
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        words = f"{100 * share:.0f} %"
        parts.append(f'<text x="{_across(share):g}" y="{_up(0) + 16:g}" text-anchor="middle">{words}</text>')
        parts.append(f'<text x="{LEFT - 6:g}" y="{_up(share) + 4:g}" text-anchor="end">{words}</text>')
    below = "belief that a part is at fault"
    parts.append(f'<text x="{_across(0.5):g}" y="{_up(0) + 36:g}" text-anchor="middle">{below}</text>')
    turned = f"rotate(-90 12 {_up(0.5):g})"
    parts.append(f'<text x="12" y="{_up(0.5):g}" text-anchor="middle" transform="{turned}">share at fault</text>')
    return parts


def _mark(mark: str, x: float, y: float, colour: str, words: str) -> str:
    title = f"<title>{escape(words)}</title>" if words else ""
    if mark == "circle":
        return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}">{title}</circle>'
    shapes = {
        "square": "M-4 -4H4V4H-4Z",
        "triangle": "M0 -5L5 4H-5Z",
        "diamond": "M0 -5L5 0L0 5L-5 0Z",
        "cross": "M-4 -4L4 4M4 -4L-4 4",
        "plus": "M0 -5V5M-5 0H5",
    }
    where = f'transform="translate({x:.1f} {y:.1f})"'
    return f'<path d="{shapes[mark]}" {where} fill="{colour}" stroke="{colour}">{title}</path>'
