"""Playing: the learner's steps on a virtual car, in the workshop of the trials."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from threading import Lock

from faultnet.case.types import Case
from faultnet.decision.costs import Costs
from faultnet.diagnosis import work_through
from faultnet.diagnosis.acts import MENDS
from faultnet.diagnosis.leading import is_surely_charged
from faultnet.diagnosis.needs import is_open, minutes_for, out_of_reach, unmet_needs, within_reach
from faultnet.diagnosis.safety import forbids, is_forbidden, test_does
from faultnet.diagnosis.tools import has_tools
from faultnet.errors import ClashError, EntryError
from faultnet.practice.cars import Brought, Ticket, car_of
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import ActSpec, Test
from faultnet.simulation.workshop.job import Job, Shop
from faultnet.simulation.workshop.stepping import SKIPPABLE, arrived, stepped
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step

ACT_NEEDS = {"drive": "engine_runs", "charge": "charged_overnight", "jump_start": "booster"}  # of the car, or a tool
WORKING = Lock()  # cases are worked through one at a time: a learner's, and what is asked ahead of it
PREPARING = ("prepare", "wait", "bypass")  # kinds of acts that mend nothing


@dataclass(frozen=True)
class Move:
    """One step of a player.

    Parameters
    ----------
    step : Step
    belief : float, optional
        Stated before a repair: chance that the part is at fault [%].
    was_at_fault : bool, optional
        Whether it was, of a repair.
    """

    step: Step
    belief: float | None = None
    was_at_fault: bool | None = None


@dataclass(frozen=True, eq=False)
class Played:
    """A car with what a player did to it so far.

    Parameters
    ----------
    ticket : Ticket
    shop : Shop
    brought : Brought
    job : Job
        As it stands; a player may look at its case and its bill.
    moves : tuple of Move
    before : tuple of Job
        The job before each move.
    """

    ticket: Ticket
    shop: Shop
    brought: Brought = field(repr=False)
    job: Job
    moves: tuple[Move, ...] = ()
    before: tuple[Job, ...] = ()

    @property
    def case(self) -> Case:
        """What the player knows."""
        return self.job.case


def begun(ticket: Ticket, shop: Shop) -> Played:
    """A car just brought in, with what the driver says.

    Examples
    --------
    >>> from faultnet.decision import load_costs
    >>> from faultnet.prior_set import load_catalogue
    >>> car = begun(Ticket("matched", "easy", 1), Shop(load_catalogue(), load_costs()))
    >>> car.job.minutes, car.case.visits[0].entries[0].test
    (0.0, 'how_it_turns_over')
    """
    brought = car_of(ticket, shop.catalogue)
    job = arrived(brought.vehicle, brought.key)
    case = replace(job.case, car=brought.told, complaint=brought.complaint, name=ticket.words)
    return Played(ticket, shop, brought, replace(job, case=case))


def moved(played: Played, step: Step, belief: float | None = None) -> Played:
    """Take a step.

    Parameters
    ----------
    played : Played
    step : Step
    belief : float, optional
        Before a repair: chance that the part is at fault [%].

    Raises
    ------
    EntryError
        If the car was given back, the step cannot be taken, or a repair comes without a belief.
    """
    if played.job.done:
        raise EntryError("this car was given back", to_do="begin another one")
    at_fault = None
    if isinstance(step, Look):
        _check_look(played, step)
    elif isinstance(step, Prepare):
        _check_act(played, played.shop.catalogue.act(step.act), PREPARING)
    elif isinstance(step, Mend):
        _check_mend(played, step, belief)
        at_fault = any(c == step.component for c, _ in played.job.vehicle.faults)
    job = stepped(played.job, played.shop, step, played.brought.key)
    move = Move(step, belief if isinstance(step, Mend) else None, at_fault)
    return replace(played, job=job, moves=(*played.moves, move), before=(*played.before, played.job))


def look_at(played: Played, test_id: str, instrument: str | None = None, *, at_once: bool = False) -> Look:
    """The step of doing a test, put on no charger where what was read shows the battery to be charged.

    Raises
    ------
    PriorsError
        If the test is unknown.
    """
    case, catalogue = played.case, played.shop.catalogue
    test = catalogue.test(test_id)
    charged = False
    if not at_once and "battery_charged" in unmet_needs(test, case.visits[-1], catalogue):
        charged = surely_charged(case, catalogue)
    return Look(test_id, charged, None if instrument == test.instruments[0] else instrument, at_once)


def surely_charged(case: Case, catalogue: Catalogue) -> bool:
    """Whether what was read so far shows the battery to be charged, as the advice takes it."""
    try:
        with WORKING:
            worked = work_through(case, catalogue)
    except ClashError:
        return False
    return is_surely_charged(worked.course, worked.belief, worked.catalogue)


@dataclass(frozen=True)
class Offer:
    """A test that can be done now.

    Parameters
    ----------
    test : Test
    minutes : float
        With what it needs first [min].
    at_once : float
        Without the preparations that haste leaves out [min]; the same where there are none.
    """

    test: Test
    minutes: float
    at_once: float


def offers(played: Played) -> list[Offer]:
    """Tests that can be done now, in the catalogue's order; a charge that may prove needless is counted."""
    catalogue, case = played.shop.catalogue, played.case
    reach, standing = within_reach(case, catalogue, played.shop.tools), forbids(case, catalogue)
    found = []
    for test in catalogue.tests:
        if not is_open(test, case, catalogue) or not _tools_for(test, played.shop):
            continue
        needs = unmet_needs(test, case.visits[-1], catalogue)
        if out_of_reach(needs, reach) or is_forbidden(test_does(test, needs), standing):
            continue
        own = test.minutes + played.shop.costs.overhead_minutes
        whole = own + sum(minutes_for(n, catalogue) for n in needs)
        found.append(Offer(test, whole, own + sum(minutes_for(n, catalogue) for n in needs if n not in SKIPPABLE)))
    return found


