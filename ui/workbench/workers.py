"""Processes beside the server that work the answers out, so that drawing pages and thinking do not wait for each other.

A car stays with the process that it was first asked of, which keeps its model. Where none were started (the tests of
single pages, a machine with one core) answers are worked out where they are asked for.
"""

from __future__ import annotations

import itertools
import os
import pickle
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from typing import IO, Any, TypeVar

from faultnet.errors import FaultnetError

Answer = TypeVar("Answer")
MOST, AT_ONCE, CARS = 4, 16, 512  # processes; questions that one of them may have begun; cars whose process is known
TRIES = 2
MOST_SAID = 64  # processes, when somebody says
LATELY, SOME = 30.0, 6  # [s], cars
LEAST_KEPT = 16  # models of a process, most of them at rest: half of twenty at once, and as many as it may have more
ROOM, LATELY_ROOM, MOST_ROOM = 128, 768, 1 << 20  # for models awake: any, of the last minute, at most [MB]
IDLE = 300.0  # after which a process lets its models rest [s]
_workers: list[Worker] = []
_places: OrderedDict[Hashable, tuple[int, float]] = OrderedDict()
_lock = threading.Lock()


class GoneError(Exception):
    """The process that was asked has ended."""


class Worker:
    """A process that answers questions, several at once, started anew when it has ended.

    Parameters
    ----------
    share : int
        How many there are: each keeps so small a part of the models that one process would.
    """

    def __init__(self, share: int = 1) -> None:
        self._share = share
        self._lock = threading.Lock()
        self._numbers = itertools.count()
        self._open: dict[int, Future[Any]] = {}
        self._process: subprocess.Popen[bytes] | None = None

    def busy(self) -> int:
        """Questions that wait for their answer."""
        return len(self._open)

    def start(self) -> None:
        """Begin, if that was not done."""
        with self._lock:
            self._begun()

    def end(self) -> None:
        """Let it end, once it has answered."""
        with self._lock:
            if self._process is not None:
                _pipe(self._process.stdin).close()

    def number(self) -> int | None:
        """Its number in the system, while it runs."""
        return None if self._process is None else self._process.pid

    def asked(self, function: Callable[..., Any], arguments: tuple[Any, ...]) -> Future[Any]:
        """Put a question; :class:`GoneError` is the answer if the process ends meanwhile."""
        answer: Future[Any] = Future()
        with self._lock:
            number = next(self._numbers)
            question = pickle.dumps((number, function, arguments))
            self._open[number] = answer
            try:
                _send(_pipe(self._begun().stdin), question)
            except (OSError, ValueError):  # it has ended, or is to end
                self._open.pop(number, None)
                self._process = None
                answer.set_exception(GoneError())
        return answer

    def _begun(self) -> subprocess.Popen[bytes]:
        if self._process is None:
            own = [sys.executable, str(Path(__file__).resolve()), str(self._share), *sys.path]
            self._process = subprocess.Popen(own, stdin=subprocess.PIPE, stdout=subprocess.PIPE)
            threading.Thread(target=self._listen, args=(self._process,), daemon=True).start()
        return self._process

    def _listen(self, process: subprocess.Popen[bytes]) -> None:
        for number, good, answer in _received(_pipe(process.stdout)):
            asked = self._open.pop(number, None)
            if asked is not None:
                (asked.set_result if good else asked.set_exception)(answer)
        with self._lock:
            if self._process is process:
                self._process = None
            left, self._open = list(self._open.values()), {}
        for asked in left:
            asked.set_exception(GoneError())
        process.kill()
        with suppress(OSError), process:  # closes its pipes; what was not told it is told to nobody
            process.wait()


def _pipe(end: IO[bytes] | None) -> IO[bytes]:
    assert end is not None
    return end


def _send(pipe: IO[bytes], packed: bytes) -> None:
    pipe.write(packed)
    pipe.flush()


def _received(pipe: IO[bytes]) -> Iterator[Any]:
    """What comes through a pipe from a process of ours, until it is closed or holds what cannot be understood."""
    while True:
        try:
            yield pickle.load(pipe)
        except Exception:  # as many kinds as there are ways to be broken off in the middle
            return


