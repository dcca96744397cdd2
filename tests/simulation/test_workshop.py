"""The invented workshop's history: marked, drawn anew the same, and out of a world that differs."""

from __future__ import annotations

from itertools import islice

import pytest

from faultnet.learning.tables.history import load_history
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped
from faultnet.simulation.workshop.history import CASES, HOT_REGION, workshop_history

HISTORY = shipped("cases") / "history" / "hot_region.csv.gz"


@pytest.fixture(scope="module")
def history() -> tuple:
    return load_history(HISTORY, load_catalogue()).cases


def test_the_shipped_history_is_whole_and_marked_as_invented(history: tuple) -> None:
    assert len(history) == CASES
    assert all(case.invented and case.name.startswith("invented") for case in history)
    assert HISTORY.stat().st_size < 2_000_000
    assert 0.8 < sum(case.outcome is not None for case in history) / CASES < 0.95


def test_it_needs_few_networks(history: tuple) -> None:
    catalogue = load_catalogue()
    assert len({Setting(case.car, v.conditions, catalogue).air for case in history for v in case.visits}) == 2
    assert len({case.car.displacement for case in history}) == 2


def test_regulators_and_ground_straps_fail_more_often_than_the_shipped_rates_say(history: tuple) -> None:
    catalogue, closed = load_catalogue(), [case for case in history if case.outcome]
    seen = {c: sum(c in dict(case.outcome.causes) for case in closed) / len(closed) for c in ("regulator", "belt")}
    # cars brought in have higher rates than all cars, so the two parts are compared with each other
    told = {c: sum(catalogue.rate(c, m.id)[0] for m in catalogue.component(c).modes[1:]) / 1000.0 for c in seen}
    assert seen["regulator"] / told["regulator"] > 2.5 * seen["belt"] / told["belt"]
    assert HOT_REGION.rates["regulator"] == 4.0


def test_the_same_seed_draws_the_same_cases() -> None:
    catalogue = load_catalogue()
    first, again = list(workshop_history(catalogue, 3, 8)), list(islice(workshop_history(catalogue, 3, 20), 8))
    assert first == again
    assert first != list(workshop_history(catalogue, 4, 8))
