"""A mode that comes and goes wires itself: its node, all its parameters, and the odds when a test that sees it passes.

The closed form: with the chance p of being on at a visit, what is read has the likelihood p L_on + (1 - p) L_off under
the fault. So the odds of the fault change by p times what they do where it is always on, and 1 - p times what they do
where it is off; that is one, but where the fault has acted on the charge before the visit.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Battery, Car, Conditions, Reading
from faultnet.diagnosis.evidence import evidence_of
from faultnet.diagnosis.models import model_for
from faultnet.learning.em.activity import conditioned_on_activity, patterns_of
from faultnet.model.build import build_network
from faultnet.model.setting import Setting
from faultnet.prior_set import Catalogue, load_catalogue
from faultnet.simulation.car.world import draw_car, measure
from tests.priors import add_mode, add_rows, small_set

CAR = Car(Battery(540.0, "EN"))
DAY = Conditions(air_temperature=15.0)
ON, SELDOM = 0.3, 0.001
EXACT = 2e-7  # [-] but for the leaks of the tables, as relative error
ACTED_BEFORE = ("rectifier",)  # on the charge that the visit begins with
# component, act that mends it, its parameter with the spread while it is on, test that sees it, reading that passes
MODES = [
    ("starter_cable", "repair_cable", ["excess,lognormal,0.05,0.3,ohm"], ("starter_cable_drop", 0.2)),
    ("belt", "adjust_belt", ["output_factor,lognormal,0.02,0.5,-"], ("charge_loaded_voltage", 14.0)),
    ("rectifier", "replace", ["output_factor,lognormal,0.5,0.2,-", "ripple,lognormal,0.6,0.3,V rms",
                              "leakage,lognormal,0.001,0.5,A"], ("charge_ripple", 0.02)),
    ("drain", "remove_drain", ["current,lognormal,2.0,0.3,A"], ("key_off_current", 0.025)),
]  # fmt: skip
FOLLOWED = [MODES[0], MODES[2]]  # one parameter, and several with what acts on the charge before the visit


def with_mode(folder: Path, component: str, repair: str, effects: list[str], on: float | None) -> Catalogue:
    """The shipped set with one more mode."""
    small_set(folder, folder.name)
    add_mode(folder, component, "chafed", repair=repair, on=on, rate=8.0)
    add_rows(folder, "effects", [f"{component},chafed,{row}" for row in effects])
    return load_catalogue(folder=folder)


def odds_factor(catalogue: Catalogue, component: str, test: str, value: float) -> float:
    """By how much a reading changes the odds of the one fault against a sound car."""
    model = model_for(CAR, DAY, catalogue, 1)
    column = model.space.components.index(component)
    modes = [mode.id for mode in catalogue.component(component).modes]
    alone = (model.space.modes > 0).sum(axis=1) == 1
    faulty = np.flatnonzero(alone & (model.space.modes[:, column] == modes.index("chafed")))
    sound = np.flatnonzero((model.space.modes == 0).all(axis=1))
    found = evidence_of(model.compiled.network, catalogue, Reading(test, value=value))
    assert found is not None
    weight, scale = model.compiled.stage([found])
    likelihood = np.exp(scale) * (weight * model.compiled.charge_prior).sum(axis=1)
    return float((likelihood[faulty] / likelihood[sound]).item())


@pytest.mark.parametrize("component, repair, effects, read", FOLLOWED, ids=[m[0] for m in FOLLOWED])
def test_its_odds_fall_by_the_closed_form_when_a_test_that_sees_it_passes(
    tmp_path: Path, component: str, repair: str, effects: list[str], read: tuple[str, float]
) -> None:
    always = odds_factor(with_mode(tmp_path / "always", component, repair, effects, None), component, *read)
    now = odds_factor(with_mode(tmp_path / "now_and_then", component, repair, effects, ON), component, *read)
    seldom = odds_factor(with_mode(tmp_path / "seldom", component, repair, effects, SELDOM), component, *read)
    off = (seldom - SELDOM * always) / (1.0 - SELDOM)
    assert always < 0.05, "the test does not see it"
    assert now == pytest.approx(ON * always + (1.0 - ON) * off, rel=EXACT)
    if component not in ACTED_BEFORE:
        assert now == pytest.approx(ON * always + 1.0 - ON, rel=EXACT)


@pytest.mark.parametrize("component, repair, effects, read", MODES, ids=[m[0] for m in MODES])
def test_every_parameter_that_it_spreads_depends_on_its_activity(
    tmp_path: Path, component: str, repair: str, effects: list[str], read: tuple[str, float]
) -> None:
    """No node of this visit depends on the lasting mode, but for those that say what happened before it."""
    catalogue = with_mode(tmp_path / "mine", component, repair, effects, ON)
    network = build_network(Setting(CAR, DAY, catalogue))
    assert np.diag(network.nodes[f"{component}_now"].table)[-1] == pytest.approx(ON, abs=1e-4)
    before = {f"{component}_now", "supply", "charge", "battery"}
    lasting = {n.name for n in network.nodes.values() if component in n.parents}
    asked = {f"answer_{test.id}" for test in catalogue.tests}
    assert lasting - before - asked == set()


def test_a_battery_mode_that_comes_and_goes_leaves_the_link_alone(tmp_path: Path) -> None:
    parameters = _sound_battery()
    parameters["load_loss"] = "load_loss,uniform,3.0,5.0,V"
    catalogue = with_mode(tmp_path / "mine", "battery", "replace", list(parameters.values()), ON)
    nodes = build_network(Setting(CAR, DAY, catalogue)).nodes
    states = nodes["battery_now"].states
    on = dict(zip(states, np.diag(nodes["battery_now"].table), strict=True))
    assert on["chafed"] == pytest.approx(ON, abs=1e-4)
    assert on["broken_link"] == pytest.approx(1.0, abs=1e-4)
    assert nodes["source_factor_fine"].parents == ("battery_now", "charge", "battery_link_now")


def _sound_battery() -> dict[str, str]:
    catalogue = load_catalogue()
    rows = [catalogue.effects["battery", "sound", name] for name in catalogue.parameters("battery")]
    return {e.parameter: f"{e.parameter},{e.shape},{e.centre},{e.spread},{e.unit}" for e in rows}


def test_tuning_lays_out_its_patterns(tmp_path: Path) -> None:
    catalogue = with_mode(tmp_path / "mine", "belt", "adjust_belt", MODES[1][2], ON)
    model = model_for(CAR, DAY, catalogue, 1)
    network = conditioned_on_activity(model.compiled.network)
    patterns = patterns_of(catalogue, network, model.space.components, model.space.modes)
    assert "belt_active" in patterns.columns
    assert ("belt", "chafed") in patterns.faults
    mine = np.flatnonzero(np.abs(patterns.on[:, patterns.faults.index(("belt", "chafed"))]) == 1)
    rates = np.array([catalogue.on_rate(*fault) for fault in patterns.faults])
    chances = patterns.chance(rates)[mine]
    assert set(chances.round(9)) == {ON, 1.0 - ON}
    assert chances.sum() == pytest.approx(len(chances) / 2)


def test_the_virtual_car_has_it_on_and_off(tmp_path: Path) -> None:
    catalogue = with_mode(tmp_path / "mine", "belt", "adjust_belt", MODES[1][2], ON)
    volts = {}
    for on in (True, False):
        rng = np.random.default_rng(4)
        car = draw_car(rng, catalogue, CAR, {"belt": "chafed"}, DAY, faults_on=on)
        volts[on] = measure(car, "charge_loaded_voltage", "better_multimeter", rng).value
    assert (volts[True] or 99.0) < 13.0 < (volts[False] or 0.0)
