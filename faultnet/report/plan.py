"""The pocket plan on paper: what to test, what to do after each outcome, down to a repair with its proof."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from faultnet.case.types import Case
from faultnet.decision.plan import Knot, Leaf
from faultnet.diagnosis.wording import share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.circuit import PROBES
from faultnet.report.circuit_picture import draw_circuit
from faultnet.report.markup import escape
from faultnet.report.page import document, listed
from faultnet.report.words import car_words

STYLE = """<style>
@page { margin: 10mm; } body { font-size: 8.5pt; line-height: 1.2; padding: 0; } h2 { margin-top: 3mm; }
.tick { width: 3mm; height: 3mm; margin: 0 1mm 0 1mm; vertical-align: -.4mm; }
.tree, .tree ul { list-style: none; margin: 0; padding: 0; }
.tree ul { margin-left: 3mm; }
.tree ul > li { position: relative; padding: .5mm 0 .5mm 5mm; border-left: .35mm solid #111; }
.tree ul > li:last-child { border-left-color: transparent; }
.tree ul > li::before { content: ""; position: absolute; left: -.35mm; top: 0; width: 4mm; height: 3.2mm;
  border-left: .35mm solid #111; border-bottom: .35mm solid #111; }
.knot, .end, .next { display: inline-block; padding: .3mm 1.5mm; margin-left: 1.5mm; }
.knot { border: .35mm solid #111; border-radius: 1mm; font-weight: bold; }
.end { border: .8mm solid #111; } .next { border: .35mm dashed #111; }
.how { columns: 2; column-gap: 6mm; } .how ol { padding-left: 5mm; } .how .keep { margin-bottom: 2mm; }
.mind { border-left: 1mm solid #111; padding-left: 1.5mm; margin: 0; }
.top td { border: 0; } .top td + td { width: 66mm; }
</style>"""


def plan_sheet(
    case: Case,
    plan: Knot | Leaf,
    catalogue: Catalogue,
    *,
    case_id: str = "",
    suspects: Mapping[str, float] | None = None,
) -> str:
    """A contingency tree as an HTML document that prints on A4 and Letter.

    Parameters
    ----------
    case : Case
    plan : Knot or Leaf
        Of :func:`faultnet.decision.plan.pocket_plan`.
    catalogue : Catalogue
    case_id : str
        Under which the case is kept.
    suspects : mapping of component to float, optional
        How suspect each part is [-], for the picture of the circuit; see
        :func:`faultnet.report.circuit_picture.suspicion`.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> leaf = Leaf(1.0, "belt", "repair: Belt", "Voltage at idle: 13.7 V to 14.5 V", 0.9)
    >>> "Prove it: Voltage at idle" in plan_sheet(Case(Car(Battery(600.0))), leaf, load_catalogue())
    True
    """
    head = (
        f"<h1>Pocket plan: {escape(case.name or case.car.label or 'a car')}</h1>"
        f"<p class='quiet'>{escape(case_id)}</p>"
        f"<p>{escape(car_words(case.car))}</p><p><b>Complaint: {escape(case.complaint or 'none given')}</b></p>"
    )
    numbers = {test: k for k, test in enumerate(dict.fromkeys(_tests(plan)), start=1)}
    first = PROBES.get(plan.test) if isinstance(plan, Knot) else None
    picture = draw_circuit(suspects or {}, catalogue, first)
    general = "".join(f'<p class="mind">{escape(catalogue.cautions[c])}</p>' for c in catalogue.general_cautions)
    tree = f'<ul class="tree"><li>{_step(plan, numbers)}</li></ul>'
    top = f'<table class="top"><tr><td>{head}{general}</td><td><div class="picture">{picture}</div></td></tr></table>'
    return document("Pocket plan", [STYLE, top, tree, _how(numbers, catalogue)])


def _tests(plan: Knot | Leaf) -> Iterator[str]:
    if isinstance(plan, Knot):
        yield plan.test
        for _, then in plan.branches:
            yield from _tests(then)


def _step(plan: Knot | Leaf, numbers: Mapping[str, int]) -> str:
    if isinstance(plan, Leaf):
        cure = f" (whole cure {share_words(plan.chance_of_cure)})" if plan.repair else ""
        proof = f" Prove it: {plan.proof}." if plan.proof else ""
        look = "end" if plan.repair else "next"
        return f'<span class="{look}">{escape(f"{plan.words}{cure}.{proof}")}</span>'
    branches = "".join(
        f"<li><span class='tick'></span>{escape(outcome)} "
        f"({share_words(then.chance / max(plan.chance, 1e-12))}){_step(then, numbers)}</li>"
        for outcome, then in plan.branches
    )
    return f'<span class="knot">{numbers[plan.test]} · {escape(plan.words)}</span><ul>{branches}</ul>'


def _how(numbers: Mapping[str, int], catalogue: Catalogue) -> str:
    """How each test of the tree is done, every caution that its steps call for before them, the worst first."""
    parts = []
    for test, number in numbers.items():
        spec = catalogue.test(test)
        needs = [catalogue.preconditions[n] for n in spec.needs]
        care = escape(" ".join(catalogue.short_cautions(spec.cautions)))
        mind = f'<p class="mind">{care}</p>' if care else ""
        steps = listed([*needs, *spec.steps], "ol")
        parts.append(f'<div class="keep"><p><b>{number} · {escape(spec.label)}</b></p>{mind}{steps}</div>')
    return f'<h2>How</h2><div class="how">{"".join(parts)}</div>' if parts else ""
