"""Which cases have readings that stand apart from their acts.

Most closed cases are read first and mended afterwards. Then the readings of a visit are one stage, the acts are a
factor of their own, and symptom tables and on-rates can be tuned on the case. Where something is read after a charge
or a repair, the case is worked out as a whole by the old symptom tables and on-rates, and informs base rates only.
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


def acts_only(case: Case) -> tuple[Visit, ...]:
    """The visits without their readings."""
    return tuple(replace(v, entries=tuple(e for e in v.entries if isinstance(e, Act))) for v in case.visits)
