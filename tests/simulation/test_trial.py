"""A trial as a whole: the same table by any number of workers and after a break; prices and counts by hand."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Act
from faultnet.decision import load_costs
from faultnet.diagnosis import models
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import FaultnetError
from faultnet.prior_set import load_catalogue
from faultnet.simulation.car.world import draw_car
from faultnet.simulation.scoring.reliability import draw_reliability
from faultnet.simulation.scoring.table import table
from faultnet.simulation.trial import Plan, Task, results_of, run_trial, work_on
from faultnet.simulation.workshop import job as workshop
from faultnet.simulation.workshop import stepping
from faultnet.simulation.workshop.job import Job, Shop, brought_in, given_back, looked, mended, needs_mending
from faultnet.simulation.workshop.one_car import CarResult, right_first_time, try_car
from faultnet.simulation.workshop.policies import POLICIES
from faultnet.simulation.workshop.roster import ROSTER, Drawn, drawn_car, place_of
from faultnet.simulation.workshop.steps import GiveBack, Look

TESTS = {t.id for t in load_catalogue().tests}
COSTS = load_costs()
TOP = Path(__file__).parents[2]
REPAIRS = {a.id for a in load_catalogue().acts if a.kind == "repair"}


@pytest.fixture(scope="module")
def shop() -> Shop:
    return Shop(load_catalogue(), COSTS)


@pytest.fixture(scope="module")
def usual() -> Shop:
    """A shop with what most people have, in which a job of many steps is over sooner than in one with every tool."""
    return Shop(load_catalogue(), COSTS, USUAL_TOOLS)


def car(shop: Shop, **modes: str) -> Drawn:
    vehicle = draw_car(np.random.default_rng(8), shop.catalogue, *ROSTER[3][:1], modes, ROSTER[3][1], faults_on=True)
    return Drawn(0, 3, vehicle)


def start(shop: Shop, **modes: str) -> tuple[Job, np.random.Generator]:
    rng = np.random.default_rng(9)
    return brought_in(car(shop, **modes).vehicle, rng), rng


def test_a_test_costs_its_minutes_its_preparation_and_the_overhead(shop: Shop) -> None:
    """half_rating_load: 8 min, 12 for the charge, 4 for the lamps, 1 to turn to it, at 100 an hour."""
    job, rng = start(shop)
    after = looked(job, shop, "half_rating_load", lambda _: rng)
    assert after.minutes == pytest.approx(25.0)
    assert after.money == pytest.approx(25.0 * 100.0 / 60.0)
    acts = [e.act for e in after.visit.entries if isinstance(e, Act)]
    assert acts == ["charge", "shed_surface_charge"]
    again = looked(after, shop, "half_rating_load", lambda _: rng)
    assert again.minutes - after.minutes == pytest.approx(9.0)


def test_a_repair_costs_its_part_and_work_and_its_cover_once(shop: Shop) -> None:
    job, rng = start(shop, battery="worn")
    first = mended(job, shop, "positive_joint", "clean_joint", rng)
    assert first.money == pytest.approx(2.0 + (12.0 + 4.0 + 4.0) * 100.0 / 60.0)
    second = mended(first, shop, "battery", "replace", rng)
    assert second.money - first.money == pytest.approx(130.0 + (20.0 + 5.0) * 100.0 / 60.0)
    assert second.bought == (("battery", True),)
    read = [entry.test for entry in second.visit.entries[-2:]]  # type: ignore[union-attr]
    assert tuple(read) == shop.costs.proof["battery"] == ("crank_minimum", "charge_idle_voltage")


def test_a_car_given_back_with_a_fault_comes_back_and_ends_with_somebody_else(shop: Shop) -> None:
    job, rng = start(shop, starter_motor="dragging")
    for count in range(1, workshop.MOST_COME_BACKS + 1):
        job = given_back(job, shop, rng)
        assert (job.come_backs, len(job.case.visits), job.done) == (count, count + 1, False)
    job = given_back(job, shop, rng)
    assert job.done
    assert job.left_with_fault
    back = 4 * (320.0 + 100.0 / 60.0) + 320.0 + shop.costs.repair("starter_motor")  # somebody else mends it in the end
    assert job.money == pytest.approx(back)


def test_a_sound_car_is_given_back_once(shop: Shop) -> None:
    job, rng = start(shop)
    assert given_back(job, shop, rng).done
    assert not needs_mending(job)


def test_use_has_to_be_put_right_unless_something_was_mended(shop: Shop) -> None:
    job, rng = start(shop, use="left_on")
    assert needs_mending(job)
    advised = mended(job, shop, "use", "advise_use", rng)
    assert advised.bought == ()
    assert "charge" in [e.act for e in advised.visit.entries if isinstance(e, Act)]
    assert not needs_mending(replace(job, mended=("battery",)))


@pytest.mark.parametrize(
    ("faults", "bought", "right"),
    [
        ((("battery", "worn"),), (("battery", True),), True),
        ((("battery", "worn"),), (("starter_motor", False), ("battery", True)), False),
        ((("battery", "worn"),), (), False),
        ((("positive_joint", "corroded"),), (), True),
        ((("charge_control", "wrong_command"),), (), True),
        ((), (), True),
        ((), (("battery", False),), False),
    ],
)
def test_right_first_time_is_the_first_part_bought(
    shop: Shop, faults: tuple[tuple[str, str], ...], bought: tuple[tuple[str, bool], ...], right: bool
) -> None:
    assert right_first_time(faults, bought, shop.catalogue) is right


def test_a_policy_that_never_ends_is_stopped_and_counted(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stepping, "MOST_STEPS", 5)
    found = try_car(car(shop, belt="lost"), "stubborn", lambda *_: Look("belt_look"), shop, 1)
    assert found.looped
    assert found.left_with_fault
    assert found.tests == 5
    assert found.cost > 320.0 + 320.0 + shop.costs.repair("belt")


def test_a_policy_sees_no_more_than_the_case(shop: Shop) -> None:
    seen = []

    def looks(case: object, given: object, rng: object) -> GiveBack:
        seen.append((type(case).__name__, given is shop))
        return GiveBack()

    try_car(car(shop), "looks", looks, shop, 1)
    assert seen == [("Case", True)]


def read_by(shop: Shop, name: str, *tests: str) -> dict[str, str]:
    """What a policy that does these tests, one after the other, and gives the car back is told, by test."""
    left = list(tests)
    found = try_car(car(shop), name, lambda *_: Look(left.pop(0)) if left else GiveBack(), shop, 6)
    return {done.split()[0]: done for done in found.course if " " in done}


def test_policies_differ_by_what_they_do_and_not_by_luck(shop: Shop) -> None:
    one = read_by(shop, "one", "rest_voltage", "charge_idle_voltage", "crank_minimum")
    other = read_by(shop, "other", "crank_minimum", "belt_look", "charge_idle_voltage")
    assert one["how_it_turns_over"] == other["how_it_turns_over"]
    assert one["crank_minimum"] == other["crank_minimum"]
    assert one["charge_idle_voltage"] == other["charge_idle_voltage"]


def test_a_test_done_twice_is_read_anew(shop: Shop) -> None:
    left = ["positive_joint_drop"] * 8
    found = try_car(car(shop), "often", lambda *_: Look(left.pop()) if left else GiveBack(), shop, 6)
    assert len({done for done in found.course if done.startswith("positive_joint_drop")}) > 4


@pytest.mark.parametrize("name", POLICIES)
def test_every_policy_comes_to_an_end_and_its_bill_adds_up(usual: Shop, name: str) -> None:
    # cutting edges tries every test it has before it believes a shorted cell, which takes a third of a minute
    modes = {"use": "left_on"} if name == "class_edges" else {"battery": "shorted_cell"}
    found = try_car(car(usual, **modes), name, POLICIES[name], usual, 4)
    assert not found.looped
    assert set(found.beliefs) == {c.id for c in usual.catalogue.components}
    assert found.cost >= found.minutes * 100.0 / 60.0 - 0.005  # to the cent; no part is bought for how a car is used
    assert found.tests == sum(" " in done and done.split()[0] in TESTS for done in found.course) - said_unasked(found)


def said_unasked(found: CarResult) -> int:
    """Complaints, one a visit, and what proves each repair."""
    repairs = [done.split() for done in found.course if done.split()[0] in REPAIRS]
    return 1 + found.come_backs + sum(len(COSTS.proof[words[1]]) for words in repairs)


@pytest.mark.parametrize("name", ["expected_cost", "flow_chart"])
def test_the_main_policies_find_clear_faults(usual: Shop, name: str) -> None:
    for modes in ({"battery": "shorted_cell"}, {"drain": "heavy"}, {"alternator": "no_output"}):
        found = try_car(car(usual, **modes), name, POLICIES[name], usual, 4)
        assert any(next(iter(modes)) in done for done in found.course), found.course
        assert not found.left_with_fault


def test_the_same_seed_gives_the_same_cars_to_every_policy_and_other_seeds_others(shop: Shop) -> None:
    one, two = (drawn_car(shop.catalogue, 5, 11) for _ in range(2))
    assert one.vehicle.parameters == two.vehicle.parameters
    assert one.vehicle.conditions == ROSTER[place_of(5, 11)][1]
    others = [drawn_car(shop.catalogue, 6, n).vehicle.parameters for n in range(2)]
    assert one.vehicle.parameters not in others


def test_evenly_drawn_cars_have_each_mode_in_turn(shop: Shop) -> None:
    modes = [(c.id, m.id) for c in shop.catalogue.components for m in c.modes[1:]]
    drawn = [drawn_car(shop.catalogue, 1, n, draw="evenly").vehicle.faults for n in range(len(modes) + 1)]
    assert [faults for (faults,) in drawn] == [*modes, modes[0]]


def test_the_table_is_the_same_for_one_worker_two_workers_and_a_run_that_was_broken_off(tmp_path: Path) -> None:
    plan = Plan(2, 3, policies=("flow_chart", "most_likely_first"))
    alone = {name: row.record() for name, row in run_trial(plan).items()}
    kept = tmp_path / "kept.jsonl"
    told: list[tuple[int, int]] = []
    both = run_trial(plan, workers=2, resume=kept, told=lambda done, whole: told.append((done, whole)))
    assert {name: row.record() for name, row in both.items()} == alone
    assert told[-1] == (4, 4)
    lines = kept.read_text().splitlines()
    assert len(lines) == 4
    kept.write_text("\n".join(lines[:2]) + "\n" + lines[2][:30])  # the third was being written
    resumed = run_trial(plan, resume=kept)
    assert {name: row.record() for name, row in resumed.items()} == alone
    again: list[tuple[int, int]] = []
    run_trial(plan, resume=kept, told=lambda done, whole: again.append((done, whole)))
    assert again == []


def test_a_worker_holds_little_between_its_tasks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Broken off after some steps; ``tests/bench/trial_memory.py`` measures the megabytes of twenty cars."""
    monkeypatch.setattr(stepping, "MOST_STEPS", 4)
    work_on(Task(Plan(1, 3), "expected_cost", (0,)))
    assert models._models
    assert all(model.compiled.size() < 1 << 20 for model in models._models.values())


