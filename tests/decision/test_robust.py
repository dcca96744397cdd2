"""Whether the first repair and the next step hold, by hand on two parts and on demo cases by the rule itself."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from itertools import product

import numpy as np
import pytest

from faultnet.case.demo import load_case
from faultnet.decision import load_costs
from faultnet.decision.advice import Weighed, weigh
from faultnet.decision.repair import GIVE_BACK, Repairs, order_of_repair, repairs_for
from faultnet.decision.robust import Robustness, chances_settled, ends_tried, next_step, robustness, settling, values_of
from faultnet.decision.value import DecisionState
from faultnet.diagnosis.diagnose import weights_by_now, work_through
from faultnet.diagnosis.robust import Claim, Off, Turn, doubt_of
from faultnet.diagnosis.tools import USUAL_TOOLS
from faultnet.inference.corners import Doubtful
from faultnet.model.network import Array
from faultnet.prior_set import load_catalogue
from tests.decision.test_choosing import HALF, NOTHING, TELLS, decision_state
from tests.diagnosis.test_robust import less_last_entry

COSTS = load_costs()


FRAGILE = "key_off_drain, less its last entry"  # what fell as a fuse was pulled makes the draw certain


@lru_cache(maxsize=3)
def weighed(name: str) -> Weighed:
    case = less_last_entry("key_off_drain") if name == FRAGILE else load_case(f"demo:{name}")
    return weigh(work_through(case, load_catalogue()), COSTS, tools=USUAL_TOOLS)


@lru_cache(maxsize=3)
def found(name: str) -> Robustness:
    return robustness(weighed(name), COSTS)


def first_repair(of: Weighed, factors: dict[tuple[str, str], float]) -> str:
    """What the rule of decision repairs first, every hypothesis being weighed by some other base rates."""
    worked = of.worked
    weights, modes = weights_by_now(worked)
    origin = worked.course.present.rows.origin
    doubt = doubt_of(worked, weights, origin, sliver=0.0)
    moved = doubt.doubtful.at(np.array([factors.get((r.component, r.mode), 1.0) for r in doubt.rates]))
    at_fault = repairs_for(worked.space.components, modes > 0, COSTS, worked.space.modes[origin] > 0)
    return DecisionState(moved / moved.sum(), {}, {}, at_fault).first_repair()[0]


def two_parts(off_by: float) -> Doubtful:
    return Doubtful(np.array([0.5, 0.5]), (np.array([0]), np.array([1])), np.full(2, off_by))


@pytest.mark.parametrize(
    ("off_by", "chances", "settled"),
    [
        (3.0, TELLS, 1.0),
        (3.0, NOTHING, 0.0),
        (3.0, HALF, 0.0),  # odds of 3 after it, which both rates off by 3 turn into 1/3
        (1.5, HALF, 1.0),  # 3 / 1.5^2 = 4/3
        (1.8, HALF, 0.0),  # 3 / 1.8^2 = 0.93
    ],
)
def test_what_a_test_settles_by_hand(off_by: float, chances: Array, settled: float) -> None:
    assert chances_settled(two_parts(off_by), decision_state({}, {}), [chances]) == [pytest.approx(settled)]


def test_a_test_that_tells_one_way_settles_that_way() -> None:
    """Of (0.5, 0.5): one outcome only with part a (chance 0.45), the other leaves odds of 10 for b: 10 / 9 holds."""
    one_way = np.array([[0.9, 0.1], [0.0, 1.0]])
    assert chances_settled(two_parts(3.0), decision_state({}, {}), [one_way, NOTHING]) == [pytest.approx(1.0), 0.0]
    assert chances_settled(two_parts(3.2), decision_state({}, {}), [one_way]) == [pytest.approx(0.45)]


def parts_at_random(seed: int) -> tuple[Doubtful, DecisionState]:
    """Five parts, up to three of them at fault, some behind one cover, and giving the car back."""
    rng = np.random.default_rng(seed)
    modes = np.array([row for row in product((False, True), repeat=5) if sum(row) <= 3])
    at_fault = np.column_stack([modes, ~modes.any(axis=1)])
    repairs = Repairs(
        (*"abcde", GIVE_BACK), rng.uniform(20.0, 60.0, 6), np.array([15.0]), np.array([0, 0, -1, -1, -1, -1]), at_fault,
        200.0, in_vain=np.append(rng.uniform(0.0, 20.0, 5), 0.0),
    )  # fmt: skip
    belief = np.exp(rng.normal(0.0, 1.5, len(modes)))
    belief[0] *= 30.0 ** (seed % 3)  # nothing at fault, now and then likely
    belief /= belief.sum()
    rows = (*(np.flatnonzero(column) for column in modes.T), np.flatnonzero(at_fault[:, -1]))
    return Doubtful(belief, rows, np.full(6, 1.4)), DecisionState(belief, {}, {}, repairs)


def test_the_first_repair_is_the_largest_of_the_values() -> None:
    names = set()
    for seed in range(40):
        _, at = parts_at_random(seed)
        value = values_of(at.repairs, at.belief) @ at.belief
        first = order_of_repair(at.repairs, at.belief[None])[0, 0]
        assert int(value.argmax()) == first
        names.add(at.repairs.names[first])
    assert {GIVE_BACK, "a"} <= names


def test_an_outcome_is_settled_where_no_corner_puts_another_repair_first() -> None:
    settled = []
    for seed in range(30):
        doubtful, at = parts_at_random(seed)
        likelihood = np.random.default_rng(seed).dirichlet(np.full(3, 0.3), len(at.belief))
        for outcome in likelihood.T:
            weights = at.belief * outcome
            value = values_of(at.repairs, weights / weights.sum())
            mine = int((value @ weights).argmax())
            corners = product((1.0 / 1.4, 1.4), repeat=6)
            holds = all(int((value @ (doubtful.at(np.array(c)) * outcome)).argmax()) == mine for c in corners)
            found = chances_settled(doubtful, at, [np.column_stack([outcome, 1.0 - outcome])])[0]
            other = chances_settled(doubtful, at, [np.column_stack([1.0 - outcome])])[0]
            assert found - other == pytest.approx(float(weights.sum()) if holds else 0.0, abs=1e-9)
            settled.append(holds)
    assert 10 < sum(settled) < len(settled) - 10


def test_the_next_step_is_asked_at_the_ends_that_turn_the_verdict() -> None:
    of, claim = weighed(FRAGILE), found(FRAGILE).repair
    assert claim is not None
    doubt = doubt_of(of.worked, of.found.leading.posterior, of.found.leading.chosen, sliver=0.0)
    smaller = Claim("repair", "x", (Turn((Off("drain", "heavy", 0.4, 8.0, 1000.0),), "y"),))
    *alone, mine, other = ends_tried(doubt, [claim, smaller])
    names = [(r.component, r.mode) for r in doubt.rates]
    assert {names[k]: larger for k, larger in mine.items()} == {
        (o.component, o.mode): o.factor > 1.0 for o in claim.turns[0].off
    }
    assert {names[k]: larger for k, larger in other.items()} == {("drain", "heavy"): False}
    heavy = names.index(("drain", "heavy"))
    assert {heavy: True} in alone
    assert {heavy: False} in alone


def test_a_repair_that_holds_is_first_at_corners_drawn() -> None:
    of = weighed("ground_high_resistance")
    claim = found("ground_high_resistance").repair
    assert claim is not None
    assert (claim.said, claim.holds) == ("ground_path", True)
    rng, rates = np.random.default_rng(2), doubt_of_rates(of)
    for _ in range(8):
        factors = {key: wide ** rng.choice([-1.0, 1.0]) for key, wide in rates.items()}
        assert first_repair(of, factors) == "ground_path"


def doubt_of_rates(of: Weighed) -> dict[tuple[str, str], float]:
    doubt = doubt_of(of.worked, of.worked.belief.posterior, np.arange(len(of.worked.space)))
    return {(r.component, r.mode): r.off_by for r in doubt.rates}


def test_a_fragile_repair_gives_way_at_the_rates_named_and_no_fewer() -> None:
    of, claim = weighed(FRAGILE), found(FRAGILE).repair
    assert claim is not None
    assert (claim.said, claim.holds) == ("drain", False)
    assert first_repair(of, {}) == "drain"
    for turn in claim.turns:
        factors = {(o.component, o.mode): o.factor for o in turn.off}
        assert first_repair(of, factors) == turn.leads_to
        for left in factors:
            assert first_repair(of, {k: f for k, f in factors.items() if k != left}) == "drain"


def test_the_chance_of_a_cure_lies_within_its_bounds_at_corners_drawn() -> None:
    of, bounds = weighed(FRAGILE), found(FRAGILE).cure
    assert bounds is not None
    doubt = doubt_of(of.worked, of.worked.belief.posterior, np.arange(len(of.worked.space)), sliver=0.0)
    column = of.worked.space.components.index("drain")
    parts = [i for i, c in enumerate(of.worked.space.components) if c != "use"]
    at_fault = of.worked.space.modes > 0
    cures = at_fault[:, column] & (at_fault[:, parts].sum(axis=1) == 1)
    rng, wide = np.random.default_rng(4), doubt.doubtful.off_by
    chances = []
    for _ in range(50):
        weights = doubt.doubtful.at(wide ** rng.choice([-1.0, 1.0], len(wide)))
        chances.append(float(weights[cures].sum() / weights.sum()))
    assert bounds[0] - 5e-3 <= min(chances) < of.decision.chance_of_cure < max(chances) <= bounds[1] + 5e-3
    assert bounds[0] < of.decision.chance_of_cure - 0.2


def test_a_fragile_repair_names_the_test_that_settles_most_for_its_price() -> None:
    of, settles = weighed(FRAGILE), found(FRAGILE).settles
    assert settles is not None
    assert settles == settling(of)
    assert settles.test in {t.test for t in of.tests}
    assert 0.25 <= settles.chance <= 1.0
    assert found("ground_high_resistance").settles is None


def test_the_next_step_is_the_decisions_own() -> None:
    for name in (FRAGILE, "ground_high_resistance"):
        decision, of = weighed(name).decision, weighed(name)
        said = f"repair:{decision.repair or GIVE_BACK}" if decision.stop else f"test:{of.tests[0].test}"
        claim = found(name).next
        assert claim is not None
        assert next_step(of.state, COSTS, of.found.urgent) == said == claim.said
        for turn in claim.turns:
            doubt = doubt_of(of.worked, of.found.leading.posterior, of.found.leading.chosen, sliver=0.0)
            off = {(o.component, o.mode): o.factor for o in turn.off}
            weights = doubt.doubtful.at(np.array([off.get((r.component, r.mode), 1.0) for r in doubt.rates]))
            then = replace(of.state, belief=weights / weights.sum())
            assert next_step(then, COSTS, of.found.urgent) == turn.leads_to != said


def test_the_verdict_alone_is_that_of_the_whole() -> None:
    for name in (FRAGILE, "ground_high_resistance"):
        few = robustness(weighed(name), COSTS, whole=False)
        assert few.verdict == found(name).verdict
        assert few.settles == found(name).settles
        assert (few.next, few.cure) == (None, None)
