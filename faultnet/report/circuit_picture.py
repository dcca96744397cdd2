"""The circuit drawn: how suspect each part is, where the probes of a test go, and which parts carry current then.

How suspect a part is shows three ways, so that it can be read in print, in sunlight and by the colour-blind: by its
number, by the weight of its outline, and by its shade. Symbols follow IEC 60617 (battery, resistor, fuse, contact,
motor and generator in a circle, earth; from memory).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Literal

from faultnet.diagnosis.result import Diagnosis
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.circuit import AT_THE_ALTERNATOR, FLOWS, HEIGHT, PARTS, POINTS, TOP, WIDTH, Part, Point, Probes
from faultnet.report.markup import escape
from faultnet.report.words import LEAST_SHARE

SHEET = "var(--sheet, #fff)"
INKS = {"light": "color:#16201e;--sheet:#ffffff", "dark": "color:#eef1ee;--sheet:#1c2422"}
WIRES = {
    "positive_joint": "M52 122V58",
    "battery": "M52 122V226",
    "negative_joint": "M52 226V292",
    "starter_cable": "M52 58H170",
    "solenoid": "M170 58V138",
    "starter_motor": "M170 138V236",
    "start_control": "M52 58V24H258V116",
    "pull_in": "M258 116V236H170",
    "ground_path": "M170 236V338H52V292",
    "alternator": "M338 236V118",
    "block": "M170 236H338",
    "charge_cable": "M338 118V24H52V58",
    "charge_control": "M52 58V24H398V140",
    "fuses": "M52 58V24H452V104",
    "drain": "M452 104V338",
    "body_ground": "M452 338H52V292",
}
EXCITER = "M398 140V176H363"
MODULE = "M452 104H491V220M491 256V338H452"
ENGINE = "M150 236H372"
NUMBERS = {
    "motor": (24, -19, "start"),
    "source": (-31, 6, "end"),
    "battery": (25, 6, "start"),
    "load": (-24, 6, "end"),
    "switch": (10, 25, "start"),
}
"""Where the number of a part stands beside the middle of its symbol."""


def suspicion(diagnosis: Diagnosis) -> dict[str, float]:
    """How likely it is that each component is at fault by now [-].

    Parameters
    ----------
    diagnosis : Diagnosis
    """
    found: dict[str, float] = {}
    for cause in diagnosis.causes:
        found[cause.component] = found.get(cause.component, 0.0) + cause.still_there
    return found


def draw_circuit(
    suspects: Mapping[str, float],
    catalogue: Catalogue,
    probes: Probes | None = None,
    *,
    paper: Literal["light", "dark"] | None = None,
) -> str:
    """Draw the circuit as SVG.

    Parameters
    ----------
    suspects : mapping of component to float
        How likely each is at fault [-]; see :func:`suspicion`.
    catalogue : Catalogue
        For the labels.
    probes : Probes, optional
        Of the test to do now.
    paper : {"light", "dark"}, optional
        The ground of a picture that stands by itself; what stands in a page takes the page's colours.

    Returns
    -------
    str
        Colours come from the text around it (``currentColor``). Each part is a group with ``data-part`` (its component)
        and a title in words.
    """
    flow = FLOWS[probes.flow] if probes is not None else ()
    own = "" if paper is None else f'style="{INKS[paper]}" '
    said = "The starting and charging circuit." if probes is None else f"The circuit. {probes.words()}"
    return "".join(
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 {TOP} {WIDTH} {HEIGHT}" role="group" '
            f'{own}aria-label="{escape(said)}" class="fn-circuit" font-family="sans-serif" fill="none" '
            'stroke="currentColor" stroke-width="1.6" stroke-linejoin="round">',
            *(f'<path d="{WIRES[name]}" stroke="#e0b04a" stroke-width="9" stroke-opacity=".55"/>' for name in flow),
            *(f'<path d="{wire}"/>' for wire in (*WIRES.values(), EXCITER, MODULE)),
            *_words(),
            *(_part(name, part, suspects, catalogue) for name, part in PARTS.items()),
            _box(491, 238, 34, 36, 'stroke-width="1.6"'),
            *(f'<circle cx="{p.x}" cy="{p.y}" r="3.2" fill="currentColor" stroke="none"/>' for p in POINTS.values()),
            *(_marks(probes) if probes is not None else ()),
            "</svg>",
        )
    )


def _words() -> Iterator[str]:
    for x, y, text in ((228, 257, "engine"), (308, 357, "body"), (275, 128, "50")):
        yield _text(x, y, text, 17)
    yield _text(511, 278, "module", 17, "end")


def _text(x: float, y: float, words: str, size: int, anchor: str = "middle", weight: str = "normal") -> str:
    return (
        f'<text x="{x:g}" y="{y:g}" font-size="{size}" text-anchor="{anchor}" font-weight="{weight}" '
        f'fill="currentColor" stroke="none">{escape(words)}</text>'
    )


def _part(name: str, part: Part, suspects: Mapping[str, float], catalogue: Catalogue) -> str:
    """One part with its symbol, its number and its words."""
    members = members_of(name)
    shares = {m: suspects.get(m, 0.0) for m in members}
    most = max(shares.values(), default=0.0)
    symbol = _symbol(part, most)
    if not members:
        return f"<g>{symbol}</g>"
    leading = max(shares, key=lambda m: shares[m])
    words = part_words(name, suspects, catalogue)
    return (
        f'<g class="fn-part" data-part="{leading}"><title>{escape(words)}</title>'
        f'<rect x="{part.x - 24:g}" y="{part.y - 24:g}" width="48" height="48" stroke="none" fill="#000" '
        f'fill-opacity="0"/>{symbol}{_number(part, most)}</g>'
    )


def members_of(name: str) -> tuple[str, ...]:
    """The components that are drawn as one part of the circuit.

    Examples
    --------
    >>> members_of("battery"), members_of("body_ground")
    (('battery',), ())
    """
    component = PARTS[name].component
    return AT_THE_ALTERNATOR if name == "alternator" else (component,) if component else ()


def part_words(name: str, suspects: Mapping[str, float], catalogue: Catalogue) -> str:
    """Say how suspect a drawn part is.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> part_words("battery", {"battery": 0.4}, load_catalogue())
    'Battery: 40 %'
    """
    return "; ".join(f"{catalogue.component(m).label}: {_share(suspects.get(m, 0.0))}" for m in members_of(name))


def _share(chance: float) -> str:
    return "under 1 %" if chance < LEAST_SHARE else "over 99 %" if chance > 0.99 else f"{100.0 * chance:.0f} %"


def _number(part: Part, chance: float) -> str:
    """The number beside a symbol; nothing where it is under one in a hundred."""
    if chance < LEAST_SHARE:
        return ""
    size, weight = (21, "bold") if chance >= 0.2 else (18, "normal")
    words = _share(chance).replace("over ", ">").replace(" ", "\N{NARROW NO-BREAK SPACE}")
    dx, dy, anchor = (0, -13, "middle") if _lies(part) else NUMBERS.get(part.kind, (14, 6, "start"))
    return _text(part.x + dx, part.y + dy, words, size, anchor, weight)


def _lies(part: Part) -> bool:
    """Whether a part lies along the picture instead of standing upright."""
    first, second = (POINTS[end] for end in part.ends)
    return first.y == second.y == part.y


def _shade(chance: float) -> str:
    return f'fill="#c8641b" fill-opacity="{0.9 * chance:.2f}"'


def _box(x: float, y: float, wide: float, high: float, look: str) -> str:
    place = f'x="{x - wide / 2:g}" y="{y - high / 2:g}" width="{wide:g}" height="{high:g}"'
    return f'<rect {place} fill="{SHEET}" stroke="none"/><rect {place} {look}/>'


def _gap(x: float, y: float, half: float) -> str:
    """Break the wire behind a symbol."""
    return f'<path d="M{x} {y - half}V{y + half}" stroke="{SHEET}" stroke-width="6"/>'


def _symbol(part: Part, chance: float) -> str:
    wide, high = (30, 14) if _lies(part) else (14, 30)
    x, y, look = part.x, part.y, f'stroke-width="{1.6 + 5.0 * chance:.1f}" {_shade(chance)}'
    if part.kind in ("joint", "cable", "fuse"):
        through = f'<path d="M{x} {y - high / 2}V{y + high / 2}"/>' if part.kind == "fuse" else ""
        return _box(x, y, wide, high, look) + through
    if part.kind in ("motor", "source"):
        ring = f'<circle cx="{x}" cy="{y}" r="25"'
        return f'{ring} fill="{SHEET}"/>{ring} {look}/>' + _text(x, y + 7, "M" if part.kind == "motor" else "G", 20)
    if part.kind in ("contact", "switch"):
        return _gap(x, y, 12) + _contact(x, y, chance)
    if part.kind == "battery":
        return _gap(x, y, 20) + _cells(x, y, chance)
    if part.kind == "load":
        return _box(x, y, 38, 36, look) + _text(x, y + 5, "loads", 13)
    if part.kind == "block":
        return f'<path d="{ENGINE}" stroke-width="5"/>'
    return f'<path d="M{x} 338v8M{x - 14} 346h28M{x - 9} 352h18M{x - 4} 358h8"/>'


def _contact(x: float, y: float, chance: float) -> str:
    ends = "".join(f'<circle cx="{x}" cy="{y + d}" r="2.4" fill="currentColor"/>' for d in (-12, 12))
    shade = f'<circle cx="{x}" cy="{y}" r="15" stroke="none" {_shade(chance)}/>'
    return f'{shade}<path d="M{x} {y + 12}L{x - 13} {y - 11}" stroke-width="{2.2 + 5.0 * chance:.1f}"/>{ends}'


def _cells(x: float, y: float, chance: float) -> str:
    plates = "".join(
        f'<path d="M{x - half} {y + d}H{x + half}" stroke-width="{weight + 3.0 * chance:.1f}"/>'
        for half, d, weight in ((20, -20, 2.0), (11, -9, 4.5), (20, 9, 2.0), (11, 20, 4.5))
    )
    shade = f'<rect x="{x - 20}" y="{y - 20}" width="40" height="40" stroke="none" {_shade(chance)}/>'
    return f'{shade}{plates}<path d="M{x} {y - 9}V{y + 9}" stroke-dasharray="3 3"/>' + _text(x - 24, y - 24, "+", 18)


def _marks(probes: Probes) -> Iterator[str]:
    if probes.red:
        yield _mark(POINTS[probes.red], "red", "#a3131a")
        yield _mark(POINTS[probes.black], "black", "#111111")
    if probes.clamp:
        point = POINTS[probes.clamp]
        yield f'<ellipse cx="{point.x}" cy="{point.y}" rx="12" ry="12" stroke-width="4.5"/>'
        yield _mark(point, "clamp", "#0a4a52")
    if probes.adapter:
        yield _mark(POINTS[probes.adapter], "adapter", "#0a4a52")
    if probes.lead:
        first, second = (POINTS[p] for p in probes.lead)
        yield (
            f'<path d="M{first.x} {first.y}Q{(first.x + second.x) / 2 + 30} {(first.y + second.y) / 2 + 40} '
            f'{second.x} {second.y}" stroke-width="5" stroke-dasharray="9 5"/>'
        )
        yield _mark(second, "lead", "#0a4a52")


def _mark(point: Point, words: str, colour: str) -> str:
    """A labelled flag at a point, on the side where there is room."""
    wide = 13 + 9.2 * len(words)
    dx, dy = {"left": (-wide / 2 - 8, 0), "right": (wide / 2 + 8, 0), "above": (0, -24), "below": (0, 24)}[point.side]
    x = min(max(point.x + dx, wide / 2 + 1), WIDTH - wide / 2 - 1)
    y = point.y + dy
    return (
        f'<g class="fn-probe"><path d="M{point.x} {point.y}L{x:g} {y:g}" stroke="{colour}" stroke-width="4"/>'
        f'<circle cx="{point.x}" cy="{point.y}" r="6" fill="{colour}" stroke="#ffffff" stroke-width="2"/>'
        f'<rect x="{x - wide / 2:g}" y="{y - 12:g}" width="{wide:g}" height="24" rx="5" fill="{colour}" '
        'stroke="#ffffff"/>'
        f'<text x="{x:g}" y="{y + 6:g}" font-size="17" text-anchor="middle" font-weight="bold" fill="#ffffff" '
        f'stroke="none">{escape(words)}</text></g>'
    )
