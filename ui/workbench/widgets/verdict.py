"""Where the case stands: the verdict, whether to stop testing, what to mend, what it costs, how to prove it."""

from __future__ import annotations

from faultnet.case.types import Act, Case, CaseOutcome
from faultnet.decision import Advice, Decision
from faultnet.decision.robust import Robustness
from faultnet.diagnosis.needs import is_disabled
from faultnet.diagnosis.wording import share_words
from faultnet.prior_set.catalogue import Catalogue
from faultnet.report.beliefs import cause_words
from faultnet.report.robust import robust_line
from workbench.widgets.work import how
from workbench.words import FUEL_IS_OFF, PROOFS, minutes, money, plain

STANDS = "where-it-stands"


def headline(decision: Decision, case: Case) -> str:
    """HTML of the decision in a line, for the first screen.

    While testing goes on, it stands there only when the first repair is well founded, which nobody should have to look
    for. Once enough was tested, what to do stands right below.
    """
    cure = f", {share_words(decision.chance_of_cure)} that this is the whole cure" if decision.repair else ""
    if decision.by_need:
        cure = f", {share_words(decision.chance_needed)} that it is needed{cure}"
    more = f"<a href='#{STANDS}' target='_self'>Why, and how to do it</a>"
    if decision.stop and decision.hardly:
        chance = share_words(decision.chance_of_cure)
        cure = f". Hardly the whole cure ({chance}): the likeliest cause stands above and comes next"
    if decision.stop:
        what = f"{_why_stop(decision, case)}: {plain(what_to_do(decision, case))}"
        return f"<p class='fn-stop'><b>{what}</b>{plain(cure)}.</p>"
    if not decision.leads:
        return ""
    test = "is for what else may be wrong" if decision.by_need else "is still worth its time before that"
    return (
        f"<p class='fn-stop'><b>To repair first: {plain(decision.label)}</b>{plain(cure)}. The test below {test}. "
        f"{more}</p>"
    )


def _why_stop(decision: Decision, case: Case) -> str:
    if decision.founded:
        nothing = decision.repair is None and not _was_worked_on(case)
        return "Enough tested, nothing found" if nothing else "Enough tested"
    if decision.hardly:
        return "No test left is worth its time. Not sure; to try first, as it takes little"
    return f"No test left is worth its time. {'Not sure, but first to try' if decision.repair else 'Not sure'}"


def what_to_do(decision: Decision, case: Case) -> str:
    """The decision in a few words; a car that was mended is not given back 'as it is'."""
    work = [entry for visit in case.visits for entry in visit.entries if isinstance(entry, Act) and entry.outcome]
    if decision.repair is None and work and work[-1].outcome == "cured":
        return "give the car back, the last work has cured it as far as can be told"
    return decision.label


def told(advice: Advice) -> str:
    """HTML of the verdict, and why to stop or to go on."""
    decision, diagnosis = advice.decision, advice.diagnosis
    parts = [f"<p>{plain(diagnosis.summary)}</p>", f"<p>{plain(decision.because)}</p>"]
    if decision.cannot_tell:
        parts.append(f"<p>{plain(decision.cannot_tell)}</p>")
    return "".join(parts)


def to_do(decision: Decision, case: Case, catalogue: Catalogue) -> str:
    """HTML of the repair and how to do it, or of what it would be without another test."""
    return _repair(decision, case, catalogue) if decision.stop else _if_stopped_now(decision)


def holds(found: Robustness, catalogue: Catalogue) -> str:
    """HTML of the line that says whether the verdict holds when base rates are off; empty while nothing is decided."""
    said = robust_line(found, catalogue)
    return f"<p class='fn-robust'>{plain(said)}</p>" if said else ""


def closed(outcome: CaseOutcome, catalogue: Catalogue) -> str:
    """HTML of the confirmed end of a case."""
    causes = ", ".join(cause_words(cause, catalogue) for cause in outcome.causes) or "nothing was at fault"
    sort = f" ({PROOFS[outcome.proof].lower()})" if outcome.proof is not None else ""
    return f"<p><b>Closed: {plain(causes)}.</b></p><p>Proven by: {plain(outcome.confirmed_by)}{sort}.</p>"


def _if_stopped_now(decision: Decision) -> str:
    if decision.repair is None:
        return f"<p class='fn-note'>Without another test: {plain(decision.label)}.{_left_after_all(decision)}</p>"
    cost = f" About {_money(decision)} in all until the last fault is repaired." if decision.currency else ""
    return (
        f"<p class='fn-note'>Repairing without another test: {plain(decision.label)} first, "
        f"{minutes(decision.minutes)} of work; {plain(share_words(decision.chance_of_cure))} that it is the whole "
        f"cure.{cost}</p>"
    )


def _repair(decision: Decision, case: Case, catalogue: Catalogue) -> str:
    parts = [f"<p class='fn-label'>What to do: {plain(what_to_do(decision, case))}</p>"]
    if is_disabled(case.visits[-1], catalogue):
        parts.append(f"<p><b>{FUEL_IS_OFF}</b></p>")
    if decision.repair is not None:
        needed = f"Chance that it is needed: {share_words(decision.chance_needed)}. " * decision.by_need
        whole = f"Chance that it is the whole cure: {share_words(decision.chance_of_cure)}."
        parts.append(f"<p>{plain(needed + whole)}</p>")
        if decision.currency:
            parts.append(f"<p>Expected cost until the last fault is repaired: about {_money(decision)}.</p>")
    elif decision.currency:
        parts.append(f"<p>{_left_after_all(decision)}</p>")
    if decision.act is not None:
        parts.append(how(catalogue.act(decision.act), catalogue, decision.repair))
    else:
        when = "When a later visit is good, close" if decision.repair or _was_worked_on(case) else "Close"
        parts.append(f"<p>{when} the case on the page 'Entries'.</p>")
    if decision.proof:
        parts.append(
            f"<p><b>Prove it:</b> {plain(decision.proof)}. Enter the work below with how the complaint stands.</p>"
        )
    return "".join(parts)


def _was_worked_on(case: Case) -> bool:
    acts = [entry for visit in case.visits for entry in visit.entries if isinstance(entry, Act)]
    return any(act.outcome or act.component for act in acts)


def _left_after_all(decision: Decision) -> str:
    """What a fault that is left would cost; nothing where it is not known in which money."""
    if not decision.currency:
        return ""
    return f" A fault that is left after all would cost about {_money(decision)} on average over such cars."


def _money(decision: Decision) -> str:
    return plain(money(decision.expected_cost, decision.currency))


def repair_of(decision: Decision) -> tuple[str, str] | None:
    """The act and the component to mend first, to stand first among the work."""
    return (decision.act, decision.repair) if decision.act and decision.repair else None


def general_cautions(catalogue: Catalogue) -> str:
    """HTML of the cautions that stand on every page."""
    items = "".join(f"<li>{plain(catalogue.cautions[c])}</li>" for c in catalogue.general_cautions)
    return f"<div class='fn-care'><ul>{items}</ul></div>"
