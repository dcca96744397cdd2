"""Today's balance: minutes spent so far, what they cost at the shop's rate, and what was bought."""

from __future__ import annotations

from faultnet.case.types import Case
from faultnet.decision.costs import Costs
from faultnet.decision.spent import spent
from faultnet.prior_set.catalogue import Catalogue
from workbench.words import minutes, money, plain


def of_today(case: Case, catalogue: Catalogue, costs: Costs) -> str:
    """HTML of what the last visit has taken."""
    found = spent(case.visits[-1], catalogue, costs)
    if not found.minutes and not found.bought:
        return "<p class='fn-balance'>No minute spent yet.</p>"
    words = f"{minutes(found.minutes)} of work, {money(found.labour, costs.currency)}"
    bought = ", ".join(f"{catalogue.component(c).label} ({money(price, costs.currency)})" for c, price in found.bought)
    words += f". Bought: {bought}. In all {money(found.total, costs.currency)}" if bought else ". Nothing bought"
    rate = f"{money(costs.hourly_rate, costs.currency)} for an hour"
    return (
        f"<p class='fn-balance'>{plain(words)}.</p><p class='fn-note'>Usual minutes of each step, at {plain(rate)}.</p>"
    )
