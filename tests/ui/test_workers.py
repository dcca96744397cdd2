"""Answers worked out in processes beside the server: the same ones, whatever happens to the processes."""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import ClassVar

import pytest

from faultnet.case.types import Battery, Car, Case, Reading, Visit
from faultnet.errors import EntryError, FaultnetError, MissingExtraError
from faultnet.shipped import shipped

CASE = Case(Car(Battery(600.0)), (Visit(entries=(Reading("rest_voltage", value=12.4),)),))


@pytest.fixture
def beside() -> Iterator[object]:
    """Two processes for answers; none afterwards."""
    from workbench import answers, workers

    answers.forget()
    workers.start(2)
    yield workers
    workers.start(0)
    answers.forget()


def _gone(number: int) -> bool:
    try:
        return Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0] == "Z"
    except OSError:
        return True


def _wait_until_gone(number: int) -> bool:
    end = time.monotonic() + 20.0
    while not _gone(number) and time.monotonic() < end:
        time.sleep(0.05)
    return _gone(number)


def test_a_process_gives_the_answers_of_the_library_and_one_that_was_killed_is_started_anew(beside: object) -> None:
    from workbench import answers, thinking, workers

    shop = answers.Shop(frozenset({"voltmeter"}))
    told = answers.answer(CASE, shop)
    first = workers._workers[0].number()
    assert first is not None
    assert first != os.getpid()
    assert told == thinking.advice(CASE, shop)[0]
    os.kill(first, signal.SIGKILL)
    answers.forget()
    assert answers.present(CASE) == thinking.present(CASE)
    assert workers._workers[0].number() not in (first, None)


def test_what_is_wrong_with_an_entry_comes_back_as_it_is(beside: object) -> None:
    from workbench import answers

    wrong = replace(CASE, visits=(Visit(entries=(Reading("no_test", value=1.0),)),))
    with pytest.raises(EntryError) as found:
        answers.present(wrong)
    assert (found.value.what, found.value.where) == ("unknown test", "visit 1, entry 1")


