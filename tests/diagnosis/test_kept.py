"""What is kept of earlier visits while entries are made at the last one, against the same worked out anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest

from faultnet import advise
from faultnet.case.types import Act, Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis import course as course_module
from faultnet.diagnosis import leaving_out
from faultnet.diagnosis.course import Walk, course
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.leaving_out import without_each
from faultnet.diagnosis.shown import MOST_ROWS, Shown, shown
from faultnet.inference.posterior import updated
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array
from faultnet.prior_set import load_catalogue
from tests.diagnosis.test_rows import READINGS, model
from tests.inference import demo

EXACT = 1e-9
EARLIER = (
    (READINGS[0], Act("replace", "battery", outcome="better"), READINGS[3]),
    (READINGS[1], Act("charge", hours=8.0, outcome="better"), READINGS[4]),
)
LAST = (READINGS[4], READINGS[0], Act("replace", "solenoid", outcome="no_change"), READINGS[3])


def forget() -> None:
    course_module._begun.clear()
    leaving_out._begun.clear()


def answers(visits: Sequence[Visit]) -> dict[str, Array]:
    """Log likelihoods of a case and of it without each entry, for the hypotheses that hold nearly all belief."""
    models, space, tables = [model()] * len(visits), model().space, demo.catalogue()
    whole = course(models, visits, tables, space).log_likelihood
    belief = updated(space, whole)
    assert belief is not None
    found = without_each(models, visits, tables, space, belief)
    return {"whole": whole, "chosen": found.chosen, **{str(p): log for p, log in found.log_likelihood.items()}}


def test_entries_made_one_after_another_are_answered_as_if_made_at_once() -> None:
    before = [Visit(tuple(entries), demo.MILD) for entries in EARLIER]
    forget()
    for count in (0, 1, 2, 3, 4, 3, 1):
        visits = [*before, Visit(LAST[:count], demo.MILD)]
        kept = answers(visits)
        held = [walk.open for walk, _ in course_module._begun.values()]
        assert held == [[]], "a kept walk goes on by itself"
        course_again, others_again = course_module._begun.values(), leaving_out._begun.values()
        forget()
        anew = answers(visits)
        assert kept.keys() == anew.keys()
        for name, values in anew.items():
            np.testing.assert_allclose(kept[name], values, rtol=0, atol=EXACT, err_msg=f"{count} {name}")
        assert course_again
        assert others_again


def test_an_entry_does_not_go_through_earlier_visits_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Otherwise an entry gets dearer with every visit; once for what was read of its circuit before is enough."""
    forget()
    before = [Visit(tuple(entries), demo.MILD) for entries in EARLIER]
    answers([*before, Visit((*LAST[:2], READINGS[1]), demo.MILD)])
    entered: list[int] = []
    visit = Walk.visit

    def noted(walk: Walk, model: object, what: Visit) -> None:
        entered.append(walk.number + 1)
        visit(walk, model, what)  # type: ignore[arg-type]

    monkeypatch.setattr(Walk, "visit", noted)
    answers([*before, Visit((*LAST[:2], READINGS[1], LAST[2]), demo.MILD)])
    answers([*before, Visit((*LAST[:2], READINGS[1], LAST[2], READINGS[5]), demo.MILD)])
    assert entered == []


def test_how_odd_earlier_readings_are_asks_nothing_of_their_visits_again(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue, car = load_catalogue(), Car(Battery(540.0, age=4.0))
    day = Visit((Reading("rest_voltage", 12.3), Reading("charge_unloaded_voltage", 14.1)), Conditions(4.0))
    last = Visit((Reading("rest_voltage", 12.4),), Conditions(14.0))
    advise(Case(car, (day, last)), catalogue)
    earlier, _ = work_through(Case(car, (day, last)), catalogue).models
    networks: list[int] = []
    predict = VisitModel.predict

    def noted(self: VisitModel, *what: object) -> dict[str, Array]:
        networks.append(id(self.network))
        return predict(self, *what)  # type: ignore[arg-type]

    monkeypatch.setattr(VisitModel, "predict", noted)
    more = replace(last, entries=(*last.entries, Reading("charge_lamp", state="stays_on")))
    advise(Case(car, (day, more)), catalogue)
    assert networks
    assert id(earlier.compiled.network) not in networks


def test_what_is_shown_is_the_same_whatever_was_asked_before() -> None:
    compiled = model().compiled
    quantities = ["crank_minimum_w100", "rest_voltage"]
    known = [q for q in quantities if q in compiled.network.nodes]
    assert known
    kept, generator = Shown(), np.random.default_rng(5)
    for size in (3, 20, 3, MOST_ROWS + 5, 7):
        rows = generator.permutation(len(model().space))[:size]
        found = kept.get(compiled, known, rows, rows[:1])
        for quantity, chances in shown(compiled, known, rows).items():
            np.testing.assert_allclose(found[quantity], chances, rtol=0, atol=1e-12)
            np.testing.assert_allclose(found[quantity].sum(axis=1), 1.0)
