"""Reasons: all likely causes, what speaks for and against each, readings beside a sound car, the course of belief."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st
from workbench import frame, state
from workbench.answers import answer, belief, catalogue, counted, places, present, robust, until
from workbench.widgets import causes, pictures, why
from workbench.words import plain

from faultnet.case.types import Case
from faultnet.diagnosis import Diagnosis
from faultnet.diagnosis.hinges import overturning, overturning_words
from faultnet.errors import ClashError
from faultnet.report.robust import robust_sentences
from faultnet.report.strips import strips_of
from faultnet.report.timeline import stops_of

SHOWN = 8


def show() -> None:
    """Draw the page."""
    opened = frame.begin()
    if opened is None:
        return
    case = counted(opened.case, state.shop())
    diagnosis = answer(case, state.shop()).diagnosis
    left, right = st.columns(2, gap="medium")
    with left:
        frame.title("How likely each cause is")
        now, was = present(case), belief(case)
        frame.told(causes.bars(now, None, catalogue(), SHOWN) + causes.mended(was, now, catalogue()))
        frame.note("Faults can come together, so that the shares need not add up to 100 %.")
        _reasons(diagnosis)
        _hinges(case, diagnosis)
    with right:
        _visits(case)
        _course(case)
        found = strips_of(case, diagnosis, catalogue())
        if found:
            frame.title("Readings beside a sound car")
            frame.told("".join(pictures.strip(s) for s in found))
    frame.title("What hangs together in this case")
    st.html(pictures.links(diagnosis))


def _hinges(case: Case, diagnosis: Diagnosis) -> None:
    """What could change the verdict: one more reading, other base rates, other estimates."""
    frame.title("What could change the verdict")
    said = [
        overturning_words(overturning(diagnosis, catalogue())),
        *robust_sentences(robust(case, state.shop(), whole=True), catalogue()),
    ]
    frame.told("".join(f"<p>{plain(words)}</p>" for words in said))


def _reasons(diagnosis: Diagnosis) -> None:
    told = [c for c in diagnosis.causes if why.is_told(diagnosis, c)]
    if told and diagnosis.entries:
        frame.title("What speaks for and against")
        frame.told("".join(why.reasons(diagnosis, c, most=12) for c in told))


def _visits(case: Case) -> None:
    """The visits along a line; a first visit alone is told by its entries."""
    if len(case.visits) < 2:
        return
    try:
        after = [present(replace(case, visits=case.visits[: k + 1])) for k in range(len(case.visits))]
    except ClashError:
        return
    frame.title("Visits")
    st.html(pictures.visits(stops_of(case, after, catalogue())))


def _course(case: Case) -> None:
    done = places(case)
    if not done:
        return
    try:
        beliefs = [belief(until(case, k)) for k in range(len(done) + 1)]
    except ClashError:
        return
    frame.title("Course of belief")
    frame.told(pictures.course(beliefs, [p.entry for p in done], catalogue()))


show()
