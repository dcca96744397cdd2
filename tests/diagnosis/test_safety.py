"""Nothing proposed contradicts what is known of the car: every finding with every test, preparation and repair."""

from __future__ import annotations

import re
from functools import cache

import pytest

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.advice import Weighed, weigh
from faultnet.diagnosis import work_through
from faultnet.diagnosis.needs import NEEDS_DO, PREPARED_BY, preparing_acts
from faultnet.diagnosis.safety import allowed_act, forbids
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs()
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
BATTERY = {"charges", "jumps", "loads", "cranks"}
GAS = {"sparks", *BATTERY}
# What must not be done after each finding; common practice, and the sources of the cautions in cautions.toml.
FORBIDDEN = {
    ("case_condition", "frozen"): BATTERY,
    ("case_condition", "cracked"): BATTERY,
    ("case_condition", "swollen"): BATTERY,
    ("smell", "rotten_eggs"): GAS,
    ("smell", "fuel"): GAS,
    ("turn_by_hand", "locked"): {"cranks", "jumps"},
}
# Words in the steps of a test or act that say what it does to the car.
SAYS = {
    "cranks": r"(?<!cold-)[Cc]rank(?!shaft)|[Ss]tart the engine|^Start[.,]|[Tt]urn the key"
    r"|key (to|at) start|twenty times",
    "charges": r"[Cc]onnect the charger|Join the charger|Charge (fully|until|slowly|the battery|, and)|Charge, and",
    "jumps": r"Join positive to positive",
}  # fmt: skip


def case_of(*entries: Entry, air: float = 12.0) -> Case:
    return Case(CAR, (Visit(entries, Conditions(air_temperature=air, hours_standing=10.0)),))


@cache
def advised(test: str, choice: str, behaviour: str) -> Weighed:
    found = case_of(Reading("how_it_turns_over", state=behaviour), Reading(test, state=choice))
    return weigh(work_through(found, CATALOGUE), COSTS)


@pytest.mark.parametrize("finding", FORBIDDEN, ids="-".join)
@pytest.mark.parametrize("behaviour", ["slow", "one_clunk"])
def test_no_test_no_preparation_and_no_repair_does_what_a_finding_forbids(
    finding: tuple[str, str], behaviour: str
) -> None:
    forbidden, weighed = FORBIDDEN[finding], advised(*finding, behaviour)
    assert weighed.tests
    for proposed in weighed.tests:
        assert not forbidden.intersection(CATALOGUE.test(proposed.test).does), proposed.test
        for act in preparing_acts(proposed.needs):
            assert not forbidden.intersection(CATALOGUE.act(act.act).does), (proposed.test, act.act)
        for need in proposed.needs:
            assert not forbidden.intersection(NEEDS_DO.get(need, ())), (proposed.test, need)
    decision = weighed.decision
    assert decision.act is None or not forbidden.intersection(CATALOGUE.act(decision.act).does)
    assert any(words in decision.not_now for words in [f.words for f in CATALOGUE.test(finding[0]).forbids])


@pytest.mark.parametrize("finding", FORBIDDEN, ids="-".join)
def test_the_repair_of_every_fault_is_one_that_the_finding_allows(finding: tuple[str, str]) -> None:
    standing = forbids(case_of(Reading(finding[0], state=finding[1])), CATALOGUE)
    for component in CATALOGUE.components:
        for mode in component.modes[1:]:
            act = allowed_act(CATALOGUE.act(mode.repair), component.id, standing, CATALOGUE)
            assert act is None or not FORBIDDEN[finding].intersection(act.does)
    assert {(t.id, f.choice) for t in CATALOGUE.tests for f in t.forbids} == set(FORBIDDEN)
    [found] = standing
    assert set(found.does) == FORBIDDEN[finding]


def test_what_the_steps_say_is_what_the_data_say() -> None:
    """A test or act whose steps crank, charge or jump is marked so, and nothing that is marked says nothing of it."""
    for kind in (CATALOGUE.tests, CATALOGUE.acts):
        for entry in kind:
            if getattr(entry, "instruments", ()) == ("question",):
                continue
            for what, pattern in SAYS.items():
                if any(re.search(pattern, step) for step in entry.steps):
                    assert what in entry.does, (entry.id, what)
    for need, acts in PREPARED_BY.items():
        for act in acts:
            assert set(CATALOGUE.act(act.act).does) <= set(NEEDS_DO.get(need, ())), (need, act.act)


@pytest.mark.parametrize(
    "after, stands",
    [
        ((), True),
        ((Reading("case_condition", state="dry_and_flat"),), False),
        ((Act("replace", "battery"),), False),
        ((Act("refill", "battery"),), True),
        ((Act("wait", hours=10.0),), True),
    ],
    ids=["nothing", "looked_again", "new_battery", "filled", "waited"],
)
def test_a_cracked_battery_stays_so_until_another_is_fitted(after: tuple[Entry, ...], stands: bool) -> None:
    cracked = Reading("case_condition", state="cracked")
    assert bool(forbids(case_of(cracked, *after), CATALOGUE)) is stands


def test_a_smell_passes_and_a_locked_engine_does_not() -> None:
    found = (Reading("smell", state="fuel"), Reading("turn_by_hand", state="locked"))
    assert [f.choice for f in forbids(case_of(*found, Act("wait")), CATALOGUE)] == ["locked"]
    later = Case(CAR, (Visit(found), Visit()))
    assert [f.choice for f in forbids(later, CATALOGUE)] == ["locked"]


@pytest.mark.parametrize("air, rest, looks", [(-10.0, 11.3, True), (5.0, 11.3, False), (-10.0, 12.6, False)])
def test_ice_is_looked_for_where_it_is_cold_and_the_battery_is_nearly_flat(
    air: float, rest: float, looks: bool
) -> None:
    found = case_of(Reading("rest_voltage", value=rest), air=air)
    weighed = weigh(work_through(found, CATALOGUE), COSTS)
    assert (weighed.tests[0].test == "case_condition" and not weighed.decision.stop) is looks or not looks
    assert bool(weighed.decision.not_now) is looks
