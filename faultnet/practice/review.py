"""Afterwards: a play beside the advice's and beside that of the player who knows, and how beliefs stood the test."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from faultnet.case.types import Case
from faultnet.decision.advice import weigh
from faultnet.diagnosis.diagnose import still_there, work_through
from faultnet.errors import ClashError
from faultnet.practice.cars import Ticket
from faultnet.practice.courses import course
from faultnet.practice.knowing import play_knowing
from faultnet.practice.play import WORKING, Played, played_by
from faultnet.prior_set.catalogue import Catalogue
from faultnet.simulation.scoring.scores import brier_score, calibration_error, class_sums
from faultnet.simulation.workshop.job import Shop
from faultnet.simulation.workshop.policies import as_advised
from faultnet.simulation.workshop.steps import GiveBack, Look, Mend, Prepare, Step

CLASHES = "The readings so far contradict each other: one of them should be done again."


@dataclass(frozen=True)
class Bill:
    """What a play came to.

    Parameters
    ----------
    minutes, cost : float
        [min], [money].
    wrong_parts, tests, come_backs : int
    left_with_fault : bool
    """

    minutes: float
    cost: float
    wrong_parts: int
    tests: int
    come_backs: int
    left_with_fault: bool


@dataclass(frozen=True)
class Turn:
    """A step where the advice would have gone another way.

    Parameters
    ----------
    number : int
        Of the step, from 1.
    yours, advised, why : str
    belief : float, optional
        What the advice held of the part that was mended [%]; None for other steps.
    """

    number: int
    yours: str
    advised: str
    why: str
    belief: float | None = None


@dataclass(frozen=True)
class Stated:
    """A belief stated before a repair [%], and whether the part was at fault."""

    component: str
    belief: float
    was_at_fault: bool


@dataclass(frozen=True)
class Review:
    """A car that was given back, looked back upon.

    Parameters
    ----------
    ticket : Ticket
    faults : tuple of (component, mode)
        With which it was brought in.
    yours, advice, knowing : Bill
    regret, advice_regret : float
        Cost above that of the player who knows [money].
    turns : tuple of Turn
    stated : tuple of Stated
    """

    ticket: Ticket
    faults: tuple[tuple[str, str], ...]
    yours: Bill
    advice: Bill
    knowing: Bill
    regret: float
    advice_regret: float
    turns: tuple[Turn, ...]
    stated: tuple[Stated, ...]

    def record(self) -> dict[str, Any]:
        """As plain data for JSON."""
        return asdict(self)


def review_of_record(record: dict[str, Any]) -> Review:
    """The review that plain data hold.

    Raises
    ------
    KeyError, TypeError, ValueError
        If they hold none.
    """
    bills = {name: Bill(**record[name]) for name in ("yours", "advice", "knowing")}
    return Review(
        ticket=Ticket(**record["ticket"]),
        faults=tuple((str(c), str(m)) for c, m in record["faults"]),
        regret=float(record["regret"]),
        advice_regret=float(record["advice_regret"]),
        turns=tuple(Turn(**turn) for turn in record["turns"]),
        stated=tuple(Stated(**stated) for stated in record["stated"]),
        **bills,
    )


def review(played: Played, adviser: Adviser | None = None) -> Review:
    """Hold a finished play beside the advice's on the same car.

    Parameters
    ----------
    played : Played
        Given back for good.
    adviser : callable, optional
        Says what the advice would do; :func:`advised` when left out.
    """
    shop, ticket, ask = played.shop, played.ticket, adviser or advised
    advice, knowing = play_advised(ticket, shop, ask), play_knowing(ticket, shop)
    yours, theirs, known = (bill(each) for each in (played, advice, knowing))
    turns = []
    for number, (move, job) in enumerate(zip(played.moves, played.before, strict=True), 1):
        turn = _turn(number, move.step, shop, ask(job.case, shop))
        turns += [turn] if turn is not None else []
    stated = tuple(
        Stated(m.step.component, m.belief, bool(m.was_at_fault))
        for m in played.moves
        if isinstance(m.step, Mend) and m.belief is not None
    )
    return Review(
        ticket=ticket,
        faults=played.brought.vehicle.faults,
        yours=yours,
        advice=theirs,
        knowing=known,
        regret=round(yours.cost - known.cost, 2),
        advice_regret=round(theirs.cost - known.cost, 2),
        turns=tuple(turns),
        stated=stated,
    )


def bill(played: Played) -> Bill:
    """What a play came to."""
    job = played.job
    return Bill(
        round(job.minutes, 2),
        round(job.money, 2),
        sum(not was_at_fault for _, was_at_fault in job.bought),
        job.tests,
        job.come_backs,
        job.left_with_fault,
    )


@dataclass(frozen=True)
class Advised:
    """What the advice says to a case.

    Parameters
    ----------
    step : Step, optional
        None where the readings contradict each other.
    why : str
    beliefs : dict of component to float
        Chance that it is at fault by now [%].
    """

    step: Step | None
    why: str
    beliefs: dict[str, float]


@lru_cache(maxsize=256)
def advised(case: Case, shop: Shop) -> Advised:
    """What the advice would do now, and why."""
    with WORKING:
        return _advised(case, shop)


def _advised(case: Case, shop: Shop) -> Advised:
    try:
        worked = work_through(case, shop.catalogue)
    except ClashError:
        return Advised(None, CLASHES, {})
    weighed = weigh(worked, shop.costs, tools=shop.tools)
    step = as_advised(weighed, weighed.tests[0].test if weighed.tests else "")
    why = weighed.decision.because
    if isinstance(step, Mend):
        needed = f"needed with a chance of {weighed.decision.chance_needed:.0%}, and " * weighed.decision.by_need
        why += f" It is {needed}the whole cure with a chance of {weighed.decision.chance_of_cure:.0%}."
    beliefs = {c: round(100.0 * float(p[1:].sum()), 1) for c, p in still_there(worked).items()}
    return Advised(step, why, beliefs)


Adviser = Callable[[Case, Shop], Advised]


def play_advised(ticket: Ticket, shop: Shop, adviser: Adviser = advised) -> Played:
    """A car dealt with by the advice, to the letter; before a repair it states its own belief."""

    return played_by(ticket, shop, lambda played: advised_step(adviser(played.case, shop)))


def advised_step(found: Advised) -> tuple[Step, float | None]:
    """The step that the advice takes, and before a repair its belief [%]; a car of contradictions is given back."""
    if found.step is None:
        return GiveBack(), None
    return found.step, found.beliefs[found.step.component] if isinstance(found.step, Mend) else None


def _turn(number: int, step: Step, shop: Shop, found: Advised) -> Turn | None:
    """The step beside the advice's; None where they are the same."""
    yours = step_words(step, shop.catalogue)
    if found.step is None:
        return Turn(number, yours, "measure again", found.why)
    if _same(step, found.step):
        return None
    belief = found.beliefs[step.component] if isinstance(step, Mend) else None
    return Turn(number, yours, step_words(found.step, shop.catalogue), found.why, belief)


