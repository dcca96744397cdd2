"""What to do next: test or repair, why, what it costs, and how to prove it."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace

import numpy as np

from faultnet.case.types import Case
from faultnet.decision.choosing import (
    CHOSEN,
    CRITERIA,
    Choice,
    check_worth_doing,
    choose,
    companions,
    is_founded,
    shared_price,
)
from faultnet.decision.costs import Costs
from faultnet.decision.proving import Unproven, unproven
from faultnet.decision.renewed import repairs_by_now
from faultnet.decision.repair import GIVE_BACK
from faultnet.decision.robust import Robustness, robustness
from faultnet.decision.spared import START_OVER, spared
from faultnet.decision.value import DecisionState, Worth, one_step
from faultnet.diagnosis.acts import MENDS
from faultnet.diagnosis.diagnose import (
    MAX_FAULTS,
    Worked,
    all_ranked,
    diagnosis_of,
    is_looked_at,
    ranked,
    work_through,
)
from faultnet.diagnosis.leading import Leading
from faultnet.diagnosis.needs import minutes_for
from faultnet.diagnosis.ranking import Ranked
from faultnet.diagnosis.result import Diagnosis, NextTest
from faultnet.diagnosis.safety import allowed_act, named_repair
from faultnet.diagnosis.sound import sound_ranges
from faultnet.diagnosis.wording import asked_words, minutes_words, range_words, worth_words
from faultnet.errors import FaultnetError
from faultnet.inference.posterior import TINY
from faultnet.notebook import html_table, paragraphs
from faultnet.prior_set.catalogue import Catalogue
from faultnet.prior_set.types import Test

SPARES_FOR = 10  # so many tests say what they may spare
GIVE_BACK_WORDS = "give the car back as it is"
UNFOUNDED_WORDS = "repair nothing for now"
SURER, BESIDES = "To be surer: ", "For what else may be wrong: "  # what a test is for beside a repair that is named


@dataclass(frozen=True)
class Decision:
    """Stop testing or go on.

    Parameters
    ----------
    stop : bool
        Whether no test at hand is worth its cost.
    repair : str or None
        Component to mend first; None when the car can be given back as it is.
    act : str or None
        Id of the act that mends it.
    label : str
        The repair in words.
    expected_cost : float
        Expected cost until the last fault is mended, without further tests [money].
    chance_of_cure : float
        That this repair is the whole cure [-].
    founded : bool
        Whether that is likely enough to do it without another test; never to give back a car at which nothing was
        looked at, nor to repair a part while a check that the trade names for it is open and worth its time, nor while
        a look must come before anything is done.
    proof : str
        How to prove it, in words.
    because : str
        Why to stop or to go on, in a sentence.
    cannot_tell : str
        What no test at hand can tell apart, and what would; empty otherwise.
    currency : str
    would_need : str
        A test that would be worth more than all others and what it lacks, in words; empty mostly.
    not_now : tuple of str
        What must not be done to the car as it was found, in words.
    minutes : float
        Hands-on time of the repair, with getting at it and proving it [min]; nought where nothing is repaired.
    hardly : bool
        Whether the repair is named for its low price alone: others are likelier to be needed.
    chance_needed : float
        That this repair is needed, be it the whole cure or not [-]; nought where nothing is repaired.
    by_need : bool
        Whether it is well founded because it is needed, although it is hardly all.
    """

    stop: bool
    repair: str | None
    act: str | None
    label: str
    expected_cost: float
    chance_of_cure: float
    founded: bool
    proof: str
    because: str
    cannot_tell: str
    currency: str
    would_need: str = ""
    not_now: tuple[str, ...] = ()
    minutes: float = 0.0
    hardly: bool = False
    chance_needed: float = 0.0
    by_need: bool = False

    @property
    def leads(self) -> bool:
        """Whether it is named before the test that is left: a well founded repair is; giving back ends all testing."""
        return self.founded and (self.stop or self.repair is not None)


Ranking = str  # one of RANKINGS, or of CRITERIA
RANKINGS: dict[str, Callable[[NextTest], float]] = {
    "bits_per_minute": lambda test: test.bits_per_minute,
}


@dataclass(frozen=True)
class Advice:
    """A diagnosis with its tests ranked, and the decision; shows itself as tables in a notebook.

    Parameters
    ----------
    diagnosis : Diagnosis
    decision : Decision
    robust : Robustness or None
        Whether it holds when base rates and estimates are off; None where that was not asked for.
    """

    diagnosis: Diagnosis
    decision: Decision
    robust: Robustness | None = None

    def _repr_html_(self) -> str:
        said, decided = self.diagnosis, self.decision
        proof = f"Proof afterwards: {decided.proof}." if decided.proof else ""
        causes = [(c.label, f"{c.probability:.0%}") for c in said.causes[:6]]
        tests = [(t.label, worth_words(t, decided.currency)) for t in said.next_tests[:6]]
        return (
            paragraphs(said.summary, decided.because, proof)
            + html_table(("cause", "chance"), causes)
            + html_table(("next test", "what it takes, and what it may spare"), tests)
        )


@dataclass(frozen=True, eq=False)
class Weighed:
    """A decision with what it was taken from.

    Parameters
    ----------
    worked : Worked
    state : DecisionState
    tests : tuple of NextTest
        Best first by the criterion.
    decision : Decision
    found : Ranked
        The leading hypotheses, and what must come first or not be done.
    """

    worked: Worked
    state: DecisionState
    tests: tuple[NextTest, ...]
    decision: Decision
    found: Ranked


def advise(
    case: Case,
    catalogue: Catalogue,
    costs: Costs,
    *,
    tools: Collection[str] | None = None,
    rank_by: Ranking = CHOSEN,
    max_faults: int = MAX_FAULTS,
    robust: bool = False,
) -> Advice:
    """Diagnose a case and decide what to do next.

    Parameters
    ----------
    case : Case
    catalogue : Catalogue
    costs : Costs
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    rank_by : str
        What the next tests are ordered by, one of :data:`RANKINGS` or of
        :data:`~faultnet.decision.choosing.CRITERIA`; whether to stop does not depend on it.
    max_faults : int
    robust : bool
        Whether to find out as well if all this holds when base rates and estimates are off.

    Returns
    -------
    Advice

    Raises
    ------
    FaultnetError
        If there is no such ranking.
    EntryError, ClashError
        As :func:`faultnet.diagnosis.work_through`.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car, Case, Reading, Visit
    >>> from faultnet.prior_set import load_catalogue
    >>> from faultnet.decision import load_costs
    >>> visit = Visit((Reading("rest_voltage", value=10.45), Reading("hydrometer_spread", value=0.12)))
    >>> advise(Case(Car(Battery(600.0)), (visit,)), load_catalogue(), load_costs()).decision.repair
    'battery'
    """
    if rank_by not in RANKINGS and rank_by not in CRITERIA:
        known = dict.fromkeys((*CRITERIA, *RANKINGS))
        raise FaultnetError("no such ranking of tests", got=repr(rank_by), expected=", ".join(known))
    criterion = rank_by if rank_by in CRITERIA else CHOSEN
    weighed = weigh(work_through(case, catalogue, max_faults=max_faults), costs, tools=tools, criterion=criterion)
    tests = weighed.tests
    if rank_by in RANKINGS:
        tests = tuple(sorted(tests, key=lambda t: (-RANKINGS[rank_by](t), t.test)))
    diagnosis = diagnosis_of(weighed.worked, tests)
    return Advice(diagnosis, weighed.decision, robustness(weighed, costs) if robust else None)


def weigh(worked: Worked, costs: Costs, *, tools: Collection[str] | None = None, criterion: str = CHOSEN) -> Weighed:
    """Decide what to do next on a case worked through, without putting the reasons together.

    Parameters
    ----------
    worked : Worked
    costs : Costs
    tools : collection of str, optional
        Tools at hand; every tool when left out.
    criterion : str
        By which the tests are ordered, one of :data:`~faultnet.decision.choosing.CRITERIA`.
    """
    found = all_ranked(worked, tools)
    checks = unproven(worked.case, costs, [t.test for t in found.tests])
    state = decision_state(worked, costs, found.tests, found.leading, checks)
    choice = choose(state, costs, found.urgent, criterion)
    order, worth = choice.order, choice.worth
    price = shared_price(state, worth)
    spares = spared(state, order[:SPARES_FOR], costs.money(costs.spared_minutes))
    asked = {t.test: t for t in found.tests}
    tests = tuple(_priced(asked[t], worth[t], price[t], spares.get(t, ""), worked.catalogue, costs) for t in order)
    if tests:
        together = companions(state, worth, order[0])
        tests = (replace(tests[0], together=tuple(together)), *tests[1:])
    return Weighed(worked, state, tests, _decision(worked, costs, state, tests, found, tools, choice), found)


def decision_state(
    worked: Worked, costs: Costs, tests: Collection[NextTest], leading: Leading, checks: Unproven | None = None
) -> DecisionState:
    """The belief as the decision sees it: the leading hypotheses with what is still at fault in each."""
    was_at_fault = worked.space.modes[leading.chosen] > 0
    repairs = repairs_by_now(worked, leading.modes > 0, was_at_fault, costs)
    price = {t.test: costs.money(t.minutes + costs.overhead_minutes) for t in tests}
    chances = {t.test: leading.chances[t.test] for t in tests}
    preparing = {t.test: {n: costs.money(minutes_for(n, worked.catalogue)) for n in t.needs} for t in tests}
    return DecisionState(leading.posterior, chances, price, repairs, preparing, checks)


def _priced(test: NextTest, worth: Worth, price: float, spares: str, catalogue: Catalogue, costs: Costs) -> NextTest:
    after = [cost for _, cost in worth.outcomes]
    outcomes = tuple(replace(o, cost_after=round(c, 2)) for o, c in zip(test.outcomes, after, strict=True))
    because = test.because
    if worth.follow_up is not None:
        because += f" Worth it together with: {catalogue.test(worth.follow_up).label}."
    words, saving, price = spared_words(spares, catalogue), round(worth.saving, 2), round(price, 2)
    return replace(
        test, saving=saving, price=price, outcomes=outcomes, because=because, spares=words,
        overhead_minutes=costs.overhead_minutes,
    )  # fmt: skip


def _decision(
    worked: Worked,
    costs: Costs,
    state: DecisionState,
    tests: tuple[NextTest, ...],
    found: Ranked,
    tools: Collection[str] | None,
    choice: Choice,
) -> Decision:
    name, cure = state.first_repair()
    best = max(tests, key=lambda t: (t.saving, t.test), default=None)
    urgent = bool(found.urgent) and bool(tests) and tests[0].test == found.urgent
    stop = not urgent and (best is None or best.saving <= choice.least)
    shown = best if stop or not tests else tests[0]
    give_back = name == GIVE_BACK
    looked = is_looked_at(worked.case, worked.catalogue)
    unfounded = give_back and not (costs.founded(cure) and looked)
    act = None if give_back else _allowed(worked, found, name, costs)
    instead = named_repair(found.standing, worked.catalogue)
    if instead is not None and (state.chance_of_cure(instead[0]) > cure or (act is None and not give_back)):
        name, act = instead
        cure = state.chance_of_cure(name)
        give_back = unfounded = False
    check = "" if stop or give_back else check_worth_doing(state, choice.worth, name, choice.least)
    likely = is_founded(state, costs, name, cure)
    founded = likely and not unfounded and not check and not urgent
    by_need = founded and not costs.founded(cure)
    before = "" if give_back or not founded else BESIDES if by_need else SURER
    nothing = UNFOUNDED_WORDS if unfounded else GIVE_BACK_WORDS
    label = nothing if give_back else _repair_words(worked, name, act)
    waiting = label if check and likely else ""
    return Decision(
        stop=stop,
        repair=None if give_back else name,
        act=act,
        label=label,
        expected_cost=round(state.cost_now(), 2),
        chance_of_cure=round(cure, 4),
        founded=founded,
        proof="" if give_back else _proof_words(worked, costs, name),
        because=_because(stop, shown, costs, before, unfounded=unfounded, urgent=urgent)
        + _check_words(waiting, check, shown, tests),
        cannot_tell=_cannot_tell(worked, state, tests, tools) if stop else "",
        currency=costs.currency,
        would_need=_would_need(worked, costs, best, choice.least, found),
        not_now=tuple(forbid.words for forbid in found.standing),
        minutes=0.0 if give_back else costs.minutes(name),
        hardly=not give_back and not likely and costs.hardly(cure),
        chance_needed=0.0 if give_back else round(state.chance_needed(name), 4),
        by_need=by_need,
    )


def spared_words(name: str, catalogue: Catalogue) -> str:
    """What a test may spare in words: of a component, "give_back" or "start_over"; empty for nothing.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> spared_words("battery", load_catalogue())
    'a battery bought in vain'
    """
    if name in ("", GIVE_BACK, START_OVER):
        return {GIVE_BACK: "a car that comes back", START_OVER: "testing all over again"}.get(name, "")
    component = catalogue.component(name)
    return component.in_vain or f"work in vain: {component.label}"


def _allowed(worked: Worked, found: Ranked, component: str, costs: Costs) -> str | None:
    """The act that mends a component as far as nothing found forbids it."""
    act = worked.catalogue.act(act_for(worked, found.leading, component, costs))
    allowed = allowed_act(act, component, found.standing, worked.catalogue)
    return None if allowed is None else allowed.id


def _would_need(worked: Worked, costs: Costs, best: NextTest | None, least: float, found: Ranked) -> str:
    """A test that would be worth more than all others if what it lacks were there; looked at one step ahead."""
    if not found.beyond:
        return ""
    state = decision_state(worked, costs, found.beyond, found.leading)
    worth = one_step(state)
    test = max(found.beyond, key=lambda t: (worth[t.test].saving, t.test))
    if worth[test.test].saving <= max(least, 0.0 if best is None else best.saving):
        return ""
    return f"{test.label} would be worth more, but it needs: {' '.join(test.lacks)}"


def act_for(worked: Worked, leading: Leading, component: str, costs: Costs) -> str:
    """The act that mends the likeliest fault mode of a component by now, or one that mends others with it for little.

    A joint that may be slack or corroded is cleaned, which tightens it as well, where what tightening alone would leave
    is worth more by a call-back than the minutes between them.
    """
    column, catalogue = worked.space.components.index(component), worked.catalogue
    modes = catalogue.component(component).modes
    weight = np.bincount(leading.modes[:, column], weights=leading.posterior, minlength=len(modes))
    weight[0] = 0.0
    likeliest = int(weight.argmax()) or 1  # none of them where it is looked further for a part that was renewed
    act = catalogue.act(modes[likeliest].repair)
    total = max(float(weight.sum()), TINY)
    for other in catalogue.acts:
        mended, more = set(MENDS.get(act.effect, ())), set(MENDS.get(other.effect, ()))
        if component in other.components and mended < more:
            gained = sum(float(w) for w, m in zip(weight, modes, strict=True) if m.id in more - mended) / total
            if gained * costs.call_back > costs.money(max(0.0, other.minutes - act.minutes)):
                act = other
    return act.id


def _repair_words(worked: Worked, component: str, act: str | None) -> str:
    label = worked.catalogue.component(component).label
    return label if act is None else f"{label}: {worked.catalogue.act(act).label.lower()}"


def _proof_words(worked: Worked, costs: Costs, component: str) -> str:
    return "; ".join(
        f"{asked_words(test.label)} {reads or f'{test.choices[0][1]}, several times over'}"
        for test, reads in proof_of(worked, costs, component)
    )


def proof_of(worked: Worked, costs: Costs, component: str) -> list[tuple[Test, str]]:
    """The tests that prove a repair, each with what a sound example of this car reads, in words; empty for a choice."""
    sound = sound_ranges(worked.models[-1], worked.catalogue)
    tests = [worked.catalogue.test(test) for test in costs.proof[component]]
    return [(test, range_words(*sound[test.id], test.unit) if test.id in sound else "") for test in tests]


def _because(stop: bool, best: NextTest | None, costs: Costs, before: str, *, unfounded: bool, urgent: bool) -> str:
    if best is None:
        return "No test is left that the tools at hand allow."
    if stop and unfounded:
        return "No repair is well founded enough to pay for, and no test left is worth its time; look again later."
    if stop:
        return f"No test left is worth a shop's while, not even {best.label} ({minutes_words(best.minutes)})."
    if urgent:
        return f"{best.label} comes first: nothing else is safe before it."
    return f"{before}{best.label} tells most for its time ({worth_words(best, costs.currency)})."


def _check_words(waiting: str, check: str, shown: NextTest | None, tests: tuple[NextTest, ...]) -> str:
    """That a repair, likely as it is, waits for its open check, where that is not the test to do next."""
    if not waiting or shown is None or check in ("", shown.test):
        return ""
    test = next(t for t in tests if t.test == check)
    return f" {waiting} waits for its check: {test.label} ({minutes_words(test.minutes)})."


def _cannot_tell(
    worked: Worked, state: DecisionState, tests: tuple[NextTest, ...], tools: Collection[str] | None
) -> str:
    """Two causes that nothing at hand separates, and the tool that would."""
    chance = state.belief @ state.repairs.at_fault
    order = np.argsort(-chance)
    first, second = (int(i) for i in order[:2])
    close, little = (worked.catalogue.number(name) for name in ("close_runner_up", "tells_little"))
    if chance[second] < close or max((t.bits for t in tests), default=0.0) > little:
        return ""
    labels = [*(worked.catalogue.component(n).label.lower() for n in state.repairs.names[:-1]), "nothing wrong"]
    text = f"No test at hand tells {labels[first]} from {labels[second]}."
    if tools is None:
        return text
    missing = [t for t in ranked(worked, None)[0] if t.bits > little]
    return text if not missing else f"{text} {missing[0].label} would, with: {', '.join(missing[0].tools)}."
