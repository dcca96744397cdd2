"""Work on two worker processes: the same numbers to the last bit though one is killed, and an end when none is left.

Workers are real processes of this machine, reached over loopback only.
"""

from __future__ import annotations

import json
import os
import signal
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from typer.testing import CliRunner

from faultnet import cluster as ours
from faultnet.case.types import Case, CaseOutcome, Reading
from faultnet.cli.commands import app
from faultnet.errors import ClusterError, FaultnetError
from faultnet.learning import tune as tuning
from faultnet.learning.em import physical
from faultnet.learning.em.scale import on_cluster, serially
from faultnet.learning.result import HistoryError, Options, Tuned
from faultnet.learning.tables.history import write_history
from faultnet.learning.tune import tune
from faultnet.prior_set import load_catalogue
from tests.bench.own_history import World, drawn_cases

pytestmark = pytest.mark.filterwarnings("default")
OPTIONS = Options(strength=0.2, folds=2, passes=3, groups=())


@lru_cache(maxsize=1)
def cases() -> tuple[Case, ...]:
    world = World({("battery", "worn"): 0.5}, 0.5, visits=1)
    return tuple(drawn_cases(load_catalogue(), 24, world, np.random.default_rng(3)))


@lru_cache(maxsize=1)
def here() -> Tuned:
    return tune(cases(), load_catalogue(), OPTIONS)


@pytest.fixture(autouse=True)
def _small_chunks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Several chunks of a small history; what tests compare with is worked out in the same."""
    monkeypatch.setattr(tuning.prepared, "__kwdefaults__", {"most_scored": 2000, "chunk": 6})


@pytest.fixture(scope="module")
def two_workers() -> Iterator[Any]:
    from distributed import LocalCluster

    options: dict[str, Any] = {
        "n_workers": 2,
        "threads_per_worker": 1,
        "processes": True,
        "dashboard_address": "127.0.0.1:0",
    }
    options["scheduler_kwargs"] = {"allowed_failures": 1}
    with LocalCluster(host="127.0.0.1", **options) as running:
        yield running


class DyingWorker:
    """A map over a cluster that kills one of its workers in the middle of a pass."""

    def __init__(self, client: Any) -> None:
        self.client, self.mapped, self.killed = client, on_cluster(client), list[int]()
        self.answers = 0

    def __call__(self, function: Callable[[Any], Any], items: Sequence[Any]) -> Iterator[Any]:
        for answer in self.mapped(function, items):
            self.answers += 1
            if self.answers == 6:
                self.killed += [next(iter(self.client.run(os.getpid).values()))]
                os.kill(self.killed[0], signal.SIGKILL)
            yield answer


def test_tuning_on_two_workers_gives_the_same_though_one_is_killed(two_workers: Any) -> None:
    with ours.cluster_at(two_workers.scheduler_address) as client:
        mapped = DyingWorker(client)
        there = tune(cases(), load_catalogue(), OPTIONS, mapped=mapped)
        assert len(mapped.killed) == 1
        assert mapped.killed[0] not in client.run(os.getpid).values()
    assert there == here()


def test_the_commands_work_on_a_cluster(two_workers: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With every option, a confirmation that is an opinion, and who read."""
    first, *others = cases()
    [visit] = first.visits
    read = tuple(replace(e, read_by="AB") if isinstance(e, Reading) else e for e in visit.entries)
    outcome = CaseOutcome((("battery", "worn"),), "it seemed so", proof="opinion")
    mine = replace(first, visits=(replace(visit, entries=read),), outcome=outcome)
    known = next(k for k, case in enumerate(others) if case.outcome is not None)
    others[known] = replace(others[known], visits=(replace(others[known].visits[0], entries=read),))
    write_history([mine, *others][:12], tmp_path / "history.csv")
    monkeypatch.setattr(physical, "tried", lambda _: (physical.Tried("spreads", ("start_volts_spread",), "width"),))
    common = ["--to", "x", "--folds", "0", "--groups", "none", "--json", "--half-life", "50"]
    common += ["--compact", "--by-person", "--physical"]
    answers = []
    for more in ([], ["--cluster", two_workers.scheduler_address, "--resume", str(tmp_path / "kept")]):
        told = CliRunner().invoke(app, ["tune", str(tmp_path / "history.csv"), *common, *more], catch_exceptions=False)
        answers.append(json.loads(told.stdout))
    assert answers[0] == answers[1]
    assert [answers[0]["options"][name] for name in ("compact", "by_person", "physical")] == [True] * 3
    assert [person["person"] for person in answers[0]["people"]] == ["AB"]
    assert any("physical number" in said for said in answers[0]["warnings"]) or any(
        change["key"] == ["start_volts_spread"] for change in answers[0]["changes"]
    )
    assert (tmp_path / "kept" / "tuning").is_file()


