"""What a visit has taken, against sums made by hand from the catalogue."""

from __future__ import annotations

import pytest

from faultnet.case.types import Act, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.spent import spent
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs().with_shop(hourly_rate=90.0)


def test_minutes_cost_what_the_shop_says_and_parts_are_named() -> None:
    read = Reading("rest_voltage", 12.4), Reading("crank_minimum", 9.9), Reading("smell", state="none")
    work = Act("tighten_joint", "negative_joint"), Act("replace", "starter_motor")
    found = spent(Visit((*read, *work)), CATALOGUE, COSTS)
    by_hand = sum(CATALOGUE.test(r.test).minutes for r in read) + 8.0 + 60.0
    assert found.minutes == by_hand
    assert found.labour == pytest.approx(by_hand * 1.5)
    assert found.bought == (("starter_motor", COSTS.part["starter_motor"]),)
    assert found.total == pytest.approx(by_hand * 1.5 + 220.0)


def test_what_was_skipped_took_no_time_and_what_would_not_settle_did() -> None:
    skipped, tried = (Visit((Reading("rest_voltage", not_measured=why),)) for why in ("skipped", "unstable"))  # type: ignore[arg-type]
    assert spent(skipped, CATALOGUE, COSTS).minutes == 0.0
    assert spent(tried, CATALOGUE, COSTS).minutes == CATALOGUE.test("rest_voltage").minutes
