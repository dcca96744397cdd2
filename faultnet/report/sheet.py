"""The job sheet: what was complained of, what was read and done, what it means, and what to mind."""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterator, Mapping

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.decision.advice import Decision
from faultnet.decision.robust import Robustness
from faultnet.diagnosis.result import Diagnosis, NextTest
from faultnet.diagnosis.wording import entry_words, minutes_words, money_words, range_words, share_words, worth_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.circuit_picture import draw_circuit, suspicion
from faultnet.report.glossary import listed_words
from faultnet.report.markup import escape
from faultnet.report.page import care, document, listed, table
from faultnet.report.robust import robust_sentences
from faultnet.report.strips import Strip, draw_strip, strips_of
from faultnet.report.words import LEAST_WEIGHT, car_words, conditions_words, times_words

SHOWN_CAUSES, SHOWN_TESTS = 5, 3
SIGNATURES = '<div class="sign keep"><div>Date</div><div>Name</div><div>Signature</div></div>'
SHOWN_REASONS = 5


def job_sheet(
    case: Case,
    diagnosis: Diagnosis,
    catalogue: Catalogue,
    *,
    case_id: str = "",
    temperature_unit: str = "degC",
    course: str = "",
    decision: Decision | None = None,
    photos: Mapping[str, bytes] | None = None,
    robust: Robustness | None = None,
) -> str:
    """A job sheet as an HTML document that prints on A4 and Letter.

    Parameters
    ----------
    case : Case
    diagnosis : Diagnosis
        Of this case.
    catalogue : Catalogue
    case_id : str
        Under which the case is kept.
    temperature_unit : {"degC", "degF"}
    course : str
        The course of belief, of :func:`faultnet.report.beliefs.course_with_legend`, to be printed with it.
    decision : Decision, optional
        What to do, to be printed with its proof.
    photos : mapping of id to bytes, optional
        JPEG files of the photos that entries and visits name; those that are missing are left out.
    robust : Robustness, optional
        Whether the verdict holds when base rates and estimates are off, to be printed with it.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet import advise
    >>> case = Case(Car(Battery(600.0)), complaint="slow")
    >>> sheet = job_sheet(case, advise(case, load_catalogue()).diagnosis, load_catalogue())
    >>> "Complaint: slow" in sheet, "come first" in sheet
    (True, True)
    """
    currency = "" if decision is None else decision.currency
    body = [_head(case, case_id), _verdict(case, diagnosis, catalogue, decision, robust)]
    body.append(f'<div class="picture circuit keep">{draw_circuit(suspicion(diagnosis), catalogue)}</div>')
    strips = iter(strips_of(case, diagnosis, catalogue))
    seen = {(s.visit, s.entry) for s in diagnosis.seen if s.value is not None and s.sound_range is not None}
    for number, visit in enumerate(case.visits):
        body.append(_visit(number, visit, catalogue, seen, strips, temperature_unit))
        body.append(_photos(visit, photos or {}))
    body += [
        _reasons(diagnosis),
        f'<div class="picture keep"><h2>Course of belief</h2>{course}</div>' if course else "",
    ]
    body += [
        _next(case, diagnosis, catalogue, currency),
        care(_cautions(case, diagnosis, catalogue, decision)),
        SIGNATURES,
    ]
    body.append(listed_words("".join(body), catalogue.words))
    return document(f"Job sheet {case.name or case_id}".strip(), body)


def _head(case: Case, case_id: str) -> str:
    marks = " (invented)" if case.invented else ""
    kept = f'<p class="quiet">Case {escape(case_id)}</p>' if case_id else ""
    return (
        f"<h1>Job sheet: {escape(case.name or case.car.label or 'a car')}{marks}</h1>{kept}"
        f"<p>{escape(car_words(case.car))}</p><p><b>Complaint: {escape(case.complaint or 'none given')}</b></p>"
    )


def _recommended(decision: Decision, diagnosis: Diagnosis) -> str:
    """What is recommended with its proof, and the next test where one is still worth its cost."""
    said = []
    if decision.leads or decision.stop:
        hardly = "to try first as it takes little; hardly the whole cure"
        whole = hardly if decision.hardly else "chance that it is the whole cure"
        cure = f"; {whole}: {share_words(decision.chance_of_cure)}" if decision.repair else ""
        if decision.by_need:
            cure = f"; chance that it is needed: {share_words(decision.chance_needed)}{cure}"
        work = f"; {minutes_words(decision.minutes)} of work" if decision.minutes else ""
        money = money_words(decision.expected_cost, decision.currency)
        cost = f"; cost to expect: {money}" if money else ""
        said.append(f"<p><b>Recommended: {escape(decision.label)}</b>{escape(cure + work + cost)}.</p>")
        if decision.proof:
            said.append(f"<p><b>Proof afterwards:</b> {escape(decision.proof)}.</p>")
    if not decision.stop and diagnosis.next_tests:
        said.append(f"<p><b>Next test:</b> {escape(diagnosis.next_tests[0].label)}.</p>")
    return "".join(said)


