"""Playing: the same car whatever the order, only what can be done, beliefs before repairs, the advice's numbers."""

from __future__ import annotations

import os
from functools import cache

import numpy as np
import pytest

from faultnet.case.types import Act, Reading
from faultnet.decision import load_costs
from faultnet.errors import EntryError
from faultnet.practice.cars import Ticket, car_of
from faultnet.practice.play import Played, begun, look_at, moved, offers
from faultnet.practice.review import Review, Stated, advised, bill, play_advised, record_of, review
from faultnet.prior_set import load_catalogue
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.policies import expected_cost
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare

SHOP = Shop(load_catalogue(), load_costs())
TURNS = {"matched": 1, "independent": 2}  # numbers of cars that turn over
GROUND = Ticket(course="ground_under_load")


def values(played: Played) -> dict[str, object]:
    readings = [e for v in played.case.visits for e in v.entries if isinstance(e, Reading)]
    return {r.test: r.state if r.value is None else r.value for r in readings}


@pytest.mark.parametrize("world", ["matched", "independent"])
def test_the_order_of_tests_changes_no_reading(world: str) -> None:
    tests = ["positive_side_drop", "ground_side_drop", "flat_how_often", "crank_minimum", "charge_lamp"]
    ticket = Ticket(world, "easy", TURNS[world])
    there, back = begun(ticket, SHOP), begun(ticket, SHOP)
    for test in tests:
        there = moved(there, Look(test))
    for test in reversed(tests):
        back = moved(back, Look(test))
    assert values(there) == values(back)
    assert set(tests) < set(values(there))
    assert there.job.money > 0.0


def test_the_same_ticket_is_the_same_car_and_another_number_another_one() -> None:
    def seen(number: int) -> object:
        return values(moved(begun(Ticket("matched", "medium", number), SHOP), Look("rest_voltage")))["rest_voltage"]

    assert seen(3) == seen(3)
    assert len({seen(n) for n in range(8)}) > 4


def test_difficulty_is_what_it_says() -> None:
    catalogue = SHOP.catalogue
    fleeting = {(c.id, m.id) for c in catalogue.components for m in c.modes if m.comes_and_goes}
    hard: set[str] = set()
    for number in range(8):
        for world in ("matched", "independent"):
            (fault,) = car_of(Ticket(world, "easy", number), catalogue).vehicle.faults
            assert fault not in fleeting
            brought = car_of(Ticket(world, "hard", number), catalogue)
            faults = brought.vehicle.faults
            if len(faults) == 2:
                hard.add("two")
            elif brought.told != brought.vehicle.car or brought.told.battery.rating is None:
                hard.add("label")
            else:
                assert faults[0] in fleeting
                hard.add("fleeting")
    assert hard == {"two", "label", "fleeting"}


def test_haste_saves_the_preparation_and_reads_what_it_reads_then() -> None:
    start = begun(Ticket(course="surface_charge"), SHOP)
    hasty, proper = moved(start, Look("rest_voltage", at_once=True)), moved(start, Look("rest_voltage"))
    offer = next(o for o in offers(start) if o.test.id == "rest_voltage")
    assert (hasty.job.minutes, proper.job.minutes) == (offer.at_once, offer.minutes)
    fast = moved(start, Look("crank_minimum", instrument="fast_meter"))
    assert values(hasty)["rest_voltage"] - values(proper)["rest_voltage"] > 0.2  # type: ignore[operator]
    assert values(fast)["crank_minimum"] < values(moved(start, Look("crank_minimum")))["crank_minimum"]  # type: ignore[operator]


def test_what_cannot_be_done_is_refused_in_words() -> None:
    start = begun(GROUND, SHOP)
    for belief in (None, -1.0, 101.0):
        with pytest.raises(EntryError, match="how sure you are"):
            moved(start, Mend("battery", "replace"), belief)
    with pytest.raises(EntryError, match="not a repair of that part"):
        moved(start, Mend("battery", "adjust_belt"), 50.0)
    with pytest.raises(EntryError, match="this is a repair"):
        moved(start, Prepare("long_charge"))
    with pytest.raises(EntryError, match="no such instrument"):
        moved(start, Look("rest_voltage", instrument="hydrometer"))
    asked = moved(start, Look("flat_how_often"))
    with pytest.raises(EntryError, match="nothing new"):
        moved(asked, Look("flat_how_often"))
    bare = begun(GROUND, Shop(SHOP.catalogue, SHOP.costs, frozenset()))
    assert "rest_voltage" not in {o.test.id for o in offers(bare)}
    with pytest.raises(EntryError, match="a tool is missing"):
        moved(bare, Look("rest_voltage"))
    finished = moved(moved(start, Mend("ground_path", "repair_cable"), 99.0), GiveBack())
    assert finished.job.done
    with pytest.raises(EntryError, match="given back"):
        moved(finished, GiveBack())
    swollen = moved(begun(GROUND, SHOP), Look("case_condition"))
    assert offers(swollen)


