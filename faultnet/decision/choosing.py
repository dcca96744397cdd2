"""By what the next test is chosen, and when a test is worth doing at all: the one place where that is decided.

All criteria stop by the same rule (:func:`least_saving`) and differ only in which test they put first. Those that look
ahead begin with the order of a cheaper one and play the first few tests through: what it costs to follow the cheaper
criterion for some tests after each outcome, and then to mend.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from faultnet.decision.costs import Costs
from faultnet.decision.repair import GIVE_BACK
from faultnet.decision.value import (
    DecisionState,
    Worth,
    doubt_taken,
    many_steps,
    one_step,
    two_steps,
    value_of_perfect_information,
)
from faultnet.inference.posterior import informations

Scores = Mapping[str, float]
Criterion = Callable[[DecisionState, Mapping[str, Worth]], Scores]
CLOSE = 1e-9
PLAYED, STEPS, LEAST_PLAYED = 4, 2, 0.05  # tests played through, tests in a row, branches less likely are mended [-]


@dataclass(frozen=True)
class LookAhead:
    """A criterion that plays the first tests of a cheaper one through.

    Parameters
    ----------
    base : str
        Criterion that is followed while playing.
    """

    base: str


def by_saving(state: DecisionState, worth: Mapping[str, Worth]) -> Scores:
    """What a test saves beyond its price [money]."""
    return {test: w.saving for test, w in worth.items()}


def by_saving_for_price(state: DecisionState, worth: Mapping[str, Worth]) -> Scores:
    """What a test saves before its price, for each unit of its price, preparation shared with what follows [-]."""
    price = shared_price(state, worth)
    return {test: (w.saving + state.price[test]) / max(price[test], CLOSE) for test, w in worth.items()}


def by_information(state: DecisionState, worth: Mapping[str, Worth]) -> Scores:
    """Information about what is at fault, for each unit of price, preparation shared with what follows [bit/money]."""
    price, told = shared_price(state, worth), informations(state.belief, dict(state.chances))
    return {test: told[test] / max(price[test], CLOSE) for test in worth}


def by_doubt(state: DecisionState, worth: Mapping[str, Worth]) -> Scores:
    """Information about what has to be repaired, for each unit of price, preparation shared with what follows.

    What only tells modes of one part from each other, which the same repair mends, counts nothing here.
    """
    price, taken = shared_price(state, worth), doubt_taken(state)
    return {test: taken[test] / max(price[test], CLOSE) for test in worth}


CRITERIA: dict[str, Criterion | LookAhead] = {
    "saving": by_saving,
    "saving_for_price": by_saving_for_price,
    "information": by_information,
    "doubt": by_doubt,
    "saving_for_price_ahead": LookAhead("saving_for_price"),
    "information_ahead": LookAhead("information"),
}
CHOSEN = "doubt"
# What one preparation brings about for several tests in one go; what takes hours on a charger is no part of a go.
IN_ONE_GO = (
    *("fuel_disabled", "engine_runs", "booster", "helper", "caps_open", "cells_read", "module_read", "modules_asleep"),
    "recorder_connected",
)
MOST_IN_ONE_GO = 4


def is_founded(state: DecisionState, costs: Costs, name: str, cure: float) -> bool:
    """Whether a repair, or giving the car back, is likely enough to be all that is needed, or to be needed at all.

    Parameters
    ----------
    state : DecisionState
    costs : Costs
    name : str
        Component, or "give_back".
    cure : float
        Chance that it is all that is needed [-].
    """
    if costs.founded(cure) or name == GIVE_BACK:
        return costs.founded(cure)
    return costs.founded_by_need(state.chance_needed(name), state.repairs.price_in_vain(name))


def least_saving(state: DecisionState, costs: Costs) -> float:
    """What a test must save beyond its price to be worth doing [money].

    Parameters
    ----------
    state : DecisionState
    costs : Costs

    Notes
    -----
    Nothing where no repair is well founded, and where it is giving the car back: that is well founded on a check-up
    before anything is read. Else the larger of some minutes of labour and a share of what it would save to know what
    has to be repaired; not of the bill, most of which nobody can save, and which grows with the very part that might
    be bought in vain.
    """
    name, cure = state.first_repair()
    if name == GIVE_BACK or not is_founded(state, costs, name, cure):
        return 0.0
    return max(costs.worth_share * value_of_perfect_information(state), costs.money(costs.worth_minutes))


def worth_of_tests(state: DecisionState, costs: Costs, least: float = 0.0) -> dict[str, Worth]:
    """Worth of every test, as many steps ahead as it takes to see one that is worth doing."""
    alone = one_step(state)
    if _is_worth_doing(alone, least):
        return alone
    together = alone | two_steps(state, alone)
    if _is_worth_doing(together, least) or is_founded(state, costs, *state.first_repair()):
        return together
    return many_steps(state, alone)


def _is_worth_doing(worth: Mapping[str, Worth], least: float) -> bool:
    return max((w.saving for w in worth.values()), default=least - 1.0) > least


def check_worth_doing(state: DecisionState, worth: Mapping[str, Worth], repair: str, least: float) -> str:
    """The open check named for a part that is most worth doing before it is repaired; empty where none is.

    Parameters
    ----------
    state : DecisionState
    worth : mapping of test id to Worth
    repair : str
    least : float
        What a test must save to be worth doing [money].

    Notes
    -----
    A part that nobody needs to doubt any more is bought without: its check saves nothing then.
    """
    named = () if state.checks is None else state.checks.open_checks.get(repair, ())
    serving = {t for check in named for t in check if t in worth and worth[t].saving > least}
    return max(serving, key=lambda t: (worth[t].saving, t), default="")


@dataclass(frozen=True)
class Choice:
    """The tests in the order in which they are proposed, and whether one of them is worth doing.

    Parameters
    ----------
    order : tuple of str
        Best first.
    worth : mapping of test id to Worth
    least : float
        What a test must save to be worth doing [money].
    """

    order: tuple[str, ...]
    worth: Mapping[str, Worth]
    least: float

    @property
    def stop(self) -> bool:
        """Whether no test is worth doing."""
        return not _is_worth_doing(self.worth, self.least)


def choose(state: DecisionState, costs: Costs, urgent: str = "", criterion: str = CHOSEN) -> Choice:
    """Put the tests in the order in which they are proposed.

    Parameters
    ----------
    state : DecisionState
    costs : Costs
    urgent : str
        A test that comes before all others; empty mostly.
    criterion : str
        One of :data:`CRITERIA`.
    """
    least = least_saving(state, costs)
    worth = worth_of_tests(state, costs, least)
    order = proposed(state, worth, costs, least, criterion)
    if urgent in order:
        order = [urgent, *(t for t in order if t != urgent)]
    return Choice(tuple(order), worth, least)


def in_order(state: DecisionState, worth: Mapping[str, Worth], criterion: str = CHOSEN) -> list[str]:
    """Tests in the order of a criterion, best first.

    Parameters
    ----------
    state : DecisionState
    worth : mapping of test id to Worth
        Of :func:`worth_of_tests`.
    criterion : str
        One of :data:`CRITERIA`.
    """
    chosen = CRITERIA[criterion]
    if not isinstance(chosen, LookAhead):
        score = chosen(state, worth)
        return sorted(worth, key=lambda t: (-round(score[t], 9), t))
    order = in_order(state, worth, chosen.base)
    played = {t: _played(state, t, chosen.base) for t in order[:PLAYED]}
    return sorted(played, key=lambda t: (round(played[t], 6), t)) + order[PLAYED:]


def proposed(
    state: DecisionState, worth: Mapping[str, Worth], costs: Costs, least: float, criterion: str = CHOSEN
) -> list[str]:
    """Tests in the order in which they are proposed: that of a criterion, those not worth a shop's while behind.

    Parameters
    ----------
    state : DecisionState
    worth : mapping of test id to Worth
    costs : Costs
    least : float
        What a test must save [money], of :func:`least_saving`.
    criterion : str
        One of :data:`CRITERIA`.

    Notes
    -----
    Where nothing is well founded the order stays, as a cheap test may open the way to one that pays; but once a part is
    as likely as not the whole cure and only its check is open, or the car as likely as not sound, what saves nothing
    stands behind what does.
    """
    order = in_order(state, worth, criterion)
    if least <= 0.0 and costs.founded(max(state.likeliest_cure(), state.first_repair()[1])):
        return sorted(order, key=lambda test: worth[test].saving <= 0.0)
    return worth_while_first(order, worth, least)


def worth_while_first(order: Sequence[str], worth: Mapping[str, Worth], least: float) -> list[str]:
    """The same order, with the tests that are not worth a shop's while behind the others.

    Parameters
    ----------
    order : sequence of str
        Tests, best first.
    worth : mapping of test id to Worth
    least : float
        What a test must save [money], of :func:`least_saving`; where that is nothing, no repair is well founded yet,
        and the order stays: a cheap test may open the way to one that pays.

    Examples
    --------
    >>> worth = {"look": Worth(0.1, None, ()), "drop": Worth(31.0, None, ())}
    >>> worth_while_first(["look", "drop"], worth, 20.0)
    ['drop', 'look']
    """
    if least <= 0.0:
        return list(order)
    return sorted(order, key=lambda test: worth[test].saving <= least)


def _played(state: DecisionState, test: str, criterion: str, steps: int = STEPS, least: float = LEAST_PLAYED) -> float:
    """Expected cost of a test and of following a criterion for some tests after it, and then mending [money]."""
    rest = {t: c for t, c in state.chances.items() if t != test}
    total = state.price[test]
    for outcome in range(state.chances[test].shape[1]):
        chance, after = state.after(test, [outcome], rest)
        if chance < CLOSE:
            continue
        best = None
        if steps > 0 and chance >= least:
            worth = one_step(after)
            best = in_order(after, worth, criterion)[0] if _is_worth_doing(worth, 0.0) else None
        then = after.cost_now() if best is None else _played(after, best, criterion, steps - 1, least / chance)
        total += chance * then
    return total


def companions(state: DecisionState, worth: Mapping[str, Worth], test: str) -> list[str]:
    """Tests that the same preparation serves and that are then worth their own time, those that save most first.

    Parameters
    ----------
    state : DecisionState
    worth : mapping of test id to Worth
    test : str
        Whose preparation it is.
    """
    mine = set(_shared(state, test))
    return sorted(
        (
            t
            for t in worth
            if t != test and mine and set(_shared(state, t)) == mine and _pays_once_prepared(state, worth, t)
        ),
        key=lambda t: (-worth[t].saving, t),
    )[: MOST_IN_ONE_GO - 1]


def shared_price(state: DecisionState, worth: Mapping[str, Worth]) -> dict[str, float]:
    """Price of every test with what must be done first shared among the tests that it serves in one go [money]."""
    served: dict[str, int] = {}
    for test in worth:
        if _pays_once_prepared(state, worth, test):
            for need in _shared(state, test):
                served[need] = min(served.get(need, 0) + 1, MOST_IN_ONE_GO)
    return {
        test: state.price[test]
        - sum(price * (1.0 - 1.0 / served.get(need, 1)) for need, price in _shared(state, test).items())
        for test in worth
    }


def _shared(state: DecisionState, test: str) -> dict[str, float]:
    """What of a test's price goes into preparation that may serve others [money]."""
    preparing = state.preparing.get(test, {})
    return {need: price for need, price in preparing.items() if need in IN_ONE_GO and price > 0.0}


def _pays_once_prepared(state: DecisionState, worth: Mapping[str, Worth], test: str) -> bool:
    """Whether a test would save more than its own time, what it shares with others being done."""
    return worth[test].saving + sum(_shared(state, test).values()) > 0.0
