"""Where the case stands in words, and what would mend the leading cause."""

from __future__ import annotations

from faultnet.catalogue.catalogue import Catalogue
from faultnet.diagnosis import Diagnosis
from faultnet.report.words import share_words
from workbench.widgets.work import how
from workbench.words import plain

ENOUGH = 0.8
NAMED = 0.3


def told(diagnosis: Diagnosis, catalogue: Catalogue) -> str:
    """HTML of the verdict, and from a fair belief on of the repair and its proof."""
    parts = [f"<p>{plain(diagnosis.summary)}</p>"]
    first = diagnosis.causes[0]
    if first.probability >= NAMED and first.probability > diagnosis.nothing_wrong:
        parts.append(f"<p>{plain(first.explanation)} {plain(first.shows)}</p>")
    if first.probability >= ENOUGH and first.repair:
        act = catalogue.act(first.repair)
        part = catalogue.component(first.component).label
        parts.append(
            f"<p class='fn-label'>What mends it: {plain(act.label)} ({plain(part)})</p>{how(act, catalogue)}"
            "<p>Before money is spent: repeat the reading that speaks most for it. Afterwards: repeat the readings "
            "that were not sound, enter the work below with how the complaint stands, and close the case when a "
            "later visit is good.</p>"
        )
    elif first.probability >= NAMED:
        parts.append(
            f"<p class='fn-note'>{plain(share_words(first.probability))} is not enough to spend money on; "
            "the next test tells more.</p>"
        )
    return "".join(parts)


def repair_of(diagnosis: Diagnosis) -> tuple[str, str] | None:
    """The act and the component that would mend the leading cause."""
    first = diagnosis.causes[0]
    return (first.repair, first.component) if first.repair and first.probability >= NAMED else None


def general_cautions(catalogue: Catalogue) -> str:
    """HTML of the cautions that stand on every page."""
    items = "".join(f"<li>{plain(catalogue.cautions[c])}</li>" for c in catalogue.general_cautions)
    return f"<div class='fn-care'><ul>{items}</ul></div>"
