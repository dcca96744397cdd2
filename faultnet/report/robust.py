"""In words whether a verdict holds when the numbers behind it are off, and what would settle it."""

from __future__ import annotations

from collections.abc import Sequence

from faultnet.decision.repair import CONTRIBUTING, GIVE_BACK
from faultnet.decision.robust import Robustness, Settling
from faultnet.diagnosis.robust import Claim, Off, Turn
from faultnet.diagnosis.wording import minutes_words, share_words
from faultnet.prior_set.catalogue import Catalogue

NUMBERS = {1.5: "one and a half", 2.0: "two", 3.0: "three", 4.0: "four", 5.0: "five"}
NAMED = 2  # so many numbers that are off are named, the others are counted
SHOWN = 2  # so many verdicts that would come of other numbers are told of each claim
CLAIMS = {"cause": "The leading cause", "repair": "The first repair", "next": "What to do next"}


def robust_line(found: Robustness, catalogue: Catalogue) -> str:
    """Whether the verdict holds, in a line; empty where nothing is decided yet.

    Parameters
    ----------
    found : Robustness
    catalogue : Catalogue

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> holds = Claim("cause", "battery:worn", chance=0.9)
    >>> robust_line(Robustness(holds, None, None, (0.8, 0.95), None, 3.0, 2.0, probable=True), load_catalogue())
    'Robust: this cause leads whatever the base rates within a factor of three.'
    """
    verdict = found.verdict
    if verdict is None:
        return ""
    if verdict.holds:
        said = "this cause leads" if verdict.about == "cause" else "this stays the first repair"
        said = "nothing is to be repaired" if verdict.said in (GIVE_BACK, "nothing") else said
        return f"Robust: {said} whatever the base rates within a factor of {_number(found.off_by)}."
    sure = "" if found.settles is None else f" To settle it: {found.settles.label} ({_minutes(found.settles)})."
    if verdict.holds_alone:
        return f"Holds if any one base rate is off by a factor of {_number(found.off_by)}, not if several are.{sure}"
    return f"Fragile: {turn_words(verdict.turns[0], verdict.about, catalogue)}.{sure}"


def _minutes(settles: Settling) -> str:
    return minutes_words(settles.minutes)


def settles_words(found: Robustness) -> str:
    """The cheapest test that would settle a fragile verdict; empty where none would do so often."""
    if found.settles is None:
        return ""
    chance = share_words(found.settles.chance)
    return f"{found.settles.label} ({_minutes(found.settles)}) would settle it in {chance} of cases."


def robust_sentences(found: Robustness, catalogue: Catalogue) -> list[str]:
    """All of it in sentences: verdict, cause, next step, chance of a cure.

    Parameters
    ----------
    found : Robustness
    catalogue : Catalogue
    """
    if found.verdict is None:
        turns = found.cause.turns[:SHOWN] if found.cause is not None else ()
        return [f"Not decided yet: {turn_words(turn, 'cause', catalogue)}." for turn in turns]
    factor, tables = _number(found.off_by), _number(found.symptom_off_by)
    said = []
    for claim in (found.repair, found.cause, found.next):
        if claim is not None:
            said += _claim(claim, factor, tables, catalogue)
    if found.repair is not None and found.cure is not None:
        low, high = (share_words(share) for share in found.cure)
        said.append(
            f"The chance that it is the whole cure, {share_words(found.repair.chance)} here, lies between {low} and "
            f"{high} for base rates within a factor of {factor}."
        )
    return [*said, *filter(None, [settles_words(found)])]


def _claim(claim: Claim, factor: str, tables: str, catalogue: Catalogue) -> list[str]:
    name = CLAIMS[claim.about]
    if claim.holds and claim.about == "next":
        return [f"{name} stays the same at all base rates tried, each likely cause's a factor of {factor} off."]
    if claim.holds:
        return [
            f"{name} holds whatever the base rates within a factor of {factor}, and whatever any one estimated number "
            f"of a symptom table within a factor of {tables}."
        ]
    kind = "holds for any one number alone, not for several" if claim.holds_alone else "depends on one number"
    return [f"{name} {kind}: {turn_words(turn, claim.about, catalogue)}." for turn in claim.turns[:SHOWN]]


def turn_words(turn: Turn, about: str, catalogue: Catalogue) -> str:
    """What would be said instead with other numbers, in a sentence without its stop.

    Examples
    --------
    >>> from faultnet.prior_set import load_catalogue
    >>> off = Off("ground_path", "high_resistance", 2.4, 7.0, 1000.0)
    >>> said = turn_words(Turn((off,), "ground_path"), "repair", load_catalogue())
    >>> said[:72], said[72:]  # doctest: +NORMALIZE_WHITESPACE
    ('in a shop that sees Ground path: high resistance 2.4 times as often as t',
     'he 7 in 1000 cars assumed, the ground path would be repaired first')
    """
    then = _then(turn.leads_to, about, catalogue)
    if turn.off[0].test:
        return f"{_answered(turn.off[0], catalogue)}, {then}"
    return f"in a shop that sees {_seen(turn.off, catalogue)}, {then}"


def _seen(off: Sequence[Off], catalogue: Catalogue) -> str:
    """Which faults are seen how much more or less often, modes of one part taken together."""
    parts: dict[tuple[str, str], list[Off]] = {}
    for one in off:
        parts.setdefault((one.component, _times(one.factor)), []).append(one)
    told = [f"{_causes(some, catalogue)} {often}" for (_, often), some in list(parts.items())[:NAMED]]
    if len(off) == 1 and off[0].component:
        return f"{told[0]} as the {off[0].value:.3g} in {off[0].of:.0f} cars assumed"
    more = sum(len(some) for some in list(parts.values())[NAMED:])
    if more > 0:
        told.append(f"{more} other base rate{'s' * (more > 1)} off as far")
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def _causes(off: Sequence[Off], catalogue: Catalogue) -> str:
    first, *rest = (_cause(o.component, o.mode, catalogue) for o in off)
    return " or ".join([first, *(label.split(": ", 1)[1] for label in rest)])


def _times(factor: float) -> str:
    return f"{'' if factor >= 1.0 else 'only '}{factor:.2g} times as often"


def _answered(off: Off, catalogue: Catalogue) -> str:
    test = catalogue.test(off.test)
    choice = dict(test.choices)[off.choice]
    cars = f"cars with {_cause(off.component, off.mode, catalogue)}" if off.component else "other cars"
    chance = min(off.value * off.factor, 1.0)
    return f"if '{choice}' ({test.label}) came of {chance:.2g} of {cars} instead of {off.value:.2g}"


def _then(leads_to: str, about: str, catalogue: Catalogue) -> str:
    if about == "cause":
        component, _, mode = leads_to.partition(":")
        return "that nothing is wrong would lead" if not mode else f"{_cause(component, mode, catalogue)} would lead"
    kind, _, name = leads_to.rpartition(":")
    if kind == "test":
        return f"the next test would be '{catalogue.test(name).label}'"
    if name == GIVE_BACK:
        return "nothing would be repaired for now"
    if name in CONTRIBUTING:
        return f"how the car is used would be put right {'without another test' if kind else 'first'}"
    part = catalogue.component(name).label
    return f"the {part[0].lower()}{part[1:]} would be repaired {'without another test' if kind else 'first'}"


def _cause(component: str, mode: str, catalogue: Catalogue) -> str:
    if not component:
        return "cars with nothing wrong"
    spec = catalogue.component(component)
    return f"{spec.label}: {next(m.label for m in spec.modes if m.id == mode)}"


def _number(factor: float) -> str:
    return NUMBERS.get(factor, f"{factor:g}")
