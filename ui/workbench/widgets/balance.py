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
    priced, currency = bool(costs.currency), costs.currency
    words = f"{minutes(found.minutes)} of work" + (f", {money(found.labour, currency)}" if priced else "")
    bought = ", ".join(
        catalogue.component(c).label + (f" ({money(price, currency)})" if priced else "") for c, price in found.bought
    )
    words += f". Bought: {bought}" if bought else ". Nothing bought"
    words += f". In all {money(found.total, currency)}" if bought and priced else ""
    rate = f", at {money(costs.hourly_rate, currency)} for an hour" if priced else ""
    return f"<p class='fn-balance'>{plain(words)}.</p><p class='fn-note'>Usual minutes of each step{plain(rate)}.</p>"
