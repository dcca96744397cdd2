"""Confirmed causes as evidence with an error of its own: Bayes by hand, one case that speaks against it, a history."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, CaseOutcome, Reading, Visit
from faultnet.learning.em import on_rates, rates, symptoms
from faultnet.learning.em.bands import settings_of
from faultnet.learning.em.e_step import Frame, Numbers, Pass
from faultnet.learning.em.encode import Encoder, encoded
from faultnet.learning.em.proof import chance_wrong, proof_factor
from faultnet.learning.em.space import space_for
from faultnet.prior_set import Catalogue, load_catalogue
from tests.bench.own_history import CONDITIONS, World, drawn_cases

SLIPS = (("belt", "slips"),)


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


def encoder_of(case: Case) -> Encoder:
    return Encoder(catalogue(), space_for([case], catalogue(), 0.2), settings_of([case]))


def framed(encoder: Encoder) -> tuple[Frame, Numbers]:
    """What a pass by the old numbers takes."""
    form, forms = (
        rates.rate_form(catalogue(), encoder.space, 1.0, ()),
        symptoms.symptom_forms(catalogue(), encoder.space, 1.0),
    )
    unlisted = encoder.space.modes[:, encoder.space.components.index("unlisted")] > 0
    return Frame(encoder.patterns, form, forms, unlisted), Numbers(
        form.start(), symptoms.started(forms), on_rates.started(catalogue())
    )


def believed(case: Case) -> dict[tuple[tuple[str, str], ...], float]:
    """Belief in each hypothesis after a case, by the causes that it names."""
    encoder = encoder_of(case)
    space = encoder.space
    frame, start = framed(encoder)
    weight = Pass(encoded(encoder, [case], [1.0], 0, [False]), frame, start).weight(0)[0]
    nodes = space.networks[0].nodes
    named = [
        tuple((c, nodes[c].states[m]) for c, m in zip(space.components, row, strict=True) if m) for row in space.modes
    ]
    return dict(zip(named, weight / weight.sum(), strict=True))


def case_of(outcome: CaseOutcome | None, *entries: Reading | Act) -> Case:
    return Case(Car(Battery(600.0)), (Visit(entries, CONDITIONS),), outcome=outcome)


@pytest.mark.parametrize("proof", ["replacement", "measurement", "opinion"])
def test_with_no_reading_what_is_named_is_right_as_often_as_such_proofs_are(proof: str) -> None:
    """Bayes: p (1 - e + e p) over (1 - e) p + e p s, with s the prior that the space holds."""
    wrong = catalogue().number(f"wrong_by_{proof}")
    case = case_of(CaseOutcome(SLIPS, proof=proof))  # type: ignore[arg-type]
    encoder = encoder_of(case)
    before = encoder.before[0]
    p = float(before[encoder.named(CaseOutcome(SLIPS))])
    wanted = (1.0 - wrong + wrong * p) / (1.0 - wrong + wrong * float(before.sum()))
    assert believed(case)[SLIPS] == pytest.approx(wanted, rel=1e-6)


def test_readings_may_say_that_an_opinion_was_wrong_and_a_cure_less_so() -> None:
    """A battery that stands at 10.4 V after a night has a shorted cell, whatever somebody thought of the belt."""
    shorted = (("battery", "shorted_cell"),)
    readings = (Reading("rest_voltage", 10.4), Reading("belt_look", state="good"), Reading("charge_idle_voltage", 14.2))
    names = {
        proof: believed(case_of(CaseOutcome(SLIPS, proof=proof), *readings)) for proof in ("opinion", "replacement")
    }  # type: ignore[arg-type]
    assert names["opinion"][shorted] > 0.5
    assert names["opinion"][SLIPS] < names["replacement"][SLIPS]


def test_causes_without_a_proof_are_taken_as_true() -> None:
    case = case_of(CaseOutcome(SLIPS))
    encoder = Encoder(catalogue(), space_for([case], catalogue(), 0.2), settings_of([case]))
    assert encoder.truth(case) == encoder.named(CaseOutcome(SLIPS)) >= 0
    assert encoder.truth(replace(case, outcome=CaseOutcome(SLIPS, proof="opinion"))) == -1


def test_the_factor_sums_to_one_over_all_outcomes() -> None:
    """Given any hypothesis, some outcome is written down."""
    before = np.array([0.5, 0.3, 0.2])
    said = np.exp([proof_factor(catalogue(), "opinion", before, k) for k in range(3)])
    np.testing.assert_allclose(said.sum(axis=0), 1.0)
    assert chance_wrong(catalogue(), "opinion") > chance_wrong(catalogue(), "replacement")


def test_beliefs_in_what_was_named_are_right_as_often_as_they_say() -> None:
    """A fifth of the opinions name the causes of another car: the mean belief in the named is what is right of them."""
    rng = np.random.default_rng(4)
    right = drawn_cases(catalogue(), 200, World({}, 1.0), rng)
    wrong = rng.random(len(right)) < chance_wrong(catalogue(), "opinion")
    other = [right[i].outcome for i in rng.permutation(len(right))]
    outcomes = [o if w else c.outcome for c, o, w in zip(right, other, wrong, strict=True)]
    said = [
        replace(c, outcome=replace(o, proof="opinion")) for c, o in zip(right, outcomes, strict=True) if o is not None
    ]
    encoder = Encoder(catalogue(), space_for(said, catalogue(), 0.05), settings_of(said))
    frame, start = framed(encoder)
    work = Pass(encoded(encoder, said, [1.0] * len(said), 0, [False] * len(said)), frame, start)
    named, kept = [], []
    for i, (case, true) in enumerate(zip(said, right, strict=True)):
        assert case.outcome is not None
        assert true.outcome is not None
        weight = work.weight(i)[0]
        named.append(weight[encoder.named(case.outcome)] / weight.sum())
        kept.append(case.outcome.causes == true.outcome.causes)
    spread = np.sqrt(np.mean(np.array(named) * (1.0 - np.array(named))) / len(named))
    assert abs(np.mean(named) - np.mean(kept)) < 3.0 * spread
    assert np.mean(np.array(named)[~np.array(kept)]) < np.mean(np.array(named)[kept]) - 0.2