def test_a_question_that_ends_the_process_each_time_ends_in_a_message(
    beside: object, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from workbench import workers

    (tmp_path / "deadly.py").write_text("import os, signal\n\ndef die():\n    os.kill(os.getpid(), signal.SIGKILL)\n")
    monkeypatch.syspath_prepend(tmp_path)
    deadly = importlib.import_module("deadly")

    with pytest.raises(FaultnetError, match="has ended"):
        workers.ask(deadly.die, "a car")


def test_an_answer_that_cannot_be_sent_is_said_and_not_waited_for(
    beside: object, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    from workbench import workers

    (tmp_path / "unsent.py").write_text("def give():\n    return lambda: 0\n")
    monkeypatch.syspath_prepend(tmp_path)
    unsent = importlib.import_module("unsent")
    with pytest.raises(RuntimeError, match="pickle"):
        workers.ask(unsent.give, "a car")
    (tmp_path / "raising.py").write_text("def give(error):\n    raise error\n")
    raising = importlib.import_module("raising")
    with pytest.raises(MissingExtraError, match="faultnet\\[app\\]"):
        workers.ask(raising.give, "a car", MissingExtraError("it is not installed", extra="app"))


def test_one_persons_cars_stay_in_one_process_and_many_are_shared_out(monkeypatch: pytest.MonkeyPatch) -> None:
    from workbench import workers

    monkeypatch.setattr(workers, "_workers", [workers.Worker(), workers.Worker()])
    monkeypatch.setattr(workers, "_places", type(workers._places)())
    clock = [1000.0]
    monkeypatch.setattr(workers.time, "monotonic", lambda: clock[0])
    alone = []
    for car in range(10):
        clock[0] += workers.LATELY / 2
        alone.append(workers._place(("alone", car)))
    assert set(alone) == {0}
    clock[0] += 2 * workers.LATELY
    many = [workers._place(("many", car)) for car in range(20)]
    assert 8 <= sum(many) <= 12
    assert [workers._place(("many", car)) for car in range(20)] == many


def test_what_rests_answers_as_before() -> None:
    from workbench import thinking, workers

    from faultnet.diagnosis import models

    told = thinking.present(CASE)
    awake = [m for m in models._models.values() if m.compiled.size()]
    assert awake
    workers.rest()
    assert not [m for m in models._models.values() if m.compiled.size()]
    assert thinking.worked.cache_info().currsize == 0
    assert thinking.present(CASE) == told


def test_models_rest_once_nothing_was_asked_for_long_and_again_after_the_next_question() -> None:
    from workbench import workers

    class Asked:
        """Questions as they come: one, another meanwhile, none for long; one, none; then the end."""

        waits = iter([True, True, True, False, True, True, False])
        seen: ClassVar[list[str]] = []

        def wait(self, seconds: float | None = None) -> bool:
            found = next(self.waits)
            self.seen.append("waits" if seconds is None else f"within {seconds:g} s: {found}")
            return found

        def clear(self) -> None:
            self.seen.append("clear")

    asked = Asked()
    with pytest.raises(StopIteration):
        workers.once_idle(asked, lambda: asked.seen.append("rest"), 300.0)  # type: ignore[arg-type]
    more, quiet = ["within 300 s: True", "clear"], ["within 300 s: False", "rest"]
    assert asked.seen == ["waits", *more, *more, *quiet, "waits", *more, *quiet]


def test_what_is_asked_once_the_page_is_drawn_is_not_weighed_again_for_others_in_between(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from workbench import thinking

    shop, weighed = thinking.Shop(frozenset({"voltmeter"})), []
    weigh = thinking.weigh
    monkeypatch.setattr(thinking, "weigh", lambda *a, **more: (weighed.append(1), weigh(*a, **more))[1])
    thinking.let_go()
    cases = [replace(CASE, name=name) for name in ("one", "two", "three")]
    for case in cases:
        thinking.advice(case, shop)
    for case in cases:
        thinking.robust(case, shop, whole=False)
    assert len(weighed) == len(cases)


def test_the_processes_end_with_the_server_however_it_ends() -> None:
    told = (
        "import os, signal, sys\n"
        "from workbench import workers\n"
        "workers.start(1)\n"
        "print(workers._workers[0].number(), flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    path = os.pathsep.join((str(shipped("ui")), str(Path(__file__).resolve().parents[2])))
    done = subprocess.run(
        [sys.executable, "-c", told],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": path},
    )
    assert done.returncode == -signal.SIGKILL
    assert _wait_until_gone(int(done.stdout))


@pytest.mark.parametrize(("said", "count"), [("0", 0), ("3", 3), (" 2 ", 2)])
def test_how_many_is_what_the_environment_says(said: str, count: int, monkeypatch: pytest.MonkeyPatch) -> None:
    from workbench import workers

    monkeypatch.setenv("FAULTNET_WORKERS", said)
    assert workers.how_many() == count


@pytest.mark.parametrize("said", ["", "-1", "many", "65", "1e9", "9" * 5000])
def test_what_cannot_be_meant_leaves_it_to_the_machine(said: str, monkeypatch: pytest.MonkeyPatch) -> None:
    from workbench import workers

    monkeypatch.setenv("FAULTNET_WORKERS", said)
    assert workers.how_many() <= workers.MOST


@pytest.mark.parametrize(("said", "megabytes"), [
    ("0", (0, 0)), (" 60 ", (60, 60)), (" 2000 ", (128, 2000)), *((said, (128, 768)) for said in ("", "-1", "1e9"))
])  # fmt: skip
def test_room_for_models_is_what_the_environment_says(
    said: str, megabytes: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    from workbench import workers

    monkeypatch.setenv("FAULTNET_ROOM", said)
    assert workers.rooms() == tuple(number << 20 for number in megabytes)
