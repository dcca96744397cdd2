"""The work that is timed: a reading is added to an invented demo case; beliefs and worth of tests are found anew."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.file import load_case
from faultnet.case.types import Conditions, Reading, Visit
from faultnet.diagnosis.course import Course, course
from faultnet.diagnosis.leading import Leading, leading_chances
from faultnet.diagnosis.models import Model, model_for
from faultnet.inference.posterior import TINY, Belief, informations, updated
from faultnet.model.network import Array
from faultnet.prior_set import load_catalogue
from faultnet.prior_set.catalogue import Catalogue
from faultnet.shipped import shipped

MAX_FAULTS = 4
SINGLE_VISIT = (
    "diesel_in_the_cold", "ground_high_resistance", "healthy_car", "key_off_drain", "left_on_lamp", "regulator_low",
    "shorted_cell", "sulphated_battery",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Worked:
    """What one new reading leads to."""

    course: Course
    belief: Belief
    leading: Leading
    marginals: dict[str, Array]
    bits: dict[str, float]


def catalogue() -> Catalogue:
    return load_catalogue()


def demo(name: str, tables: Catalogue, max_faults: int = MAX_FAULTS) -> tuple[list[Model], tuple[Visit, ...]]:
    """The visits of a demo case with their models."""
    case = load_case(shipped("cases") / f"{name}.json")
    return [model_for(case.car, v.conditions, tables, max_faults) for v in case.visits], case.visits


def eight_visits(tables: Catalogue, count: int = 8) -> tuple[list[Model], tuple[Visit, ...]]:
    """A car that comes back again and again in other weather, with four readings each time; invented."""
    case = load_case(shipped("cases") / "intermittent_no_start.json")
    readings = (
        Reading("rest_voltage", value=12.55),
        Reading("how_it_turns_over", state="normal"),
        Reading("charge_unloaded_voltage", value=14.3),
        Reading("crank_minimum", value=10.1),
    )
    weather = [Conditions(air_temperature=14.0 - 2.0 * i, hours_standing=7.0) for i in range(count)]
    visits = tuple(Visit(readings, conditions=w) for w in weather)
    return [model_for(case.car, v.conditions, tables, MAX_FAULTS) for v in visits], visits


def prefixes(visits: Sequence[Visit]) -> Iterator[tuple[Visit, ...]]:
    """The last visit with none of its entries, with its first, with its first two ..."""
    for count in range(len(visits[-1].entries) + 1):
        yield (*visits[:-1], replace(visits[-1], entries=visits[-1].entries[:count]))


def open_tests(visit: Visit, tables: Catalogue) -> list[str]:
    """Tests that were not done in this visit."""
    done = {e.test for e in visit.entries if isinstance(e, Reading)}
    return [t.id for t in tables.tests if t.id not in done]


def worked(
    models: Sequence[Model],
    visits: Sequence[Visit],
    tables: Catalogue,
    tests: Sequence[str],
    gain: Callable[[Worked], dict[str, float]] | None = None,
) -> Worked:
    """Beliefs of all components and information of all tests; summed over components where `gain` does that."""
    whole = course(models, visits, tables, models[0].space)
    belief = updated(models[0].space, whole.log_likelihood)
    assert belief is not None
    leading = leading_chances(whole.present, belief, tests, tables.number)
    found = Worked(whole, belief, leading, belief.marginals(), {})
    bits = joint_bits(found) if gain is None else gain(found)
    return replace(found, bits=bits)


def joint_bits(found: Worked) -> dict[str, float]:
    """Information of each test about the hypotheses [bit]: what tests are ranked by."""
    return informations(found.leading.posterior, found.leading.chances)


def component_bits(found: Worked) -> dict[str, float]:
    """Information of each test about the mode of each component, summed over components [bit]: what peers can give.

    Notes
    -----
    I(reading; component) = H(reading) + H(component) - H(reading, component), with all tests' outcomes stacked.
    """
    space, leading = found.belief.space, found.leading
    modes = space.modes[leading.chosen]
    member = np.concatenate([modes[:, [i]] == np.arange(modes[:, i].max() + 1) for i in range(modes.shape[1])], axis=1)
    sizes = [c.shape[1] for c in leading.chances.values()]
    rows = [(leading.posterior / np.maximum(c.sum(axis=1), TINY))[:, None] * c for c in leading.chances.values()]
    together = np.concatenate(rows, axis=1).T
    joint = together @ member
    starts = np.cumsum([0, *sizes])[:-1]
    outcome = _plogp(together.sum(axis=1))
    mode = float(_plogp(leading.posterior @ member).sum())
    bits = np.add.reduceat(_plogp(joint).sum(axis=1) - modes.shape[1] * outcome, starts) - mode
    return dict(zip(leading.chances, bits.tolist(), strict=True))


def _plogp(chance: Array) -> Array:
    return chance * np.log2(np.maximum(chance, TINY))


def forget(models: Sequence[Model]) -> None:
    """Drop all answers to readings, so that the next run has to find them anew."""
    for model in models:
        model.compiled.forget()


def milliseconds(action: Callable[[], object]) -> float:
    """How long something takes once [ms]."""
    begin = time.perf_counter()
    action()
    return 1e3 * (time.perf_counter() - begin)


def median_ms(action: Callable[[], object], before: Callable[[], object] = lambda: None, times: int = 5) -> float:
    """Median of some runs [ms]; `before` runs ahead of each and is not timed."""
    taken = []
    for _ in range(times):
        before()
        taken.append(milliseconds(action))
    return statistics.median(taken)


def new_readings(names: Sequence[str], tables: Catalogue, passes: int = 4) -> list[list[float]]:
    """Time of every reading of some demo cases, entered one after the other [ms]: one list for each pass.

    Before each pass all answers to readings are dropped. The first pass also finds orders of contraction that are not
    in the cache yet and works out what no reading bears on, as on the first case of a car.
    """
    cases = [demo(name, tables) for name in names]
    found: list[list[float]] = [[] for _ in range(passes)]
    for taken in found:
        for models, visits in cases:
            forget(models)
            for number, entered in enumerate(prefixes(visits)):
                tests = open_tests(entered[-1], tables)
                once = milliseconds(lambda m=models, e=entered, t=tests: worked(m, e, tables, t))  # type: ignore[misc]
                if number:
                    taken.append(once)
    return found
