"""Which test to do next: expected information, the time it takes, and what has to be done first."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from faultnet.car import Act, Case, Entry, Reading, Visit
from faultnet.catalogue.catalogue import Catalogue
from faultnet.catalogue.types import Test
from faultnet.diagnosis.acts import changes_the_car
from faultnet.diagnosis.course import Course, Present, after_preparing
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
LEAST_WAY = 0.01
GAVE_UP = ("cannot_reach", "not_fitted")
SKIPPED_FACTOR = 0.25
NEED_MET_BY = {
    "battery_charged": ("charge", "desulphate", "drive"),
    "surface_charge_gone": ("shed_surface_charge",),
    "rested": ("wait",),
    "fuel_disabled": ("disable_fuel",),
    "charged_overnight": ("charge", "desulphate"),
}
NEED_UNDONE_BY = {
    "surface_charge_gone": ("charge", "desulphate", "drive"),
    "rested": ("charge", "desulphate", "drive"),
    "fuel_disabled": ("enable_fuel",),
}
NIGHT = 10.0  # [h]
PREPARED_BY = {
    "battery_charged": (Act("charge"),),
    "surface_charge_gone": (Act("shed_surface_charge"),),
    "charged_overnight": (Act("charge"), Act("wait", hours=NIGHT)),
}
THREE_QUARTERS = 0.75
SURELY_CHARGED = 0.9


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
    modes : int array, shape (leading hypotheses, components)
        Modes by now. A hypothesis stands there once for each way the repairs may have gone that is not unlikely.
    """

    chosen: NDArray[np.intp]
    posterior: Array
    chances: dict[str, Array]
    modes: IndexArray


Ask = Callable[[Present, Belief], Leading]


def leading_by_now(course: Course, belief: Belief, ask: Ask) -> Leading:
    """The leading hypotheses over every way the repairs may have gone, and what tests would show under each.

    Parameters
    ----------
    course : Course
    belief : Belief
    ask : callable
        What tests would show in one such way.

    Notes
    -----
    A repair that did not take leaves the part at fault, and a test shows it; the ways in which one did not are
    followed as far as they hold a hundredth of the belief.
    """
    if len(course.ways) == 1:
        return ask(course.present, belief)
    found = []
    for (log_weight, _), present in zip(course.ways, course.presents, strict=True):
        with np.errstate(divide="ignore"):
            weight = np.exp(log_weight - course.log_likelihood) * belief.posterior
        share = float(weight.sum())
        if share >= LEAST_WAY:
            found.append((share, ask(present, Belief(belief.space, weight / share, 0.0))))
    return Leading(
        np.concatenate([way.chosen for _, way in found]),
        _to_one(np.concatenate([share * way.posterior for share, way in found])),
        {t: np.concatenate([way.chances[t] for _, way in found]) for t in found[0][1].chances},
        np.concatenate([way.modes for _, way in found]),
    )


def chances_once_prepared(
    present: Present, belief: Belief, model: Model, catalogue: Catalogue, needs: Mapping[str, tuple[str, ...]]
) -> Leading:
    """What tests would show for each leading hypothesis, each test after what it needs has been done.

    Parameters
    ----------
    present : Present
    belief : Belief
    model : Model
        Of the visit.
    catalogue : Catalogue
    needs : mapping of test id to tuple of str
        What does not hold yet.

    Notes
    -----
    A load test needs a charged battery: what it will read is what it reads after the charge, and that tells a bad
    battery from a flat one.
    """
    by_acts: dict[tuple[Act, ...], list[str]] = {(): []}
    for test, unmet in needs.items():
        by_acts.setdefault(preparing_acts(unmet), []).append(test)
    whole = leading_chances(present, belief, by_acts.pop(()))
    chances = dict(whole.chances)
    for preparing, tests in by_acts.items():
        then = after_preparing(present, model, catalogue, belief.space, preparing)
        chances |= leading_chances(then, belief, tests).chances
    return replace(whole, chances={test: chances[test] for test in needs})


def preparing_acts(needs: tuple[str, ...]) -> tuple[Act, ...]:
    """Acts that bring about what a test needs, where they change what is read.

    Examples
    --------
    >>> [act.act for act in preparing_acts(("battery_charged", "surface_charge_gone"))]
    ['charge', 'shed_surface_charge']
    """
    return tuple(act for need in needs for act in PREPARED_BY.get(need, ()))


def _to_one(weights: Array) -> Array:
    return np.asarray(weights / weights.sum())


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
    shown = {t: _rows_to_one(c) for t, c in chances.items()}
    return Leading(chosen, _to_one(posterior), shown, present.modes[chosen])


def _rows_to_one(weights: Array) -> Array:
    """Rows that sum to one; a row of nothing becomes even."""
    total = weights.sum(axis=1, keepdims=True)
    return np.where(total > 0, weights / np.where(total > 0, total, 1.0), 1.0 / weights.shape[1])


def charge_shares(present: Present, posterior: Array, chosen: NDArray[np.intp]) -> Array:
    """Belief in each state of charge, not summing to one, shape (charge states,)."""
    weight, _ = present.model.stage(present.evidence)
    joint = present.carried[chosen] * weight[chosen]
    return np.asarray(posterior @ (joint / np.maximum(joint.sum(axis=1, keepdims=True), TINY)))


def likely_charge(present: Present, posterior: Array, chosen: NDArray[np.intp]) -> NDArray[np.intp]:
    """States of charge that hold all but a sliver of the belief, so that the others need not be worked out."""
    share = charge_shares(present, posterior, chosen)
    order = np.argsort(-share)
    count = int(np.searchsorted(np.cumsum(share[order]) / share.sum(), CHARGE_MASS)) + 1
    return np.sort(order[:count])


