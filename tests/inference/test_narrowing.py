"""Tests answered over the likely hidden states only: what that leaves out, and that it depends on the case alone."""

from __future__ import annotations

import numpy as np
import pytest

from faultnet.inference.contraction import Tensor
from faultnet.inference.evidence import Evidence
from faultnet.inference.fast.query import Query
from faultnet.inference.fast.support import SLIVER, likely_states
from faultnet.inference.posterior import informations
from faultnet.inference.visit import VisitModel
from faultnet.model.network import Array
from tests.inference import demo
from tests.inference.test_query import car, fresh, questions, shares

CRANKED = demo.evidence(demo.FIRST[:2])
TURNED = demo.evidence(demo.FIRST[3:4])
ANYWHERE = 1e-3  # of an outcome's chance: seven axes of which a sliver each is left out


def belief_after(model: VisitModel, evidence: tuple[Evidence, ...]) -> Array:
    weight, _ = model.stage(evidence)
    posterior = car()[1].prior * (model.charge_prior * weight).sum(axis=1)
    return np.asarray(posterior / posterior.sum())


def of_one(model: VisitModel, mode: int) -> Array:
    """All belief in a battery in one mode and nothing else at fault."""
    found = np.zeros(len(model.charge_prior))
    wanted = np.zeros(len(model.components), dtype=int)
    wanted[model.components.index("battery")] = mode
    found[np.flatnonzero((model.modes == wanted).all(axis=1))] = 1.0
    assert found.sum() == 1.0
    return found


def starting_circuit(model: VisitModel) -> int:
    return model.view.placements.owner["crank_minimum_w1"]


def test_some_states_are_answered_for_as_if_the_others_were_impossible() -> None:
    """The second road: all states, and evidence that rules the others out. The axes are such as a reading bears on."""
    place = fresh().view.placements[starting_circuit(fresh())]
    seen = tuple(e for e in CRANKED if e.quantity in place.bound.cluster.quantities)
    factors = tuple(place.factors(seen)[0])
    states = {"source_emf": np.array([2, 3, 6]), "loop": np.array([1, 2, 3]), "turning_load": np.array([0, 4])}
    nodes = place.bound.cluster.network.nodes
    only = tuple(Tensor(np.isin(np.arange(nodes[a].card), s).astype(float), (a,)) for a, s in states.items())
    rows = np.arange(0, len(place.bound.rows.table), 3)
    before = np.random.default_rng(5).random((len(rows), nodes["charge"].card))
    tests = [questions()[t] for t in ("positive_side_drop", "crank_minimum", "how_it_turns_over")]
    sites = [place.bound.outcomes(((quantity, table, None),)) for quantity, table, _ in tests]
    narrow = Query(place.bound, factors, states=states).answers(sites, rows, before, None)
    ruled_out = Query(place.bound, (*factors, *only)).answers(sites, rows, before, None)
    for one, two in zip(narrow, ruled_out, strict=True):
        assert one.max() > 0.0
        np.testing.assert_allclose(one, two, rtol=1e-9, atol=1e-14 * two.max())


def test_states_of_an_axis_are_asked_about_like_a_test() -> None:
    """Against the belief in the states before any reading, written out from the tables."""
    model = fresh()
    bound = model.view.placements[starting_circuit(model)].bound
    before = model.charge_prior
    shown = Query(bound, ()).answers([bound.states("source_emf")], model.view.placements[0].which, before, None)[0]
    node = model.network.nodes["source_emf"]
    battery = model.modes[:, model.components.index("battery")]
    table = node.table.transpose([node.axes.index(a) for a in ("battery", "source_emf", "charge")])
    np.testing.assert_allclose(shown, np.einsum("hec,hc->he", table[battery], before), atol=1e-12)


def test_what_is_left_out_changes_hardly_any_bit() -> None:
    model = fresh()
    belief = belief_after(model, CRANKED)
    whole = shares(model.predict(CRANKED, questions()))
    narrow = shares(fresh().predict(CRANKED, questions(), belief=belief))
    bits, fewer = informations(belief, whole), informations(belief, narrow)
    differences = [abs(bits[t] - fewer[t]) for t in bits]
    assert 0.0 < max(differences) < 5e-4
    for test, chances in whole.items():
        np.testing.assert_allclose(belief @ narrow[test], belief @ chances, atol=ANYWHERE, err_msg=test)


