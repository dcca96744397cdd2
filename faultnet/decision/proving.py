"""Checks that the trade names for a part before it is bought, and which of them are open on a car.

A part fitted in vain costs trust, and more of it where a check that everybody in the trade would have made was open:
the shop fitted it on suspicion. So a check that is named for a part is worth, beside what it tells, the trust that is
no longer at stake for want of it. That weighs with the doubt that is left: a part that is surely at fault is bought
without. Parts for which nothing is named stand as they are. So it is with giving a car back: of what some drivers tell,
that it is flat again and again, everybody would have looked at certain things before.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from faultnet.case.types import Act, Case
from faultnet.decision.costs import Costs
from faultnet.decision.repair import GIVE_BACK

Checks = tuple[frozenset[str], ...]
"""Checks of a part, each as the tests that serve for it."""


@dataclass(frozen=True)
class Unproven:
    """Named checks that are open and could be done now.

    Parameters
    ----------
    open_checks : mapping of component, or "give_back", to tuple of frozenset of str
        Each check as the tests that serve for it; components with none open are left out.
    named : mapping of component to int
        How many checks the trade names for it.
    factor : float
        So many times the trust is lost by a part in vain while all its named checks are open [-].
    """

    open_checks: Mapping[str, Checks]
    named: Mapping[str, int]
    factor: float = 1.0

    def share_of(self, component: str, test: str) -> float:
        """How much of a part's trust at stake a test keeps, as one of the checks that are named for it [-].

        Examples
        --------
        >>> both = Unproven({"alternator": (frozenset({"look"}), frozenset({"volts"}))}, {"alternator": 2}, 2.0)
        >>> both.share_of("alternator", "look"), both.after("look").share_of("alternator", "look")
        (0.5, 0.0)
        """
        done = sum(test in check for check in self.open_checks.get(component, ()))
        return (self.factor - 1.0) * done / self.named[component] if done else 0.0

    def after(self, test: str) -> Unproven:
        """What is open once a test is done."""
        left = {c: tuple(check for check in checks if test not in check) for c, checks in self.open_checks.items()}
        return replace(self, open_checks={c: checks for c, checks in left.items() if checks})


def unproven(case: Case, costs: Costs, doable: Collection[str]) -> Unproven:
    """Which named checks are open on a car.

    Parameters
    ----------
    case : Case
    costs : Costs
        Which checks the trade names.
    doable : collection of str
        Tests that can be done with what the car can do now and the tools at hand.

    Notes
    -----
    A check stands done once one of its tests was read at any visit since the part was last repaired; one before the car
    is given back, once it was read at any visit.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Reading, Visit
    >>> from faultnet.decision import load_costs
    >>> looked = Visit((Reading("belt_look", state="good"),))
    >>> left = unproven(Case(Car(Battery(600.0)), (looked,)), load_costs(), ("charge_loaded_voltage", "belt_look"))
    >>> left.open_checks["alternator"]
    (frozenset({'charge_loaded_voltage'}),)
    """
    left: dict[str, Checks] = {}
    wanted = {**costs.named, GIVE_BACK: _before_return(case, costs)}
    for component, checks in wanted.items():
        read = read_since_repair(case, component)
        still = tuple(check & frozenset(doable) for check in checks if not check & read)
        left[component] = tuple(check for check in still if check)
    named = {component: len(checks) for component, checks in wanted.items()}
    return Unproven({c: checks for c, checks in left.items() if checks}, named, costs.unproven)


def _before_return(case: Case, costs: Costs) -> Checks:
    """Checks that what was told of the car calls for before it is given back, each once."""
    entries = [entry for visit in case.visits for entry in visit.entries]
    told = dict.fromkeys(
        (entry.act, entry.outcome or "") if isinstance(entry, Act) else (entry.test, entry.state or "")
        for entry in entries
    )
    return tuple(dict.fromkeys(check for one in told for check in costs.before_return.get(one, ())))


def read_since_repair(case: Case, component: str) -> frozenset[str]:
    """Tests that were read at any visit since something was last done to a component."""
    read: set[str] = set()
    for entry in (entry for visit in case.visits for entry in visit.entries):
        if isinstance(entry, Act):
            read = set() if entry.component == component else read
        elif entry.not_measured is None:
            read.add(entry.test)
    return frozenset(read)
