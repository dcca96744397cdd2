"""How far each criterion for the next test is from the true optimum, on problems small enough to solve exactly.

``python tests/bench/optimum.py`` (``--json`` for the figures, ``--problems N``). A reduced problem has up to five
hypotheses, four repairs beside giving the car back, and five noisy tests of at most three outcomes. The optimum is
found by expectimax over all orders of tests and all outcomes, with the best of all orders of repair after every last
test. Each criterion is then evaluated exactly on the same tree: it chooses tests its own way, stops when no test is
worth its cost, and mends in the order of probability over cost. Problems are *drawn* at random with the shipped
prices, or *cut* from the demo cases: the leading hypotheses, the tests that save most, neighbouring outcomes put
together.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import permutations

import numpy as np

from faultnet.case.file import load_case
from faultnet.decision import load_costs
from faultnet.decision.advice import weigh
from faultnet.decision.choosing import worth_of_tests
from faultnet.decision.edges import edges_cut
from faultnet.decision.repair import GIVE_BACK, Repairs, expected_cost
from faultnet.decision.value import DecisionState, Worth, one_step
from faultnet.diagnosis import work_through
from faultnet.inference.posterior import information
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped

HYPOTHESES, REPAIRS, TESTS, OUTCOMES = 5, 4, 5, 3
LEAST = 1e-12

Choice = Callable[[DecisionState], str | None]


@dataclass(frozen=True)
class Gap:
    """Cost above the optimum of one criterion [share of it]: mean, worst, and share of problems solved best."""

    mean: float
    worst: float
    best: float


def optimum(state: DecisionState) -> float:
    """Least expected cost of testing and mending [money], by expectimax over every order of tests and repairs."""
    found: dict[frozenset[tuple[str, int]], float] = {}

    def least(now: DecisionState, seen: frozenset[tuple[str, int]]) -> float:
        if seen not in found:
            options = [best_repair(now)]
            for test in now.chances:
                then = {t: c for t, c in now.chances.items() if t != test}
                total = now.price[test]
                for outcome in range(now.chances[test].shape[1]):
                    chance, after = now.after(test, [outcome], then)
                    if chance > LEAST:
                        total += chance * least(after, seen | {(test, outcome)})
                options.append(total)
            found[seen] = min(options)
        return found[seen]

    return least(state, frozenset())


def best_repair(state: DecisionState) -> float:
    """Expected cost of mending without further tests in the best of all orders, broken off where that is cheapest."""
    orders = np.array(list(permutations(range(len(state.repairs.names)))), dtype=np.intp)
    beliefs = np.broadcast_to(state.belief, (len(orders), len(state.belief)))
    return float(expected_cost(state.repairs, beliefs, orders).min())


def cost_of(state: DecisionState, choose: Choice) -> float:
    """Expected cost of a criterion [money], exactly, over every outcome of the tests it chooses."""
    test = choose(state) if state.chances else None
    if test is None:
        return state.cost_now()
    then = {t: c for t, c in state.chances.items() if t != test}
    total = state.price[test]
    for outcome in range(state.chances[test].shape[1]):
        chance, after = state.after(test, [outcome], then)
        if chance > LEAST:
            total += chance * cost_of(after, choose)
    return total


def saving(state: DecisionState) -> str | None:
    """The test that saves most, one step ahead."""
    return _worthwhile(one_step(state))


def as_many_steps_as_it_takes(state: DecisionState) -> str | None:
    """The test that saves most, one, two or many steps ahead, whichever sees one worth doing. What the advice does."""
    return _worthwhile(worth_of_tests(state, load_costs()))


def information_per_minute(state: DecisionState) -> str | None:
    """The test with most information for its price, as long as the advice would go on."""
    return _by(state, lambda t: information(state.belief, state.chances[t]) / state.price[t])


def class_edges(state: DecisionState) -> str | None:
    """The test that cuts most edges between repair classes for its price, as long as the advice would go on."""
    return _by(state, lambda t: edges_cut(state, t) / state.price[t])


CRITERIA: dict[str, Choice] = {
    "saving": saving,
    "as_many_steps_as_it_takes": as_many_steps_as_it_takes,
    "information_per_minute": information_per_minute,
    "class_edges": class_edges,
}


def _worthwhile(worth: dict[str, Worth]) -> str | None:
    best = max(worth, key=lambda t: (worth[t].saving, t), default=None)
    return best if best is not None and worth[best].saving > 0.0 else None


def _by(state: DecisionState, value: Callable[[str], float]) -> str | None:
    return None if as_many_steps_as_it_takes(state) is None else max(state.chances, key=lambda t: (value(t), t))


def drawn_problem(rng: np.random.Generator) -> DecisionState:
    """A problem drawn at random: single faults, pairs and nothing wrong, tests that see some faults with noise."""
    costs = load_costs()
    names = [str(n) for n in rng.choice(sorted(set(costs.part) - {"use"}), REPAIRS, replace=False)]
    at_fault = np.zeros((HYPOTHESES, REPAIRS), dtype=bool)
    at_fault[:REPAIRS] = np.eye(REPAIRS)
    at_fault[-1, rng.choice(REPAIRS, int(rng.integers(0, 3)), replace=False)] = True
    nothing = ~at_fault.any(axis=1, keepdims=True)
    repairs = Repairs(
        (*names, GIVE_BACK),
        np.array([*(costs.repair(n) for n in names), costs.money(costs.overhead_minutes)]),
        np.array([]),
        np.full(REPAIRS + 1, -1, dtype=np.intp),
        np.hstack([at_fault, nothing]),
        costs.call_back,
        costs.start_over,
        np.array([*(costs.in_vain.get(n, 0.0) for n in names), 0.0]),
    )
    chances = {f"test_{k}": _noisy(rng) for k in range(TESTS)}
    price = {t: costs.money(float(rng.uniform(2.0, 20.0))) for t in chances}
    return DecisionState(rng.dirichlet(np.full(HYPOTHESES, 0.7)), chances, price, repairs)


def _noisy(rng: np.random.Generator) -> np.ndarray:
    """Chances of a test's outcomes: each hypothesis has its usual outcome, some are alike, errors are 2 to 20 %."""
    outcomes = int(rng.integers(2, OUTCOMES + 1))
    usual = rng.integers(0, outcomes, HYPOTHESES)
    wrong = rng.uniform(0.02, 0.2)
    return np.where(np.arange(outcomes) == usual[:, None], 1.0 - wrong, wrong / (outcomes - 1))