def _same(step: Step, other: Step) -> bool:
    if isinstance(step, Look) and isinstance(other, Look):
        return step.test == other.test and step.instrument is None and not step.at_once
    return step == other


def step_words(step: Step, catalogue: Catalogue) -> str:
    """A step in words.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> step_words(Mend("battery", "replace"), load_catalogue())
    'Replace the part (Battery)'
    """
    if isinstance(step, Look):
        words = catalogue.test(step.test).label
        words += f", with: {catalogue.instrument(step.instrument).label}" if step.instrument else ""
        return f"{words}, at once" if step.at_once else words
    if isinstance(step, Prepare):
        return catalogue.act(step.act).label
    if isinstance(step, Mend):
        return f"{catalogue.act(step.act).label} ({catalogue.component(step.component).label})"
    return "Give the car back"


def lesson(ticket: Ticket) -> tuple[str, ...]:
    """Topic, trap and lesson of a course; nothing for a drawn car."""
    if not ticket.course:
        return ()
    found = course(ticket.course)
    return found.topic, found.trap, found.lesson


@dataclass(frozen=True)
class Record:
    """How all cars so far went.

    Parameters
    ----------
    cars : int
    regret, advice_regret : float
        Mean over cars [money].
    wrong_parts, advice_wrong_parts : int
    beliefs : int
        Stated so far.
    brier : float, optional
        Mean squared difference of belief and truth [-]; None without beliefs.
    calibration : float, optional
        Mean distance of belief and frequency over ten classes [-].
    classes : tuple of (float, float, int)
        Mean belief [%], share at fault [%] and count of each class that was used.
    """

    cars: int
    regret: float
    advice_regret: float
    wrong_parts: int
    advice_wrong_parts: int
    beliefs: int
    brier: float | None
    calibration: float | None
    classes: tuple[tuple[float, float, int], ...]


def record_of(reviews: Iterable[Review]) -> Record:
    """Put all cars so far together.

    Examples
    --------
    >>> record_of([]).cars
    0
    """
    cars = list(reviews)
    stated = [s for r in cars for s in r.stated]
    said = np.array([s.belief / 100.0 for s in stated])
    true = np.array([float(s.was_at_fault) for s in stated])
    sums = class_sums(said, true) if stated else np.zeros((3, 0))
    return Record(
        len(cars),
        round(float(np.mean([r.regret for r in cars])), 2) if cars else 0.0,
        round(float(np.mean([r.advice_regret for r in cars])), 2) if cars else 0.0,
        sum(r.yours.wrong_parts for r in cars),
        sum(r.advice.wrong_parts for r in cars),
        len(stated),
        brier_score(said, true) if stated else None,
        round(float(calibration_error(sums)), 4) if stated else None,
        tuple((round(100 * b / n, 1), round(100 * h / n, 1), int(n)) for b, h, n in sums.T.tolist() if n),
    )
