"""What cases told of answers and chances of being on: scores against slopes of the log likelihood, worth by hand."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Act, Battery, Car, Case, Reading, Visit
from faultnet.learning.em.chunk import Chunk, fetched
from faultnet.learning.em.e_step import Numbers, expectation
from faultnet.learning.em.encode import Encoder, encoded
from faultnet.learning.em.intervals import prior_information
from faultnet.learning.em.scale import information, pass_over, serially
from faultnet.learning.em.symptoms import row_counts
from faultnet.learning.em.told import case_scores, layout_of, sure
from faultnet.learning.result import Options
from faultnet.learning.tune import Ready, prepared
from faultnet.prior_set import Catalogue, load_catalogue
from tests.bench.own_history import CONDITIONS, World, drawn_cases

STEP = 1e-5


@lru_cache(maxsize=1)
def catalogue() -> Catalogue:
    return load_catalogue()


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Ready:
    often = dict.fromkeys(catalogue().on_rates, 4.0)
    cases = drawn_cases(catalogue(), 40, World(often, 0.5), np.random.default_rng(3))
    return prepared(cases, catalogue(), Options(folds=0), tmp_path_factory.mktemp("told"), [1.0] * 40, chunk=40)


def chunk_of(ready: Ready) -> Chunk:
    chunk = fetched(ready.chunks[0])
    assert isinstance(chunk, Chunk)
    return chunk


def likelihood(ready: Ready, numbers: Numbers) -> float:
    return expectation(chunk_of(ready), ready.frame, numbers).log_likelihood


def test_scores_are_the_slopes_of_the_log_likelihood(ready: Ready) -> None:
    """By differences of what a pass adds up, for answers of both sorts of table and for chances of being on."""
    counts = pass_over(serially, ready.chunks, ready.frame_path, ready.start)
    layout = layout_of(ready.frame, ready.start, counts)
    score = case_scores(chunk_of(ready), ready.frame, ready.start, layout).sum(axis=0)
    checked = set()
    for test, at in layout.answers.items():
        for row, choice in [(r, s) for r, s in np.argwhere(at >= 0).tolist() if s == 0][:4]:
            ends = []
            for side in (-1.0, 1.0):
                table = ready.start.symptoms[test].copy()
                table[row, choice] *= np.exp(side * STEP)
                table[row] /= table[row].sum()
                moved = replace(ready.start, symptoms={**ready.start.symptoms, test: table})
                ends.append(likelihood(ready, moved))
            assert score[at[row, choice]] == pytest.approx((ends[1] - ends[0]) / (2.0 * STEP), abs=2e-4, rel=1e-3)
            checked.add(ready.frame.symptoms[test].table.combine)
    assert checked == {"average", "worst"}
    for key, k in list(layout.on.items())[:5]:
        p, ends = ready.start.on[key], []
        for side in (-1.0, 1.0):
            odds = p / (1.0 - p) * np.exp(side * STEP)
            ends.append(likelihood(ready, replace(ready.start, on={**ready.start.on, key: odds / (1.0 + odds)})))
        assert score[k] == pytest.approx((ends[1] - ends[0]) / (2.0 * STEP), abs=2e-4, rel=1e-3)


def test_with_no_case_an_answer_is_worth_the_old_counts(ready: Ready) -> None:
    """The Dirichlet's own variance; the information of no case is nought."""
    frame, start = ready.frame, ready.start
    counts = pass_over(serially, ready.chunks, ready.frame_path, start)
    layout = layout_of(frame, start, counts)
    none = sure(frame, start, layout, np.zeros((layout.size, layout.size)), 0.5)
    test = next(iter(layout.answers))
    row = int(np.flatnonzero(layout.answers[test][:, 0] >= 0)[0])
    old = float(frame.symptoms[test].counts[row].sum())
    assert none.answer(test, row, 0, start.symptoms[test][row], 1e9) == pytest.approx(old, rel=1e-6)
    key = next(iter(layout.on))
    assert none.on(key, start.on[key], 1e9) == pytest.approx(0.5 * 20.0, rel=1e-6)
    assert prior_information(frame.rates, layout.rates).shape[0] == layout.rates.max() + 1


def test_missing_causes_tell_less_than_completed_counts_say(ready: Ready) -> None:
    """Fisher's information of a share that was seen n times is n p (1 - p); half of the causes here were not seen."""
    frame, start = ready.frame, ready.start
    counts = pass_over(serially, ready.chunks, ready.frame_path, start)
    layout = layout_of(frame, start, counts)
    told = information(ready.chunks, ready.frame_path, start, layout)
    np.testing.assert_allclose(told, told.T)
    mine = completed = 0.0
    for test, at in layout.answers.items():
        shares, seen = (
            start.symptoms[test],
            row_counts(frame.symptoms[test], start.symptoms[test], counts.symptoms[test]),
        )
        used = at[:, 0] >= 0
        mine += float(np.diag(told)[at[used]].sum())
        completed += float((seen.sum(axis=1, keepdims=True) * shares * (1.0 - shares))[used].sum())
    assert 0.3 * completed < mine < 0.9 * completed


def test_answers_from_before_a_charge_and_visits_before_an_act_inform(tmp_path: Path) -> None:
    """Both were worked out whole before, and told symptom tables and on-rates nothing."""
    answer, volts = Reading("belt_look", state="good"), Reading("rest_voltage", value=12.3)
    later = Visit((answer, Act("charge", hours=8.0), volts), CONDITIONS)
    case = Case(Car(Battery(600.0)), (Visit((volts,), CONDITIONS), later))
    ready = prepared([case], catalogue(), Options(folds=0), tmp_path, [1.0])
    chunk = chunk_of(ready)
    assert [a.test for a in chunk.answers] == ["belt_look"]
    assert chunk.visit_case.tolist() == [0]
    assert len(chunk.fixed) == 1
    encoder: Encoder = ready.encoder
    apart = encoded(encoder, [replace(case, visits=(case.visits[0],))], [1.0], 0, [False])
    np.testing.assert_array_equal(apart.likelihood, chunk.likelihood)


def test_an_answer_given_anew_teaches_what_its_last_one_does(tmp_path: Path) -> None:
    """As it is diagnosed; both answers of one visit counted towards how often drivers give either."""
    once, never = (Reading("flat_how_often", state=state) for state in ("once", "never"))

    def fit(name: str, *entries: Reading) -> float:
        case = Case(Car(Battery(600.0), label="invented"), (Visit(entries),))
        (tmp_path / name).mkdir()
        one = prepared([case], catalogue(), Options(folds=0), tmp_path / name, [1.0], chunk=1)
        return likelihood(one, one.start)

    assert fit("anew", once, never) == pytest.approx(fit("last", never), abs=1e-12)
    assert fit("anew again", never, once) == pytest.approx(fit("first", once), abs=1e-12)
    assert fit("last again", never) != pytest.approx(fit("first again", once), abs=0.01)
