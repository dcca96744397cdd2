"""What each test left would tell, the time it takes, and what has to be done first."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np

from faultnet.case.types import Case
from faultnet.diagnosis.course import Course, Present
from faultnet.diagnosis.leading import Leading, chances_once_prepared, is_surely_charged, leading_by_now
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.needs import (
    Reach,
    done_in,
    is_open,
    minutes_for,
    out_of_reach,
    unmet_needs,
    was_read,
    within_reach,
)
from faultnet.diagnosis.result import NextTest, Outcome
from faultnet.diagnosis.safety import LOOK, forbids, ice_to_look_for, is_forbidden, test_does
from faultnet.diagnosis.sound import sound_ranges
from faultnet.diagnosis.tools import has_tools
from faultnet.diagnosis.wording import range_words, value_words
from faultnet.inference.hypotheses import IndexArray
from faultnet.inference.posterior import TINY, Belief, informations
from faultnet.model.network import Array
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Forbid, Test

ONCE_MORE = "Measured once already; a second reading shows whether the first was a slip."


@dataclass(frozen=True, eq=False)
class Ranked:
    """Tests still to be done, and what they would show.

    Parameters
    ----------
    tests : tuple of NextTest
        Those that can be done with what the car can do now and the tools at hand, and that nothing found forbids; most
        telling first.
    beyond : tuple of NextTest
        Those that only lack what stands in their `lacks`.
    leading : Leading
        With the chances of both.
    standing : tuple of Forbid
        Findings that forbid something.
    urgent : str
        A test that must come before anything else is done to the car; empty mostly.
    """

    tests: tuple[NextTest, ...]
    beyond: tuple[NextTest, ...]
    leading: Leading
    standing: tuple[Forbid, ...]
    urgent: str = ""


def rank(
    case: Case, model: Model, course: Course, belief: Belief, catalogue: Catalogue, tools: Collection[str] | None
) -> Ranked:
    """All tests still to be done.

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
    charged = is_surely_charged(course, belief, catalogue)
    ice = ice_to_look_for(case, course, belief, catalogue)
    standing = forbids(case, catalogue) + (() if ice is None else (ice,))
    open_tests = [t for t in catalogue.tests if is_open(t, case, catalogue)]
    done, reach = done_in(visit, catalogue), within_reach(case, catalogue, tools)
    needs = {t.id: unmet_needs(t, visit, catalogue, charged=charged, done=done) for t in open_tests}
    open_tests = [t for t in open_tests if not is_forbidden(test_does(t, needs[t.id]), standing)]
    needs = {t.id: needs[t.id] for t in open_tests}
    lacks = {t.id: _lacking(t, needs[t.id], reach, catalogue, tools) for t in open_tests}

    def ask(now: Present, believed: Belief) -> Leading:
        return chances_once_prepared(now, believed, model, catalogue, needs)

    leading = leading_by_now(course, belief, ask)
    ranges = sound_ranges(model, catalogue)
    outcomes = outcomes_of(present, leading, catalogue)
    told = informations(leading.posterior, leading.chances)
    found = []
    for test in open_tests:
        again = was_read(test, visit, catalogue)
        one = _next_test(test, told[test.id], needs[test.id], catalogue, ranges.get(test.id), outcomes[test.id])
        one = replace(one, lacks=lacks[test.id])
        found.append(replace(one, because=f"{ONCE_MORE} {one.because}") if again else one)
    order = sorted(found, key=lambda t: (-t.bits, t.test))
    can, cannot = (tuple(t for t in order if bool(t.lacks) == lacking) for lacking in (False, True))
    return Ranked(can, cannot, leading, standing, "" if ice is None else LOOK)


def _lacking(
    test: Test, needs: tuple[str, ...], reach: Reach, catalogue: Catalogue, tools: Collection[str] | None
) -> tuple[str, ...]:
    """What keeps a test from being done now, in words: needs that cannot be met, and tools."""
    lacking = tuple(catalogue.preconditions[n] for n in out_of_reach(needs, reach))
    missing = () if tools is None else tuple(tool for tool in test.tools if not has_tools((tool,), tools))
    return (*lacking, *missing)


def outcomes_of(present: Present, leading: Leading, catalogue: Catalogue) -> dict[str, tuple[Outcome, ...]]:
    """What each outcome class of each test would change: its chance, and the cause that would lead after it."""
    labels, member = _causes_of(leading.modes, present.model.components, catalogue)
    nodes, result = present.model.network.nodes, {}
    for test, chance in leading.chances.items():
        weight = leading.posterior[:, None] * chance
        total = weight.sum(axis=0)
        after = (weight.T @ member) / np.maximum(total, TINY)[:, None]
        top = after.argmax(axis=1)
        words = class_words(catalogue.test(test).choices, nodes[f"reading_{test}"].edges, catalogue.test(test).unit)
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


def _next_test(
    test: Test,
    bits: float,
    needs: tuple[str, ...],
    catalogue: Catalogue,
    sound: tuple[float, float] | None,
    outcomes: tuple[Outcome, ...],
) -> NextTest:
    minutes = test.minutes + sum(minutes_for(n, catalogue) for n in needs)
    waits = [*test.timers, *(catalogue.waits[n] for n in needs if n in catalogue.waits)]
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
        needs=needs,
        own_minutes=test.minutes,
        waits=sum(timer.seconds for timer in waits),
    )
