"""What a visit has taken so far: hands-on minutes, what they cost at the shop's rate, and what was bought."""

from __future__ import annotations

from dataclasses import dataclass

from faultnet.case.types import Act, Entry, Visit
from faultnet.decision.costs import Costs
from faultnet.prior_set.catalogue import Catalogue

BUYING = "replace"


@dataclass(frozen=True)
class Spent:
    """What a visit has taken.

    Parameters
    ----------
    minutes : float
        Hands-on, by the catalogue [min].
    labour : float
        What they cost [money].
    bought : tuple of (component, float)
        Parts fitted, in their order, with their price [money].
    """

    minutes: float
    labour: float
    bought: tuple[tuple[str, float], ...]

    @property
    def total(self) -> float:
        """Labour and parts [money]."""
        return self.labour + sum(price for _, price in self.bought)


def spent(visit: Visit, catalogue: Catalogue, costs: Costs) -> Spent:
    """Add up what a visit has taken.

    Parameters
    ----------
    visit : Visit
    catalogue : Catalogue
        Whose minutes a test or an act counts with; what was skipped counts nothing.
    costs : Costs

    Examples
    --------
    >>> from faultnet.case.types import Reading
    >>> from faultnet.decision import load_costs
    >>> from faultnet.prior_set import load_catalogue
    >>> visit = Visit((Reading("rest_voltage", 12.4), Act("replace", "battery")))
    >>> found = spent(visit, load_catalogue(), load_costs())
    >>> found.minutes, found.bought
    (61.0, (('battery', 130.0),))
    """
    minutes = sum(_minutes(entry, catalogue) for entry in visit.entries)
    fitted = [
        entry.component
        for entry in visit.entries
        if isinstance(entry, Act) and entry.component and catalogue.act(entry.act).effect == BUYING
    ]
    bought = tuple((part, costs.part[part]) for part in fitted if part in costs.part)
    return Spent(minutes, costs.money(minutes), bought)


def _minutes(entry: Entry, catalogue: Catalogue) -> float:
    if isinstance(entry, Act):
        return catalogue.act(entry.act).minutes
    return 0.0 if entry.not_measured in ("skipped", "not_fitted") else catalogue.test(entry.test).minutes
