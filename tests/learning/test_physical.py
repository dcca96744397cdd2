"""Physical spreads tuned to confirmed cases: the posterior against quadrature, and a drawn world found again."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import integrate

from faultnet.case.types import Battery, Car
from faultnet.learning.em import on_rates, physical
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.e_step import Numbers
from faultnet.learning.em.encode import Encoder
from faultnet.learning.em.given import given
from faultnet.learning.em.physical import PLACES, Tried, posterior, tried
from faultnet.learning.em.pieces import Pieces, pieces_of
from faultnet.learning.em.rates import rate_form
from faultnet.learning.em.space import space_for
from faultnet.learning.em.trials import Trial, Trials, trial_of
from faultnet.learning.result import Change, Options
from faultnet.learning.tune import tune
from faultnet.model.build import build_network
from faultnet.model.cache import network_for
from faultnet.model.rebuild import Rebuilt
from faultnet.model.setting import Setting
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import CONDITIONS, World, drawn_cases, scaled

SLIPS = Tried("effects", ("belt", "slips", "output_factor"), "place", ("belt", "slips"))
MUTE = Tried("effects", ("alternator", "no_output", "ripple_factor"), "place", ("alternator", "no_output"))
COILS = Tried("spreads", ("coil_current_spread",), "width")
DROPS = Tried("spreads", ("drop_spread",), "width")


def test_a_posterior_that_is_no_bell_curve_agrees_with_quadrature() -> None:
    at, wide = np.array(PLACES), 0.8
    heights = -2.0 * at**2 + 0.6 * at**3 - 0.4 * at**4

    def density(x: float) -> float:
        return float(np.exp(-2.0 * x**2 + 0.6 * x**3 - 0.4 * x**4 - 0.5 * (x / wide) ** 2))

    whole, _ = integrate.quad(density, PLACES[0], PLACES[-1])
    found = posterior(at, heights, wide)
    assert found is not None
    mean, low, high = found
    assert mean == pytest.approx(integrate.quad(lambda x: x * density(x), PLACES[0], PLACES[-1])[0] / whole, abs=1e-3)
    assert integrate.quad(density, PLACES[0], low)[0] / whole == pytest.approx(0.025, abs=1e-3)
    assert integrate.quad(density, high, PLACES[-1])[0] / whole == pytest.approx(0.025, abs=1e-3)


def test_what_is_tried_is_marked_as_an_estimate_and_comes_back() -> None:
    catalogue = load_catalogue()
    every = tried(catalogue)
    assert {one.table for one in every} == {"effects", "spreads"}
    assert len(every) > 100
    for one in every:
        if one.table == "effects":
            component, mode, parameter = one.number
            assert catalogue.effects[component, mode, parameter].mark == "estimate"
            assert mode != catalogue.component(component).modes[0].id
        else:
            assert catalogue.spreads[one.number[0]].mark == "estimate"
        there = one.moved(catalogue, 0.7)
        assert one.value(there) != one.value(catalogue)
        assert one.value(one.moved(there, -0.7, catalogue)) == pytest.approx(one.value(catalogue))


@pytest.mark.parametrize(
    "one",
    [
        SLIPS,
        Tried("spreads", ("brush_drop_mean",), "place", own="brush_drop_spread"),
    ],
)
def test_a_network_built_anew_in_part_is_the_one_built_whole(one: Tried) -> None:
    catalogue = load_catalogue()
    setting = Setting(Car(Battery(600.0)), CONDITIONS, catalogue)
    moved = one.moved(catalogue, 0.5)
    whole, before, old = build_network(replace(setting, catalogue=moved)), Rebuilt(setting), network_for(setting)
    nodes = before.nodes(moved, {one.number})
    changed = {n for n, node in whole.nodes.items() if not np.array_equal(node.table, old.nodes[n].table)}
    assert {n for n in changed if whole.nodes[n].layer != "reading"} <= set(nodes) <= before.bears_on(one.number)
    for name, node in nodes.items():
        assert np.array_equal(node.table, whole.nodes[name].table)
    assert 0 < len(nodes) < 40


def test_pieces_together_are_the_whole_and_know_what_has_changed() -> None:
    """Log likelihoods of visits at rows of modes, by one elimination and by pieces; and after a table is changed."""
    catalogue = load_catalogue()
    cases = drawn_cases(catalogue, 12, World({}, 1.0), np.random.default_rng(3))
    encoder = Encoder(catalogue, space_for(cases, catalogue, 0.2), settings_of(cases))
    [setting] = set(encoder.settings.values())
    network, patterns = encoder.bare(setting), encoder.patterns
    rows = range(1, len(patterns.rows), len(patterns.rows) // 9)
    numbers = Numbers(rate_form(catalogue, encoder.space, 1.0, ()).start(), {}, on_rates.started(catalogue))
    visits = [v for c in cases for v in trial_of(encoder, numbers, c, (0,), np.ones(1), 1.0).visits]
    asks = [(setting, row, evidence) for _, evidence, _ in visits for row in rows]
    pieces = Pieces(patterns, {setting: network}, asks)
    parts = Rebuilt(Setting(*setting, catalogue))
    moved = SLIPS.moved(catalogue, 1.0)
    nodes = parts.nodes(moved, {SLIPS.number})
    other = replace(network, nodes={n: nodes.get(n, node) for n, node in network.nodes.items()})
    for told, changed in ((network, set()), (other, set(nodes))):
        found = pieces.logs(np.arange(len(asks)), {setting: told}, changed)
        wanted = [
            given(told, patterns.columns, patterns.rows[row].tolist()).log_likelihood(evidence)
            for _, row, evidence in asks
        ]
        np.testing.assert_allclose(found, wanted, rtol=0.0, atol=1e-8)
    read = sorted({e.quantity for _, _, evidence in asks for e in evidence})
    assert len(pieces_of(network, patterns.columns, read)) > 3


def test_a_case_whose_cause_is_missing_counts_by_the_belief_in_each_cause() -> None:
    """log(0.3 e^2 + 0.7) for a number that bears on one of two hypotheses."""
    trials = Trials.__new__(Trials)
    trials.trials = [Trial((4, 9), np.array([0.3, 0.6]), 2.0, ())]
    trials.case, trials.weight, trials.share = np.array([0, 0]), np.array([2.0]), np.array([0.3, 0.6])
    height = trials.height(np.array([0]), np.array([2.0]), trials.share)
    assert height == pytest.approx(2.0 * np.log(0.3 * np.exp(2.0) + 0.7))


def test_drawn_worlds_with_other_numbers_are_found_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Belts slip to a third of the output, drops scatter twice as much; half of the causes are missing.

    Three histories of 160 cases, seeds one to three. Of six intervals of 95 % five or six hold the truth in 97 of 100
    such trials. How coils differ can hardly be seen: it is named as untold or, as in one of the first six seeds, its
    wide interval holds the truth. The ripple of a dead alternator bears on nothing that was read.
    """
    catalogue = load_catalogue()
    true = DROPS.moved(SLIPS.moved(catalogue, -1.2), float(np.log(2.0)))
    true = replace(true, fingerprint=catalogue.fingerprint + " moved")
    often = {("belt", "slips"): 40.0, ("alternator", "no_output"): 40.0}
    known = scaled(catalogue, often)
    monkeypatch.setattr(physical, "tried", lambda _: (SLIPS, MUTE, DROPS, COILS))
    moved: dict[Tried, list[Change]] = {SLIPS: [], DROPS: []}
    untold = 0
    for seed in (1, 2, 3):
        cases = drawn_cases(true, 160, World(often, 0.5), np.random.default_rng(seed))
        tuned = tune(cases, known, Options(strength=0.01, folds=0, slips=False, physical=True))
        rows = {c.key: c for c in tuned.changes if c.table in ("effects", "spreads")}
        assert {SLIPS.key, DROPS.key} <= set(rows) <= {SLIPS.key, DROPS.key, COILS.key}
        confirmed = sum(c.outcome is not None and ("belt", "slips") in c.outcome.causes for c in cases)
        assert rows[SLIPS.key].effective_cases > confirmed
        said = [w for w in tuned.warnings if "could not be told" in w]
        assert len(said) == (COILS.key not in rows)
        assert all(w.endswith("stay as they were: coil current spread") for w in said)
        untold += len(said)
        assert said or rows[COILS.key].low < COILS.value(catalogue) < rows[COILS.key].high
        assert any(w.startswith("1 more physical number") for w in tuned.warnings)
        for number, found in moved.items():
            found.append(rows[number.key])
            assert found[-1].old == number.value(catalogue)
    assert untold >= 2
    assert all(belt.high < belt.old for belt in moved[SLIPS])
    held = [c.low < number.value(true) < c.high for number, found in moved.items() for c in found]
    assert sum(held) >= 5
    for number, found in moved.items():
        way = np.log(number.value(true) / number.value(catalogue))
        gone = np.mean([np.log(c.new / c.old) for c in found])
        assert gone / way > 0.25  # the prior set pulls back, the more the less the cases tell