def test_a_trial_on_a_cluster_gives_the_same_table(two_workers: Any) -> None:
    common = ["trial", "--cars", "2", "--seed", "5", "--policy", "flow_chart", "--json"]
    tables = []
    for more in ([], ["--cluster", two_workers.scheduler_address]):
        tables.append(json.loads(CliRunner().invoke(app, [*common, *more], catch_exceptions=False).stdout))
    assert tables[0] == tables[1]


def test_an_error_of_a_task_comes_back_as_it_is(two_workers: Any) -> None:
    with ours.cluster_at(two_workers.scheduler_address) as client:
        with pytest.raises(ZeroDivisionError):
            list(ours.in_order(client, divided, [1, 0]))
        with pytest.raises(ClusterError, match="ended every worker"):
            list(ours.in_order(client, os._exit, [3]))


def divided(number: int) -> float:
    return 1 / number


def test_a_cluster_without_workers_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    from distributed import LocalCluster

    assert ours.GONE_AFTER + 5.0 < 60.0
    monkeypatch.setattr(ours, "GONE_AFTER", 0.5)
    with (
        LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as empty,
        ours.cluster_at(empty.scheduler_address) as client,
    ):
        for mapped in (ours.in_order, ours.as_they_come):
            with pytest.raises(ClusterError, match=r"all workers.*gone.*--resume"):
                list(mapped(client, divided, [1, 2]))


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:1", "nowhere", "tcp://127.0.0.1", "", "http://x y"])
def test_an_address_without_a_cluster_is_said_in_words(address: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ours, "CONNECT_SECONDS", 0.5)
    with pytest.raises(ClusterError, match="no cluster answers"), ours.cluster_at(address):
        raise AssertionError("nothing answers there")


def test_a_tuning_that_broke_off_goes_on_to_the_same_numbers(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    class Gone(Exception):
        pass

    left, expected = 7, here()

    def breaking(function: Callable[[Any], Any], items: Sequence[Any]) -> Iterator[Any]:
        nonlocal left
        for item in items:
            left -= 1
            if left == 0:
                raise Gone
            yield function(item)

    folder = tmp_path / "kept"
    breaks = 0
    while breaks < 30:
        left = 7 + 8 * breaks
        try:
            found = tune(cases(), load_catalogue(), OPTIONS, mapped=breaking, folder=folder)
            break
        except Gone:
            breaks += 1
            assert (folder / "passes").is_file()

            def never(*_: object) -> None:
                raise AssertionError("what was worked out is taken again")

            monkeypatch.setattr(tuning, "encoded", never)
    assert breaks >= 3
    assert found == expected
    assert tune(cases(), load_catalogue(), OPTIONS, mapped=serially, folder=folder) == expected


def test_a_folder_belongs_to_one_tuning(tmp_path: Path) -> None:
    tune(cases()[:8], load_catalogue(), Options(folds=0, passes=1), folder=tmp_path / "kept")
    for other in ((cases()[:7], Options(folds=0, passes=1)), (cases()[:8], Options(folds=0, passes=2))):
        with pytest.raises(HistoryError, match="another tuning"):
            tune(other[0], load_catalogue(), other[1], folder=tmp_path / "kept")
    with pytest.raises(FaultnetError):
        tune(cases()[:8], load_catalogue(), Options(folds=0, passes=1), folder=tmp_path)
    (tmp_path / "file").write_text("mine")
    for folder in (tmp_path / "file", tmp_path / "file" / "below", tmp_path / ("z" * 5000)):
        with pytest.raises(HistoryError, match="the folder cannot be used"):
            tune(cases()[:8], load_catalogue(), Options(folds=0, passes=1), folder=folder)
    assert (tmp_path / "file").read_text() == "mine"
