"""The car's own network: the engine against pgmpy's variable elimination and pyAgrum's lazy propagation.

Three sizes. (1) The whole car with one visit: the engine leaves combinations of more than three faults out, so its
beliefs may differ by as much as those still weigh after the readings, and no more. (2) A car of which it is known
that all but seven components are sound: every hypothesis kept, agreement to 1e-9. (3) The same over two visits, and
with a part replaced between them.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.types import Conditions
from faultnet.inference.evidence import Evidence
from faultnet.inference.hypotheses import Hypotheses, enumerate_hypotheses
from faultnet.inference.posterior import Belief, updated
from faultnet.inference.repeated import together
from faultnet.inference.visit import VisitModel, compile_visit
from faultnet.model.export import seen_scale
from faultnet.model.network import Array, Network
from tests.inference import demo
from tests.inference.outside import by_pgmpy, by_pyagrum, chance_by_pgmpy

EXACT = 1e-9


@lru_cache(maxsize=1)
def whole_space() -> Hypotheses:
    return enumerate_hypotheses(
        demo.network(), max_faults=3, uncounted=("use",), brought_in_when_sound=demo.brought_in_when_sound()
    )


@lru_cache(maxsize=1)
def whole_model() -> VisitModel:
    return compile_visit(demo.network(), whole_space().components, whole_space().modes)


@lru_cache(maxsize=4)
def small(conditions: Conditions = demo.MILD) -> tuple[Network, Hypotheses, VisitModel]:
    """The car of which all but seven components are known to be sound, with every hypothesis about those."""
    network = demo.reduced(demo.network(conditions))
    space = enumerate_hypotheses(network, max_faults=7, brought_in_when_sound=demo.brought_in_when_sound())
    return network, space, compile_visit(network, space.components, space.modes)


def log_likelihood(model: VisitModel, seen: Sequence[Evidence]) -> Array:
    weight, scale = model.stage(seen)
    return np.asarray(np.log((model.charge_prior * weight).sum(axis=1)) + scale)


def believed(space: Hypotheses, *logs: Array) -> Belief:
    belief = updated(space, np.sum(logs, axis=0))
    assert belief is not None
    return belief


def assert_same(found: dict[str, Array], expected: dict[str, Array], within: float = EXACT) -> None:
    for component, chances in expected.items():
        np.testing.assert_allclose(found[component], chances, rtol=0, atol=within, err_msg=component)


@pytest.mark.parametrize("count", [1, 3])
def test_whole_car_agrees_to_what_the_combinations_left_out_still_weigh(count: int) -> None:
    seen = demo.evidence(demo.FIRST[:count])
    belief = believed(whole_space(), log_likelihood(whole_model(), seen))
    asked = demo.asked(demo.network(), seen)
    theirs, chance = by_pyagrum(asked, asked.components)
    assert_within(belief, theirs, 1.0 - chance_within(belief, seen) / chance)
    assert_same(by_pgmpy(asked, asked.components), theirs)


def test_whole_car_agrees_as_far_after_five_readings() -> None:
    """Against pgmpy alone: pyAgrum's junction tree of the whole car with these five readings does not fit in memory."""
    seen = demo.evidence(demo.FIRST[:5])
    belief = believed(whole_space(), log_likelihood(whole_model(), seen))
    asked = demo.asked(demo.network(), seen)
    left_out = 1.0 - chance_within(belief, seen) / chance_by_pgmpy(asked)
    assert_within(belief, by_pgmpy(asked, asked.components), left_out)


def test_two_visits_of_the_whole_car_agree_as_far() -> None:
    """Against pgmpy alone: pyAgrum's junction tree of the whole car over two visits does not fit in memory."""
    seen = demo.evidence(demo.FIRST[:2]), demo.evidence(demo.SECOND[:1], demo.FROSTY)
    later = compile_visit(demo.network(demo.FROSTY), whole_space().components, whole_space().modes)
    belief = believed(whole_space(), log_likelihood(whole_model(), seen[0]), log_likelihood(later, seen[1]))
    asked = demo.asked_over_visits([demo.network(), demo.network(demo.FROSTY)], seen)
    left_out = 1.0 - chance_within(belief, [*seen[0], *seen[1]]) / chance_by_pgmpy(asked)
    assert_within(belief, by_pgmpy(asked, ["battery", "solenoid"]), left_out)


