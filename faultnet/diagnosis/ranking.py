"""Which test to do next: expected information, the time it takes, and what has to be done first."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from faultnet.car import Case, Reading, Visit
from faultnet.catalogue.catalogue import Catalogue
from faultnet.catalogue.types import Test
from faultnet.diagnosis.course import Present
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.result import NextTest, Outcome
from faultnet.diagnosis.sound import sound_ranges
from faultnet.diagnosis.wording import range_words, value_words
from faultnet.engine.belief import TINY, Belief, information
from faultnet.engine.hypotheses import IndexArray
from faultnet.network.structure import Array

ACTIVE_MASS = 0.998
CHARGE_MASS = 0.998
MOST_ACTIVE = 300
GAVE_UP = ("cannot_reach", "not_fitted")
SKIPPED_FACTOR = 0.25
NEED_MET_BY = {
    "battery_charged": ("charge", "desulphate", "drive"),
    "surface_charge_gone": ("shed_surface_charge",),
    "rested": ("wait",),
    "fuel_disabled": ("disable_fuel",),
    "charged_overnight": ("charge", "desulphate"),
}


@dataclass(frozen=True, eq=False)
class Leading:
    """The leading hypotheses and what each test would show under them.

    Parameters
    ----------
    chosen : int array, shape (leading hypotheses,)
        Their rows.
    posterior : array, shape (leading hypotheses,)
        Sums to one.
    chances : dict of test id to array, shape (leading hypotheses, outcomes)
        Chance of each outcome class; rows sum to one.
    """

    chosen: NDArray[np.intp]
    posterior: Array
    chances: dict[str, Array]


def leading_chances(present: Present, belief: Belief, tests: Collection[str]) -> Leading:
    """Chance of each outcome class of some tests for each of the leading hypotheses."""
    chosen = belief.leading(ACTIVE_MASS, MOST_ACTIVE)
    network = present.model.network
    asked = {}
    for name in tests:
        reading = network.nodes[f"reading_{name}"]
        asked[name] = (reading.parents[0], reading.table[:, :, 0].T, reading.table[:, 0, 1])
    posterior = belief.posterior[chosen]
    charge = likely_charge(present, posterior, chosen)
    model = present.model.focused(chosen, charge)
    chances = model.predict(present.evidence, asked, present.carried[chosen][:, charge])
    return Leading(chosen, posterior / posterior.sum(), {t: _rows_to_one(c) for t, c in chances.items()})


def _rows_to_one(weights: Array) -> Array:
    """Rows that sum to one; a row of nothing becomes even."""
    total = weights.sum(axis=1, keepdims=True)
    return np.where(total > 0, weights / np.where(total > 0, total, 1.0), 1.0 / weights.shape[1])


def likely_charge(present: Present, posterior: Array, chosen: NDArray[np.intp]) -> NDArray[np.intp]:
    """States of charge that hold all but a sliver of the belief, so that the others need not be worked out."""
    weight, _ = present.model.stage(present.evidence)
    joint = present.carried[chosen] * weight[chosen]
    share = posterior @ (joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY))
    order = np.argsort(-share)
    count = int(np.searchsorted(np.cumsum(share[order]) / share.sum(), CHARGE_MASS)) + 1
    return np.sort(order[:count])


def rank(
    case: Case, model: Model, present: Present, belief: Belief, catalogue: Catalogue, tools: Collection[str] | None
) -> tuple[tuple[NextTest, ...], Leading]:
    """All tests still to be done, best first by information for the time they take.

    Parameters
    ----------
    case : Case
    model : Model
        Of the last visit.
    present : Present
    belief : Belief
    catalogue : Catalogue
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    """
    visit = case.visits[-1]
    open_tests = [t for t in catalogue.tests if _open(t, visit) and (tools is None or has_tools(t.tools, tools))]
    leading = leading_chances(present, belief, [t.id for t in open_tests])
    ranges = sound_ranges(model, catalogue)
    outcomes = outcomes_of(present, leading, catalogue)
    found = []
    for test in open_tests:
        bits = information(leading.posterior, leading.chances[test.id])
        if any(isinstance(e, Reading) and e.test == test.id for e in visit.entries):
            bits *= SKIPPED_FACTOR
        found.append(_next_test(test, bits, visit, present, catalogue, ranges.get(test.id), outcomes[test.id]))
    return tuple(sorted(found, key=lambda t: (-t.bits_per_minute, t.test))), leading


def outcomes_of(present: Present, leading: Leading, catalogue: Catalogue) -> dict[str, tuple[Outcome, ...]]:
    """What each outcome class of each test would change: its chance, and the cause that would lead after it."""
    modes = present.modes[leading.chosen]
    labels, member = _causes_of(modes, present.model.components, catalogue)
    result = {}
    for test, chance in leading.chances.items():
        weight = leading.posterior[:, None] * chance
        total = weight.sum(axis=0)
        after = (weight.T @ member) / np.maximum(total, TINY)[:, None]
        top = after.argmax(axis=1)
        words = _class_words(present, catalogue.test(test))
        result[test] = tuple(
            Outcome(words[o], float(total[o]), labels[top[o]], float(after[o, top[o]])) for o in range(len(total))
        )
    return result


def _causes_of(modes: IndexArray, components: tuple[str, ...], catalogue: Catalogue) -> tuple[list[str], Array]:
    """Labels of all fault modes and of nothing wrong, and which of them each hypothesis has."""
    labels, columns = ["nothing wrong"], [~modes.any(axis=1)]
    for i, name in enumerate(components):
        component = catalogue.component(name)
        for m, mode in enumerate(component.modes[1:], start=1):
            labels.append(f"{component.label}: {mode.label}")
            columns.append(modes[:, i] == m)
    return labels, np.stack(columns, axis=1).astype(np.float64)


def _class_words(present: Present, test: Test) -> tuple[str, ...]:
    """The outcome classes of a test in words: its choices, or ranges of its number."""
    reading = present.model.network.nodes[f"reading_{test.id}"]
    return class_words(test.choices, reading.edges, test.unit)


@lru_cache(maxsize=512)
def class_words(choices: tuple[tuple[str, str], ...], edges: tuple[float, ...], unit: str) -> tuple[str, ...]:
    """Words for outcome classes.

    Examples
    --------
    >>> class_words((), (0.0, 11.8, 12.4, 13.0), "V")
    ('under 11.80 V', '11.80 V to 12.40 V', 'over 12.40 V')
    """
    if not edges:
        return tuple(label for _, label in choices)
    inner = [range_words(low, high, unit) for low, high in pairwise(edges[1:-1])]
    return (f"under {value_words(edges[1], unit)}", *inner, f"over {value_words(edges[-2], unit)}")


def _open(test: Test, visit: Visit) -> bool:
    """Whether a test has still something to give in this visit: acts open it again."""
    for entry in reversed(visit.entries):
        if not isinstance(entry, Reading):
            return True
        if entry.test == test.id and (entry.not_measured is None or entry.not_measured in GAVE_UP):
            return False
    return True


def has_tools(needed: Collection[str], tools: Collection[str]) -> bool:
    """Whether the tools at hand allow a test; "a or b" is met by either.

    Examples
    --------
    >>> has_tools(("recorder or socket adapter",), {"recorder"}), has_tools(("voltmeter",), ())
    (True, False)
    """
    return all(any(part in tools for part in tool.split(" or ")) for tool in needed)


def _next_test(
    test: Test,
    bits: float,
    visit: Visit,
    present: Present,
    catalogue: Catalogue,
    sound: tuple[float, float] | None,
    outcomes: tuple[Outcome, ...],
) -> NextTest:
    prepare = [n for n in test.needs if not _met(n, visit, present)]
    minutes = test.minutes + sum(_minutes_for(n, catalogue) for n in prepare)
    return NextTest(
        test=test.id,
        label=test.label,
        group=test.group,
        bits=round(bits, 4),
        minutes=minutes,
        prepare=tuple(catalogue.preconditions[n] for n in prepare),
        tools=test.tools,
        steps=test.steps,
        cautions=tuple(catalogue.cautions[c] for c in test.cautions),
        sound_range=sound,
        unit=test.unit,
        because=test.explanation,
        outcomes=outcomes,
    )


def _met(need: str, visit: Visit, present: Present) -> bool:
    """Whether a precondition holds by what was done or is known in this visit."""
    if any(effect in NEED_MET_BY.get(need, ()) for effect in present.acts_done):
        return True
    standing = visit.conditions.hours_standing
    if need in ("surface_charge_gone", "rested"):
        return standing is not None and standing >= 6.0
    if need == "engine_warm":
        return visit.conditions.engine_warm
    return False


def _minutes_for(need: str, catalogue: Catalogue) -> float:
    """Hands-on minutes it takes to bring a precondition about [min]."""
    name = f"minutes_for_{need}"
    return catalogue.spread(name) if name in catalogue.spreads else 0.0
