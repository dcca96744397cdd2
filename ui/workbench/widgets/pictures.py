"""Pictures of the library put on a page: as images, so that nothing in them can act, with their words beside them."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from typing import Literal

import streamlit as st

from faultnet.case.types import Entry
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.wording import entry_words, range_words, share_words, value_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.beliefs import LETTERS, cause_words, draw_course, leading_shares
from faultnet.report.links import draw_links
from faultnet.report.strips import DEVIATIONS_SHOWN, Strip
from faultnet.report.timeline import Stop, draw_timeline
from workbench.words import plain

NARROW, WIDE = 366, 540


def paper() -> Literal["light", "dark"]:
    """The ground the device shows pages on."""
    return "dark" if st.context.theme.type == "dark" else "light"


def image(svg: str, alt: str, kind: str = "") -> str:
    """HTML of a picture."""
    data = base64.b64encode(svg.encode()).decode()
    return f"<img class='{kind}' alt='{plain(alt)}' src='data:image/svg+xml;base64,{data}'>"


def course(beliefs: Sequence[Mapping[tuple[str, str], float]], entries: Sequence[Entry], catalogue: Catalogue) -> str:
    """HTML of the course of belief, with the legend and the entries in words."""
    keys, _ = leading_shares(beliefs)
    legend = "".join(
        f"<li><b>{LETTERS[i]}</b> {plain(cause_words(key, catalogue))}: {plain(share_words(beliefs[-1][key]))}</li>"
        for i, key in enumerate(keys)
    )
    said = "".join(f"<li>{plain(entry_words(catalogue, e))}</li>" for e in entries)
    drawn = image(draw_course(beliefs, paper=paper()), "Shares of the leading causes after each entry")
    return (
        f"<div class='fn-picture'>{drawn}</div><ul class='fn-legend'>{legend}</ul>"
        f"<p class='fn-label'>Entries along the line</p><ol class='fn-entries'>{said}</ol>"
    )


def links(diagnosis: Diagnosis) -> str:
    """HTML of what was read and what it moved."""
    drawn = [
        image(svg, "Which entry moved which cause; the same stands in words under 'What speaks for and against'", kind)
        for width, kind in ((WIDE, "fn-wide"), (NARROW, "fn-narrow"))
        if (svg := draw_links(diagnosis, width=width, paper=paper()))
    ]
    if not drawn:
        return "<p class='fn-note'>Nothing entered so far moves a cause much.</p>"
    return (
        f"<div class='fn-picture'>{''.join(drawn)}</div>"
        "<p class='fn-note'>A whole rope speaks for the cause, a broken one against it; thick means much.</p>"
    )


def visits(stops: Sequence[Stop]) -> str:
    """HTML of the visits along a line; what stands in it is its text for those who cannot see it."""
    said = ". ".join(f"{s.when}: {s.counted}. {'. '.join(s.work)} Likeliest then: {s.leads}" for s in stops)
    return (
        f"<div class='fn-picture'>{image(draw_timeline(stops, width=NARROW, paper=paper()), said)}</div>"
        "<p class='fn-note'>A full dot is a reading, an empty one could not be taken, a square is work.</p>"
    )


def strip(found: Strip) -> str:
    """HTML of one reading beside its sound range."""
    left, right = 100 * found.place(found.low), 100 * found.place(found.high)
    reach = DEVIATIONS_SHOWN * found.error
    start, end = 100 * found.place(found.value - reach), 100 * found.place(found.value + reach)
    return (
        f"<div class='fn-strip'><div class='row'><span>{plain(found.label)}</span><span class='state'>"
        f"{plain(value_words(found.value, found.unit))}, {found.verdict}</span></div>"
        f"<div class='scale' aria-hidden='true'><span class='sound' style='left:{left:.1f}%;width:{right - left:.1f}%'>"
        f"</span><span class='error' style='left:{start:.1f}%;width:{end - start:.1f}%'></span>"
        f"<span class='seen' style='left:{100 * found.place(found.value):.1f}%'></span></div>"
        f"<div class='ends'>sound car that day: {plain(range_words(found.low, found.high, found.unit))}</div></div>"
    )
