"""The ranges of a sound car are kept with their model, and do not keep a model that nobody else needs."""

from __future__ import annotations

import gc
import weakref

from faultnet.car import Battery, Car, Case, Visit
from faultnet.catalogue import load_catalogue
from faultnet.diagnosis.diagnose import work_through
from faultnet.diagnosis.models import Model
from faultnet.diagnosis.sound import _kept, sound_ranges


def test_ranges_are_kept_with_their_model_and_let_it_go() -> None:
    catalogue = load_catalogue()
    shared = work_through(Case(Car(Battery(600.0)), (Visit(),)), catalogue).models[-1]
    model = Model(shared.setting, shared.space, shared.compiled)  # one that nothing else holds
    first = sound_ranges(model, catalogue)
    assert first["rest_voltage"][0] < first["rest_voltage"][1]
    assert model in _kept
    assert sound_ranges(model, catalogue) == first
    seen = weakref.ref(model)
    del model
    gc.collect()
    assert seen() is None
