"""Readings that no car gives together with the rest: those that are more likely a slip than the value of this car.

A slip is a probe in the wrong place, a wrong range, a figure misread; each instrument has its chance of one. How likely
a reading is after all the others says how much of that chance of a slip it takes to explain it.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from faultnet.case.types import Reading
from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.leaving_out import Without
from faultnet.diagnosis.models import Model
from faultnet.inference.posterior import TINY, Belief
from faultnet.prior_set.catalogue import Catalogue

KEPT = "kept as right when asked about"


def kept_note(note: str) -> str:
    """The note of a reading that somebody kept when asked whether it is right.

    Examples
    --------
    >>> kept_note(""), kept_note("cold morning")
    ('kept as right when asked about', 'cold morning; kept as right when asked about')
    """
    return "; ".join(filter(None, (note, KEPT)))


def is_kept(reading: Reading) -> bool:
    """Whether somebody kept a reading when asked about it."""
    return KEPT in reading.note


def chance_of_slip(
    models: Sequence[Model],
    readings: dict[tuple[int, int], Reading],
    catalogue: Catalogue,
    belief: Belief,
    without: Without,
) -> dict[tuple[int, int], float]:
    """How likely each number is a slip, by all the other entries of its case.

    Parameters
    ----------
    models : sequence of Model
        One for each visit.
    readings : dict of (visit, entry) to Reading
    catalogue : Catalogue
    belief : Belief
        After all entries.
    without : Without
        What would be believed without each entry.

    Returns
    -------
    dict of (visit, entry) to float
        Chance that it is a slip [-]; readings over or under a limit, and answers, are not among them.

    Notes
    -----
    The density of the reading after all the others is the ratio of the likelihoods of the case with and without it; the
    share that the density of a slip has in it is the chance of a slip. Two of which one must be a slip share it.
    """
    prior = np.log(np.maximum(belief.space.prior[without.chosen], TINY))
    found = {}
    for place, log_likelihood in without.log_likelihood.items():
        reading = readings.get((place.visit, place.entry))
        if reading is None or reading.value is None or reading.bound is not None:
            continue
        evidence = evidence_of(models[place.visit].compiled.network, catalogue, reading)
        if evidence is None or evidence.number is None:
            continue
        rest = float(np.logaddexp.reduce(prior + log_likelihood))
        slip = np.log(max(evidence.number.floor, TINY)) + rest - belief.log_evidence
        found[place.visit, place.entry] = float(np.exp(min(0.0, slip)))
    return found
