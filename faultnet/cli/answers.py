"""Answers as plain dictionaries, ready to be written as JSON; DEVELOPERS.md documents their shapes."""

from __future__ import annotations

from dataclasses import asdict, replace
from typing import TYPE_CHECKING, Any

from faultnet.case.types import Case
from faultnet.prior_set import ActSpec, Catalogue, Component, Instrument, Test

UNFOUNDED = "no repair is well founded"

if TYPE_CHECKING:  # importing it brings numpy, which `catalogue` does without
    from faultnet.decision import Advice, Decision
    from faultnet.decision.robust import Robustness
    from faultnet.decision.tools import ToolWorth
    from faultnet.diagnosis.result import Diagnosis, NextTest


def advice_answer(found: Advice, catalogue: Catalogue) -> dict[str, Any]:
    """Give advice as a dictionary: the diagnosis, the decision, and the reasons in sentences.

    Parameters
    ----------
    found : Advice
    catalogue : Catalogue
    """
    return {
        **diagnosis_answer(found.diagnosis),
        "decision": _decision(found.decision),
        "robust": None if found.robust is None else robust_answer(found.robust, catalogue),
        "why": why_sentences(found, catalogue),
    }


def _decision(decision: Decision) -> dict[str, Any]:
    """A decision in which a repair that is not well founded is not named."""
    if not decision.founded:
        decision = replace(decision, repair=None, act=None, label=UNFOUNDED, proof="")
    return asdict(decision)


def why_sentences(found: Advice, catalogue: Catalogue) -> list[str]:
    """Say what speaks for and against the leading cause, what would overturn it, and what it depends on."""
    from faultnet.report.words import LEAST_WEIGHT

    said = []
    leader = found.diagnosis.causes[0]
    for reason in found.diagnosis.reasons.get(f"{leader.component}:{leader.mode}", ()):
        if abs(reason.weight) >= LEAST_WEIGHT:
            times = 10.0 ** (abs(reason.weight) / 10.0)
            side = "more" if reason.weight > 0 else "less"
            said.append(f"{reason.said} makes {leader.label} {times:.3g} times {side} likely beside the rest.")
    return [*said, *depends_on(found, catalogue)]


def depends_on(found: Advice, catalogue: Catalogue) -> list[str]:
    """Say which reading would overturn the verdict, and whether it holds when the numbers behind it are off."""
    from faultnet.diagnosis.hinges import overturning, overturning_words
    from faultnet.report.robust import robust_sentences

    robust = [] if found.robust is None else robust_sentences(found.robust, catalogue)
    return [overturning_words(overturning(found.diagnosis, catalogue)), *robust]


def robust_answer(found: Robustness, catalogue: Catalogue) -> dict[str, Any]:
    """Give as a dictionary whether a verdict holds, and what would turn or settle it."""
    from faultnet.report.robust import robust_line

    claims = {"cause": found.cause, "repair": found.repair, "next": found.next}
    return {
        "grade": None if found.verdict is None else found.verdict.grade,
        "said": robust_line(found, catalogue),
        "off_by": found.off_by,
        "symptom_off_by": found.symptom_off_by,
        **{name: None if claim is None else {**asdict(claim), "grade": claim.grade} for name, claim in claims.items()},
        "cure": found.cure,
        "settles": None if found.settles is None else asdict(found.settles),
    }


def tools_answer(found: tuple[ToolWorth, ...], case: Case) -> dict[str, Any]:
    """Give the worth of tools as a dictionary."""
    return {"case": case.name, "tools": [asdict(worth) for worth in found]}


def diagnosis_answer(found: Diagnosis) -> dict[str, Any]:
    """Give a diagnosis as a dictionary.

    Parameters
    ----------
    found : Diagnosis

    Returns
    -------
    dict
        Probabilities in [-], information in [bit], times in [min], weights and surprises in [decibans].
    """
    named = ("component", "mode", "label", "probability", "prior", "still_there", "repair")
    return {
        "case": found.case,
        "summary": found.summary,
        "causes": [{name: getattr(cause, name) for name in named} for cause in found.causes],
        "components": found.components,
        "nothing_wrong": found.nothing_wrong,
        "next_tests": [_next_test(test) for test in found.next_tests],
        "reasons": {cause: [asdict(reason) for reason in reasons] for cause, reasons in found.reasons.items()},
        "seen": [asdict(seen) for seen in found.seen],
        "clashes": list(found.clashes),
        "dropped_prior_mass": found.dropped_prior_mass,
        "cautions": list(found.cautions),
    }


def _next_test(test: NextTest) -> dict[str, Any]:
    named = (
        "test",
        "label",
        "bits",
        "minutes",
        "prepare",
        "tools",
        "cautions",
        "sound_range",
        "unit",
        "saving",
        "price",
        "waits",
        "together",
        "spares",
    )
    more = {"bits_per_minute": test.bits_per_minute, "outcomes": [asdict(outcome) for outcome in test.outcomes]}
    return {**{name: getattr(test, name) for name in named}, **more, "because": test.because}


def validation_answer(case: Case) -> dict[str, Any]:
    """Say what an accepted case holds."""
    entries = sum(len(visit.entries) for visit in case.visits)
    return {"case": case.name, "accepted": True, "visits": len(case.visits), "entries": entries}


def catalogue_answer(catalogue: Catalogue) -> dict[str, Any]:
    """Give the catalogue as a dictionary; modes and choices by their ids, with the labels beside them.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> catalogue_answer(load_catalogue())["components"][1]["modes"]
    ['sound', 'slack', 'corroded']
    """
    return {
        "prior_set": {"name": catalogue.name, "version": catalogue.version},
        "components": [_component(component) for component in catalogue.components],
        "tests": [_test(test, catalogue) for test in catalogue.tests],
        "instruments": [_instrument(instrument) for instrument in catalogue.instruments],
        "acts": [_act(act, catalogue) for act in catalogue.acts],
        "cautions": [catalogue.cautions[name] for name in catalogue.general_cautions],
        "words": catalogue.words,
        "complaints": [asdict(complaint) for complaint in catalogue.complaints],
    }


def _component(component: Component) -> dict[str, Any]:
    return {
        "id": component.id,
        "label": component.label,
        "modes": [mode.id for mode in component.modes],
        "mode_labels": {mode.id: mode.label for mode in component.modes},
        "explanation": component.explanation,
    }


def _test(test: Test, catalogue: Catalogue) -> dict[str, Any]:
    return {
        "id": test.id,
        "label": test.label,
        "group": test.group,
        "kind": test.kind,
        "unit": test.unit,
        "choices": [choice for choice, _ in test.choices],
        "choice_labels": dict(test.choices),
        "plausible": test.plausible,
        "tools": test.tools,
        "instruments": test.instruments,
        "minutes": test.minutes,
        "needs": [catalogue.preconditions[name] for name in test.needs],
        "steps": test.steps,
        "cautions": [catalogue.cautions[name] for name in test.cautions],
        "explanation": test.explanation,
    }


def _instrument(instrument: Instrument) -> dict[str, Any]:
    return asdict(instrument)


def _act(act: ActSpec, catalogue: Catalogue) -> dict[str, Any]:
    named = ("id", "label", "kind", "components", "minutes", "steps", "explanation")
    cautions = [catalogue.cautions[name] for name in act.cautions]
    return {**{name: getattr(act, name) for name in named}, "cautions": cautions}
