"""Drops with the solenoid's contacts open: against Kirchhoff by hand, and what follows for the diagnosis."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Case, Conditions, Reading, Visit
from faultnet.diagnosis import work_through
from faultnet.diagnosis.models import model_for
from faultnet.model import bins
from faultnet.model.drops import FED, IDLE, LEVELS, STICKING
from faultnet.model.network import Network
from faultnet.prior_set import load_catalogue

CAR = Car(Battery(600.0), label="invented")
COIL = 10.0 / 60.0  # [ohm] both windings of an ordinary solenoid, as in spreads.csv
HOLDING = 12.0  # [A] what a weak winding draws that sticks, as in spreads.csv


@pytest.fixture(scope="module")
def built() -> Network:
    return model_for(CAR, Conditions(air_temperature=20.0), load_catalogue(), 1).compiled.network


def mean_drop(built: Network, name: str, part: int, level: str, **bad: str) -> float:
    """Mean volts over a part, all else in the loop sound but for what is named."""
    node = built.nodes[name]
    outside = [parent.removesuffix("_now") for parent in node.parents[2:]]
    modes = (built.nodes[f"{c}_now"].states.index(bad.get(c, "sound")) for c in outside)
    return float(node.table[(slice(None), part, LEVELS.index(level), *modes)] @ bins.DROP.middles)


@pytest.mark.parametrize("levels", [FED, STICKING, IDLE])
@pytest.mark.parametrize("name", ["solenoid_drop", "positive_drop"])
def test_open_contacts_stand_under_what_the_battery_holds(built: Network, name: str, levels: tuple[str, ...]) -> None:
    for level, volts in zip(levels[:-1], bins.OVER_OPEN_VOLTS.middles[:-1], strict=True):
        assert mean_drop(built, name, 0, level) == pytest.approx(volts, abs=0.35)


@pytest.mark.parametrize(
    "name, outside, mode",
    [
        ("solenoid_drop", "positive_joint", "slack"),
        ("solenoid_drop", "negative_joint", "slack"),
        ("positive_drop", "negative_joint", "slack"),
        ("positive_drop", "ground_path", "breaks_contact"),
    ],
)
def test_a_joint_that_holds_the_solenoid_back_takes_its_share_of_the_volts(
    built: Network, name: str, outside: str, mode: str
) -> None:
    """Fed, the contacts stay open where less than the pull-in voltage is left: 7.0 V of 12.4 V, as in effects.csv."""
    for level, volts in list(zip(FED, bins.OVER_OPEN_VOLTS.middles, strict=True))[3:]:
        assert mean_drop(built, name, 0, level, **{outside: mode}) < 0.6 * volts
    for level, volts in zip(IDLE[:-1], bins.OVER_OPEN_VOLTS.middles[:-1], strict=True):
        assert mean_drop(built, name, 0, level, **{outside: mode}) == pytest.approx(volts, abs=0.35)


@pytest.mark.parametrize(
    "node, parent, scale",
    [("loop", "negative_path", bins.NEGATIVE_PATH), ("positive_path", "positive_joint", bins.JOINT)],
)
def test_the_windings_do_not_pull_behind_a_bad_enough_resistance(
    built: Network, node: str, parent: str, scale: bins.Bins
) -> None:
    """7.0 V of 12.4 V are left behind 128 mohm for ordinary windings: all close below 35, few above 100 mohm."""
    found = built.nodes[node]
    axis = 1 + [p.removesuffix("_resistance") for p in found.parents].index(parent)
    held = np.moveaxis(found.table[found.states.index("held_back")], axis - 1, 0)
    beside_sound = held.reshape(len(scale), -1)[:, 0]
    assert beside_sound[np.asarray(scale.edges[1:]) <= 0.035].max() < 0.01
    assert 0.5 < beside_sound[-1] < 0.95


def test_without_a_command_nothing_drops_across_the_joints(built: Network) -> None:
    for level in IDLE:
        assert abs(mean_drop(built, "positive_joint_drop", 8, level)) < 0.02


def test_the_windings_and_a_bad_joint_divide_the_volts(built: Network) -> None:
    """V R / (R + R of the windings), over the joint's bin; a weak one that sticks carries the holding current alone.

    Bad joints thin out towards an open circuit, a lognormal of 12 mohm and 1.3 (`bins.JOINT`).
    """
    part = len(bins.JOINT) - 1
    low, high = bins.JOINT.edges[part], bins.JOINT.edges[part + 1]
    resistance = np.exp(np.linspace(np.log(low), np.log(high), 200))
    share = np.exp(-0.5 * (np.log(resistance / 0.012) / 1.3) ** 2)
    for fed, sticking, volts in list(zip(FED, STICKING, bins.OVER_OPEN_VOLTS.middles, strict=True))[2:]:
        both = volts / (resistance + COIL)
        for level, current in ((fed, both), (sticking, np.minimum(both, HOLDING))):
            by_hand = float(np.average(resistance * current, weights=share))
            assert mean_drop(built, "positive_joint_drop", part, level) == pytest.approx(by_hand, rel=0.12)


def believed(*readings: Reading) -> dict[str, float]:
    worked = work_through(Case(CAR, (Visit(readings, Conditions(air_temperature=20.0)),)), load_catalogue())
    return {c: float(p[1:].sum()) for c, p in worked.belief.marginals().items()}


def test_a_flat_battery_and_a_dead_control_circuit_are_not_taken_for_worn_contacts() -> None:
    """The volts across open contacts are those of the battery, 11 V of one left with its lights on.

    Nothing heard and no current at all: not fed. Common practice, no source; the readings are invented.
    """
    seen = (
        Reading("how_it_turns_over", state="nothing"),
        Reading("solenoid_drop", value=11.02),
        Reading("recorded_sustained", value=11.0),
        Reading("inrush_current", value=0.0),
    )
    belief = believed(*seen)
    assert belief["start_control"] > 0.8
    assert belief["solenoid"] < 0.2
    assert belief["battery"] + belief["use"] > 0.9


def test_a_slack_negative_joint_that_holds_the_solenoid_back_is_told_from_the_positive_one() -> None:
    """One clunk and no more; 12.3 V at the posts, 7.1 V at the clamps, and as little over the open contacts.

    The positive joint would leave the whole of the posts' volts on the positive side. The readings are invented.
    """
    belief = believed(
        Reading("control_terminal_voltage", value=7.12),
        Reading("rest_voltage", value=12.51),
        Reading("crank_minimum", value=12.26),
        Reading("positive_side_drop", value=7.642),
    )
    assert belief["negative_joint"] > 0.5
    assert belief["negative_joint"] > 1.4 * belief["positive_joint"]
    assert belief["solenoid"] < 0.1
