"""What a verdict depends on: the reading that would overturn it, and the prior that carries it."""

from __future__ import annotations

from dataclasses import dataclass

from faultnet.diagnosis.result import Cause, Diagnosis
from faultnet.prior_set.catalogue import Catalogue

LEAST_CHANCE = 0.005
LEAST_LEAD = 0.3


@dataclass(frozen=True)
class Overturning:
    """A single further reading after which another cause would lead.

    Parameters
    ----------
    test, label : str
    outcome : str
    chance : float
        That it comes out so, by what is believed now [-].
    leads_to : str
    probability : float
        Of that cause then [-].
    """

    test: str
    label: str
    outcome: str
    chance: float
    leads_to: str
    probability: float


def overturning(diagnosis: Diagnosis) -> Overturning | None:
    """The likeliest single reading that would put another cause first; None when no single one can.

    Parameters
    ----------
    diagnosis : Diagnosis
        Its next tests carry what each outcome would change.
    """
    leader = diagnosis.causes[0]
    found = [
        Overturning(t.test, t.label, o.label, o.chance, o.leads_to, o.probability)
        for t in diagnosis.next_tests
        for o in t.outcomes
        if o.leads_to != leader.label and o.chance >= LEAST_CHANCE and o.probability >= LEAST_LEAD
    ]
    return max(found, key=lambda f: f.chance, default=None)


@dataclass(frozen=True)
class Hinge:
    """The base rate a verdict depends on.

    Parameters
    ----------
    cause : Cause
    rival : Cause
    factor : float
        So many times rarer the leading cause would have to be, beside its rival, for the rival to draw level [-].
    count, of : float
        The base rate of the leading cause: cars out of cars.
    """

    cause: Cause
    rival: Cause
    factor: float
    count: float
    of: float


def hinge(diagnosis: Diagnosis, catalogue: Catalogue, age: float | None, climate: str) -> Hinge:
    """How far the base rate of the leading cause could be wrong before the verdict changes.

    Notes
    -----
    Prior odds multiply posterior odds, so the factor is the ratio of the two probabilities; it holds between causes
    that exclude each other and is a lower bound where both may be present.
    """
    first, second = diagnosis.causes[0], diagnosis.causes[1]
    count, of = catalogue.rate(first.component, first.mode, age, climate)
    return Hinge(first, second, first.probability / max(second.probability, 1e-9), count, of)


def hinge_words(found: Hinge) -> str:
    """In a sentence.

    Examples
    --------
    >>> a = Cause("a", "x", "A: x", 0.8, 0.1, 0.8, "", "", "")
    >>> b = Cause("b", "y", "B: y", 0.1, 0.1, 0.1, "", "", "")
    >>> hinge_words(Hinge(a, b, 8.0, 45.0, 1000.0))
    'The verdict holds unless A: x is 8 times rarer beside B: y than the 45 in 1000 cars assumed.'
    """
    if found.factor < 1.5:
        return f"{found.cause.label} and {found.rival.label} are level: the base rates decide as much as the readings."
    return (
        f"The verdict holds unless {found.cause.label} is {found.factor:.2g} times rarer beside {found.rival.label} "
        f"than the {found.count:.3g} in {found.of:.0f} cars assumed."
    )


def overturning_words(found: Overturning | None) -> str:
    """In a sentence."""
    if found is None:
        return "No single further reading would put another cause first."
    return (
        f"{found.label} reading {found.outcome} would put {found.leads_to} first ({found.probability:.0%}); "
        f"the chance of that is {found.chance:.0%}."
    )
