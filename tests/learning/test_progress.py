"""How far a tuning has come: every step is told, shares grow, and what is told last leaves nothing to do."""

from __future__ import annotations

from pathlib import Path

import pytest

from faultnet.learning.progress import Cancelled, Gauge, Progress
from faultnet.learning.result import Options
from faultnet.learning.tables.history import load_history
from faultnet.learning.tune import tune
from faultnet.prior_set import load_catalogue
from faultnet.shipped import shipped


class Clock:
    """A clock that stands still until it is moved on."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_the_time_left_is_right_once_a_step_of_each_kind_was_timed() -> None:
    """1,000 cases of 10 ms, 9 passes of 2 s, 3 folds of 9 passes and 1 s for scores, as if so timed."""
    clock, told = Clock(), []
    gauge = Gauge(1000, 50, 3, 12, told.append, clock)
    whole = 10.0 + 9 * 2.0 + 3 * (9 * 2.0 + 1.0)
    for done in (500, 1000):
        clock.now += 5.0
        gauge.worked_out(done)
    for fold in range(4):
        for _ in range(9):
            clock.now += 2.0
            gauge.passed()
            if fold:  # how many passes it takes is known from here on
                assert told[-1].left == pytest.approx(whole - clock.now, rel=0.5, abs=6.0)
        clock.now += 1.0 if fold else 0.0
        gauge.climbed()
    assert clock.now == pytest.approx(whole)
    assert told[-1].left == pytest.approx(1.0)
    shares = [progress.share for progress in told if progress.doing.startswith("passing over fold")]
    assert shares == sorted(shares)


def test_physical_numbers_count_towards_the_time_left() -> None:
    clock, told = Clock(), []
    gauge = Gauge(10, 1, 0, 1, told.append, clock, tries=True)
    gauge.worked_out(10)
    assert told[-1].left > 60.0
    clock.now += 3.0
    gauge.tried(4, 20)
    assert told[-1].doing == "trying physical numbers: 4 of 20"
    already = told[-1].left - 16 * 0.75
    clock.now += 12.0
    gauge.tried(20, 20)
    assert told[-1].left == pytest.approx(already)


def test_every_step_is_told_and_stopping_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    catalogue = load_catalogue("standard")
    cases = load_history(shipped("cases") / "history" / "hot_region.csv.gz", catalogue).cases[:40]
    told: list[Progress] = []

    def stop_at_the_second_pass(progress: Progress) -> None:
        told.append(progress)
        if progress.doing.endswith("pass 2"):
            raise Cancelled("stopped")

    with pytest.raises(Cancelled):
        tune(cases, catalogue, Options(folds=2), told=stop_at_the_second_pass)
    assert [p.doing for p in told] == [
        "working out cases: 40 of 40",
        "passing over all cases: pass 1",
        "passing over all cases: pass 2",
    ]
    assert list(tmp_path.iterdir()) == []