def assert_within(belief: Belief, theirs: dict[str, Array], left_out: float) -> None:
    """With d the posterior mass of what is left out: (1 - d) ours <= theirs <= (1 - d) ours + d, for every mode."""
    assert 0.0 < left_out < 0.02
    for component, chances in theirs.items():
        ours = (1.0 - left_out) * belief.marginals()[component]
        assert (chances >= ours - EXACT).all(), component
        assert (chances <= ours + left_out + EXACT).all(), component


def chance_within(belief: Belief, seen: Sequence[Evidence]) -> float:
    """Chance that the readings and the complaint are as they are and that at most three parts are at fault."""
    components = [demo.network().nodes[c] for c in demo.network().components]
    sound = np.prod([c.table[(0,) * c.table.ndim] for c in components])
    complaint = 1.0 - sound + sound * demo.brought_in_when_sound()
    scale = np.prod([seen_scale(e) for e in seen])
    return float(np.exp(belief.log_evidence) * belief.space.prior.sum() * complaint * scale)


@pytest.mark.parametrize("count", [0, 1, 2, 5])
def test_reduced_car_agrees_exactly(count: int) -> None:
    network, space, model = small()
    seen = demo.evidence(demo.FIRST[:count])
    found = believed(space, log_likelihood(model, seen)).marginals()
    asked = demo.asked(network, seen)
    assert_same(found, by_pgmpy(asked, network.components))
    assert_same(found, by_pyagrum(asked, network.components)[0])


def test_repeated_soft_readings_multiply() -> None:
    """Three rough readings of one voltage, of which only the likelihoods are known, bear on one true voltage."""
    network, space, model = small()
    again = demo.evidence([demo.SECOND[0]]) * 3
    rough = [*demo.evidence([demo.FIRST[2]]), *(replace(e, number=None, stranger=None) for e in again)]
    found = believed(space, log_likelihood(model, rough)).marginals()
    assert_same(found, by_pgmpy(demo.asked(network, rough), network.components))
    first, *_, last = rough
    product = Evidence(last.quantity, last.likelihood**3, last.background**3)
    once = believed(space, log_likelihood(model, [first, product])).marginals()
    assert_same(found, once, 1e-12)


def test_a_fault_that_the_model_does_not_know_stays_what_it_is() -> None:
    """What was read of a voltage once is read again under such a fault, too, as one reading of what all say."""
    network, space, model = small()
    again = [replace(e, number=None) for e in demo.evidence([demo.SECOND[0]]) * 3]
    first, *rest = rough = [*demo.evidence([demo.FIRST[2]]), *again]
    found = believed(space, log_likelihood(model, rough)).marginals()
    stranger, likelihood = rest[0].stranger, rest[0].likelihood
    assert stranger is not None
    together = Evidence(rest[0].quantity, likelihood**3, float(stranger @ likelihood**3))
    assert_same(found, by_pgmpy(demo.asked(network, [first, together]), network.components))
    assert together.background > 2.0 * rest[0].background ** 3


def test_repeated_numbers_are_one_reading_of_what_they_say_together() -> None:
    """Three readings of one voltage count as one with the likelihood that they have together anywhere in a bin."""
    network, space, model = small()
    again = demo.evidence([demo.FIRST[2]]) + demo.evidence([demo.SECOND[0]]) * 3
    found = believed(space, log_likelihood(model, again)).marginals()
    first, *rest = again
    numbers = [e.number for e in rest if e.number is not None]
    stranger = rest[0].stranger
    assert stranger is not None
    once = Evidence(rest[0].quantity, together(numbers), float(stranger @ together(numbers)))
    assert len(numbers) == 3
    assert_same(found, by_pgmpy(demo.asked(network, [first, once]), network.components))


@pytest.mark.parametrize(
    "test", ["key_off_current", "solenoid_drop", "charge_loaded_voltage", "rest_voltage", "spark_and_fuel"]
)
def test_what_a_test_will_show_agrees(test: str) -> None:
    """Chance of each class of a next reading, over all hypotheses."""
    network, space, model = small()
    seen = demo.evidence(demo.FIRST)
    posterior = believed(space, log_likelihood(model, seen)).posterior
    reading = network.nodes[f"reading_{test}"]
    asked = {test: (reading.parents[0], reading.table[:, :, 0].T, reading.table[:, 0, 1])}
    chance = model.predict(seen, asked)[test]
    chance = chance / chance.sum(axis=1, keepdims=True)
    expected = by_pgmpy(demo.asked(network, seen, [reading.name]), [reading.name])[reading.name]
    np.testing.assert_allclose(posterior @ chance, expected, rtol=0, atol=EXACT)


