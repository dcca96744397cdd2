"""A part that was renewed and is still as it was is not renewed again: it is looked further (common practice)."""

from __future__ import annotations

from dataclasses import replace

from faultnet.case.types import Act, Battery, Car, Case, Conditions, Entry, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.advice import Weighed, act_for, weigh
from faultnet.diagnosis import work_through
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs()
CAR = Car(Battery(600.0, "EN", age=4.0), "petrol", 1.6, 4, 90.0)
MILD = Conditions(air_temperature=20.0, hours_standing=10.0)
CLICKS: tuple[Entry, ...] = (
    Reading("how_it_turns_over", state="one_clunk"),
    Reading("starter_noise", state="whirrs"),
    Reading("lamps_while_cranking", state="stay_bright"),
    Reading("positive_side_drop", value=0.032),
)  # all invented
NEW_STARTER, FURTHER = Act("replace", "starter_motor", "no_change"), Act("look_further", "unlisted", "no_change")
AGAIN = (Reading("how_it_turns_over", state="one_clunk"), Reading("crank_current", value=37.4))


def weighed(*entries: Entry, told: tuple[Entry, ...] = CLICKS) -> Weighed:
    """A case worked through, with every tool."""
    return weigh(work_through(Case(CAR, (Visit((*told, *entries), MILD),)), CATALOGUE), COSTS)


def test_the_same_part_is_not_fitted_twice() -> None:
    first, then = weighed(), weighed(NEW_STARTER, *AGAIN)
    assert first.state.chance_of_cure("starter_motor") > 0.5
    assert then.state.chance_of_cure("starter_motor") == 0.0
    assert then.state.chance_of_cure("unlisted") > 0.3
    assert then.decision.repair != "starter_motor"


def test_once_it_was_looked_further_in_vain_it_may_be_fitted_again() -> None:
    assert weighed(NEW_STARTER, *AGAIN, FURTHER, *AGAIN).state.chance_of_cure("starter_motor") > 0.1


def test_looking_further_is_an_act_even_where_no_hypothesis_holds_a_fault_that_the_model_does_not_know() -> None:
    """Only the part that was renewed explains it, so that it is looked further for that one alone."""
    found = weighed(NEW_STARTER, *AGAIN)
    modes = found.found.leading.modes.copy()
    modes[:, found.worked.space.components.index("unlisted")] = 0
    leading = replace(found.found.leading, modes=modes)
    assert act_for(found.worked, leading, "unlisted", COSTS) == "look_further"


def test_a_joint_may_be_cleaned_again() -> None:
    """Nothing is bought for it, and one cleaning in twelve does not take."""
    cleaned = Act("clean_joint", "positive_joint", "no_change")
    drop = Reading("positive_joint_drop", value=1.2)
    slow = Reading("how_it_turns_over", state="slow")
    assert weighed(drop, cleaned, drop, told=(slow,)).state.chance_of_cure("positive_joint") > 0.1


def test_what_no_part_explains_gains_by_every_new_part_in_vain() -> None:
    """Readings that come again after a new part speak no more against a fault that the model does not know."""
    tried: list[Entry] = []
    chances = []
    for _ in range(3):
        tried += [NEW_STARTER, *AGAIN]
        worked = work_through(Case(CAR, (Visit((*CLICKS, *tried), MILD),)), CATALOGUE)
        chances.append(float(worked.belief.marginals()["unlisted"][1:].sum()))
    assert chances[0] < chances[1] <= chances[2] + 1e-6
    assert chances[2] > 0.15


def test_a_joint_that_was_cleaned_twice_in_vain_is_looked_past() -> None:
    """The driver's word and a drop within its limits: a third cleaning finds nothing either (common practice)."""
    cleaned, sound = Act("clean_joint", "negative_joint", "no_change"), Reading("negative_joint_drop", value=0.07)
    slow = Reading("how_it_turns_over", state="slow")
    twice = weighed(sound, cleaned, sound, cleaned, sound, told=(slow,))
    assert twice.state.chance_of_cure("negative_joint") == 0.0
