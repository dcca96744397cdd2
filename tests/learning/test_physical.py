"""Physical spreads tuned to confirmed cases: the posterior against quadrature, and a drawn world found again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from faultnet.learning.em import on_rates, physical, rates, symptoms
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.e_step import Frame, Numbers
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.physical import CENTRES, physics, posterior, shifted, tried, widened
from faultnet.learning.em.space import space_for
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import World, drawn_cases

MOVED = ("belt", "slips", "output_factor")
MUTE = ("alternator", "no_output", "ripple_factor")


def test_a_posterior_that_is_no_bell_curve_agrees_with_quadrature() -> None:
    at, wide = np.array(CENTRES), 0.8
    heights = -2.0 * at**2 + 0.6 * at**3 - 0.4 * at**4

    def density(x: float) -> float:
        return float(np.exp(-2.0 * x**2 + 0.6 * x**3 - 0.4 * x**4 - 0.5 * (x / wide) ** 2))

    whole, _ = integrate.quad(density, CENTRES[0], CENTRES[-1])
    found = posterior(at, heights, wide)
    assert found is not None
    mean, low, high = found
    assert mean == pytest.approx(integrate.quad(lambda x: x * density(x), CENTRES[0], CENTRES[-1])[0] / whole, abs=1e-3)
    assert integrate.quad(density, CENTRES[0], low)[0] / whole == pytest.approx(0.025, abs=1e-3)
    assert integrate.quad(density, high, CENTRES[-1])[0] / whole == pytest.approx(0.025, abs=1e-3)


def test_what_is_tried_is_marked_as_an_estimate_and_belongs_to_a_fault() -> None:
    catalogue = load_catalogue()
    keys = [key for found in tried(catalogue).values() for key in found]
    assert len(keys) > 20
    for component, mode, parameter in keys:
        effect = catalogue.effects[component, mode, parameter]
        assert effect.mark == "estimate"
        assert mode != catalogue.component(component).modes[0].id
        assert shifted(widened(effect, 0.4), 0.0).centre == pytest.approx(effect.centre)


def test_a_drawn_world_with_another_spread_is_found_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Belts slip to a third of the output, not a half; ripple, which no case was read for, stays and is named."""
    catalogue = load_catalogue()
    true = shifted(catalogue.effects[MOVED], -1.2)
    world = replace(catalogue, effects={**catalogue.effects, MOVED: true}, fingerprint=catalogue.fingerprint + " moved")
    often = {MOVED[:2]: 40.0, MUTE[:2]: 40.0}
    cases = drawn_cases(world, 120, World(often, 1.0), np.random.default_rng(2))
    space = space_for(cases, catalogue, 0.2)
    encoder = Encoder(catalogue, space, settings_of(cases))
    unlisted = space.modes[:, space.components.index("unlisted")] > 0
    forms = symptoms.symptom_forms(catalogue, space, 1.0)
    frame = Frame(encoder.patterns, rates.rate_form(catalogue, space, 1.0, ()), forms, unlisted)
    numbers = Numbers(frame.rates.start(), symptoms.started(forms), on_rates.started(catalogue))
    monkeypatch.setattr(physical, "tried", lambda _: {MOVED[:2]: [MOVED], MUTE[:2]: [MUTE]})
    found = physics(encoder, frame, numbers, cases, [1.0] * len(cases), 0.2)
    centre = next(c for c in found.changes if c.key == (*MOVED, "centre"))
    assert centre.old == catalogue.effects[MOVED].centre
    assert centre.effective_cases > 10
    assert centre.low < true.centre < centre.high < centre.old
    assert (*MUTE, "centre") in found.untold
    assert not [c for c in found.changes if c.key[:3] == MUTE]
