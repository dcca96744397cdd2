"""Work on a running dask.distributed cluster, with an end: if no worker is left, that is said within a minute."""

from __future__ import annotations

import re
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, TypeVar

from faultnet.errors import ClusterError, FaultnetError, MissingExtraError

Item = TypeVar("Item")
Answer = TypeVar("Answer")

GONE_AFTER = 45.0
"""How long a cluster may be without any worker [s]: a worker that was ended is started anew within a few."""

CONNECT_SECONDS = 10.0
LOOK_EVERY = 1.0
_ADDRESS = re.compile(r"(?:(?:tcp|tls)://)?[^\s/:@]+:[0-9]{1,5}")
TRIES = 3


@contextmanager
def cluster_at(address: str) -> Iterator[Any]:
    """Connect to a scheduler.

    Parameters
    ----------
    address : str
        Such as ``tcp://127.0.0.1:8786``.

    Yields
    ------
    distributed.Client

    Raises
    ------
    ClusterError
        If no scheduler answers there.
    MissingExtraError
        If dask.distributed is not installed.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise MissingExtraError("a cluster needs dask.distributed", extra="dist") from error
    try:
        if not _ADDRESS.fullmatch(address):
            raise ValueError("an address that cannot be read")
        make: Any = Client
        client = make(address, timeout=CONNECT_SECONDS, set_as_default=False)
    except (OSError, ValueError, TypeError) as error:
        raise ClusterError(
            "no cluster answers",
            where=address,
            got=str(error).splitlines()[0][:200] if str(error) else type(error).__name__,
            expected="the address that `dask scheduler` showed, such as tcp://127.0.0.1:8786",
            to_do="start a scheduler and workers as the README says",
        ) from None
    try:
        yield client
    finally:
        client.close(timeout=2)


def in_order(client: Any, function: Callable[[Item], Answer], items: Sequence[Item]) -> Iterator[Answer]:
    """Work a function out for every item and give the answers in the order of the items.

    Parameters
    ----------
    client : distributed.Client
    function : callable
        One that the workers can import.
    items : sequence

    Yields
    ------
    object
        An answer for each item. A worker that dies costs its task once more.

    Raises
    ------
    ClusterError
        If all workers are gone for :data:`GONE_AFTER`, the scheduler is gone, or a task ends every worker it meets.
    """
    futures = client.map(function, items, pure=False, retries=TRIES)
    try:
        for future in futures:
            _wait(client, [future])
            yield _answer(future)
    finally:
        _let_go(client, futures)


def as_they_come(
    client: Any, function: Callable[[Item], Answer], items: Sequence[Item]
) -> Iterator[tuple[Item, Answer]]:
    """Give item and answer of each as soon as it is there; otherwise as :func:`in_order`."""
    futures = client.map(function, items, pure=False, retries=TRIES)
    left = dict(zip(futures, items, strict=True))
    try:
        while left:
            for future in _wait(client, list(left)):
                yield left.pop(future), _answer(future)
    finally:
        _let_go(client, futures)


def _wait(client: Any, futures: list[Any]) -> list[Any]:
    """Wait until at least one is done, and look meanwhile whether anybody works on them."""
    alone_since, looked = None, -LOOK_EVERY
    while not (done := [future for future in futures if future.done()]):
        time.sleep(0.02)
        now = time.monotonic()
        if now - looked < LOOK_EVERY:
            continue
        looked = now
        alone_since = None if _workers(client) else now if alone_since is None else alone_since
        if alone_since is not None and now - alone_since > GONE_AFTER:
            raise ClusterError(
                "all workers of the cluster are gone",
                where=str(getattr(client.scheduler, "address", "the cluster")),
                got=f"none for {now - alone_since:.0f} s",
                expected="at least one worker",
                to_do="start workers again and give the same command with --resume: what was done is kept",
            )
    return done


def _workers(client: Any) -> int:
    """How many workers there are; none if the scheduler does not answer either."""
    try:
        return len(client.scheduler_info(n_workers=-1)["workers"]) if client.status == "running" else 0
    except (OSError, KeyError, TimeoutError):
        return 0


def _answer(future: Any) -> Any:
    from distributed.scheduler import KilledWorker

    try:
        return future.result()
    except FaultnetError:
        raise
    except KilledWorker as error:
        said = "a task ended every worker that it was given to"
        to_do = "look at the workers' output: they may have had too little memory"
        raise ClusterError(said, got=str(error).splitlines()[0][:200], to_do=to_do) from None
    except Exception as error:
        if future.status == "cancelled" or type(error).__name__ in ("CancelledError", "FutureCancelledError"):
            to_do = "start it again and give the same command with --resume: what was done is kept"
            raise ClusterError("the cluster's scheduler is gone", to_do=to_do) from None
        raise


def _let_go(client: Any, futures: list[Any]) -> None:
    """Have the cluster forget what nobody waits for any more."""
    left = [future for future in futures if not future.done()]
    if left and client.status == "running":
        client.cancel(left)