@cache
def followed(ticket: Ticket) -> Review:
    """A learner who does what the advice says, by the same doors as any learner."""
    played = begun(ticket, SHOP)
    while not played.job.done:
        step = advised(played.case, SHOP).step
        assert step == expected_cost(played.case, SHOP, np.random.default_rng(0))
        if isinstance(step, Look):
            step = look_at(played, step.test)
        assert step is not None
        played = moved(played, step, 60.0 if isinstance(step, Mend) else None)
    return review(played)


LONG = os.environ.get("FAULTNET_LONG_TESTS") == "1"
FOLLOWED = [GROUND, *([Ticket("independent", "easy", 1), Ticket("matched", "hard", 2)] if LONG else [])]


@pytest.mark.parametrize("ticket", FOLLOWED, ids=lambda t: t.words)
def test_who_follows_the_advice_has_its_numbers(ticket: Ticket) -> None:
    found = followed(ticket)
    assert found.yours == found.advice
    assert found.turns == ()
    assert found.regret == found.advice_regret >= 0.0
    assert found.yours.tests > 0


def test_where_the_advice_would_have_gone_another_way_is_told_with_its_reason() -> None:
    played = moved(begun(GROUND, SHOP), Mend("battery", "replace"), 90.0)
    found = review(moved(moved(played, Mend("ground_path", "repair_cable"), 70.0), GiveBack()))
    first = found.turns[0]
    assert first.number == 1
    assert first.yours == "Replace the part (Battery)"
    assert first.advised != first.yours
    assert "tells most for its time" in first.why
    assert first.belief is not None
    assert first.belief < 90.0
    assert found.stated == (Stated("battery", 90.0, False), Stated("ground_path", 70.0, True))
    assert found.yours.wrong_parts == 1
    assert found.regret == round(found.yours.cost - found.knowing.cost, 2) > 130.0
    record = record_of([found, found])
    assert (record.cars, record.beliefs, record.wrong_parts) == (2, 4, 2)
    assert record.brier == pytest.approx((0.9**2 + 0.3**2) / 2)
    assert record.calibration == pytest.approx((0.9 + 0.3) / 2)
    assert record.classes == ((70.0, 100.0, 2), (90.0, 0.0, 2))


def test_another_test_and_one_done_in_haste_are_another_way() -> None:
    start = begun(GROUND, SHOP)
    step = advised(start.case, SHOP).step
    assert isinstance(step, Look)
    as_told, hasty = look_at(start, step.test), look_at(start, step.test, at_once=True)
    for first, turns in ((as_told, 0), (hasty, 1), (Look("journeys"), 1)):
        played = moved(moved(start, first), Mend("ground_path", "repair_cable"), 70.0)
        found = review(moved(played, GiveBack()))
        assert sum(turn.number == 1 for turn in found.turns) == turns


def test_a_battery_that_is_not_known_to_be_charged_is_charged_and_paid_for() -> None:
    """And one that was charged is not charged once more."""
    start = begun(Ticket(course="load_responsive"), SHOP)
    offer = next(o for o in offers(start) if o.test.id == "two_load_resistance")
    tested = moved(start, look_at(start, "two_load_resistance"))
    assert tested.job.minutes == offer.minutes
    assert [e.act for e in tested.case.visits[0].entries if isinstance(e, Act)] == ["charge"]
    again = moved(tested, look_at(tested, "conductance_rating"))
    assert again.job.minutes > tested.job.minutes
    assert sum(isinstance(e, Act) and e.act == "charge" for e in again.case.visits[0].entries) == 1


def test_the_advice_states_its_own_beliefs() -> None:
    advice = play_advised(GROUND, SHOP)
    stated = [m for m in advice.moves if m.belief is not None]
    assert [m.step for m in stated] == [m.step for m in advice.moves if isinstance(m.step, Mend)]
    assert all(m.belief is not None and 0.0 <= m.belief <= 100.0 for m in stated)
    assert bill(advice).wrong_parts == 0
