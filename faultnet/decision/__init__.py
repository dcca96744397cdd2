"""Deciding: expected cost of repair, the worth of tests and tools, when to stop, and the plan to take along."""

from faultnet.decision.advice import Advice, Decision, advise
from faultnet.decision.costs import Costs, load_costs

__all__ = ["Advice", "Costs", "Decision", "advise", "load_costs"]
