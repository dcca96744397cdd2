"""Answers kept from one question to the next are those a model gives that is asked for the first time."""

from __future__ import annotations

from functools import lru_cache
from itertools import pairwise

import numpy as np
import pytest

from faultnet.inference.configurations import RowSets, distinct_rows
from faultnet.inference.evidence import Evidence
from faultnet.inference.fast import query as query_module
from faultnet.inference.fast.query import _likelihoods as alone
from faultnet.inference.fast.subset import Question
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.network import Array, Network, Node
from tests.inference import demo

TESTS = (
    "positive_side_drop",
    "crank_minimum",
    "how_it_turns_over",
    "charge_idle_voltage",
    "rest_voltage",
    "charge_lamp",
)


@lru_cache(maxsize=8)
def seen_first(readings: int) -> tuple[Evidence, ...]:
    return demo.evidence(demo.FIRST[:readings])


SEEN = seen_first(2)


@lru_cache(maxsize=1)
def car() -> tuple[Network, Hypotheses]:
    """A car of which all but seven components are known to be sound."""
    network = demo.reduced(demo.network())
    return network, enumerate_hypotheses(network, max_faults=2)


def fresh() -> VisitModel:
    network, space = car()
    return compile_visit(network, space.components, space.modes)


def questions() -> dict[str, Question]:
    network, _ = car()
    found = {}
    for name in TESTS:
        reading = network.nodes[f"reading_{name}"]
        found[name] = (reading.parents[0], reading.table[:, :, 0].T, reading.table[:, 0, 1])
    return found


@lru_cache(maxsize=16)
def of_everyone(readings: int = 2, states: tuple[int, ...] | None = None) -> dict[str, Array]:
    """Chances for all hypotheses at once; charge states that are left out get no weight from the start."""
    model = fresh()
    start = model.charge_prior.copy()
    if states is not None:
        start[:, [s for s in range(start.shape[1]) if s not in states]] = 0.0
    return shares(model.predict(seen_first(readings), questions(), start))


def shares(found: dict[str, Array]) -> dict[str, Array]:
    return {t: c / c.sum(axis=1, keepdims=True) for t, c in found.items()}


def assert_same(found: dict[str, Array], expected: dict[str, Array], chosen: Array) -> None:
    for test, chances in shares(found).items():
        np.testing.assert_allclose(chances, expected[test][chosen.astype(int)], rtol=0, atol=1e-12, err_msg=test)


def test_the_starting_circuit_is_answered_for_leading_hypotheses_only() -> None:
    """What the tests below are about: clusters too large to be answered for every configuration."""
    placements = fresh().view.placements
    owners = {placements.owner[q] for q, _, _ in questions().values()}
    assert {placements[k].small for k in owners} == {False, True}


def test_more_hypotheses_and_other_orders_are_added_to_those_answered_before() -> None:
    rng = np.random.default_rng(11)
    model = fresh()
    states = np.arange(model.charge_prior.shape[1])
    for count in (3, 10, 40, 5, 80):
        chosen = rng.choice(len(model.charge_prior), size=count, replace=False)
        assert_same(model.focused(chosen, states).predict(SEEN, questions()), of_everyone(), chosen)
        assert_same(model.subset(chosen).predict(SEEN, questions()), of_everyone(), chosen)


@pytest.mark.parametrize("order", [((1, 3, 6), (3, 6), (2,)), ((2,), (1, 3, 6)), ((0, 7), (7,), (0, 1, 2, 3, 7))])
def test_fewer_and_other_states_of_charge(order: tuple[tuple[int, ...], ...]) -> None:
    """Leaving states out is the same as giving them no weight."""
    model = fresh()
    chosen = np.arange(0, len(model.charge_prior), 7)
    for states in order:
        some = model.focused(chosen, np.array(states))
        assert_same(some.predict(SEEN, questions()), of_everyone(2, states), chosen)


def test_states_of_charge_within_a_choice_of_them() -> None:
    model = fresh()
    chosen = np.arange(20, 60)
    part = model.focused(np.arange(10, 100), np.array([1, 2, 5, 6])).focused(np.arange(10, 50), np.array([0, 2]))
    assert_same(part.predict(SEEN, questions()), of_everyone(2, (1, 5)), chosen)


def test_hypotheses_expected_next_are_answered_along_with_others() -> None:
    """They change no answer, and nothing is left to be worked out when they are asked about."""
    model = fresh()
    chosen, expected = np.arange(20), np.arange(10, 80, 3)
    states = np.arange(model.charge_prior.shape[1])
    assert_same(model.focused(chosen, states, expected).predict(SEEN, questions()), of_everyone(), chosen)
    ready = model.size()
    assert_same(model.focused(expected, states).predict(SEEN, questions()), of_everyone(), expected)
    assert model.size() == ready
    model.focused(np.arange(80, 120), states).predict(SEEN, questions())
    assert model.size() > ready


