"""Sheets for paper: which one, of which case, as HTML or as PDF."""

from __future__ import annotations

from collections.abc import Collection
from pathlib import Path
from typing import Literal

from faultnet.case.types import Case
from faultnet.decision import Costs
from faultnet.errors import EntryError
from faultnet.prior_set import Catalogue

Kind = Literal["job", "blank", "plan"]
SUFFIXES = (".html", ".htm", ".pdf")


def sheet_html(
    kind: Kind,
    case: Case,
    catalogue: Catalogue,
    costs: Costs,
    *,
    tools: Collection[str] | None = None,
    temperature_unit: str = "degC",
) -> str:
    """Write one of the sheets of a case as HTML.

    Parameters
    ----------
    kind : {"job", "blank", "plan"}
        The job sheet, the sheet to take to the car, or the pocket plan.
    case : Case
    catalogue : Catalogue
    costs : Costs
    tools : collection of str, optional
        At hand; every tool when left out.
    temperature_unit : {"degC", "degF"}

    Raises
    ------
    EntryError, ClashError
        As :func:`faultnet.decision.advise`.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.decision import load_costs
    >>> "Sheet for the car" in sheet_html("blank", Case(Car(Battery(600.0))), load_catalogue(), load_costs())
    True
    """
    from faultnet.decision import advise
    from faultnet.decision.plan import pocket_plan
    from faultnet.diagnosis import work_through
    from faultnet.report import blank_sheet, course_of_belief, job_sheet, plan_sheet
    from faultnet.report.beliefs import course_with_legend
    from faultnet.report.circuit_picture import suspicion

    found = advise(case, catalogue, costs, tools=tools, robust=kind == "job")
    diagnosis = found.diagnosis
    if kind == "plan":
        tree = pocket_plan(work_through(case, catalogue), costs, tools=tools)
        return plan_sheet(case, tree, catalogue, suspects=suspicion(diagnosis))
    if kind == "blank":
        return blank_sheet(case, diagnosis, catalogue)
    course = course_with_legend(course_of_belief(case, catalogue), catalogue)
    return job_sheet(
        case,
        diagnosis,
        catalogue,
        temperature_unit=temperature_unit,
        course=course,
        decision=found.decision,
        robust=found.robust,
    )


def is_pdf(out: Path | None) -> bool:
    """Tell from the name of the file to write whether it is to be a PDF.

    Raises
    ------
    EntryError
        If the name ends in something else than ``.html`` or ``.pdf``.

    Examples
    --------
    >>> is_pdf(Path("sheet.PDF")), is_pdf(Path("sheet.html")), is_pdf(None)
    (True, False, False)
    """
    if out is None:
        return False
    if out.suffix.lower() not in SUFFIXES:
        raise EntryError(
            "this kind of file is not known",
            where="--out",
            got=repr(out.name),
            expected="a name that ends in .html or .pdf",
        )
    return out.suffix.lower() == ".pdf"
