"""What it is worth to have a tool one lacks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from faultnet.decision.advice import decision_state
from faultnet.decision.costs import Costs
from faultnet.decision.value import DecisionState, cost_to_go
from faultnet.diagnosis.diagnose import Worked, ranked
from faultnet.diagnosis.needs import out_of_reach, within_reach
from faultnet.diagnosis.tools import has_tools


@dataclass(frozen=True)
class ToolWorth:
    """What a tool would save.

    Parameters
    ----------
    tool : str
    saving : float
        Fall of the expected cost of testing and mending when it is at hand [money].
    tests : tuple of str
        Tests it makes possible.
    """

    tool: str
    saving: float
    tests: tuple[str, ...]


def worth_of_tools(worked: Worked, costs: Costs, tools: Collection[str], *, depth: int = 2) -> tuple[ToolWorth, ...]:
    """Worth of every tool that is not at hand, for the case as it stands, dearest first.

    Parameters
    ----------
    worked : Worked
    costs : Costs
    tools : collection of str
        Tools at hand.
    depth : int
        Tests in a row that are looked ahead.

    Notes
    -----
    Both costs are those of testing myopically for up to `depth` tests in a row; a tool that only pays further ahead is
    undervalued.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.decision import load_costs
    >>> from faultnet.diagnosis import work_through
    >>> worked = work_through(Case(Car(Battery(600.0))), load_catalogue())
    >>> worth_of_tools(worked, load_costs(), ())[0].saving > 0
    True
    """
    tests, leading = ranked(worked, None)
    whole = decision_state(worked, costs, tests, leading)
    needs, first = {t.test: t.tools for t in tests}, {t.test: t.needs for t in tests}

    def with_tools(at_hand: Collection[str]) -> DecisionState:
        reach = within_reach(worked.case, worked.catalogue, at_hand)
        done = [t for t in whole.chances if has_tools(needs[t], at_hand) and not out_of_reach(first[t], reach)]
        return replace(whole, chances={t: whole.chances[t] for t in done})

    now = with_tools(tools)
    base = cost_to_go(now, depth)
    found = []
    for tool in sorted(
        {part for needed in needs.values() for each in needed for part in each.split(" or ")} - set(tools)
    ):
        more = with_tools({*tools, tool})
        opened = tuple(t for t in more.chances if t not in now.chances)
        if opened:
            found.append(ToolWorth(tool, round(max(0.0, base - cost_to_go(more, depth)), 2), opened))
    return tuple(sorted(found, key=lambda w: (-w.saving, w.tool)))