def _verdict(
    case: Case, diagnosis: Diagnosis, catalogue: Catalogue, decision: Decision | None, robust: Robustness | None
) -> str:
    rows = [
        (escape(c.label), share_words(c.probability), share_words(c.still_there), share_words(c.prior))
        for c in diagnosis.causes[:SHOWN_CAUSES]
        if c.probability >= catalogue.number("explained_from")
    ]
    rows.append(("No part at fault", share_words(diagnosis.nothing_wrong), "", ""))
    parts = ["<h2>Verdict</h2>", f"<p>{escape(diagnosis.summary)}</p>"]
    if case.outcome is not None:
        parts.append(_outcome(case, catalogue))
    elif decision is not None:
        parts.append(_recommended(decision, diagnosis))
    elif diagnosis.causes[0].probability >= catalogue.number("sure_from"):
        act, part = catalogue.act(diagnosis.causes[0].repair), catalogue.component(diagnosis.causes[0].component)
        parts.append(f"<p><b>What repairs it: {escape(act.label)} ({escape(part.label)})</b></p>")
    if case.outcome is None and robust is not None:
        parts += [f"<p>{escape(said)}</p>" for said in robust_sentences(robust, catalogue)]
    parts.append(table(("Cause", "At fault in this case", "Still there", "Before any entry"), rows))
    parts += [f"<p><b>Measure again:</b> {escape(clash)}</p>" for clash in diagnosis.clashes]
    return "".join(parts)


def _outcome(case: Case, catalogue: Catalogue) -> str:
    assert case.outcome is not None
    labels = []
    for component, mode in case.outcome.causes:
        spec = catalogue.component(component)
        labels.append(f"{spec.label}: {next((m.label for m in spec.modes if m.id == mode), mode)}")
    found = ", ".join(labels) or "nothing was at fault"
    return f"<p><b>Closed: {escape(found)}.</b> Proven by: {escape(case.outcome.confirmed_by)}</p>"


def _visit(
    number: int, visit: Visit, catalogue: Catalogue, seen: set[tuple[int, int]], strips: Iterator[Strip], unit: str
) -> str:
    rows = []
    for k, entry in enumerate(visit.entries):
        strip = next(strips) if (number, k) in seen else None
        sound = f"{range_words(strip.low, strip.high, strip.unit)}: {strip.verdict}" if strip else ""
        note = f'<br><span class="quiet">{escape(entry.note)}</span>' if entry.note else ""
        rows.append((f"{_said(entry, catalogue)}{note}", draw_strip(strip) if strip else "", escape(sound)))
    date = f", {visit.date}" if visit.date else ""
    told = f"<h2>Visit {number + 1}{escape(date)}</h2><p>{escape(conditions_words(visit.conditions, unit))}</p>"
    return told + (table(("Reading or work", "Beside a sound car", "Sound car that day"), rows) if rows else "")


def _photos(visit: Visit, photos: Mapping[str, bytes]) -> str:
    """Photos of a visit and of its entries, with their captions."""
    named = [*visit.photos, *(photo for entry in visit.entries for photo in entry.photos)]
    figures = (
        f'<figure class="keep"><img alt="{escape(photo.caption or "photo")}" '
        f'src="data:image/jpeg;base64,{b64encode(photos[photo.id]).decode()}">'
        f"<figcaption>{escape(photo.caption)}</figcaption></figure>"
        for photo in named
        if photo.id in photos
    )
    return "".join(figures)


def _said(entry: Reading | Act, catalogue: Catalogue) -> str:
    words = escape(entry_words(catalogue, entry))
    return f"<b>Work:</b> {words}" if isinstance(entry, Act) else words


def _reasons(diagnosis: Diagnosis) -> str:
    parts = []
    for cause in diagnosis.causes[:2]:
        found = diagnosis.reasons.get(f"{cause.component}:{cause.mode}", ())
        told = [f"{r.said}: {times_words(r.weight)}" for r in found[:SHOWN_REASONS] if abs(r.weight) >= LEAST_WEIGHT]
        if told:
            parts.append(f'<div class="keep"><p><b>{escape(cause.label)}</b></p>{listed(told)}</div>')
    return f"<h2>Reasons</h2>{''.join(parts)}" if parts else ""


def _coming(case: Case, diagnosis: Diagnosis) -> tuple[NextTest, ...]:
    """The next tests of a case that is still open, as many as the sheet names."""
    return () if case.outcome is not None else diagnosis.next_tests[:SHOWN_TESTS]


def _next(case: Case, diagnosis: Diagnosis, catalogue: Catalogue, currency: str) -> str:
    lines = []
    for test in _coming(case, diagnosis):
        mind = " ".join(catalogue.short_cautions(catalogue.test(test.test).cautions))
        lines.append(f"{test.label} ({worth_words(test, currency)})." + (f" Take care: {mind}" if mind else ""))
    return f"<h2>Next tests, best first</h2>{listed(lines, 'ol')}" if lines else ""


def _cautions(case: Case, diagnosis: Diagnosis, catalogue: Catalogue, decision: Decision | None) -> list[str]:
    """The general ones, and in full those of the tests that come next and of what is to be done, the worst first."""
    called = {c for t in _coming(case, diagnosis) for c in catalogue.test(t.test).cautions}
    first = diagnosis.causes[0]
    act, part = (first.repair, first.component) if decision is None else (decision.act, decision.repair)
    if case.outcome is None and act:
        called.update(catalogue.act(act).cautions_for(part))
    ids = dict.fromkeys((*catalogue.general_cautions, *(c for c in catalogue.cautions if c in called)))
    return [catalogue.cautions[c] for c in ids]