def test_results_of_another_seed_world_or_prior_set_are_not_taken_over(tmp_path: Path) -> None:
    kept = tmp_path / "kept.jsonl"
    plan = Plan(2, 3, policies=("flow_chart",))
    first = results_of(plan, resume=kept)
    for other in (replace(plan, seed=4), replace(plan, world="mismatched"), replace(plan, draw="evenly")):
        assert results_of(other, resume=kept) != first
    assert len(kept.read_text().splitlines()) == 8
    keys = {json.loads(line)["key"] for line in kept.read_text().splitlines()}
    assert len(keys) == 4


def test_a_damaged_line_within_the_results_is_said_to_be_one(tmp_path: Path) -> None:
    kept = tmp_path / "kept.jsonl"
    kept.write_text('{"key": 1\n{}\n{}\n')
    with pytest.raises(FaultnetError, match="line 1"):
        results_of(Plan(1, 3, policies=("flow_chart",)), resume=kept)


def test_that_results_cannot_be_kept_is_said_before_the_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("faultnet.simulation.trial.work_on", lambda task: pytest.fail("worked first"))
    for kept in (tmp_path / "none" / "kept.jsonl", tmp_path, tmp_path / ("z" * 5000)):
        with pytest.raises(FaultnetError, match=r"cannot be (kept|read)"):
            results_of(Plan(1, 3, policies=("flow_chart",)), resume=kept)