def cut_problems() -> Iterator[DecisionState]:
    """Problems cut from the demo cases, with so many entries known and the others still to come."""
    from dataclasses import replace

    from faultnet.case.types import Visit

    catalogue, costs = load_catalogue(), load_costs()
    for path in sorted(shipped("cases").glob("*.json")):
        case = load_case(path)
        entries = case.visits[0].entries if case.visits else ()
        for known in range(0, len(entries), 2):
            visit = Visit(entries[:known], case.visits[0].conditions)
            weighed = weigh(work_through(replace(case, visits=(visit,)), catalogue), costs)
            best = [t.test for t in weighed.tests[: 2 * TESTS]]
            yield cut(weighed.state, best)


def cut(state: DecisionState, tests: list[str]) -> DecisionState:
    """The likeliest hypotheses, the repairs they need, some tests, each with its outcomes put together to a few."""
    alike: dict[tuple[bool, ...], list[int]] = {}
    for row, needs in enumerate(state.repairs.at_fault.tolist()):
        alike.setdefault(tuple(needs), []).append(row)
    groups = sorted(alike.values(), key=lambda rows: -float(state.belief[rows].sum()))
    chosen: list[list[int]] = []
    for rows in groups:
        needed = state.repairs.at_fault[[r[0] for r in [*chosen, rows]], :-1].any(axis=0).sum()
        if len(chosen) < HYPOTHESES and needed <= REPAIRS:
            chosen.append(rows)
    belief = np.array([state.belief[rows].sum() for rows in chosen])
    at_fault = state.repairs.at_fault[[rows[0] for rows in chosen]]
    kept = [*np.flatnonzero(at_fault[:, :-1].any(axis=0)), at_fault.shape[1] - 1]
    whole = state.repairs
    repairs = Repairs(
        tuple(whole.names[k] for k in kept), whole.cost[kept], whole.access_cost, whole.access[kept], at_fault[:, kept],
        whole.call_back, whole.start_over, np.broadcast_to(whole.in_vain, whole.cost.shape)[kept],
    )  # fmt: skip
    shares = [state.belief[rows] / state.belief[rows].sum() for rows in chosen]
    chances = {
        t: _few(np.stack([s @ state.chances[t][rows] for s, rows in zip(shares, chosen, strict=True)]))
        for t in tests[:TESTS]
    }
    return DecisionState(belief / belief.sum(), chances, {t: state.price[t] for t in chances}, repairs)


def _few(chance: np.ndarray) -> np.ndarray:
    """Outcomes put together, neighbour with neighbour, until few are left."""
    while chance.shape[1] > OUTCOMES:
        total = chance.sum(axis=0)
        k = int(np.argmin(total[:-1] + total[1:]))
        chance = np.hstack([chance[:, :k], chance[:, k : k + 2].sum(axis=1, keepdims=True), chance[:, k + 2 :]])
    return chance / chance.sum(axis=1, keepdims=True)


def gaps(problems: list[DecisionState]) -> dict[str, Gap]:
    """Gap of each criterion over some problems."""
    best = np.array([optimum(p) for p in problems])
    result = {}
    for name, choose in CRITERIA.items():
        above = np.array([cost_of(p, choose) for p in problems]) / best - 1.0
        result[name] = Gap(float(above.mean()), float(above.max()), float((above < 1e-9).mean()))
    return result


def main() -> None:
    """Print the gaps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--problems", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    rng = np.random.default_rng(given.seed)
    sets = {"drawn": [drawn_problem(rng) for _ in range(given.problems)], "cut": list(cut_problems())}
    found = {name: gaps(problems) for name, problems in sets.items()}
    if given.json:
        tree = {n: {"problems": len(sets[n]), **{c: vars(g) for c, g in gap.items()}} for n, gap in found.items()}
        print(json.dumps({"seed": given.seed, **tree}, indent=2))
        return
    for name, gap in found.items():
        print(f"{name}: {len(sets[name])} problems")
        for criterion, g in gap.items():
            print(
                f"  {criterion:<24} {100 * g.mean:5.2f} % above the optimum, worst {100 * g.worst:5.1f} %, "
                f"optimal in {100 * g.best:3.0f} %"
            )


if __name__ == "__main__":
    main()