def instruments(test: Test, shop: Shop) -> tuple[str, ...]:
    """Instruments for a test, as far as the tools at hand go; the ordinary one first."""
    if shop.tools is None:
        return test.instruments
    tools = {i: shop.catalogue.instrument(i).tool for i in test.instruments}
    found = [i for i, tool in tools.items() if not tool or has_tools((tool,), shop.tools)]
    return tuple(found) or test.instruments[:1]


def acts_without_repair(played: Played) -> list[ActSpec]:
    """Acts that mend nothing and can be done now."""
    case, catalogue = played.case, played.shop.catalogue
    reach, standing = within_reach(case, catalogue, played.shop.tools), forbids(case, catalogue)
    return [
        a
        for a in catalogue.acts
        if a.kind in PREPARING and not is_forbidden(a.does, standing) and reach.can(ACT_NEEDS.get(a.id, ""))
    ]


def repairs(played: Played) -> dict[str, tuple[ActSpec, ...]]:
    """Components with the acts that may be done to them."""
    catalogue = played.shop.catalogue
    standing = forbids(played.case, catalogue)
    acts = [a for a in catalogue.acts if a.kind == "repair" and a.effect in MENDS]
    allowed = [a for a in acts if not is_forbidden(a.does, standing)]
    found = {c.id: tuple(a for a in allowed if c.id in a.components) for c in catalogue.components}
    return {component: some for component, some in found.items() if some}


def price_of_repair(component: str, job: Job, costs: Costs) -> tuple[float, float]:
    """What a repair with its proof takes now [min] and costs [money]."""
    cover = costs.behind.get(component, "")
    minutes = costs.labour[component] + costs.check[component]
    minutes += costs.access[cover] if cover and cover not in job.opened else 0.0
    return minutes, costs.part[component] + costs.money(minutes)


def _tools_for(test: Test, shop: Shop) -> bool:
    return shop.tools is None or has_tools(test.tools, shop.tools)


def _check_look(played: Played, step: Look) -> None:
    catalogue, case = played.shop.catalogue, played.case
    test = catalogue.test(step.test)
    if step.instrument is not None and step.instrument not in instruments(test, played.shop):
        known = ", ".join(instruments(test, played.shop))
        raise EntryError(f"{test.label}: no such instrument for it", got=repr(step.instrument), expected=known)
    if not _tools_for(test, played.shop):
        raise EntryError(f"{test.label}: a tool is missing", expected=", ".join(test.tools))
    if not is_open(test, case, catalogue):
        raise EntryError(f"{test.label}: it would tell nothing new now", to_do="do another test")
    needs = unmet_needs(test, case.visits[-1], catalogue, charged=step.charged)
    lacking = out_of_reach(needs, within_reach(case, catalogue, played.shop.tools))
    if lacking:
        raise EntryError(f"{test.label}: the car cannot do that now", expected=lacking[0].replace("_", " "))
    _refuse_forbidden(played, test.label, test_does(test, needs))


def _check_act(played: Played, spec: ActSpec, kinds: tuple[str, ...]) -> None:
    if spec.kind not in kinds:
        raise EntryError(f"{spec.label}: this is a repair", to_do="say on which part, and how sure you are")
    need = ACT_NEEDS.get(spec.id, "")
    if not within_reach(played.case, played.shop.catalogue, played.shop.tools).can(need):
        raise EntryError(f"{spec.label}: the car or the tools do not allow it now", expected=need.replace("_", " "))
    _refuse_forbidden(played, spec.label, frozenset(spec.does))


def _check_mend(played: Played, step: Mend, belief: float | None) -> None:
    catalogue = played.shop.catalogue
    spec = catalogue.act(step.act)
    if spec.kind != "repair" or step.component not in spec.components:
        known = ", ".join(a.id for a in catalogue.acts if a.kind == "repair" and step.component in a.components)
        raise EntryError(f"{spec.label}: not a repair of that part", got=repr(step.component), expected=known or None)
    _refuse_forbidden(played, spec.label, frozenset(spec.does))
    if belief is None or not 0.0 <= belief <= 100.0:
        got = "nothing" if belief is None else f"{belief:g}"
        raise EntryError("say how sure you are that this part is at fault", got=got, expected="0 to 100 percent")


def _refuse_forbidden(played: Played, label: str, does: frozenset[str]) -> None:
    standing = [f for f in forbids(played.case, played.shop.catalogue) if does & set(f.does)]
    if standing:
        raise EntryError(f"{label}: not on this car as it was found", got=standing[0].words, to_do="see to that first")


Player = Callable[[Played], tuple[Step, float | None]]


def played_by(ticket: Ticket, shop: Shop, player: Player) -> Played:
    """Let a player deal with a car until it is given back for good.

    Parameters
    ----------
    ticket : Ticket
    shop : Shop
    player : callable
        Of the car as played so far; gives a step, and with a repair a belief [%].
    """
    played = begun(ticket, shop)
    while not played.job.done:
        played = taken(played, *player(played))
    return played


def taken(played: Played, step: Step, belief: float | None) -> Played:
    """The car after a step that is not checked, of a player who takes none that cannot be taken."""
    job = stepped(played.job, played.shop, step, played.brought.key)
    at_fault = any(c == step.component for c, _ in played.job.vehicle.faults) if isinstance(step, Mend) else None
    move = Move(step, belief, at_fault)
    return replace(played, job=job, moves=(*played.moves, move), before=(*played.before, played.job))


__all__ = ["GiveBack", "Look", "Mend", "Move", "Offer", "Played", "Prepare", "begun", "moved", "offers"]