def test_unknown_names_and_no_cars_are_refused() -> None:
    for wrong in ({"policies": ("guess",)}, {"world": "moon"}, {"cars": 0}):
        with pytest.raises(FaultnetError):
            Plan(**{"cars": 1, "seed": 1, **wrong})  # type: ignore[arg-type]


def result(number: int, **other: object) -> CarResult:
    usual = {"faults": (("battery", "worn"),), "right_first_time": True, "wrong_parts": 0, "minutes": 60.0,
             "cost": 200.0, "tests": 6, "come_backs": 0, "steps": 8, "left_with_fault": False, "looped": False,
             "beliefs": {"battery": 0.9, "belt": 0.1}, "course": ()}  # fmt: skip
    return CarResult(number, **{**usual, **other})  # type: ignore[arg-type]


def test_the_table_is_worked_out_by_hand_on_four_cars() -> None:
    ours = [
        result(0),
        result(1),
        result(2, right_first_time=False, wrong_parts=2),
        result(3, minutes=100.0, looped=True),
    ]
    chart = [replace(r, minutes=2 * r.minutes, cost=1000.0) for r in ours]
    row = table({"expected_cost": ours, "flow_chart": chart})["expected_cost"]
    value = {name: found.value for name, found in row.numbers.items()}
    assert value["right_first_time"] == pytest.approx(0.75)
    assert value["wrong_parts_per_100"] == pytest.approx(50.0)
    assert value["minutes"] == pytest.approx(70.0)
    assert value["brier"] == pytest.approx(0.01)
    assert value["log_loss"] == pytest.approx(-np.log(0.9))
    assert value["calibration_error"] == pytest.approx(0.1)
    assert row.against["minutes"].value == pytest.approx(0.5)
    assert row.against["cost"].value == pytest.approx(0.2)
    assert row.looped == 1
    assert all(n.low <= n.value <= n.high for n in row.numbers.values())


