"""The player who knows what is at fault, and how each repair will turn out. He tests nothing; nobody mends for less.

What he pays is what regret is counted from: the regret of a play is its cost above his on the same car.
"""

from __future__ import annotations

import heapq
from itertools import count

from faultnet.practice.cars import Ticket
from faultnet.practice.play import Played, begun, played_by, repairs
from faultnet.simulation.workshop.job import Job, Shop, needs_mending
from faultnet.simulation.workshop.stepping import stepped
from faultnet.simulation.workshop.steps import GiveBack, Mend, Step

MOST_TRIED = 5_000  # jobs looked at; two faults that hold out against several repairs take hundreds


def cheapest_way(played: Played) -> tuple[Step, ...]:
    """The steps that mend a car as it stands for the least money, and give it back.

    Parameters
    ----------
    played : Played

    Notes
    -----
    Uniform-cost search over the acts that can be done to what is at fault, each tried out on the car itself; a repair
    that would not take is seen not to. Where none is found, the car is given back as it is.
    """
    acts = {c: [a.id for a in some] for c, some in repairs(played).items()}
    order = count()
    known: set[tuple[object, ...]] = set()
    waiting: list[tuple[float, int, Job, tuple[Mend, ...]]] = [(played.job.money, next(order), played.job, ())]
    for _ in range(MOST_TRIED):
        if not waiting:
            break
        _, _, job, steps = heapq.heappop(waiting)
        if not needs_mending(job):
            return (*steps, GiveBack())
        state = (job.vehicle.faults, tuple(sorted((s.component, s.act) for s in steps)))
        if state in known:  # the same was done in another order, for no more money
            continue
        known.add(state)
        for component, mode in job.vehicle.faults:
            usual = {m.id: m.repair for m in played.shop.catalogue.component(component).modes}[mode]
            for act in sorted(acts.get(component, ()), key=lambda a: a != usual):
                step = Mend(component, act)
                after = stepped(job, played.shop, step, played.brought.key)
                heapq.heappush(waiting, (after.money, next(order), after, (*steps, step)))
    return (GiveBack(),)


def play_knowing(ticket: Ticket, shop: Shop) -> Played:
    """A car dealt with by the player who knows.

    Examples
    --------
    >>> from faultnet.decision import load_costs
    >>> from faultnet.prior_set import load_catalogue
    >>> found = play_knowing(Ticket(course="sound_car"), Shop(load_catalogue(), load_costs()))
    >>> found.job.tests, [type(move.step).__name__ for move in found.moves]
    (0, ['GiveBack'])
    """
    left = iter(cheapest_way(begun(ticket, shop)))

    def player(played: Played) -> tuple[Step, float | None]:
        step = next(left, GiveBack())
        return step, 100.0 if isinstance(step, Mend) else None

    return played_by(ticket, shop, player)
