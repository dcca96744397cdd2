"""The sheet to take to the car: the best next tests with steps, cautions, and room to write the readings."""

from __future__ import annotations

from faultnet.case.types import Case
from faultnet.diagnosis.result import Diagnosis, NextTest
from faultnet.diagnosis.wording import range_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.markup import escape
from faultnet.report.page import care, document, listed
from faultnet.report.words import car_words

SHOWN_TESTS = 8


def blank_sheet(
    case: Case, diagnosis: Diagnosis, catalogue: Catalogue, *, case_id: str = "", count: int = SHOWN_TESTS
) -> str:
    """A sheet with empty boxes as an HTML document that prints on A4 and Letter.

    Parameters
    ----------
    case : Case
    diagnosis : Diagnosis
        Of this case.
    catalogue : Catalogue
    case_id : str
        Under which the case is kept.
    count : int
        At most so many tests.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet import advise
    >>> case = Case(Car(Battery(600.0)))
    >>> diagnosis = advise(case, load_catalogue()).diagnosis
    >>> blank_sheet(case, diagnosis, load_catalogue(), count=3).count('class="test keep"')
    3
    """
    tests = diagnosis.next_tests[:count]
    head = (
        f"<h1>At the car: {escape(case.name or case.car.label or 'a car')}</h1><p class='quiet'>{escape(case_id)}</p>"
        f"<p>{escape(car_words(case.car))}</p><p><b>Complaint: {escape(case.complaint or 'none given')}</b></p>"
        "<p>Air <span class='box'></span> Hours standing <span class='box'></span> Date <span class='box'></span></p>"
    )
    general = care(catalogue.cautions[c] for c in catalogue.general_cautions)
    notes = "<h2>Notes</h2>" + '<div class="line"></div>' * 4
    return document(
        "Sheet for the car", [head, general, *(_test(k, t, catalogue) for k, t in enumerate(tests, 1)), notes]
    )


def _test(number: int, test: NextTest, catalogue: Catalogue) -> str:
    spec = catalogue.test(test.test)
    tools = f"<p>Tools: {escape(', '.join(test.tools))}</p>" if test.tools else ""
    first = f"<p>First: {escape(' '.join(test.prepare))}</p>" if test.prepare else ""
    mind = care(catalogue.short_cautions(spec.cautions))
    return (
        f'<div class="test keep"><h2>{number}. {escape(test.label)}</h2>{mind}{first}{tools}'
        f"{listed(test.steps, 'ol')}<p>{_answer(test, spec.choices)}</p></div>"
    )


def _answer(test: NextTest, choices: tuple[tuple[str, str], ...]) -> str:
    if choices:
        return "".join(f'<span class="tick"></span>{escape(label)}' for _, label in choices)
    unit = "" if test.unit == "-" else f" {escape(test.unit)}"
    sound = f" &nbsp; sound car today: {escape(range_words(*test.sound_range, test.unit))}" if test.sound_range else ""
    return f'<span class="box"></span>{unit}{sound}'