def test_other_readings_do_not_mix_with_earlier_ones() -> None:
    model = fresh()
    chosen = np.arange(0, len(model.charge_prior), 5)
    for readings in (2, 1, 0, 5, 2):
        found = model.subset(chosen).predict(seen_first(readings), questions())
        assert_same(found, of_everyone(readings), chosen)


def test_forgetting_changes_no_answer() -> None:
    model = fresh()
    before = model.stage(SEEN)
    first = model.predict(SEEN, questions())
    model.forget()
    again = model.predict(SEEN, questions())
    assert all(np.array_equal(first[t], again[t]) for t in first)
    np.testing.assert_array_equal(model.stage(SEEN)[0], before[0])


def test_the_same_act_gives_the_same_model_and_another_act_another() -> None:
    model = fresh()
    modes = model.modes.copy()
    modes[:, model.components.index("solenoid")] = 0
    node = model.network.nodes["surface"]
    other = Node(node.name, node.layer, node.states, node.parents, node.table[::-1].copy())
    for one, two in (
        (model.for_modes(modes), model.for_modes(model.modes)),
        (model.entered(modes), model.for_modes(modes)),
        (model.with_node(other), model.with_node(node)),
    ):
        assert one is not two
    assert model.for_modes(modes.copy()) is model.for_modes(modes)
    assert model.with_node(other) is model.with_node(other)


def test_a_visit_entered_after_a_repair_is_one_compiled_for_the_mended_car() -> None:
    model = fresh()
    network, space = car()
    modes = space.modes.copy()
    modes[:, space.components.index("battery")] = 0
    anew = compile_visit(network, space.components, modes)
    turned = model.entered(modes)
    np.testing.assert_array_equal(turned.charge_prior, anew.charge_prior)
    np.testing.assert_allclose(turned.stage(SEEN)[0], anew.stage(SEEN)[0], rtol=1e-12)


def test_rows_of_a_choice_are_found_among_all_rows() -> None:
    rng = np.random.default_rng(3)
    table = np.unique(rng.integers(0, 3, size=(60, 4)), axis=0).astype(np.int16)
    rows = RowSets(tuple("abcd"), table)
    chosen = rng.choice(len(table), size=9, replace=False)
    some = rows.restricted(chosen)
    for few in (frozenset("a"), frozenset("bd"), frozenset("abcd")):
        np.testing.assert_array_equal(rows.part(few).table[some.up(few)], some.part(few).table)
        order, ends = rows.groups(frozenset("abcd"), few)
        inside = rows.index(frozenset("abcd"), few)[order]
        assert (np.diff(inside) >= 0).all()
        assert all((inside[a:b] == g).all() for g, (a, b) in enumerate(pairwise(ends)))


@pytest.mark.parametrize("most", [3, 40_000])
def test_distinct_rows_are_those_numpy_finds(most: int) -> None:
    """Both ways of finding them: by a table of all codes, and by sorting when there are too many."""
    table = np.random.default_rng(most).integers(0, most, size=(50, 3))
    first, which = distinct_rows(table)
    expected, where = np.unique(table, axis=0, return_inverse=True)
    np.testing.assert_array_equal(table[first], expected)
    np.testing.assert_array_equal(which, where.ravel())


def test_likelihoods_of_some_hypotheses_are_those_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """What is asked for the second time is worked out for the new configurations alone; nothing for those known."""
    model, rng = fresh(), np.random.default_rng(5)
    placements = model.view.placements
    mine = [e for e in seen_first(6) if not placements[placements.owner[e.quantity]].small]
    k = placements.owner[mine[0].quantity]
    mine = [e for e in mine if placements.owner[e.quantity] == k]
    whole, whole_scale = fresh().message(mine)
    worked_out: list[int] = []
    monkeypatch.setattr(
        query_module,
        "_likelihoods",
        lambda bound, rows, factors: worked_out.append(len(rows)) or alone(bound, rows, factors),
    )
    for states in (None, np.array([1, 3])):
        for count in (7, 60, 20):
            chosen = np.sort(rng.choice(len(model.charge_prior), size=count, replace=False))
            some = model.subset(chosen) if states is None else model.focused(chosen, states)
            weight, scale = some.message_of_some(mine)
            expected = whole[chosen] if states is None or whole.shape[1] == 1 else whole[chosen][:, states]
            np.testing.assert_allclose(weight * np.exp(scale - whole_scale), expected, rtol=1e-12)
        model.subset(chosen).message_of_some(mine)
    configurations = len(np.unique(placements[k].which))
    assert 1 < len(worked_out) <= 6
    assert sum(worked_out) <= configurations
