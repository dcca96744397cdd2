"""Checks that the trade names for a part: what they are worth is worked by hand, then on cars at the point of buying."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Reading, Visit
from faultnet.decision import load_costs
from faultnet.decision.costs import checks_of
from faultnet.decision.proving import Unproven, read_since_repair, unproven
from faultnet.decision.repair import Repairs
from faultnet.decision.value import Position, one_step, two_steps
from faultnet.errors import PriorsError
from faultnet.prior_set import load_catalogue

CATALOGUE, COSTS = load_catalogue(), load_costs()
TRUST = 400.0
LOAD = frozenset({"load"})


def at(belief: tuple[float, float], checks: Unproven | None, chances: dict[str, np.ndarray]) -> Position:
    """One of two parts for 100 is at fault; trust is lost by either in vain."""
    repairs = Repairs(
        ("a", "b"), np.full(2, 100.0), np.array([]), np.array([-1, -1]), np.eye(2, dtype=bool), 0.0,
        in_vain=np.full(2, TRUST),
    )  # fmt: skip
    return Position(np.array(belief), chances, dict.fromkeys(chances, 0.0), repairs, {}, checks)


BLIND = np.full((2, 2), 0.5)


def test_a_check_that_tells_nothing_is_worth_the_trust_no_longer_at_stake() -> None:
    """9 to 1: a in vain costs as much trust once more where it was not checked, with chance 0.1: the check keeps 40."""
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    worth = one_step(at((0.9, 0.1), checks, {"load": BLIND, "other": BLIND}))
    assert worth["load"].saving == pytest.approx(0.1 * TRUST)
    assert worth["other"].saving == pytest.approx(0.0)


def test_its_worth_falls_with_the_doubt_and_is_nothing_for_a_part_that_is_surely_at_fault() -> None:
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    savings = [one_step(at((p, 1.0 - p), checks, {"load": BLIND}))["load"].saving for p in (0.9, 0.95, 0.99, 1.0)]
    assert savings == pytest.approx([0.1 * TRUST, 0.05 * TRUST, 0.01 * TRUST, 0.0])


def test_each_of_several_checks_takes_its_share() -> None:
    checks = Unproven({"a": (LOAD, frozenset({"look"}))}, {"a": 2}, 2.0)
    position = at((0.9, 0.1), checks, {"load": BLIND, "look": BLIND})
    assert one_step(position)["load"].saving == pytest.approx(0.1 * TRUST / 2)
    assert two_steps(position, one_step(position))["load"].saving == pytest.approx(0.1 * TRUST / 2)
    _, after = position.after("load", [0], {"look": BLIND})
    assert after.checks is not None
    assert after.checks.open_checks == {"a": (frozenset({"look"}),)}
    assert after.trust_kept() == {"look": pytest.approx(0.1 * TRUST / 2)}


def test_which_part_comes_first_does_not_hang_on_what_is_unproven() -> None:
    """Else what nobody checked would be repaired after what is cheap and unlikely, and the car be given up sooner."""
    checks = Unproven({"a": (LOAD,)}, {"a": 1}, 2.0)
    plain, named = at((0.6, 0.4), None, {"load": BLIND}), at((0.6, 0.4), checks, {"load": BLIND})
    assert named.first_repair() == plain.first_repair() == ("a", pytest.approx(0.6))
    assert named.cost_now() == plain.cost_now()


def test_without_named_checks_nothing_changes() -> None:
    plain, named = at((0.8, 0.2), None, {"load": np.eye(2)}), at((0.8, 0.2), Unproven({}, {}, 2.0), {"load": np.eye(2)})
    assert one_step(plain)["load"] == one_step(named)["load"]


def test_a_check_stands_until_its_part_is_repaired() -> None:
    """A battery that was load-tested counts as checked; the new one in its place does not."""
    tested = (Reading("half_rating_load", value=9.1), Reading("belt_look", not_measured="skipped"))
    visits = (Visit(tested), Visit((Act("clean_joint", "positive_joint", "better"),)))
    case = Case(Car(Battery(600.0)), visits)
    doable = ("half_rating_load", "conductance_rating", "belt_look")
    assert "battery" not in unproven(case, COSTS, doable).open_checks
    assert unproven(case, COSTS, doable).open_checks["alternator"] == (frozenset({"belt_look"}),)
    renewed = replace(case, visits=(*visits, Visit((Act("replace", "battery", "better"),))))
    assert unproven(renewed, COSTS, doable).open_checks["battery"] == (frozenset(doable[:2]),)
    assert read_since_repair(renewed, "alternator") == {"half_rating_load"}


def test_a_check_that_cannot_be_done_is_not_asked_for() -> None:
    """A starter that draws no current has no drops to read; the command at it can be read."""
    left = unproven(Case(Car(Battery(600.0))), COSTS, ("control_terminal_voltage",))
    assert left.open_checks["starter_motor"] == (frozenset({"control_terminal_voltage"}),)
    share = left.share_of("starter_motor", "control_terminal_voltage")
    assert share == pytest.approx((COSTS.unproven - 1.0) / 3.0)


def test_whatever_costs_trust_in_vain_has_checks_named_for_it() -> None:
    """Else a part without would be bought before its neighbour for want of a check alone."""
    assert {part for part, trust in COSTS.in_vain.items() if trust > 0.0} == set(COSTS.named)
    assert set().union(*COSTS.named["battery"]) >= {"half_rating_load", "conductance_rating"}
    assert set().union(*(set().union(*checks) for checks in COSTS.named.values())) <= {t.id for t in CATALOGUE.tests}
    assert checks_of("a or b; c") == (frozenset({"a", "b"}), frozenset({"c"}))


def test_a_check_by_a_test_that_is_not_there_is_refused(tmp_path) -> None:
    (tmp_path / "prior_set.toml").write_text('name = "ours"\nversion = "1"\nparent = "standard"\n')
    row = 'named,battery,half_rating_load or load_tset,-,"common practice, no source",practice,\n'
    (tmp_path / "costs.csv").write_text("kind,name,value,unit,source,mark,note\n" + row)
    with pytest.raises(PriorsError, match=r"costs\.csv, line 2.*load_tset"):
        load_costs(folder=tmp_path)
