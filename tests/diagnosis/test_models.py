"""Models and queries give up what takes room, and answer the same as before."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np
import pytest

from faultnet import advise
from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis import Diagnosis, models, work_through
from faultnet.diagnosis.diagnose import all_ranked
from faultnet.inference.contraction import Tensor
from faultnet.inference.fast import query_cache
from faultnet.inference.fast.products import Products
from faultnet.inference.fast.query_cache import CommonProducts
from faultnet.inference.fast.schedule import Named
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue


def a_case(temperature: float) -> Case:
    readings = (Reading("rest_voltage", value=12.3), Reading("crank_minimum", value=8.9))
    return Case(Car(Battery(600.0)), (Visit(readings, conditions=Conditions(air_temperature=temperature)),))


def test_a_model_at_rest_takes_little_and_answers_the_same() -> None:
    catalogue = load_catalogue()
    case = a_case(15.0)
    before = advise(case, catalogue).diagnosis
    model = models.model_for(case.car, case.visits[0].conditions, catalogue, 4).compiled
    awake = model.size()
    model.rest()
    assert awake > 10 << 20
    assert model.size() < awake / 100
    assert advise(case, catalogue).diagnosis == before


def test_a_model_that_was_asked_keeps_its_answers_and_little_else(monkeypatch: pytest.MonkeyPatch) -> None:
    """The products they came from are ten times as large; the next reading asks for the same new answers as ever."""
    catalogue, case = load_catalogue(), a_case(-3.0)
    worked: list[int] = []
    followed = Products.contract

    def counted(self: Products, factors: Sequence[Tensor], outcomes: Named | None = None) -> Tensor:
        worked.append(1)
        return followed(self, factors, outcomes)

    def further(value: float, first: Callable[[], None]) -> tuple[Diagnosis, int]:
        first()
        worked.clear()
        visit = case.visits[0]
        entries = (*visit.entries, Reading("charge_idle_voltage", value=value))
        return advise(replace(case, visits=(replace(visit, entries=entries),)), catalogue).diagnosis, len(worked)

    before = advise(case, catalogue).diagnosis
    monkeypatch.setattr(Products, "contract", counted)
    model = models.model_for(case.car, case.visits[0].conditions, catalogue, 4).compiled
    awake, kept = model.size(), further(13.9, lambda: None)[1]
    found, after_trim = further(14.0, models.keep_room)
    models.keep_room()
    assert model.size() < awake / 4
    assert advise(case, catalogue).diagnosis == before
    again, after_rest = further(14.0, model.rest)
    assert found.causes == again.causes
    assert after_trim <= kept < after_rest / 2


def test_two_who_ask_about_a_new_car_at_once_wait_for_one_model(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue, case, built = load_catalogue(), a_case(-7.5), []
    compiled, begun = models._compiled, threading.Barrier(2)

    def slowly(setting: Setting, max_faults: int) -> models.Model:
        built.append(1)
        return compiled(setting, max_faults)

    def ask() -> models.Model:
        begun.wait()
        return models.model_for(case.car, case.visits[0].conditions, catalogue, 4)

    monkeypatch.setattr(models, "_compiled", slowly)
    with ThreadPoolExecutor(2) as threads:
        one, other = (asked.result() for asked in [threads.submit(ask) for _ in range(2)])
    assert one is other
    assert built == [1]


def test_what_schedules_hold_counts_as_room() -> None:
    """A third of what a model on the starting circuit takes; uncounted, twice as many models stayed awake as fit."""
    case = a_case(15.0)
    advise(case, load_catalogue())
    model = models.model_for(case.car, case.visits[0].conditions, load_catalogue(), 4).compiled
    held = 0
    for place in model.view.placements.made():
        cache = place.bound.cache
        laid_out = [*cache.constants.values(), *(named.tensor for named in cache.outcomes.values())]
        before, kept = cache.size(), {id(table.values) for table in laid_out}
        tables = {id(t.values): t.values for s in cache.schedules.values() for _, t in s.constants}
        own = sum(v.nbytes for k, v in tables.items() if k not in kept and v.base is None)
        cache.schedules.clear()
        assert before - cache.size() >= own
        held += own
    assert held > 100_000


def test_all_models_rest_at_once_and_answer_the_same() -> None:
    catalogue = load_catalogue()
    before = [advise(case, catalogue).diagnosis for case in (a_case(15.0), a_case(0.0))]
    assert any(model.compiled.size() > 10 << 20 for model in models._models.values())
    models.rest_all()
    assert all(model.compiled.size() < 1 << 20 for model in models._models.values())
    assert [advise(case, catalogue).diagnosis for case in (a_case(15.0), a_case(0.0))] == before


def test_models_used_longest_ago_rest_when_there_is_no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    catalogue = load_catalogue()
    monkeypatch.setattr(models, "ROOM", 1)
    monkeypatch.setattr(models, "LATELY_ROOM", 1)
    compiled = []
    for case in (a_case(15.0), a_case(0.0)):
        advise(case, catalogue)
        compiled.append(models.model_for(case.car, case.visits[0].conditions, catalogue, 4).compiled)
        assert compiled[-1].size() > 10 << 20
    assert compiled[0].size() < 1 << 20


def test_cars_asked_about_within_a_minute_stay_awake_beyond_the_room_of_others(monkeypatch: pytest.MonkeyPatch) -> None:
    """With many at once each car comes back soon; with one person older cars need not stay."""
    catalogue, now = load_catalogue(), [1000.0]
    monkeypatch.setattr(models, "ROOM", 1)
    monkeypatch.setattr(models.time, "monotonic", lambda: now[0])
    found = []
    for case in (a_case(15.0), a_case(0.0)):
        advise(case, catalogue)
        models.keep_room()
        found.append(models.model_for(case.car, case.visits[0].conditions, catalogue, 4).compiled)
    assert [model.size() > 1 << 20 for model in found] == [True, True]
    now[0] += models.LATELY + 1.0
    advise(a_case(0.0), catalogue)
    models.keep_room()
    assert [model.size() > 1 << 20 for model in found] == [False, True]


def test_what_was_worked_out_after_another_had_kept_room_is_dropped_too() -> None:
    """Two ask at once: the first one's end sees to both cars, and the second goes on."""
    case = a_case(15.0)
    worked = work_through(case, load_catalogue())
    models.keep_room()
    trimmed = worked.models[-1].compiled.size()
    all_ranked(worked, None)
    assert worked.models[-1].compiled.size() > 2 * trimmed
    models.keep_room(worked.models)
    assert worked.models[-1].compiled.size() < 60 << 20
    assert worked.models[-1].use.size == worked.models[-1].compiled.size()


def test_cars_with_the_same_hypotheses_share_them() -> None:
    catalogue = load_catalogue()
    conditions = Conditions(air_temperature=15.0)
    cars = Car(Battery(600.0)), Car(Battery(520.0)), Car(Battery(600.0), climate="cold")
    one, other, elsewhere = (models.model_for(car, conditions, catalogue, 4) for car in cars)
    assert one.space is other.space
    assert one.compiled is not other.compiled
    assert elsewhere.space is not one.space
    assert not np.array_equal(elsewhere.space.prior, one.space.prior)


def test_common_products_stay_while_work_begins_with_them_and_there_is_room(monkeypatch: pytest.MonkeyPatch) -> None:
    table = Tensor(np.zeros(1000), ("x",))
    old, new = (CommonProducts({(1, 1): table, (2, 1): table}, {(2, 1)}) for _ in range(2))
    old.tidy()
    assert list(old.tables) == [(2, 1)]
    monkeypatch.setattr(query_cache, "ROOM", new.size() - 1)
    new.tidy()
    assert list(new.tables) == [(2, 1)]
    assert old.tables == {}
