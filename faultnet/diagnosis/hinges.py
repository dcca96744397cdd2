"""The reading that would overturn a verdict; what base rates do to it stands in :mod:`faultnet.diagnosis.robust`."""

from __future__ import annotations

from dataclasses import dataclass

from faultnet.diagnosis.result import Diagnosis
from faultnet.prior_set.catalogue import Catalogue


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


def overturning(diagnosis: Diagnosis, catalogue: Catalogue) -> Overturning | None:
    """The likeliest single reading that would put another cause first; None when no single one can.

    Parameters
    ----------
    diagnosis : Diagnosis
        Its next tests carry what each outcome would change.
    catalogue : Catalogue
    """
    leader = diagnosis.causes[0]
    likely, believed = (catalogue.number(name) for name in ("overturning_chance", "overturning_belief"))
    found = [
        Overturning(t.test, t.label, o.label, o.chance, o.leads_to, o.probability)
        for t in diagnosis.next_tests
        for o in t.outcomes
        if o.leads_to != leader.label and o.chance >= likely and o.probability >= believed
    ]
    return max(found, key=lambda f: f.chance, default=None)


def overturning_words(found: Overturning | None) -> str:
    """In a sentence."""
    if found is None:
        return "No single further reading would put another cause first."
    return (
        f"{found.label} reading {found.outcome} would put {found.leads_to} first ({found.probability:.0%}); "
        f"the chance of that is {found.chance:.0%}."
    )