@pytest.mark.parametrize("modes", [(0, 1, 0), (2, 0), (1, 3, 2)])
def test_answers_are_taken_again_only_where_they_cover_what_is_likely_by_then(modes: tuple[int, ...]) -> None:
    model = fresh()
    whole = shares(model.predict(CRANKED, questions()))
    model.forget()
    for mode in modes:
        belief = of_one(model, mode)
        narrow = shares(model.predict(CRANKED, questions(), belief=belief))
        for test, chances in whole.items():
            np.testing.assert_allclose(belief @ narrow[test], belief @ chances, atol=ANYWHERE, err_msg=test)


def test_states_that_only_follow_are_looked_at_too_before_answers_are_taken_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Two corners of one grid: a crank current that is next to impossible in the likely one is usual in the other."""
    place = fresh().view.placements[starting_circuit(fresh())]
    seen = tuple(e for e in CRANKED if e.quantity in place.bound.cluster.quantities)
    query, nodes = Query(place.bound, tuple(place.factors(seen)[0])), place.bound.cluster.network.nodes
    corners = []
    for share in (1.0 - 2.0 * SLIVER, 1.0 - 2.0 * SLIVER, 2.0 * SLIVER):
        grid = {a: np.zeros(nodes[a].card) for a in ("source_emf", "source_factor", "loop", "turning_load")}
        for low in grid.values():
            low[[1, 4]] = share, 1.0 - share
        corners.append(grid)
    rows, before = np.arange(3), np.ones((3, nodes["charge"].card))
    found = []
    for grid in corners:
        monkeypatch.setattr(Query, "_shares", lambda *_, grid=grid: grid)
        found.append(query.narrowed(rows, before, None, None, np.full(3, 1.0 / 3.0)))
    first, again, second = found
    assert first is again
    assert all(np.array_equal(first.states[a], second.states[a]) for a in corners[0])
    assert not np.isin(second.states["crank_current_level"], first.states["crank_current_level"]).all()


def test_a_reading_that_leaves_much_of_the_grid_cuts_nothing() -> None:
    belief = belief_after(fresh(), TURNED)
    narrow = fresh().predict(TURNED, questions(), belief=belief)
    for test, chances in fresh().predict(TURNED, questions()).items():
        np.testing.assert_array_equal(narrow[test], chances, err_msg=test)


def test_what_was_asked_before_makes_no_difference() -> None:
    """All states, then the likely ones for other hypotheses, then as if nothing had been asked."""
    model, belief = fresh(), belief_after(fresh(), CRANKED)
    alone = fresh().predict(CRANKED, questions(), belief=belief)
    model.predict(CRANKED, questions())
    model.predict(CRANKED, questions(), belief=of_one(model, 2))
    again = model.predict(CRANKED, questions(), belief=belief)
    for test, chances in alone.items():
        np.testing.assert_allclose(again[test], chances, rtol=1e-12, atol=1e-300)


def test_likely_states_hold_all_but_a_sliver() -> None:
    rng = np.random.default_rng(8)
    for _ in range(50):
        share = rng.random(12) ** 12
        kept = likely_states(share)
        assert (np.diff(kept) > 0).all()
        assert share[kept].sum() >= (1.0 - SLIVER) * share.sum()
        assert share[kept].sum() - share[kept].min() < (1.0 - SLIVER) * share.sum()


def test_entries_within_some_states_are_those_numpy_picks() -> None:
    tensor = Tensor(np.random.default_rng(2).random((5, 4, 6)), ("i", "j", "k"))
    states = {"i": np.array([1, 2, 4]), "k": np.array([3, 4]), "elsewhere": np.array([0])}
    found = tensor.within(states)
    np.testing.assert_array_equal(found.values, tensor.values[np.ix_(states["i"], np.arange(4), states["k"])])
    assert found.axes == tensor.axes
