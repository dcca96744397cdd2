"""Where the case stands: the verdict, whether to stop testing, what to mend, what it costs, how to prove it."""

from __future__ import annotations

from faultnet.car import CaseOutcome
from faultnet.catalogue.catalogue import Catalogue
from faultnet.decision import Advice, Decision
from faultnet.diagnosis.wording import share_words
from faultnet.report.beliefs import cause_words
from workbench.widgets.work import how
from workbench.words import money, plain


def headline(decision: Decision) -> str:
    """HTML of the decision in a line, for the first screen; nothing while testing goes on."""
    if not decision.stop:
        return ""
    cure = f", {share_words(decision.chance_of_cure)} that this is the whole cure" if decision.repair else ""
    return (
        f"<p class='fn-stop'><b>Enough tested: {plain(decision.label)}</b>{plain(cure)}. "
        "More under 'Where it stands'.</p>"
    )


def told(advice: Advice, catalogue: Catalogue) -> str:
    """HTML of the verdict and the decision."""
    decision, diagnosis = advice.decision, advice.diagnosis
    parts = [f"<p>{plain(diagnosis.summary)}</p>", f"<p>{plain(decision.because)}</p>"]
    if decision.cannot_tell:
        parts.append(f"<p>{plain(decision.cannot_tell)}</p>")
    parts.append(_repair(decision, catalogue) if decision.stop else _if_stopped_now(decision))
    return "".join(parts)


def closed(outcome: CaseOutcome, catalogue: Catalogue) -> str:
    """HTML of the confirmed end of a case."""
    causes = ", ".join(cause_words(cause, catalogue) for cause in outcome.causes) or "nothing was at fault"
    return f"<p><b>Closed: {plain(causes)}.</b></p><p>Proven by: {plain(outcome.confirmed_by)}.</p>"


def _if_stopped_now(decision: Decision) -> str:
    return (
        f"<p class='fn-note'>Mending without another test: {plain(decision.label)} first, {_cost(decision)} in all "
        f"until the last fault is mended; {plain(share_words(decision.chance_of_cure))} that the first repair is the "
        "whole cure.</p>"
    )


def _repair(decision: Decision, catalogue: Catalogue) -> str:
    parts = [f"<p class='fn-label'>What to do: {plain(decision.label)}</p>"]
    if decision.repair is not None:
        parts.append(f"<p>Chance that it is the whole cure: {plain(share_words(decision.chance_of_cure))}.</p>")
    parts.append(f"<p>Expected cost until the last fault is mended: {_cost(decision)}.</p>")
    if decision.act is not None:
        parts.append(how(catalogue.act(decision.act), catalogue))
    else:
        parts.append("<p>When a later visit is good, close the case on the page 'Entries'.</p>")
    if decision.proof:
        parts.append(
            f"<p><b>Prove it:</b> {plain(decision.proof)}. Enter the work below with how the complaint stands.</p>"
        )
    return "".join(parts)


def _cost(decision: Decision) -> str:
    return f"about {plain(money(decision.expected_cost, decision.currency))}"


def repair_of(decision: Decision) -> tuple[str, str] | None:
    """The act and the component to mend first, to stand first among the work."""
    return (decision.act, decision.repair) if decision.act and decision.repair else None


def general_cautions(catalogue: Catalogue) -> str:
    """HTML of the cautions that stand on every page."""
    items = "".join(f"<li>{plain(catalogue.cautions[c])}</li>" for c in catalogue.general_cautions)
    return f"<div class='fn-care'><ul>{items}</ul></div>"