def test_visits_and_the_leading_cause_are_counted_by_hand_on_five_cars() -> None:
    """Two are right at the first visit, one of them without a fault; the likeliest part is at fault in three."""
    ours = [
        result(0, shows=True),
        result(1, faults=(), shows=None, beliefs={"battery": 0.1, "belt": 0.05}),
        result(2, wrong_parts=1, shows=True),
        result(3, come_backs=2, shows=False),
        result(4, come_backs=3, left_with_fault=True, shows=True, beliefs={"battery": 0.3, "belt": 0.6}),
    ]
    row = table({"expected_cost": ours})["expected_cost"]
    value = {name: found.value for name, found in row.numbers.items()}
    assert value["right_at_first_visit"] == pytest.approx(0.4)
    assert value["right_in_the_end"] == pytest.approx(0.8)
    assert value["cars_that_came_back"] == pytest.approx(0.4)
    assert value["leading_belief_less_truth"] == pytest.approx((3 * 0.9 + 0.1 + 0.6 - 3.0) / 5)
    scatter = 0.1 * 0.9 + 0.6 * 0.4  # of a belief alone in its class p (1 - p); of three that are all so, none
    assert value["leading_calibration_corrected"] == pytest.approx(
        ((3 * 0.1**2 + 0.1**2 + 0.6**2 - scatter) / 5) ** 0.5
    )
    leading = row.record()["leading_reliability"]
    assert leading == [
        {"belief": 0.1, "frequency": 0.0, "count": 1},
        {"belief": 0.6, "frequency": 0.0, "count": 1},
        {"belief": 0.9, "frequency": 1.0, "count": 3},
    ]
    assert row.first_visit == {
        "shows": {"right": 1, "cars": 3},
        "hidden": {"right": 0, "cars": 1},
        "sound": {"right": 1, "cars": 1},
    }
    assert row.by_component["belt"]["brier"] == pytest.approx((3 * 0.1**2 + 0.05**2 + 0.6**2) / 5)
    assert row.by_component["belt"]["skill"] is None


def test_the_reliability_plot_has_a_mark_for_every_class_and_policy() -> None:
    rows = table({"expected_cost": [result(0), result(1)], "flow_chart": [result(0), result(1)]})
    points = {name: row.record()["reliability"] for name, row in rows.items()}
    picture = draw_reliability(points)  # type: ignore[arg-type]
    assert picture.count("<title>2 beliefs</title>") == 4
    assert "expected cost" in picture


MADE_OF = """
from faultnet.decision import load_costs
from faultnet.prior_set import load_catalogue
from faultnet.simulation.scoring.record import made_of
print(made_of(load_catalogue(), load_costs()))
"""


def test_a_broken_off_trial_knows_its_results_again_in_another_process() -> None:
    """Checks are sets, whose order differs from process to process: every run began from the start."""
    said = {
        subprocess.run(
            [sys.executable, "-c", MADE_OF], env={**os.environ, "PYTHONHASHSEED": seed}, cwd=TOP, check=True,
            capture_output=True,
        ).stdout
        for seed in ("1", "2", "3")
    }  # fmt: skip
    assert len(said) == 1
    assert len(said.pop().strip()) == 16
