"""The visits of a case along a line: when, what was read and done there, and what led after it.

Each visit is a mark on the line with its date; beside it stand the words. A square is work, a round mark a reading,
an empty one a reading that could not be taken, so that shape and not colour tells them apart.
"""

from __future__ import annotations

import textwrap
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from faultnet.case.types import Act, Case, Entry
from faultnet.diagnosis.wording import entry_words, share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.beliefs import Key, cause_words
from faultnet.report.markup import escape

INKS = {"light": ("#16201e", "#47534f", "#2f7f86"), "dark": ("#eef1ee", "#b9c4bf", "#58b3ae")}
LINE, FONT, LEFT, GAP, STEP = 21.0, 16, 26.0, 16.0, 17.0


@dataclass(frozen=True)
class Stop:
    """One visit on the line.

    Parameters
    ----------
    when : str
        Number and date.
    counted : str
        How much was read and done.
    work : tuple of str
        The work done, with how the complaint stood afterwards.
    leads : str
        The likeliest cause at its end, with its share.
    marks : str
        One letter for each entry: r reading, a act, n not measured.
    """

    when: str
    counted: str
    work: tuple[str, ...]
    leads: str
    marks: str


def stops_of(case: Case, after: Sequence[Mapping[Key, float]], catalogue: Catalogue) -> tuple[Stop, ...]:
    """What stands on the line.

    Parameters
    ----------
    case : Case
    after : sequence of mapping, one for each visit
        How likely each cause was by the end of the visit.
    catalogue : Catalogue

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> case = Case(Car(Battery(600.0)), (Visit((Reading("rest_voltage", value=12.1),), date="2026-11-20"),))
    >>> stop = stops_of(case, [{("battery", "worn"): 0.4}], load_catalogue())[0]
    >>> stop.when, stop.counted, stop.leads[-3:], stop.marks
    ('Visit 1, 2026-11-20', '1 reading', '40%', 'r')
    """
    return tuple(_stop(k, visit.date, visit.entries, after[k], catalogue) for k, visit in enumerate(case.visits))


def _stop(
    number: int, date: str, entries: tuple[Entry, ...], belief: Mapping[Key, float], catalogue: Catalogue
) -> Stop:
    acts = [entry for entry in entries if isinstance(entry, Act)]
    read = len(entries) - len(acts)
    lead = min(belief, key=lambda key: (-belief[key], key))
    marks = "".join("a" if isinstance(e, Act) else "n" if e.not_measured else "r" for e in entries)
    counted = [f"{read} reading{'s' if read != 1 else ''}"] if read or not acts else []
    return Stop(
        f"Visit {number + 1}" + (f", {date[:10]}" if date else ""),
        ", ".join([*counted, *([f"{len(acts)} piece{'s' if len(acts) != 1 else ''} of work"] if acts else [])]),
        tuple(entry_words(catalogue, act) for act in acts),
        f"{cause_words(lead, catalogue)}, {share_words(belief[lead])}",
        marks,
    )


def draw_timeline(stops: Sequence[Stop], *, width: int = 366, paper: Literal["light", "dark"] = "light") -> str:
    """The picture as SVG, visits from top to bottom.

    Parameters
    ----------
    stops : sequence of Stop
    width : int
        [px]; words are broken into lines to fit.
    paper : {"light", "dark"}

    Examples
    --------
    >>> draw_timeline([Stop("Visit 1", "1 reading", (), "Belt: slips, 40%", "r")]).count("<circle")
    2
    """
    parts, y = [], GAP
    for stop in stops:
        drawn, height = _drawn(stop, y, width, paper)
        parts.append(drawn)
        y += height + GAP
    soft = INKS[paper][1]
    rail = f'<path d="M8 {GAP:g}V{y - GAP:.1f}" stroke="{soft}" stroke-width="2"/>'
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {y:.1f}" width="{width}" height="{y:.1f}" '
        f'role="img" aria-label="Visits in order" font-family="sans-serif" font-size="{FONT}">'
        f"{rail}{''.join(parts)}</svg>"
    )


def _drawn(stop: Stop, y: float, width: int, paper: Literal["light", "dark"]) -> tuple[str, float]:
    """One visit, and how tall it is [px]."""
    ink, soft, bar = INKS[paper]
    letters = int((width - LEFT) / (FONT * 0.55))
    lines = [(stop.when, ink, True), (stop.counted, soft, False)]
    lines += [(part, ink, False) for work in stop.work for part in textwrap.wrap(work, letters)]
    lines += [(part, ink, False) for part in textwrap.wrap(f"Likeliest then: {stop.leads}", letters)]
    words = "".join(_line(text, y + LINE * k + 6.0, colour, bold) for k, (text, colour, bold) in enumerate(lines))
    bottom = y + LINE * len(lines)
    return (
        f'<circle cx="8" cy="{y:.1f}" r="7" fill="{bar}" stroke="{ink}" stroke-width="2"/>{words}'
        + _marks(stop.marks, bottom, width, ink),
        LINE * len(lines) + (LINE if stop.marks else 0.0) * _rows(stop.marks, width),
    )


def _line(text: str, y: float, colour: str, bold: bool) -> str:
    weight = ' font-weight="700"' if bold else ""
    return f'<text x="{LEFT:g}" y="{y:.1f}" fill="{colour}"{weight}>{escape(text)}</text>'


def _per_row(width: int) -> int:
    return max(int((width - LEFT) / STEP), 1)


def _rows(marks: str, width: int) -> int:
    return -(-len(marks) // _per_row(width))


def _marks(marks: str, y: float, width: int, ink: str) -> str:
    """A small mark for each entry, in order."""
    found = []
    for k, kind in enumerate(marks):
        x, at = LEFT + STEP * (k % _per_row(width)) + 6.0, y + LINE * (k // _per_row(width))
        if kind == "a":
            found.append(f'<rect x="{x - 6:.1f}" y="{at - 6:.1f}" width="12" height="12" fill="{ink}"/>')
        else:
            fill = ink if kind == "r" else "none"
            found.append(
                f'<circle cx="{x:.1f}" cy="{at:.1f}" r="4.5" fill="{fill}" stroke="{ink}" stroke-width="1.5"/>'
            )
    return "".join(found)