def rank(
    case: Case, model: Model, course: Course, belief: Belief, catalogue: Catalogue, tools: Collection[str] | None
) -> tuple[tuple[NextTest, ...], Leading]:
    """All tests still to be done, best first by information for the time they take.

    Parameters
    ----------
    case : Case
    model : Model
        Of the last visit.
    course : Course
    belief : Belief
    catalogue : Catalogue
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    """
    visit, present = case.visits[-1], course.present
    allowed = [t for t in catalogue.tests if tools is None or has_tools(t.tools, tools)]
    open_tests = [t for t in allowed if is_open(t, case, catalogue)]
    charged = chance_charged(course, belief) >= SURELY_CHARGED
    needs = {t.id: unmet_needs(t, visit, catalogue, charged=charged) for t in open_tests}

    def ask(now: Present, believed: Belief) -> Leading:
        return chances_once_prepared(now, believed, model, catalogue, needs)

    leading = leading_by_now(course, belief, ask)
    ranges = sound_ranges(model, catalogue)
    outcomes = outcomes_of(present, leading, catalogue)
    found = []
    for test in open_tests:
        bits = information(leading.posterior, leading.chances[test.id])
        if any(isinstance(e, Reading) and e.test == test.id for e in visit.entries):
            bits *= SKIPPED_FACTOR
        found.append(_next_test(test, bits, needs[test.id], catalogue, ranges.get(test.id), outcomes[test.id]))
    return tuple(sorted(found, key=lambda t: (-t.bits_per_minute, t.test))), leading


def outcomes_of(present: Present, leading: Leading, catalogue: Catalogue) -> dict[str, tuple[Outcome, ...]]:
    """What each outcome class of each test would change: its chance, and the cause that would lead after it."""
    labels, member = _causes_of(leading.modes, present.model.components, catalogue)
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


def is_open(test: Test, case: Case, catalogue: Catalogue) -> bool:
    """Whether a test has still something to give in the last visit of a case.

    Notes
    -----
    What the driver alone can answer is asked once in a case: asked again, the answer is the same. What was seen, heard
    or felt stays so until something is mended; a number may have moved with any act that changes the car.
    """
    if test.instruments == ("question",) and any(_settles(e, test) for v in case.visits for e in v.entries):
        return False
    for entry in reversed(case.visits[-1].entries):
        if isinstance(entry, Act) and _reopens(entry, test, catalogue):
            return True
        if isinstance(entry, Reading) and _settles(entry, test):
            return False
    return True


def _settles(entry: Entry, test: Test) -> bool:
    return (
        isinstance(entry, Reading)
        and entry.test == test.id
        and (entry.not_measured is None or entry.not_measured in GAVE_UP)
    )


def _reopens(act: Act, test: Test, catalogue: Catalogue) -> bool:
    spec = catalogue.act(act.act)
    return spec.kind == "repair" or (test.quantity != "table" and changes_the_car(spec.effect, act.hours))


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
    needs: tuple[str, ...],
    catalogue: Catalogue,
    sound: tuple[float, float] | None,
    outcomes: tuple[Outcome, ...],
) -> NextTest:
    minutes = test.minutes + sum(minutes_for(n, catalogue) for n in needs)
    return NextTest(
        test=test.id,
        label=test.label,
        group=test.group,
        bits=round(bits, 4),
        minutes=minutes,
        prepare=tuple(catalogue.preconditions[n] for n in needs),
        tools=test.tools,
        steps=test.steps,
        cautions=tuple(catalogue.cautions[c] for c in test.cautions),
        sound_range=sound,
        unit=test.unit,
        because=test.explanation,
        outcomes=outcomes,
    )


def chance_charged(course: Course, belief: Belief) -> float:
    """Belief that the battery is charged to three quarters or more [-]."""
    present = course.present
    chosen = belief.leading(ACTIVE_MASS, MOST_ACTIVE)
    share = charge_shares(present, belief.posterior[chosen], chosen)
    edges = np.asarray(present.model.network.nodes["charge"].edges)
    return float(share[edges[:-1] >= THREE_QUARTERS].sum() / share.sum())


def unmet_needs(test: Test, visit: Visit, catalogue: Catalogue, *, charged: bool = False) -> tuple[str, ...]:
    """What must hold before a test and does not yet hold by what was done or is known in this visit.

    Parameters
    ----------
    test : Test
    visit : Visit
    catalogue : Catalogue
    charged : bool
        The battery is known to be charged well enough without having been put on a charger.
    """
    effects = tuple(catalogue.act(e.act).effect for e in visit.entries if isinstance(e, Act))
    return tuple(n for n in test.needs if not (_met(n, visit, effects) or (charged and n == "battery_charged")))


def _met(need: str, visit: Visit, effects: tuple[str, ...]) -> bool:
    for effect in reversed(effects):
        if effect in NEED_MET_BY.get(need, ()):
            return True
        if effect in NEED_UNDONE_BY.get(need, ()):
            return False
    standing = visit.conditions.hours_standing
    if need in ("surface_charge_gone", "rested"):
        return standing is not None and standing >= 6.0
    if need == "engine_warm":
        return visit.conditions.engine_warm
    return False


def minutes_for(need: str, catalogue: Catalogue) -> float:
    """Hands-on minutes it takes to bring a precondition about [min]."""
    name = f"minutes_for_{need}"
    return catalogue.spread(name) if name in catalogue.spreads else 0.0
