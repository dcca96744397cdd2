"""Compact likelihoods: the size, what is left out, and the same numbers as with all rows."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

import numpy as np
import pytest

from faultnet.case.types import Case
from faultnet.learning.em.chunk import Chunk, fetched, kept
from faultnet.learning.em.compact import MOST_BYTES, compacted
from faultnet.learning.em.e_step import Pass
from faultnet.learning.em.m_step import climbed
from faultnet.learning.result import Options
from faultnet.learning.tune import Ready, prepared
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import World, drawn_cases

OPTIONS = Options(strength=0.2, folds=0, passes=10, slips=False)


@lru_cache(maxsize=1)
def drawn() -> list[Case]:
    return drawn_cases(load_catalogue(), 40, World({}, 0.3), np.random.default_rng(6))


@pytest.fixture(scope="module")
def ready(tmp_path_factory: pytest.TempPathFactory) -> Ready:
    return prepared(drawn(), load_catalogue(), OPTIONS, tmp_path_factory.mktemp("whole"), [1.0] * 40)


def chunk_of(ready: Ready) -> Chunk:
    chunk = fetched(ready.chunks[0])
    assert isinstance(chunk, Chunk)
    return chunk


def test_no_case_takes_more_than_two_kilobytes(ready: Ready, tmp_path: Path) -> None:
    """On disk too, with everything that a chunk holds beside."""
    small = compacted(chunk_of(ready), ready.frame, ready.start)
    assert small.compact is not None
    rows = np.bincount(small.visit_case[small.whole >= 0], np.diff(small.compact.first))
    assert 0 < rows.max() * (small.compact.row.itemsize + small.compact.value.itemsize) <= MOST_BYTES
    size = kept(small, tmp_path / "small").stat().st_size
    assert size < 2000 * 40 < ready.chunks[0].stat().st_size / 10


def test_what_is_left_out_is_what_the_belief_loses(ready: Ready) -> None:
    """The weight of a case falls by the share that was left out, and by no more."""
    chunk = chunk_of(ready)
    small = compacted(chunk, ready.frame, ready.start, 600)
    assert small.compact is not None
    before, after = (Pass(c, ready.frame, ready.start) for c in (chunk, small))
    single = [i for i in range(len(chunk)) if before.visits[i + 1] - before.visits[i] == 1 and chunk.truth[i] < 0]
    for i in single:
        ratio = after.weight(i)[0].sum() / before.weight(i)[0].sum()
        assert ratio == pytest.approx(1.0 - small.compact.left_out[i], abs=1e-5)


def test_tuned_numbers_are_nearly_those_of_all_rows(ready: Ready, tmp_path: Path) -> None:
    """Factors on base rates after the same passes: a tenth of a per cent apart in the middle, three at most."""
    small = kept(compacted(chunk_of(ready), ready.frame, ready.start), tmp_path / "small")
    found = [
        climbed(chunks, ready.frame_path, ready.frame, ready.start, OPTIONS).numbers.rates.whole
        for chunks in (ready.chunks, (small,))
    ]
    off = np.abs(np.log(found[1] / found[0]))
    assert off.max() > 0.0
    assert np.median(off) < 0.001
    assert off.max() < 0.03