def work(share: int) -> None:
    """What such a process, one of so many, does until the server has gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl+C is meant for the server, and this one ends with it
    questions, answers = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr  # what is printed must not get among the answers
    from faultnet.diagnosis import models
    from workbench import memory, thinking, workers

    models.KEPT = max(models.KEPT // share, LEAST_KEPT)
    models.ROOM, models.LATELY_ROOM = (room // share for room in workers.rooms())
    thinking.keep_up()
    telling = threading.Lock()

    def answer(number: int, function: Callable[..., Any], arguments: tuple[Any, ...]) -> None:
        packed = workers.answered(number, function, arguments)
        with telling:
            try:
                _send(answers, packed)
            except OSError:
                os._exit(0)
        del packed
        memory.tidy()
        asked.set()

    asked = threading.Event()
    threading.Thread(target=once_idle, args=(asked, workers.rest, IDLE), daemon=True).start()
    threads = ThreadPoolExecutor(AT_ONCE)
    for question in _received(questions):
        threads.submit(answer, *question)
    os._exit(0)


def once_idle(asked: threading.Event, what: Callable[[], None], seconds: float) -> None:
    """Do something whenever nothing was asked for so long since the last question; never ends."""
    while True:
        asked.wait()
        while asked.wait(seconds):
            asked.clear()
        what()


def rest() -> None:
    """Keep of every car only what it takes to be woken, which costs the next question a fifth of a second."""
    from faultnet.diagnosis import models
    from workbench import thinking

    thinking.let_go()
    models.rest_all()


def answered(number: int, function: Callable[..., Any], arguments: tuple[Any, ...]) -> bytes:
    """The number of a question, whether it could be answered, and its answer or what was wrong with it; packed."""
    from workbench import thinking

    try:
        thinking.keep_up()
        return pickle.dumps((number, True, function(*arguments)))
    except FaultnetError as error:
        return pickle.dumps((number, False, error))
    except Exception:
        return pickle.dumps((number, False, RuntimeError(traceback.format_exc())))


def start(count: int | None = None) -> None:
    """Have questions answered by processes of their own from now on.

    Parameters
    ----------
    count : int, optional
        How many; what FAULTNET_WORKERS says, or one a core up to :data:`MOST`, when left out; none on a single core.
    """
    wanted = how_many() if count is None else count
    with _lock:
        for worker in _workers:
            worker.end()
        _workers[:] = [Worker(wanted) for _ in range(wanted)]
        _places.clear()
    for worker in _workers[:1]:  # the others begin when they are asked, or when the first page stands
        worker.start()


def start_others() -> None:
    """Begin those that nobody has asked yet."""
    for worker in list(_workers):
        worker.start()


def how_many() -> int:
    """Processes to start when nobody says.

    Examples
    --------
    >>> 0 <= how_many() <= 64
    True
    """
    said = _said("FAULTNET_WORKERS", MOST_SAID)
    if said is not None:
        return said
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST) if cores > 1 else 0


def rooms() -> tuple[int, int]:
    """Memory for models that stay awake in all processes together, and for those asked in the last minute [byte].

    FAULTNET_ROOM says the second in megabytes; the first is never larger.

    Examples
    --------
    >>> 0 <= rooms()[0] <= rooms()[1]
    True
    """
    said = _said("FAULTNET_ROOM", MOST_ROOM)
    lately = LATELY_ROOM if said is None else said
    return min(ROOM, lately) << 20, lately << 20


def _said(name: str, most: int) -> int | None:
    """A whole number of the environment; None where there is none, or none that can be meant."""
    said = os.environ.get(name, "").strip()
    return int(said) if said.isdecimal() and len(said) <= len(str(most)) and int(said) <= most else None


def ask(function: Callable[..., Answer], of: Hashable, *arguments: Any) -> Answer:
    """What a function of :mod:`workbench.thinking` gives.

    Parameters
    ----------
    function : callable
        Of a module, so that the other process finds it by its name.
    of : hashable
        The car: questions of one go to one process.
    *arguments
        Of the function.

    Raises
    ------
    FaultnetError
        As the function; and if the process ended twice over the question.
    """
    if not _workers:
        return function(*arguments)
    for _ in range(TRIES):
        try:
            return _workers[_place(of)].asked(function, arguments).result()
        except GoneError:
            continue
    raise FaultnetError(
        "the process that works answers out has ended",
        where="the server",
        got=f"it ended {TRIES} times over the same question",
        expected="an answer",
        to_do="see whether this machine has memory left, and load the page again; what was entered is kept",
    )


def beside() -> bool:
    """Whether there are processes beside the server, in which something can be worked out ahead."""
    return bool(_workers)


def have_one_idle() -> bool:
    """Whether one of them has nothing to do."""
    return any(not worker.busy() for worker in _workers)


def _place(of: Hashable) -> int:
    """The process of a car.

    A new one goes to that with the fewest questions open; then to the first, unless the first has been asked about some
    cars more than another lately: one person's cars stay in one process, so that only one holds a model.
    """
    with _lock:
        now = time.monotonic()
        if of not in _places:
            lately = [place for place, asked in _places.values() if now - asked < LATELY]
            place = min(range(len(_workers)), key=lambda i: (_workers[i].busy(), lately.count(i) // SOME, i))
        else:
            place = _places[of][0]
        _places[of] = place, now
        _places.move_to_end(of)
        while len(_places) > CARS:
            _places.popitem(last=False)
        return place


if __name__ == "__main__":
    sys.path[:] = sys.argv[2:]
    work(int(sys.argv[1]))
