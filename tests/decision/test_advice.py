"""Advice on whole cases: when to stop, what to mend, what a test saves."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace

import numpy as np
import pytest

from faultnet.case.file import load_case
from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.cli.sheets import advice_sheet
from faultnet.decision import advise, load_costs
from faultnet.decision.advice import act_for, decision_state, weigh
from faultnet.decision.choosing import least_saving, worth_of_tests
from faultnet.decision.plan import Knot, Leaf, plan_text, plan_tree, pocket_plan
from faultnet.decision.repair import Repairs, expected_cost
from faultnet.decision.tools import worth_of_tools
from faultnet.decision.value import DecisionState, doubt_taken, one_step, two_steps, value_of_perfect_information
from faultnet.diagnosis import NextTest, work_through
from faultnet.diagnosis.diagnose import ranked
from faultnet.diagnosis.hinges import overturning, overturning_words
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue
from faultnet.report.sheet import job_sheet
from faultnet.shipped import shipped


@pytest.fixture(scope="module")
def catalogue():
    return load_catalogue()


@pytest.fixture(scope="module")
def fresh(catalogue):
    return work_through(load_case(shipped("cases") / "fresh_case.json"), catalogue)


def test_a_shorted_cell_ends_in_a_new_battery_with_a_proof(catalogue):
    answer = advise(load_case(shipped("cases") / "shorted_cell.json"), catalogue, load_costs())
    assert answer.decision.repair == "battery"
    assert answer.decision.act == "replace"
    assert answer.decision.chance_of_cure > 0.6
    assert "V" in answer.decision.proof


def test_a_car_just_brought_in_is_tested_not_mended(catalogue):
    answer = advise(load_case(shipped("cases") / "fresh_case.json"), catalogue, load_costs())
    assert not answer.decision.stop
    assert max(t.saving for t in answer.diagnosis.next_tests) > 0
    taken = doubt_taken(
        weigh(work_through(load_case(shipped("cases") / "fresh_case.json"), catalogue), load_costs()).state
    )
    told = [taken[t.test] / t.price for t in answer.diagnosis.next_tests]
    assert told == pytest.approx(sorted(told, reverse=True), rel=1e-2), "prices are rounded"


def test_the_outcomes_of_a_test_are_a_distribution_and_average_back_to_the_belief(catalogue, fresh):
    tests, leading = ranked(fresh, None)
    assert leading.posterior.sum() == pytest.approx(1.0)
    for test in tests:
        assert sum(o.chance for o in test.outcomes) == pytest.approx(1.0, abs=1e-9)


def test_the_saving_of_a_test_is_worked_out_by_hand(fresh):
    """Cost now, less the mean of the costs after each outcome, less the price of the test."""
    costs = load_costs()
    tests, leading = ranked(fresh, None)
    state = decision_state(fresh, costs, tests, leading)
    worth = one_step(state)["rest_voltage"]
    chance = state.chances["rest_voltage"]
    after = 0.0
    for outcome in range(chance.shape[1]):
        weight = state.belief * chance[:, outcome]
        if weight.sum() > 1e-9:
            after += weight.sum() * float(expected_cost(state.repairs, weight[None])[0])
    assert worth.saving == pytest.approx(state.cost_now() - after - state.price["rest_voltage"])


def test_bits_per_minute_count_the_minutes_of_the_prices_for_turning_to_a_test(catalogue, fresh):
    """By the prices in use, which a prior set may give, and not by a figure of the diagnosis."""
    slow = replace(load_costs(), overhead_minutes=10.0)
    for costs in (load_costs(), slow):
        for test in weigh(fresh, costs).tests[:5]:
            assert test.bits_per_minute == test.bits / (test.minutes + costs.overhead_minutes)


def test_two_tests_that_only_tell_together_are_found_by_looking_two_steps_ahead():
    """A bit and its mask: each alone tells nothing about which of two dear repairs is needed, together everything."""
    at_fault = np.repeat(np.eye(2, dtype=bool), 2, axis=0)
    repairs = Repairs(("a", "b"), np.array([100.0, 100.0]), np.array([]), np.array([-1, -1]), at_fault, 0.0)
    bit = np.array([[1, 0], [0, 1], [0, 1], [1, 0]], float)
    mask = np.array([[1, 0], [0, 1], [1, 0], [0, 1]], float)
    state = DecisionState(np.full(4, 0.25), {"bit": bit, "mask": mask}, {"bit": 1.0, "mask": 1.0}, repairs)
    alone = one_step(state)
    assert max(w.saving for w in alone.values()) < 0
    together = two_steps(state, alone)
    assert together["bit"].saving == pytest.approx(50.0 - 2.0)
    assert together["bit"].follow_up == "mask"


def masked(bits: int) -> DecisionState:
    """One of 2 ** bits dear repairs is needed; test k tells the k-th bit of which. The last is: nothing."""
    count = 2**bits
    at_fault = np.eye(count, dtype=bool)
    names = (*(f"part_{k}" for k in range(count - 1)), "give_back")
    cost, vain = np.full(count, 100.0), np.array([*[180.0] * (count - 1), 0.0])
    repairs = Repairs(names, cost, np.array([]), np.full(count, -1), at_fault, 180.0, 120.0, vain)
    bit = {f"bit_{k}": np.eye(2)[(np.arange(count) >> k) & 1] for k in range(bits)}
    return DecisionState(np.full(count, 1.0 / count), bit, dict.fromkeys(bit, 5.0), repairs)


def test_where_nothing_is_founded_and_no_pair_of_tests_tells_many_steps_are_taken():
    """Four tests for 20 tell sixteen repairs apart, starting over costs 120: one bit of four is worth 120 / 4."""
    state = masked(4)
    assert state.starts_over()
    alone = one_step(state)
    assert max(w.saving for w in alone.values()) < 0
    assert max(w.saving for w in two_steps(state, alone).values()) < 0
    assert value_of_perfect_information(state) == pytest.approx(120.0)
    assert doubt_taken(state) == pytest.approx(dict.fromkeys(state.chances, 0.25))
    found = worth_of_tests(state, load_costs())
    assert [w.saving for w in found.values()] == pytest.approx([120.0 / 4 - 5.0] * 4)


def test_where_a_repair_is_founded_tests_that_do_not_pay_are_left_alone():
    state = masked(4)
    belief = np.array([0.97, *[0.03 / 15] * 15])
    founded = DecisionState(belief, state.chances, dict.fromkeys(state.chances, 40.0), state.repairs)
    assert not founded.starts_over()
    assert max(w.saving for w in worth_of_tests(founded, load_costs()).values()) < 0


def test_a_reading_that_a_dear_repair_depends_on_is_measured_once_more(catalogue):
    """A load test at 9.2 V, with 12.45 V at rest, on a car that turns as ever: charged and again before one is bought.

    Half of such cars have a sound battery that was not full. At 12.6 V it was, and the same again tells nothing.
    """
    # invented readings; 9.6 V at half the rating is the usual limit (common practice, no source)

    def tests(at_rest: float) -> dict[str, NextTest]:
        read = Reading("rest_voltage", value=at_rest), Reading("half_rating_load", value=9.2)
        case = Case(Car(Battery(600.0)), (Visit((Reading("how_it_turns_over", state="normal"), *read)),))
        return {t.test: t for t in advise(case, catalogue, load_costs()).diagnosis.next_tests}

    low, full = tests(12.45), tests(12.6)
    assert low["half_rating_load"].because.startswith("Measured once already")
    assert "battery_charged" in low["half_rating_load"].needs
    assert low["half_rating_load"].saving > 10.0 > low["rest_voltage"].saving
    assert "battery_charged" not in full["half_rating_load"].needs
    assert full["half_rating_load"].saving < 0.0
    assert not low["ground_path_drop"].because.startswith("Measured once already")


def test_a_repair_is_the_whole_cure_only_where_nothing_else_is_at_fault():
    """Worked by hand: `a` alone 0.5, `a` with `b` 0.3, `b` alone 0.2; `a` is mended first and cures half."""
    at_fault = np.array([[True, False], [True, True], [False, True]])
    repairs = Repairs(("a", "b"), np.array([10.0, 100.0]), np.array([]), np.array([-1, -1]), at_fault, 0.0)
    state = DecisionState(np.array([0.5, 0.3, 0.2]), {}, {}, repairs)
    assert state.first_repair() == ("a", pytest.approx(0.5))


def test_a_part_that_was_mended_still_frees_one_from_mending_how_the_car_is_used(catalogue):
    """A bad battery explains a flat one: once renewed, short trips are left alone; if it was good, they are not."""
    flat = Reading("rest_voltage", value=10.45)
    visit = Visit((Reading("journeys", state="mostly_short"), flat, Act("replace", "battery", "cured")))
    worked = work_through(Case(Car(Battery(600.0)), (visit,)), catalogue)
    tests, leading = ranked(worked, None)
    at_fault = decision_state(worked, load_costs(), tests, leading).repairs.at_fault
    use, battery = (worked.space.components.index(c) for c in ("use", "battery"))
    only_use_left = (leading.modes[:, use] > 0) & ((leading.modes > 0).sum(axis=1) == 1)
    was_bad = worked.space.modes[leading.chosen][:, battery] > 0
    renewed, was_good = at_fault[only_use_left & was_bad], at_fault[only_use_left & ~was_bad]
    assert leading.posterior[only_use_left & was_bad].sum() > 0.01
    assert len(was_good) > 0
    assert was_good[:, use].all()
    assert not renewed[:, :-1].any()
    assert renewed[:, -1].all()  # the last is giving the car back


@pytest.mark.parametrize(("start_over", "first", "cure"), [(1000.0, "a", 0.3), (60.0, "give_back", 0.1)])
def test_nothing_is_bought_where_starting_over_is_cheaper(start_over, first, cure):
    """Three parts at 100 each, equally likely: one after the other costs over 180, what is needed costs 90."""
    at_fault = np.vstack([np.eye(4, dtype=bool)])
    repairs = Repairs(
        ("a", "b", "c", "give_back"), np.array([100.0, 100.0, 100.0, 0.0]), np.array([]), np.full(4, -1), at_fault,
        call_back=5000.0, start_over=start_over,
    )  # fmt: skip
    state = DecisionState(np.array([0.3, 0.3, 0.3, 0.1]), {}, {}, repairs)
    assert state.starts_over() == (first == "give_back")
    assert state.first_repair() == (first, pytest.approx(cure))


def test_starting_over_is_recognised_to_the_last_place():
    """For next to nothing it is the cheapest for every belief, however the sums are rounded."""
    names = (*(f"part_{k}" for k in range(18)), "give_back")
    missed = []
    for seed in range(60):
        rng = np.random.default_rng(seed)
        at_fault = rng.random((300, 19)) < 0.1
        at_fault[:, -1] = ~at_fault[:, :-1].any(axis=1)
        cost = rng.uniform(5, 300, 19)
        repairs = Repairs(names, cost, np.array([]), np.full(19, -1), at_fault, 180.0, start_over=1.0)
        state = DecisionState(rng.dirichlet(np.full(300, 0.3)), {}, {}, repairs)
        if not state.starts_over() or state.first_repair()[0] != "give_back":
            missed.append(seed)
    assert missed == []


def test_a_dearer_hour_makes_long_tests_worth_less(catalogue, fresh):
    tests, leading = ranked(fresh, None)
    cheap, dear = (load_costs().with_shop(hourly_rate=r) for r in (20.0, 200.0))
    assert decision_state(fresh, dear, tests, leading).price["half_rating_load"] == pytest.approx(
        10 * decision_state(fresh, cheap, tests, leading).price["half_rating_load"]
    )


def test_wrong_prices_are_refused():
    with pytest.raises(PriorsError, match="cannot be this"):
        load_costs().with_shop(hourly_rate=-1.0)


def test_a_missing_row_of_costs_is_named(tmp_path):
    folder = shutil.copytree(shipped("priors") / "standard", tmp_path / "mine")
    text = (folder / "costs.csv").read_text()
    (folder / "costs.csv").write_text(
        "\n".join(line for line in text.splitlines() if not line.startswith("labour,belt"))
    )
    with pytest.raises(PriorsError, match=r"costs\.csv.*no row 'labour,belt'"):
        load_costs(folder=folder)
    (folder / "costs.csv").write_text(text + 'part,flux,3,money,"estimate, no source",estimate,\n')
    with pytest.raises(PriorsError, match=r"line \d+.*part flux"):
        load_costs(folder=folder)


def test_every_branch_of_a_pocket_plan_ends_in_a_repair_or_in_what_to_test_next(catalogue):
    whole = load_case(shipped("cases") / "sulphated_battery.json")
    begun = replace(whole, visits=(replace(whole.visits[0], entries=whole.visits[0].entries[:2]),))
    plan = pocket_plan(work_through(begun, catalogue), load_costs(), depth=4)
    leaves, knots = [], []

    def walk(node):
        if isinstance(node, Leaf):
            leaves.append(node)
            return
        knots.append(node)
        assert sum(then.chance for _, then in node.branches) == pytest.approx(node.chance, rel=1e-6)
        for _, then in node.branches:
            walk(then)

    walk(plan)
    assert isinstance(plan, Knot)
    assert knots
    assert any(leaf.repair for leaf in leaves)
    for leaf in leaves:
        assert bool(leaf.repair) != bool(leaf.next_test)
        assert leaf.proof or leaf.repair in ("", "give_back")
    assert plan.words in plan_text(plan)
    assert json.loads(json.dumps(plan_tree(plan)))["test"] == plan.test


@pytest.mark.parametrize("name, entries", [("healthy_car", 1), ("left_on_lamp", 2), ("left_on_lamp", 4)])
def test_a_pocket_plan_begins_with_the_test_that_the_screen_proposes(catalogue, name, entries):
    """Also where that test pays only with another one."""
    whole = load_case(shipped("cases") / f"{name}.json")
    begun = replace(whole, visits=(replace(whole.visits[0], entries=whole.visits[0].entries[:entries]),))
    worked = work_through(begun, catalogue)
    weighed, plan = weigh(worked, load_costs()), pocket_plan(worked, load_costs(), depth=2)
    if weighed.decision.stop:
        assert isinstance(plan, Leaf)
        assert plan.repair == weighed.decision.repair
    else:
        assert plan.test == weighed.tests[0].test


def test_a_tool_one_has_is_worth_nothing_more(catalogue, fresh):
    found = worth_of_tools(fresh, load_costs(), ("voltmeter",))
    assert "voltmeter" not in {w.tool for w in found}
    assert all(w.saving >= 0 for w in found)


def test_what_reads_volts_is_the_tool_most_worth_having(catalogue):
    """Common practice, no source: something that reads volts is the first thing to buy."""
    worked = work_through(Case(Car(Battery(600.0))), catalogue)
    found = worth_of_tools(worked, load_costs(), (), depth=3)
    assert found[0].tool in ("voltmeter", "recorder")
    assert "voltmeter" in {w.tool for w in found[:3]}
    assert found[2].saving > 0


def test_what_would_overturn_a_verdict_does_overturn_it(catalogue):
    """The outcome named is entered as a reading, and the cause named then leads."""
    case = load_case(shipped("cases") / "regulator_low.json")
    answer = advise(case, catalogue, load_costs())
    found = overturning(answer.diagnosis, load_catalogue())
    assert overturning_words(found)
    if found is not None:
        test = catalogue.test(found.test)
        states = {label: state for state, label in test.choices}
        if found.outcome in states:
            visit = case.visits[-1]
            entry = Reading(found.test, state=states[found.outcome])
            more = replace(case, visits=(*case.visits[:-1], replace(visit, entries=(*visit.entries, entry))))
            leader = advise(more, catalogue, load_costs()).diagnosis.causes[0]
            assert leader.label == found.leads_to


def test_nothing_at_hand_says_what_would_help(catalogue):
    visit = Visit((Reading("rest_voltage", value=12.6),), Conditions(air_temperature=20.0, hours_standing=12.0))
    answer = advise(Case(Car(Battery(600.0)), (visit,)), catalogue, load_costs(), tools=())
    assert all(not t.tools for t in answer.diagnosis.next_tests)


def test_once_a_repair_is_well_founded_the_test_proposed_is_worth_a_shops_while(catalogue):
    proposed = []
    for name in ("regulator_low", "ground_high_resistance", "key_off_drain", "shorted_cell"):
        case = load_case(shipped("cases") / f"{name}.json")
        entries = case.visits[0].entries
        for count in range(3, len(entries) + 1):
            until = replace(case, visits=(replace(case.visits[0], entries=entries[:count]),))
            weighed = weigh(work_through(until, catalogue), load_costs(), tools=USUAL_TOOLS)
            least = least_saving(weighed.state, load_costs())
            if not weighed.decision.stop and least > 0.0:
                proposed.append((weighed.tests[0].saving, least))
    assert len(proposed) >= 3
    assert all(saving > least for saving, least in proposed)


def test_a_joint_that_may_be_corroded_as_well_as_slack_is_cleaned_which_tightens_it() -> None:
    """Tightening would leave the corroded half of them, and a car that comes back costs more than the minutes."""
    car = Car(Battery(600.0, "EN", age=5.0), "petrol", 1.6, 4, 90.0)
    told = [("how_it_turns_over", "rapid_clicking"), ("when_it_fails", "damp"), ("flat_how_often", "never")]
    entries: list[Entry] = [Reading(test, state=state) for test, state in told]
    entries += [Reading("rest_voltage", value=12.44), Reading("crank_minimum", value=11.98)]
    entries += [Reading("lamps_while_cranking", state="go_out"), Reading("positive_joint_drop", value=0.011)]
    visit = Visit(tuple(entries), Conditions(air_temperature=4.0, hours_standing=11.0))
    worked = work_through(Case(car, (visit,)), load_catalogue())
    found, costs = ranked(worked, None)[1], load_costs()
    assert act_for(worked, found, "negative_joint", costs) == "clean_joint"
    assert act_for(worked, found, "negative_joint", replace(costs, call_back=0.0)) == "tighten_joint"


@pytest.mark.parametrize("below", [0.0, 1.0])
def test_a_repair_named_for_its_low_price_alone_is_said_to_be_hardly_the_whole_cure(catalogue, below: float) -> None:
    """Command line and paper say it as the page does, once no test is left that is worth its time."""
    case = load_case(shipped("cases") / "regulator_low.json")
    advice = advise(case, catalogue, replace(load_costs(), well_founded=1.0, surely_needed=2.0, hardly_a_cure=below))
    decision = replace(advice.decision, stop=True)
    assert decision.repair == "regulator"
    assert not decision.founded
    assert decision.hardly == (below > decision.chance_of_cure)
    advice = replace(advice, decision=decision)
    said = advice_sheet(advice, case, catalogue), job_sheet(case, advice.diagnosis, catalogue, decision=decision)
    assert [("ardly the whole cure" in " ".join(text.split())) for text in said] == [decision.hardly] * 2