@pytest.mark.parametrize("mended", [(), ("battery",), ("solenoid", "drain")])
def test_two_visits_agree_exactly(mended: tuple[str, ...]) -> None:
    """Two visits in different weather, with or without parts replaced between them."""
    network, space, first = small()
    later, _, second = small(demo.FROSTY)
    modes = space.modes.copy()
    modes[:, [space.components.index(c) for c in mended]] = 0
    second = compile_visit(later, space.components, modes)
    seen = demo.evidence(demo.FIRST[:3]), demo.evidence(demo.SECOND, demo.FROSTY)
    found = believed(space, log_likelihood(first, seen[0]), log_likelihood(second, seen[1])).marginals()
    asked = demo.asked_over_visits([network, later], seen, [(), mended])
    assert_same(found, by_pyagrum(asked, network.components)[0])
    assert_same(found, by_pgmpy(asked, ["battery", "solenoid", "unlisted"]))


def test_readings_nothing_explains_raise_the_fault_the_model_does_not_know() -> None:
    readings = [
        demo.Reading("crank_minimum", value=3.0),
        demo.Reading("cranking_speed", value=300.0),
        demo.Reading("lamps_while_cranking", state="stay_bright"),
        demo.Reading("rest_voltage", value=12.7),
        demo.Reading("hydrometer_level", value=1.10),
    ]
    before = whole_space().prior[whole_model().unlisted].sum()
    belief = believed(whole_space(), log_likelihood(whole_model(), demo.evidence(readings)))
    assert before < 0.05
    assert belief.marginals()["unlisted"][1] > 10.0 * before


def test_two_hundred_readings_stay_finite() -> None:
    """Two hundred readings of ten quantities, drawn from a fixed stream, with no weight lost to underflow."""
    rng = np.random.default_rng(12)
    nodes = [n for n in demo.network().of_layer("quantity") if n.edges][:10]
    seen = [Evidence(n.name, rng.random(n.card) ** 6 + 1e-12, 1.0 / n.card) for n in nodes for _ in range(20)]
    belief = believed(whole_space(), log_likelihood(whole_model(), seen))
    assert len(seen) == 200
    assert np.isfinite(belief.log_evidence)
    assert np.isfinite(belief.posterior).all()
    np.testing.assert_allclose(belief.posterior.sum(), 1.0, rtol=0, atol=1e-12)


def test_the_scale_taken_out_of_two_hundred_readings_is_put_back() -> None:
    """The log evidence of a reading of odds a thousand to one on every state is that many times log 1000."""
    card = demo.network().nodes["ripple"].card
    plain = Evidence("ripple", np.full(card, 1e3), 1e3)
    belief = believed(whole_space(), log_likelihood(whole_model(), [plain] * 200))
    np.testing.assert_allclose(belief.log_evidence, 200 * np.log(1e3), rtol=1e-12)
    np.testing.assert_allclose(belief.posterior, whole_space().prior / whole_space().prior.sum(), rtol=0, atol=1e-12)


def test_threads_with_different_evidence_on_one_model_answer_as_alone() -> None:
    _, space, _ = small()
    network = small()[0]
    evidence = [demo.evidence(demo.FIRST[:2]), demo.evidence(demo.FIRST[2:]), demo.evidence(demo.SECOND)]
    asked = {
        "t": (
            "key_off_current",
            np.eye(network.nodes["key_off_current"].card),
            np.ones(network.nodes["key_off_current"].card),
        )
    }
    alone = [answer(compile_visit(network, space.components, space.modes), e, asked) for e in evidence]
    shared = compile_visit(network, space.components, space.modes)
    wrong: list[int] = []

    def session(which: int) -> None:
        for turn in range(6):
            i = (which + turn) % len(evidence)
            if not all(np.array_equal(a, b) for a, b in zip(answer(shared, evidence[i], asked), alone[i], strict=True)):
                wrong.append(i)

    threads = [threading.Thread(target=session, args=(i,)) for i in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert wrong == []


def answer(
    model: VisitModel, seen: Sequence[Evidence], tests: dict[str, tuple[str, Array, Array]]
) -> tuple[Array, Array]:
    return log_likelihood(model, seen), model.predict(seen, tests)["t"]
