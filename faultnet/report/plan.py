"""The pocket plan on paper: what to test, what to do after each outcome, down to a repair with its proof."""

from __future__ import annotations

from collections.abc import Iterator

from faultnet.case.types import Case
from faultnet.decision.plan import Knot, Leaf
from faultnet.diagnosis.wording import share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.markup import escape
from faultnet.report.page import care, document, listed
from faultnet.report.words import car_words


def plan_sheet(case: Case, plan: Knot | Leaf, catalogue: Catalogue, *, case_id: str = "") -> str:
    """A contingency tree as an HTML document that prints on A4 and Letter.

    Parameters
    ----------
    case : Case
    plan : Knot or Leaf
        Of :func:`faultnet.decision.plan.pocket_plan`.
    catalogue : Catalogue
    case_id : str
        Under which the case is kept.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> leaf = Leaf(1.0, "belt", "mend: Belt", "Voltage at idle: 13.7 V to 14.5 V", 0.9)
    >>> "Prove it: Voltage at idle" in plan_sheet(Case(Car(Battery(600.0))), leaf, load_catalogue())
    True
    """
    head = (
        f"<h1>Pocket plan: {escape(case.name or case.car.label or 'a car')}</h1><p class='quiet'>{escape(case_id)}</p>"
        f"<p>{escape(car_words(case.car))}</p><p><b>Complaint: {escape(case.complaint or 'none given')}</b></p>"
    )
    tests = tuple(dict.fromkeys(_tests(plan)))
    cautions = [*catalogue.general_cautions, *(c for t in tests for c in catalogue.test(t).cautions)]
    warned = care(catalogue.cautions[c] for c in dict.fromkeys(cautions))
    return document("Pocket plan", [head, f"<ul class='plan'>{_step(plan)}</ul>", _how(tests, catalogue), warned])


def _tests(plan: Knot | Leaf) -> Iterator[str]:
    if isinstance(plan, Knot):
        yield plan.test
        for _, then in plan.branches:
            yield from _tests(then)


def _step(plan: Knot | Leaf) -> str:
    if isinstance(plan, Leaf):
        cure = f" (whole cure {share_words(plan.chance_of_cure)})" if plan.repair else ""
        proof = f" Prove it: {plan.proof}." if plan.proof else ""
        return f"<li class='keep'>{escape(f'{plan.words}{cure}.{proof}')}</li>"
    branches = "".join(
        f"<li><span class='tick'></span><b>{escape(outcome)}</b> "
        f"({share_words(then.chance / max(plan.chance, 1e-12))})<ul>{_step(then)}</ul></li>"
        for outcome, then in plan.branches
    )
    return f"<li><b>Test: {escape(plan.words)}</b><ul>{branches}</ul></li>"


def _how(tests: tuple[str, ...], catalogue: Catalogue) -> str:
    parts = []
    for test in tests:
        spec = catalogue.test(test)
        needs = [catalogue.preconditions[n] for n in spec.needs]
        parts.append(f'<div class="keep"><p><b>{escape(spec.label)}</b></p>{listed([*needs, *spec.steps], "ol")}</div>')
    return f"<h2>How</h2>{''.join(parts)}" if parts else ""
