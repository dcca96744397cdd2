"""Which cases have readings that stand apart from their acts.

Most closed cases are read first and mended afterwards. Then the readings of a visit are one stage, the acts are a
factor of their own, and symptom tables and on-rates can be tuned on the case. Where something is read after a charge
or a repair, the case is parted: answers to lasting symptoms from before the first repair depend on the modes alone and
stand apart, and so do whole visits before the first act. The rest is worked out together by the old symptom tables and
on-rates, and informs base rates only.
"""

from __future__ import annotations

from dataclasses import replace

from faultnet.case.types import Act, Case, Reading, Visit
from faultnet.diagnosis.acts import CHARGING, PASSING, mending_of
from faultnet.prior_set.catalogue import Catalogue


def is_plain(case: Case, catalogue: Catalogue) -> bool:
    """Whether everything that was read was read before anything was changed, in every visit and over all visits.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> reading, act = Reading("rest_voltage", value=12.4), Act("charge")
    >>> car = Car(Battery(600.0))
    >>> [is_plain(Case(car, (Visit(order),)), load_catalogue()) for order in ((reading, act), (act, reading))]
    [True, False]
    """
    mended = False
    for visit in case.visits:
        changed = False
        read = any(isinstance(e, Reading) for e in visit.entries)
        for entry in visit.entries:
            if isinstance(entry, Reading):
                if changed or mended:
                    return False
                continue
            effect = catalogue.act(entry.act).effect
            if entry.outcome is not None and (changed or read) and effect in CHARGING:
                return False
            if effect in PASSING:
                if changed and read and entry.outcome is not None:
                    return False
                continue
            changed = True
            mended = mended or mending_of(catalogue, entry) is not None
    return True


def parted(case: Case, catalogue: Catalogue) -> tuple[Case, Case]:
    """What of a case stands apart from its acts, and the rest, with the same visits each.

    Examples
    --------
    >>> from faultnet.case.types import Battery, Car
    >>> from faultnet.prior_set import load_catalogue
    >>> answer, act, volts = Reading("belt_look", state="good"), Act("charge"), Reading("rest_voltage", value=12.4)
    >>> apart, rest = parted(Case(Car(Battery(600.0)), (Visit((answer, act, volts)),)), load_catalogue())
    >>> [len(part.visits[0].entries) for part in (apart, rest)]
    [1, 2]
    """
    apart: list[Visit] = []
    rest: list[Visit] = []
    touched = mended = False
    for visit in case.visits:
        touched = touched or any(isinstance(e, Act) for e in visit.entries)
        mine: list[bool] = []
        for entry in visit.entries:
            mine.append(isinstance(entry, Reading) and (not touched or (not mended and _lasts(entry, catalogue))))
            mended = mended or (isinstance(entry, Act) and mending_of(catalogue, entry) is not None)
        apart.append(replace(visit, entries=tuple(e for e, m in zip(visit.entries, mine, strict=True) if m)))
        rest.append(replace(visit, entries=tuple(e for e, m in zip(visit.entries, mine, strict=True) if not m)))
    return replace(case, visits=tuple(apart)), replace(case, visits=tuple(rest))


def _lasts(reading: Reading, catalogue: Catalogue) -> bool:
    """Whether a reading is the answer to a symptom that depends on the modes alone."""
    table = catalogue.symptoms.get(reading.test)
    return table is not None and not table.today


def acts_only(case: Case) -> tuple[Visit, ...]:
    """The visits without their readings."""
    return tuple(replace(v, entries=tuple(e for e in v.entries if isinstance(e, Act))) for v in case.visits)
