"""What can be at fault, how to look, what to do, and how often: the prior set, loaded and checked.

A prior set is a folder of small files (see ``priors/standard``). :func:`load_catalogue` reads it into frozen records
and refuses it, naming file and row, when anything is amiss.
"""

from __future__ import annotations

from faultnet.prior_set.catalogue import AGE_BANDS, Catalogue, age_band
from faultnet.prior_set.load import load_catalogue, prior_sets
from faultnet.prior_set.types import (
    CONDITIONS,
    MARKS,
    SOUND_MODES,
    ActSpec,
    BaseRate,
    Component,
    Effect,
    Instrument,
    Mode,
    OnRate,
    Provenance,
    Spread,
    SymptomTable,
    Test,
)

__all__ = [
    "AGE_BANDS",
    "CONDITIONS",
    "MARKS",
    "SOUND_MODES",
    "ActSpec",
    "BaseRate",
    "Catalogue",
    "Component",
    "Effect",
    "Instrument",
    "Mode",
    "OnRate",
    "Provenance",
    "Spread",
    "SymptomTable",
    "Test",
    "age_band",
    "load_catalogue",
    "prior_sets",
]
